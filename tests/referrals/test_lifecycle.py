"""Units are asked, accept, decline and are withdrawn; every step leaves its Entry."""

from datetime import timedelta

import pytest
from world import BAGGED, a_journey, a_placed_referral, a_referral, an_offer, told_by

from referrals import cots, endings, lifecycle, recording, reopening, timeline
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Alert, Baby, Entry, NeverChanged, Offer, Referral
from transport.calc.stages import TransferStage
from transport.models import Transfer


def kinds(referral: Referral) -> list[str]:
    return list(referral.entries.values_list("kind", flat=True))


def test_one_press_raises_with_nothing_known(district, post, attendant, by, now):
    referral = lifecycle.raise_referral(by(attendant), origin=post, raised_by=attendant)
    assert referral.urgency == "ventilated"  # while nothing is known the shortest waits apply
    assert referral.babies.get().code == f"{referral.code}-1"
    assert referral.transfers.get().stage == "wanted"
    assert kinds(referral)[:2] == ["raised", "needs_derived"]


def test_the_best_unit_is_asked_without_being_named(district, now):
    referral = a_referral(now)
    (offer,) = lifecycle.ask_best(referral.pk, now)
    assert offer.unit.code == "ORL-NB"
    assert offer.shown["reasons_for"]
    alert = Alert.objects.get(offer=offer)
    assert alert.kind == "question"
    assert alert.deliveries.filter(state="queued", channel="sms").exists()


def test_the_second_unit_to_accept_is_told_who_was_first(district, intensive, ward, now):
    referral = a_referral(now)
    first, second = an_offer(referral, intensive, now), an_offer(referral, ward, now)
    lifecycle.accept(told_by("hana.wendorra", now), first)
    with pytest.raises(NotPossible, match=r"was withdrawn|Port Orlime|withdrawn"):
        lifecycle.accept(told_by("miriam.castowell", now), second)
    assert Offer.objects.filter(referral=referral, stage="accepted").count() == 1


def test_pressing_accept_twice_changes_nothing(district, intensive, now):
    referral = a_placed_referral(now, intensive)
    before = kinds(referral)
    lifecycle.accept(told_by("hana.wendorra", now), referral.offers.get())
    assert kinds(referral) == before


def test_the_last_cot_goes_to_one_of_two_referrals(district, intensive, now):
    cots.report_cots(told_by("hana.wendorra", now), intensive, cots_free=1)
    first, second = a_referral(now), a_referral(now, attendant="wezi.oranday")
    offers = [an_offer(first, intensive, now), an_offer(second, intensive, now)]
    lifecycle.accept(told_by("hana.wendorra", now), offers[0])
    with pytest.raises(NotPossible, match="0 free cot"):
        lifecycle.accept(told_by("hana.wendorra", now), offers[1])
    intensive.refresh_from_db()
    assert intensive.cots_free == 0


def test_a_late_decline_takes_the_acceptance_back_and_asks_on(district, intensive, now):
    referral = a_placed_referral(now, intensive)
    lifecycle.decline(
        told_by("hana.wendorra", now), referral.offers.get(), reason=DeclineReason.NO_POWER
    )
    referral.refresh_from_db()
    assert referral.stage == "asking"
    assert referral.offers.filter(stage="open").exclude(unit=intensive).exists()
    assert referral.transfers.get().destination is None
    intensive.refresh_from_db()
    assert intensive.cots_free == 2  # the held cot is free again


def test_taking_the_referral_back_tells_the_units_a_second_time(district, intensive, now):
    referral = a_referral(now)
    offer = an_offer(referral, intensive, now)
    endings.take_back(told_by("tomasi.bellaqua", now), referral, reason="wrong button")
    offer.refresh_from_db()
    assert offer.stage == "withdrawn"
    notice = Alert.objects.get(kind="withdrawn", offer=offer)
    assert notice.deliveries.filter(channel="sms", state="queued").exists()
    assert Baby.objects.get(referral=referral).ending == Ending.RAISED_IN_ERROR


