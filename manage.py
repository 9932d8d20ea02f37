#!/usr/bin/env python3
"""The one command of the service: ``manage.py demo``, ``serve``, ``estimate``, and Django's own."""

import os
import sys

if sys.version_info < (3, 11):
    sys.stderr.write(
        "Littleroad needs Python 3.11 or newer; this is Python %d.%d. "
        "Run it with a newer one, for example: python3.11 manage.py demo\n" % sys.version_info[:2]
    )
    sys.exit(2)


def main():
    """Prepare the environment the command needs, then hand over to Django."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "referrals.project.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.stderr.write(
            "Littleroad is not installed in this Python. Install it first: "
            "python3 -m pip install -e . -c .ci/constraints.txt\n"
        )
        sys.exit(2)
    from referrals.project.launch import prepare_environment

    prepare_environment(sys.argv)
    try:
        execute_from_command_line(sys.argv)
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
