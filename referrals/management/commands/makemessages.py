"""``manage.py makemessages``: Django's, which also finds what ``words`` and its like are given."""

from typing import Any

from django.core.management.commands import makemessages

KEYWORDS = ("words", "counted:1,2", "marked", "to_tell", "to_tell_counted:1,2")
"""The functions of ``referrals/calc/wording.py`` and ``referrals/saying.py``, for xgettext."""


class Command(makemessages.Command):
    """Writes the catalogue of a language into ``referrals/locale``; needs GNU gettext."""

    xgettext_options = [
        *makemessages.Command.xgettext_options,
        *(f"--keyword={keyword}" for keyword in KEYWORDS),
    ]

    def handle(self, *args: Any, **options: Any) -> None:
        """The tests say nothing to anybody."""
        options["ignore_patterns"] = [*options["ignore_patterns"], "tests/*"]
        super().handle(*args, **options)
