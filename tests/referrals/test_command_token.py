"""``manage.py token`` and the people who have one."""

from commands import run
from django.core.management import call_command
from rest_framework.authtoken.models import Token

from referrals.models import Staff


def test_a_token_is_made_once_and_printed_alone(officer):
    first, second = run("token", "leena.morrastad"), run("token", "leena.morrastad")
    assert first.out == second.out == Token.objects.get(user=officer).key + "\n"
    assert first.code == 0


def test_a_new_one_voids_the_old(officer):
    old, new = run("token", officer.username), run("token", officer.username, "--new")
    assert old.out != new.out
    assert Token.objects.get(user=officer).key == new.out.strip()


def test_an_unknown_user_exits_2_with_similar_names(officer):
    answer = run("token", "lena.morastad")
    assert (answer.code, answer.out) == (2, "")
    assert "leena.morrastad" in answer.err
    assert not Token.objects.exists()


def test_somebody_who_has_left_gets_none(officer):
    Staff.objects.update(is_active=False)
    assert run("token", officer.username).code == 2


def test_a_superuser_can_be_made(db, monkeypatch):
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", "a long enough phrase")
    call_command(
        "createsuperuser", "--noinput", "--username", "keeper", "--email", "k@littleroad.example"
    )
    keeper = Staff.objects.get(username="keeper")
    assert keeper.is_superuser
    assert keeper.check_password("a long enough phrase")
    assert str(keeper) == "keeper"
