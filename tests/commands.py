"""Runs a management command as the shell does: answer, remarks and exit code."""

import contextlib
import io
import json
from dataclasses import dataclass
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandError


@dataclass(frozen=True)
class Answer:
    """What a command printed, and its exit code."""

    out: str
    err: str
    code: int

    @property
    def json(self) -> Any:
        """The answer; fails when stdout holds anything else too."""
        return json.loads(self.out)


def run(name: str, *arguments: object) -> Answer:
    """Run ``manage.py name arguments``."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with contextlib.redirect_stderr(err):
        try:
            call_command(name, *map(str, arguments), stdout=out, stderr=err)
        except CommandError as error:
            err.write(str(error))
            code = error.returncode
        except SystemExit as leaving:
            code = int(leaving.code or 0)
    return Answer(out.getvalue(), err.getvalue(), code)
