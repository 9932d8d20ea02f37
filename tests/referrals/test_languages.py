"""Each person reads a language of theirs; the record keeps one."""

from typing import Any

import pytest
from django.conf import settings
from django.utils import translation
from django.utils.translation import get_language

from referrals import alerting, endings, lifecycle, saying
from referrals.calc.states import NotPossible
from referrals.models import Alert, Delivery, Staff
from tests import pseudo
from tests.api_world import device_of
from tests.pages_world import browser_of, text_of
from tests.world import a_placed_referral, a_referral, an_offer, told_by

pytestmark = pytest.mark.django_db
OFFERED = [("en", "English"), ("fr", "français"), ("ar", "العربيّة")]


@pytest.fixture(autouse=True)
def _french_is_wide(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    settings.LANGUAGES = OFFERED

    def gettext(text: str) -> str:
        return pseudo.wide(str(text)) if get_language() == "fr" else str(text)

    def ngettext(one: str, many: str, number: float) -> str:
        return gettext(one if number == 1 else many)

    monkeypatch.setattr(translation._trans, "gettext", gettext)
    monkeypatch.setattr(translation._trans, "ngettext", ngettext)


def is_wide(text: str) -> bool:
    return "ｔ" in text


@pytest.fixture
def french(attendant: Staff) -> Staff:
    attendant.language = "fr"
    attendant.save()
    return attendant


def messages_to(username: str) -> list[str]:
    return list(Delivery.objects.filter(username=username).values_list("message", flat=True))


def test_who_reads_french_is_told_in_french_and_the_desk_in_the_language_of_the_record(
    french, intensive, now
):
    a_placed_referral(now, intensive)
    told = Alert.objects.get(
        kind="accepted",
        needs_answer=False,
        for_desk=False,
        plan__0__reach__0__username=french.username,
    )
    assert [is_wide(message) for message in messages_to(french.username)] == [True]
    assert not is_wide(told.sentence)
    assert "takes the baby" in told.sentence


def test_a_verb_of_somebody_who_reads_french_keeps_the_language_of_the_record(
    french, intensive, now
):
    with translation.override("fr"):
        referral = a_placed_referral(now, intensive)
    kept = [*referral.alerts.values_list("sentence", flat=True)]
    kept += referral.alerts.exclude(closed_reason="").values_list("closed_reason", flat=True)
    kept += [str(body) for body in referral.entries.values_list("body", flat=True)]
    kept += [str(shown) for shown in referral.offers.values_list("shown", flat=True)]
    assert len(kept) > 10
    assert [text for text in kept if is_wide(text)] == []


def test_every_step_of_a_ladder_speaks_each_persons_language(nurse, intensive, now):
    Staff.objects.filter(pk=nurse.pk).update(language="fr")
    alert = an_offer(a_referral(now), intensive, now).alerts.get(kind="question")
    for _step in range(3):
        alerting.escalate(alert.pk, Alert.objects.get(pk=alert.pk).due_at)
    told = alert.deliveries.exclude(username="").values_list("step", "username", "message")
    to_nurse = {step: is_wide(message) for step, who, message in told if who == nurse.username}
    others = [is_wide(message) for _step, who, message in told if who != nurse.username]
    assert len(to_nurse) > 1
    assert all(to_nurse.values())
    assert others
    assert not any(others)


def test_a_refusal_of_the_api_is_in_the_language_of_whoever_asks(french, intensive, now):
    referral = a_placed_referral(now, intensive)
    endings.take_back(told_by(french.username, now), referral, reason="x")
    body = device_of(french.username).post(f"referrals/{referral.code}/take_back/", {}).json()
    assert is_wide(body["detail"])
    assert device_of(french.username).get("me/").json()["language"] == "fr"


def test_a_refusal_is_said_in_the_language_active_when_it_is_made(intensive, ward, now):
    referral = a_placed_referral(now, intensive)
    with translation.override("fr"), pytest.raises(NotPossible) as refusal:
        lifecycle.ask(
            told_by("leena.morrastad", now),
            referral,
            intensive.__class__.objects.exclude(pk=intensive.pk).first(),
        )
    assert is_wide(refusal.value.sentence)


def test_a_page_is_written_from_right_to_left_where_the_language_is(attendant, now):
    attendant.language = "ar"
    attendant.save()
    page = text_of(browser_of(attendant).get("/post/"))
    assert '<html lang="ar" dir="rtl">' in page


@pytest.mark.parametrize(("own", "is_said_in"), [("fr", "fr"), ("xx", "en"), ("", "en")])
def test_a_language_that_is_not_offered_is_that_of_the_deployment(own, is_said_in):
    assert saying.offered(own) == is_said_in


def test_the_deployment_offers_only_languages_with_a_catalogue():
    assert settings.LANGUAGE_CODE in dict(settings.LANGUAGES)
