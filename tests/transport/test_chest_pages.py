"""The chest does not move: one step a screen for a helper, or read out by the desk."""

from datetime import timedelta

import pytest

from referrals import recording
from referrals.calc.chest_steps import CHEST_STEPS
from referrals.models import Advice, Alert, ChestTry
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_journey, a_referral, told_by
from transport.calc.stages import TransferStage


@pytest.fixture
def referral(district, now):
    return a_referral(now)


def test_one_tap_writes_a_step_down_and_shows_the_next(referral, attendant):
    client, path = browser_of(attendant), f"/r/{referral.code}/chest/1/"
    for step in CHEST_STEPS[:-1]:
        shown = _shown(text_of(client.get(path)))
        assert step.words in shown
        client.post(path, _form(client, path, step.code) | {"moves": "no"})
    assert [row.step for row in ChestTry.objects.all()] == ["head", "seal", "clear", "harder"]
    answer = client.post(path, _form(client, path, "other") | {"moves": "yes"})
    assert answer.url == f"/r/{referral.code}/"
    assert referral.babies.get().observations.standing().last().chest_moving is True


def test_after_the_last_it_says_whom_to_ring_and_never_to_stop(referral, attendant):
    client, path = browser_of(attendant), f"/r/{referral.code}/chest/1/"
    for step in CHEST_STEPS:
        client.post(path, _form(client, path, step.code) | {"moves": "no"})
    page = text_of(client.get(path))
    assert "Go on with the breaths" in _shown(page)
    assert "stop" not in page.split("<main")[1].lower()
    assert CHEST_STEPS[0].words in _shown(text_of(client.get(f"{path}?again")))


def test_a_slip_of_the_finger_is_taken_back(referral, attendant):
    client, path = browser_of(attendant), f"/r/{referral.code}/chest/1/"
    client.post(path, _form(client, path, "head") | {"moves": "yes"})
    row = ChestTry.objects.get()
    press(client, f"/r/{referral.code}/told/chest/{row.pk}/", take_back="1", why="wrong baby")
    assert not ChestTry.objects.standing().exists()


def test_a_step_that_is_not_there_is_not_taken(referral, attendant):
    client, path = browser_of(attendant), f"/r/{referral.code}/chest/1/"
    assert client.post(path, _form(client, path, "head") | {"step": "sing"}).status_code == 422


def test_the_desk_reads_out_and_writes_down(referral, officer):
    client, path = browser_of(officer), f"/desk/{referral.code}/"
    press(client, path, action="/chest/", step="seal", moves="no", baby="1", said_by="Aunt Rewa")
    row = ChestTry.objects.get()
    assert (row.step, row.chest_moves) == ("seal", False)
    assert "Aunt Rewa" in row.told_by
    page = text_of(client.get(path))
    assert "The chest did not move." in page
    assert "the chest does not move, first baby" in page or "the chest does not move," in page


class TestNoHeartbeatOnThePages:
    def test_the_desk_sees_the_minutes_the_positions_and_writes_down_who_decides(
        self, referral, officer, now
    ):
        at = now - timedelta(minutes=12)
        recording.observe(
            told_by("tomasi.bellaqua", at), referral.babies.get(),
            {"heart_rate_band": "none_detected"},
        )  # fmt: skip
        client, path = browser_of(officer), f"/desk/{referral.code}/"
        page = text_of(client.get(path))
        assert "no heartbeat found since" in page
        assert "12 min of breaths" in page
        assert "What is published differs" in page
        assert "Nothing here advises" in page
        press(client, path, action="/advice/", given_by="Dr Hana Wendorra", words="go on",
              is_decision="on")  # fmt: skip
        assert Advice.objects.get().is_decision
        page = text_of(client.get(path))
        assert "Decided by Dr Hana Wendorra" in page
        assert "a decision, by Dr Hana Wendorra" in page

    def test_the_accepting_unit_sees_it_too_and_its_clinician_decides_by_name(
        self, district, intensive, nurse, now
    ):
        transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
        baby = transfer.referral.babies.get()
        at = now - timedelta(minutes=16)
        told = {"heart_rate_band": "none_detected", "chest_moving": True}
        recording.observe(told_by("tomasi.bellaqua", at), baby, told)
        client = browser_of(nurse)
        path = f"/unit/{transfer.referral.accepted_offer().pk}/"
        page = text_of(client.get(path))
        assert "no heartbeat found since" in page
        assert "16 min of breaths" in page
        assert "Nobody has told whether the chest moves" not in page
        press(client, f"{path}advice/", given_by="Dr W", words="go on", is_decision="on")
        assert "Decided by Dr W" in text_of(client.get(path))

    def test_the_post_reads_nothing_of_it(self, referral, attendant, now):
        from referrals import watching

        at = now - timedelta(minutes=12)
        recording.observe(
            told_by("tomasi.bellaqua", at), referral.babies.get(),
            {"heart_rate_band": "none_detected"},
        )  # fmt: skip
        watching.look_at(referral.pk, now)
        assert Alert.objects.filter(kind="no_heartbeat").exists()
        for page in ("", "chest/1/", "check/1/", "before-leaving/"):
            text = text_of(browser_of(attendant).get(f"/r/{referral.code}/{page}"))
            assert "min of breaths" not in text
            assert "published" not in text


def test_we_stop_because_is_one_press_on_the_road(district, intensive, attendant, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    client, path = browser_of(attendant), f"/r/{transfer.referral.code}/"
    forms = [form for form in forms_on(client.get(path)) if form["action"].endswith("/stopped/")]
    assert len(forms) == 5
    answer = client.post(forms[0]["action"], forms[0]["fields"])
    assert answer.url == path
    [alert] = Alert.objects.filter(kind="stopped")
    assert "the baby needs care" in alert.sentence
    check = transfer.checks.get()
    press(client, f"{path}told/check/{check.pk}/", take_back="1", why="a slip")
    assert not transfer.checks.standing().exists()


def _form(client, path, step):
    """The fields of the form of one step, as its page holds them."""
    forms = [form for form in forms_on(client.get(path)) if form["fields"].get("step") == step]
    return forms[0]["fields"]


def _shown(page):
    """The section that is not hidden."""
    parts = page.split('<section class="question"')[1:]
    return next(part for part in parts if " hidden>" not in part.split("\n")[0][:200])
