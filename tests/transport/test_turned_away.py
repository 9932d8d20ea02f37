"""The unit says no when the baby stands at its door: the journey goes on to another unit."""

from datetime import timedelta

import pytest

from referrals import lifecycle, timeline, watching
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason
from referrals.models import Alert, Entry, Offer, Referral, Unit
from tests.api_world import device_of, driver_device
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_journey, an_offer, told_by
from transport import choosing, estimating, handing_over, invariants, milestones, where_to
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Transfer

pytestmark = pytest.mark.django_db
ARRIVED, ON_THE_ROAD = TransferStage.ARRIVED, TransferStage.ON_THE_ROAD
WHY = "the only ventilator is in use"


@pytest.fixture
def transfer(now, ward):
    """At the door of Kesawari, which had said yes."""
    return a_journey(now - timedelta(hours=1), ward, stage=ARRIVED)


@pytest.fixture
def driver(now):
    return told_by("mateus.dunnaway", now)


def fresh(transfer):
    return Transfer.objects.get(pk=transfer.pk)


def every_invariant_holds():
    moment = invariants.moment(5)
    for look in (invariants.stages_follow_milestones, invariants.stages_follow_entries):
        assert list(look(moment)) == []
    for referral in Referral.objects.all():
        assert timeline.faults_of(referral) == []


def test_it_is_on_the_road_again_and_the_yes_of_that_unit_is_taken_back(transfer, ward, driver):
    left, first = transfer.left_post_at, transfer.at_origin_at
    where_to.go_on(driver, transfer, why=WHY)
    after = fresh(transfer)
    assert (after.stage, after.arrived_at, after.on_the_road_at) == ("on_the_road", None, driver.at)
    assert (after.left_post_at, after.at_origin_at) == (left, first)
    offer = Offer.objects.get(unit=ward)
    assert (offer.stage, offer.decline_reason) == ("declined", DeclineReason.OTHER.value)
    assert Offer.objects.filter(referral=transfer.referral, stage="open").exists()
    assert Alert.objects.open().filter(kind="unplaced").exists()
    every_invariant_holds()


def test_a_unit_that_has_said_yes_since_is_where_it_goes(transfer, ward, intensive, driver, now):
    hana = told_by("hana.wendorra", now)
    offer = transfer.referral.accepted_offer()
    lifecycle.decline(hana, offer, reason=DeclineReason.NO_STAFF)
    assert fresh(transfer).is_turned_away
    lifecycle.accept(hana, an_offer(transfer.referral, intensive, now))
    assert fresh(transfer).is_turned_away
    where_to.go_on(driver, fresh(transfer), why=WHY)
    after = fresh(transfer)
    assert (after.destination, after.is_turned_away) == (intensive, False)
    assert transfer.referral.accepted_offer().unit == intensive
    every_invariant_holds()


def test_steadied_at_a_nearer_unit_it_goes_on_to_another_which_is_no_no(
    transfer, ward, intensive, driver, now
):
    """First to the nearer unit, onward later: nobody declined, both units are in the record."""
    desk = told_by("leena.morrastad", now)
    lifecycle.divert(desk, transfer.referral, why="steadied there, onward for a ventilator")
    assert Offer.objects.get(unit=ward).stage == "withdrawn"
    onward = Offer.objects.filter(referral=transfer.referral, unit=intensive).first()
    onward = onward or an_offer(transfer.referral, intensive, now)
    lifecycle.accept(told_by("hana.wendorra", now), onward)
    where_to.go_on(driver, fresh(transfer), why="steadied there")
    milestones.reach(told_by("mateus.dunnaway", now + timedelta(hours=1)), fresh(transfer), ARRIVED)
    after = fresh(transfer)
    assert (after.stage, after.destination, after.stretch) == ("arrived", intensive, 2)
    assert not after.is_turned_away
    assert Offer.objects.get(unit=ward).stage == "withdrawn"
    assert "has left" in Alert.objects.get(kind="went_on").sentence
    every_invariant_holds()


def test_the_way_is_reckoned_from_that_door(transfer, ward, intensive, driver, now):
    where_to.go_on(driver, transfer, why=WHY)
    lifecycle.accept(told_by("hana.wendorra", now), an_offer(transfer.referral, intensive, now))
    after = Transfer.objects.select_related("destination__site", "vehicle").get(pk=transfer.pk)
    assert choosing.pick_up_place(after) == choosing.place_of(ward.site)
    assert estimating.projected_arrival(after, now).p10 > now


def test_checks_go_on_and_the_desk_knows(transfer, driver, now):
    where_to.go_on(driver, transfer, why=WHY)
    later = now + timedelta(hours=1)
    kinds = {
        concern.kind
        for concern in watching.concerns_of(Referral.objects.get(), later)
        if concern.due_at <= later
    }
    assert {"check_missed", "vehicle_silent"} <= kinds
    assert "handover_unsigned" not in kinds
    assert Alert.objects.filter(kind="went_on").exists()


