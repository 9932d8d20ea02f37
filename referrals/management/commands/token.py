"""``manage.py token``: an API token for one person or machine."""

from typing import Any

from django.core.management.base import CommandParser
from django.db import transaction
from rest_framework.authtoken.models import Token

from referrals.management.answers import AnswerCommand, bad_input, similar
from referrals.models import Staff


class Command(AnswerCommand):
    """Print the API token of a person, made if there is none."""

    help = "Print the API token of a user; --new makes another one and voids the old."

    def add_arguments(self, parser: CommandParser) -> None:
        """The user's name."""
        parser.add_argument("user", metavar="USER", help="user name")
        parser.add_argument("--new", action="store_true", help="replace the token there is")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the token alone."""
        staff = _staff(options["user"])
        with transaction.atomic():
            if options["new"]:
                Token.objects.filter(user=staff).delete()
            token, _ = Token.objects.get_or_create(user=staff)
        self.answer(token.key, as_json=False, text=token.key)


def _staff(username: str) -> Staff:
    staff = Staff.objects.filter(username=username).first()
    if staff is None:
        known = similar(username, Staff.objects.values_list("username", flat=True))
        raise bad_input(f"there is no user {username!r}.{known}")
    if not staff.is_active:
        raise bad_input(f"{username} is not active; a token would open nothing.")
    return staff
