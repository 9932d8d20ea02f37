"""A twin told of after the raise, or after a unit has said yes; and whose hands there are."""

import pytest
from api_world import device_of
from world import BAGGED, a_placed_referral, a_referral, an_offer, told_by

from referrals import (
    adding,
    cots,
    describing,
    endings,
    lifecycle,
    reopening,
    timeline,
    watching,
)
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.models import Baby, CotHold, Referral

NOTHING = describing.BabyTold()


def with_free_cots(unit, count: int, now) -> None:
    cots.report_cots(told_by("hana.wendorra", now), unit, cots_free=count)


def add(referral: Referral, now, told: describing.BabyTold = NOTHING) -> Baby:
    return adding.add_baby(told_by("tomasi.bellaqua", now), referral, told)


def concerns(referral: Referral, now) -> dict[str, str]:
    return {each.kind: each.sentence for each in watching.concerns_of(referral, now)}


def test_units_that_are_asked_hear_of_it(district, intensive, now):
    referral = a_referral(now)
    offer = an_offer(referral, intensive, now)
    baby = add(referral, now, describing.BabyTold(facts=dict(BAGGED)))
    assert (baby.birth_order, baby.observations.get().facts()) == (2, BAGGED)
    told = offer.alerts.get(kind="another_baby")
    assert f"{baby.code}. You are asked for 2 babies now." in told.message
    assert referral.alerts.get(kind="another_baby", offer=None).message.startswith(referral.code)
    assert not timeline.faults_of(lifecycle.timeline_row(referral.pk))


def test_the_accepting_unit_keeps_one_more_cot_and_is_told(district, intensive, now):
    with_free_cots(intensive, 3, now)
    referral = a_placed_referral(now, intensive)
    add(referral, now)
    hold = CotHold.objects.get(offer=referral.accepted_offer())
    intensive.refresh_from_db()
    assert (hold.cots, intensive.cots_free) == (2, 1)
    told = referral.accepted_offer().alerts.get(kind="another_baby")
    assert "A cot is kept for it too: 2 now." in told.message
    assert "cot_missing" not in concerns(referral, now)


def test_without_a_second_cot_unit_and_desk_are_told_until_there_is_one(district, intensive, now):
    with_free_cots(intensive, 1, now)
    referral = a_placed_referral(now, intensive)
    add(referral, now)
    assert referral.babies.count() == 2
    assert CotHold.objects.get().cots == 1
    told = referral.accepted_offer().alerts.get(kind="another_baby")
    assert "no free cot written down for it" in told.message
    watching.look_at(referral.pk, now)
    (alert,) = referral.alerts.open().filter(kind="cot_missing", for_desk=True)
    assert "keeps 1 cot(s)" in alert.sentence
    assert "2 babies come" in alert.sentence

    with_free_cots(intensive, 2, now)
    watching.look_at(referral.pk, now)
    intensive.refresh_from_db()
    assert (CotHold.objects.get().cots, intensive.cots_free) == (2, 1)
    assert not referral.alerts.open().filter(kind="cot_missing").exists()


def test_the_cot_of_a_twin_that_does_not_come_is_free_again_until_that_is_reversed(
    district, intensive, now
):
    with_free_cots(intensive, 2, now)
    referral = a_placed_referral(now, intensive)
    twin, by = add(referral, now), told_by("tomasi.bellaqua", now)
    endings.end_baby(by, twin, Ending.RAISED_IN_ERROR)
    intensive.refresh_from_db()
    assert (CotHold.objects.get().cots, intensive.cots_free) == (1, 1)
    reopening.reverse_ending(by, twin, reason="there are two after all")
    intensive.refresh_from_db()
    assert (CotHold.objects.get().cots, intensive.cots_free) == (2, 0)


def test_no_baby_is_added_to_a_closed_referral(district, now):
    referral = a_referral(now)
    endings.take_back(told_by("tomasi.bellaqua", now), referral, reason="wrong button")
    with pytest.raises(NotPossible, match="is closed"):
        add(referral, now)


class TestOverTheApi:
    def test_a_twin(self, district, now):
        referral, phone = a_referral(now), device_of("tomasi.bellaqua")
        told = {"sex": "female", "heart_rate": 80}
        answer = phone.post(f"referrals/{referral.code}/babies/", told)
        assert answer.status_code == 201
        body = answer.json()
        assert (body["code"], body["sex"]) == (f"{referral.code}-2", "female")
        assert body["facts"]["heart_rate"]["value"] == 80
        assert body["entry_seq"] == lifecycle.timeline_row(referral.pk).head_seq

    def test_the_mother_and_a_mother_who_stays_asks_nothing_of_the_unit(self, district, now):
        referral, phone = a_referral(now), device_of("tomasi.bellaqua")
        path = f"referrals/{referral.code}/"
        assert phone.get(path).json()["mother"]["travels"] is None
        phone.post(f"{path}observations/", {"mother": True, "bleeding": "heavy"})
        assert "obstetric_emergency_care" in str(phone.get(f"{path}needs/").json())
        answer = phone.post(f"{path}mother/", {"age_years": 24, "travels": False})
        assert (answer.json()["age_years"], answer.json()["travels"]) == (24, False)
        assert "obstetric_emergency_care" not in str(phone.get(f"{path}needs/").json())
        impossible = phone.post(f"{path}mother/", {"age_years": 240})
        assert (impossible.status_code, impossible.json()["code"]) == (400, "impossible_quantity")

    def test_hands_left_out_stay_as_they_were_and_one_alone_is_a_matter_of_the_desk(
        self, district, now
    ):
        referral, phone = a_referral(now), device_of("tomasi.bellaqua")
        path = f"referrals/{referral.code}/hands/"
        phone.post(path, {"ventilates": "Tomasi", "reports": "the neighbour"})
        assert phone.post(path, {"relieves": "Aru"}).json()["ventilates"] == "Tomasi"
        assert referral.entries.filter(kind="hands").count() == 2
        phone.post(path, {"relieves": "Aru"})
        assert referral.entries.filter(kind="hands").count() == 2  # nothing new was told
        assert "alone" not in concerns(lifecycle.timeline_row(referral.pk), now)
        phone.post(path, {"alone": True})
        watching.look_at(referral.pk, now)
        (alert,) = referral.alerts.open().filter(kind="alone", for_desk=True)
        assert "Ring on loudspeaker, stay on the line" in alert.sentence
        assert phone.get(path).json()["reports"] == "the neighbour"