def test_turned_away_and_still_at_the_door_needs_a_person(transfer, officer, now):
    lifecycle.decline(
        told_by("miriam.castowell", now),
        transfer.referral.accepted_offer(),
        reason=DeclineReason.NO_STAFF,
    )
    watching.look_at(transfer.referral_id, now)
    alert = Alert.objects.open().get(kind="turned_away")
    assert "where they do not stay" in alert.sentence
    page = text_of(browser_of(officer).get("/desk/"))
    assert f"/desk/{transfer.referral.code}/?open=go_on#vehicle" in page


def test_it_arrives_at_the_next_unit_and_is_handed_over(transfer, intensive, driver, now):
    where_to.go_on(driver, transfer, why=WHY)
    lifecycle.accept(told_by("hana.wendorra", now), an_offer(transfer.referral, intensive, now))
    later = told_by("mateus.dunnaway", now + timedelta(minutes=40))
    milestones.reach(later, fresh(transfer), ARRIVED)
    after = fresh(transfer)
    assert (after.stage, after.stands_at, after.is_turned_away) == ("arrived", intensive, False)
    for side in ("giver", "receiver"):
        signature = handing_over.Signature(side=side, name="Hana")
        handing_over.hand_over(later, after, transfer.referral.babies.get(), signature)
    assert fresh(transfer).stage == "handed_over"
    every_invariant_holds()


def test_pressed_by_mistake_it_stands_at_the_door_as_before(transfer, ward, driver, now):
    where_to.go_on(driver, transfer, why=WHY)
    milestones.withdraw_milestone(told_by("leena.morrastad", now), fresh(transfer), ON_THE_ROAD)
    after = fresh(transfer)
    assert (after.stage, after.stands_at, after.stretch) == ("arrived", ward, 1)
    assert after.arrived_at == transfer.arrived_at
    every_invariant_holds()
    where_to.go_on(driver, after, why=WHY)
    assert fresh(transfer).stage == "on_the_road"
    every_invariant_holds()


def test_a_late_press_of_the_first_stretch_changes_nothing_now(transfer, driver, now):
    where_to.go_on(driver, transfer, why=WHY)
    late = told_by("mateus.dunnaway", now - timedelta(minutes=5))
    milestones.reach(late, fresh(transfer), ARRIVED)
    assert fresh(transfer).stage == "on_the_road"
    every_invariant_holds()


def test_only_from_a_door(now, ward, driver):
    transfer = a_journey(now, ward, stage=ON_THE_ROAD)
    with pytest.raises(NotPossible) as refusal:
        where_to.go_on(driver, transfer, why=WHY)
    assert refusal.value.code == "not_arrived"
    assert not Entry.objects.filter(kind="went_on").exists()


def test_the_driver_presses_it_on_the_page_of_the_link(transfer):
    phone, path = browser_of(), f"/d/{token_for(transfer)}/"
    assert press(phone, path, action="/go-on/").status_code == 302
    page = phone.get(path)
    assert "We have arrived" in text_of(page)
    assert not [form for form in forms_on(page) if form["action"].endswith("/go-on/")]
    assert Transfer.objects.get().stage == "on_the_road"


def test_the_escort_presses_it_with_a_reason(transfer, attendant):
    phone, path = browser_of(attendant), f"/r/{transfer.referral.code}/go-on/"
    assert "/go-on/" in text_of(phone.get(f"/r/{transfer.referral.code}/"))
    assert press(phone, path, reason="").status_code == 409
    assert press(phone, path, reason=WHY).status_code == 302
    page = text_of(phone.get(f"/r/{transfer.referral.code}/timeline/"))
    assert "on the road again" in page
    assert WHY in page


def test_the_desk_presses_it_and_undoes_it(transfer, officer):
    desk, path = browser_of(officer), f"/desk/{transfer.referral.code}/"
    press(desk, path, action="/go_on/", why=WHY)
    assert fresh(transfer).stage == "on_the_road"
    undo = next(f for f in forms_on(desk.get(path)) if f["action"].endswith("/mistake/"))
    desk.post(undo["action"], undo["fields"])
    assert fresh(transfer).stage == "arrived"


def test_over_the_api_by_the_link_and_by_the_post(transfer):
    link, path = driver_device(transfer), f"transfers/{transfer.pk}/go_on/"
    assert link.post(path, {"reason": WHY}).json()["stage"] == "on_the_road"
    answer = device_of("tomasi.bellaqua").post(path, {"reason": WHY})
    assert (answer.status_code, answer.json()["code"]) == (409, "not_arrived")


def test_where_only_a_question_stood_the_unit_is_not_asked_any_more(now, ward, driver):
    transfer = a_journey(now, ward, stage=ON_THE_ROAD)
    lifecycle.withdraw(driver, transfer.referral.accepted_offer(), why="another plan")
    other = Unit.objects.get(code="BAN-NB")
    desk = told_by("leena.morrastad", now)
    where_to.send_toward(desk, transfer, other)
    milestones.reach(driver, transfer, ARRIVED)
    where_to.go_on(driver, fresh(transfer), why=WHY)
    assert Offer.objects.get(unit=other).stage == "declined"
    assert fresh(transfer).destination is None
    every_invariant_holds()
