"""What a phone has kept without a network is taken later: once, and with the phone's own times."""

from datetime import datetime, timedelta

import pytest
from pages_world import browser_of, text_of
from world import a_referral

from referrals import clock, endings, lifecycle
from referrals.models import KeptInput, Observation, Referral
from referrals.pages.from_phone import token_of


class Phone:
    """A phone without session and cookie, with the token of who pressed."""

    def __init__(self, staff, token: str = "") -> None:
        self.client = browser_of(enforce_csrf_checks=True)
        self.token = token or token_of(staff)

    def send(self, path: str, at: datetime | None = None, **fields: str):
        now = clock.now()
        if at:
            fields["happened_at"] = at.isoformat()
        headers = {"Authorization": f"Phone {self.token}", "Sent-At": now.isoformat()}
        return self.client.post(path, fields, headers=headers)


@pytest.fixture
def phone(attendant) -> Phone:
    return Phone(attendant)


def test_a_call_for_help_needs_no_session_and_counts_once_from_when_it_was_pressed(
    phone, attendant, now
):
    pressed = now - timedelta(hours=2)
    answers = [phone.send("/post/", at=pressed, key="new-a").json() for _ in range(2)]
    referral = Referral.objects.get()
    assert answers == [{"next": f"/r/{referral.code}/details/"}] * 2
    assert referral.raised_by == attendant
    assert abs(referral.raised_at - pressed) < timedelta(seconds=5)
    entry = referral.entries.get(kind="raised")
    assert (entry.happened_at, entry.actor) == (pressed, attendant.username)


def test_answers_are_taken_with_the_times_of_the_phone(phone, now):
    referral = a_referral(now)
    pressed = now - timedelta(minutes=7)
    path = f"/r/{referral.code}/details/1/heart/"
    told = {"heart_rate_band": "under_60", "key": "b"}
    assert phone.send(path, at=pressed, **told).json()["next"].startswith("/r/")
    reading = Observation.objects.get(heart_rate_band="under_60")
    assert abs(reading.observed_at - pressed) < timedelta(seconds=5)


def test_what_is_refused_comes_back_with_its_reason(phone, now):
    path = f"/r/{a_referral(now).code}/details/1/temperature/"
    answer = phone.send(path, temperature_c="361", key="c")
    assert answer.status_code == 422
    assert "361 is not possible" in text_of(answer)


def test_what_is_not_possible_any_more_is_kept_for_the_desk_too(phone, attendant, by, now):
    referral = a_referral(now)
    endings.take_back(by(attendant), referral, reason="wrong button")
    referral.transfers.all().delete()
    answer = phone.send(f"/r/{referral.code}/check/1/heart/", heart_rate_band="under_60", key="d")
    assert answer.status_code == 409
    kept = KeptInput.objects.get()
    assert "heart_rate_band=under_60" in kept.body
    assert kept.caller == attendant.username


def test_a_token_ends_with_the_password_and_with_the_account(phone, attendant):
    attendant.set_password("another, longer than the first")
    attendant.save()
    assert phone.send("/post/", key="e").status_code == 401
    renewed = Phone(attendant)
    attendant.is_active = False
    attendant.save()
    answer = renewed.send("/post/", key="e")
    assert answer.status_code == 401
    assert "Sign in again" in answer.json()["sentence"]
    assert not Referral.objects.exists()


@pytest.mark.parametrize("token", ["nonsense", "p1-nonsense", "pzzzz-x"])
def test_no_other_token_opens_it(attendant, token):
    assert Phone(attendant, token).send("/post/", key="f").status_code == 401


def test_it_is_for_one_persons_own_posts_and_opens_no_page(phone, attendant, person, now):
    other = a_referral(now, attendant="lupe.sandrivo")
    path = f"/r/{other.code}/details/1/heart/"
    assert phone.send(path, heart_rate_band="under_60", key="g").status_code == 404
    mine = a_referral(now)
    headers = {"Authorization": f"Phone {phone.token}"}
    for path in (f"/r/{mine.code}/", f"/r/{mine.code}/details/"):
        assert phone.client.get(path, headers=headers).url.startswith("/sign-in/")
    # Forms that are not marked for it want a session, too.
    back = phone.client.post(f"/r/{mine.code}/take-back/", {"reason": "x"}, headers=headers)
    assert back.status_code == 403
    assert lifecycle.timeline_row(mine.pk).is_open


def test_a_browsers_form_still_needs_its_own_token(attendant):
    client = browser_of(attendant, enforce_csrf_checks=True)
    assert client.post("/post/", {"key": "h"}).status_code == 403
    assert not Referral.objects.exists()