def test_a_diverted_baby_gets_new_units_and_the_old_one_is_told(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    asked = lifecycle.divert(told_by("leena.morrastad", now), transfer.referral, why="unit is full")
    assert asked
    assert all(offer.unit != intensive for offer in asked)
    assert Transfer.objects.get(pk=transfer.pk).stage == "on_the_road"


def test_a_death_needs_the_name_of_who_determined_it(district, intensive, now):
    baby = a_referral(now).babies.get()
    with pytest.raises(NotPossible, match="name of a person"):
        endings.end_baby(told_by("tomasi.bellaqua", now), baby, Ending.DIED_BEFORE_DEPARTURE)


def test_a_death_ends_every_alarm_and_stays_on_record(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    baby = transfer.referral.babies.get()
    endings.end_baby(
        told_by("tomasi.bellaqua", now),
        baby,
        Ending.DIED_ON_THE_WAY,
        determined_by="Dr Wendorra",
        band=baby.code,
    )
    assert not Alert.objects.open().filter(referral=transfer.referral, needs_answer=True).exists()
    assert Referral.objects.get(pk=transfer.referral_id).stage == "closed"
    assert Transfer.objects.get(pk=transfer.pk).stage == "stood_down"


def test_an_ending_in_error_is_reversed_with_a_reason(district, intensive, now):
    referral = a_referral(now)
    by = told_by("tomasi.bellaqua", now)
    baby = endings.end_baby(by, referral.babies.get(), Ending.FAMILY_DECLINED)
    reopening.reverse_ending(by, baby, reason="the family has changed its mind")
    referral.refresh_from_db()
    assert referral.stage == "asking"
    assert referral.transfers.filter(stage="wanted").exists()
    assert "ending_reversed" in kinds(referral)


def test_twins_share_referral_and_vehicle_and_end_apart(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED, babies=2)
    first, second = transfer.referral.babies.all()
    by = told_by("hana.wendorra", now)
    recording.observe(by, second, {"heart_rate": 130})
    assert not first.observations.filter(heart_rate=130).exists()
    death = {"determined_by": "Dr Wendorra", "band": first.code}
    endings.end_baby(by, first, Ending.DIED_ON_THE_WAY, **death)
    assert Transfer.objects.get(pk=transfer.pk).stage == "arrived"
    intensive.refresh_from_db()
    assert intensive.cots_free == 1  # two cots were held, and one is needed


def test_a_correction_keeps_the_old_value_visible(district, now):
    referral = a_referral(now)
    baby = referral.babies.get()
    by = told_by("tomasi.bellaqua", now)
    wrong = recording.observe(by, baby, {"temperature_c": 39.9})
    recording.observe(by, baby, {"temperature_c": 36.9}, corrects=wrong)
    entry = referral.entries.get(kind="corrected")
    assert entry.body["was"] == {"temperature_c": 39.9}
    assert recording.assess(referral, now).needs  # the corrected value no longer counts as a fever
    assert "hyperthermia" not in {need.rule for need in referral.needs.filter(superseded_at=None)}


def test_an_old_reading_that_comes_late_does_not_undo_a_newer_one(district, now):
    referral = a_referral(now)
    baby = referral.babies.get()
    recording.observe(told_by("tomasi.bellaqua", now), baby, {"heart_rate": 140})
    late = told_by("tomasi.bellaqua", now)
    early = type(late)(
        actor=late.actor,
        name=late.name,
        channel=late.channel,
        when=timeline_time(now - timedelta(minutes=20), now),
    )
    recording.observe(early, baby, {"heart_rate": 50})
    assert recording_fact(baby, "heart_rate") == 140


def timeline_time(happened_at, received_at):
    from referrals.calc.device_time import event_time

    return event_time(received_at=received_at, happened_at=happened_at)


def recording_fact(baby, name):
    from referrals.reading import known_facts

    return known_facts(baby.observations.all())[name][0]


def test_an_impossible_number_is_refused_and_nothing_is_stored(district, now):
    baby = a_referral(now).babies.get()
    count = baby.observations.count()
    with pytest.raises(ImpossibleQuantity, match="°C"):
        recording.observe(told_by("tomasi.bellaqua", now), baby, {"temperature_c": 97.0})
    assert baby.observations.count() == count


def test_entries_cannot_be_changed_or_deleted(district, now):
    entry = a_referral(now).entries.first()
    with pytest.raises(NeverChanged):
        Entry.objects.filter(pk=entry.pk).update(kind="other")
    with pytest.raises(NeverChanged):
        Entry.objects.all().delete()


def test_a_stage_is_not_written_by_an_ordinary_update(district, now):
    a_referral(now)
    with pytest.raises(TypeError, match="lifecycle"):
        Referral.objects.update(stage="closed")


def test_every_chain_of_a_busy_day_holds(district, intensive, ward, now):
    a_journey(now, intensive, stage=TransferStage.ARRIVED)
    a_placed_referral(now, ward)
    for referral in Referral.objects.all():
        assert timeline.faults_of(referral) == []


def test_bag_and_mask_facts_are_known_words():
    recording.require_facts(BAGGED, recording.BABY_FACTS)


@pytest.mark.parametrize("answer", ["accept", "decline"])
def test_a_late_answer_to_a_lapsed_question_answers_the_one_asked_since(
    district, intensive, now, answer
):
    referral = a_referral(now)
    first = an_offer(referral, intensive, now)
    lifecycle.lapse(first, now)
    second = an_offer(referral, intensive, now)
    by = told_by("hana.wendorra", now)
    if answer == "accept":
        answered = lifecycle.accept(by, first)
    else:
        answered = lifecycle.decline(by, first, reason=DeclineReason.NO_COT)
    assert answered.pk == second.pk
    assert referral.offers.filter(unit=intensive, stage="open").count() == 0
