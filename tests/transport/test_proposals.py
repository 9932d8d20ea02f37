"""A vehicle is proposed from the raise on, over all journeys; only a person sends one."""

from datetime import time, timedelta

import pytest

from referrals import endings, recording
from referrals.models import District, Site, Staff, StaffRole
from tests.api_world import device_of
from tests.pages_world import browser_of, press, text_of
from tests.world import a_referral, told_by
from transport import lifecycle, proposing
from transport.calc import vehicle_costs
from transport.models import CrewShift, Proposal, Transfer, Vehicle

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"
STABLE = {"breathing": "regular", "support": "none", "heart_rate": 140, "temperature_c": 36.8}


@pytest.fixture
def first(district, now):
    return a_referral(now)


def proposed(referral, now):
    return proposing.proposal_for(referral.transfers.live().get(), now)


def only(*codes):
    Vehicle.objects.exclude(code__in=codes).update(state="out_of_service")


def unlike(row):
    """Another free vehicle than the one proposed, that can go too."""
    costs = row.body["costs"]
    return next(
        vehicle
        for vehicle in Vehicle.objects.filter(state="free").exclude(pk=row.vehicle_id)
        if not costs[vehicle.code]["cell"]["cannot"]
    )


class TestWhatIsProposed:
    def test_a_vehicle_before_any_unit_has_accepted_and_nothing_is_sent(self, first, now):
        row = proposed(first, now)
        assert row.vehicle.state == "free"
        assert row.since == now
        assert row.saves > 0
        assert first.transfers.get().stage == "wanted"
        assert not first.entries.filter(kind="transfer_assigned").exists()

    def test_the_sweep_proposes_by_itself(self, first, now):
        proposing.keep_up(now)
        assert Proposal.objects.get(transfer__referral=first).vehicle is not None

    def test_two_babies_never_get_the_same_vehicle_and_the_bagged_one_comes_first(self, first, now):
        only("AMB-1")
        second = a_referral(now, attendant="mei.corrowan")
        recording.observe(told_by("mei.corrowan", now), second.babies.get(), STABLE)
        second.refresh_from_db()
        assert second.urgency == "stable"
        bagged, stable = proposed(first, now), proposed(second, now)
        assert bagged.vehicle.code == "AMB-1"
        assert stable.vehicle is None
        said = " ".join(stable.reasons)
        assert "Ring for a car, a motorcycle or a boat now" in said
        assert f"is needed more for {first.code}" in said

    def test_one_found_by_phone_competes_once_it_is_written_down(self, first, now):
        only("AMB-2")
        near = first.origin
        told = {
            "kind": "car", "name": "Red taxi", "driver_name": "A neighbour",
            "driver_phone": "+12025550199", "latitude": near.latitude,
            "longitude": near.longitude, "water_litres": 10, "bar": 150,
        }  # fmt: skip
        assert proposed(first, now).vehicle.code == "AMB-2"
        device_of(OFFICER).post("vehicles/", told)
        row = proposed(first, now + timedelta(minutes=1))
        assert row.vehicle.name == "Red taxi"
        assert row.since == now + timedelta(minutes=1)
        assert row.vehicle.state == "free"

    def test_the_fuel_that_somebody_told_is_a_limit(self, first, now):
        only("AMB-1", "AMB-2")
        best = proposed(first, now).vehicle
        Vehicle.objects.filter(pk=best.pk).update(range_km=1)
        row = proposed(first, now)
        assert row.vehicle_id != best.pk
        assert any("has fuel for 1 km" in reason for reason in row.reasons)

    def test_a_crew_off_duty_is_not_proposed_and_one_whose_shift_follows_is(self, first, now):
        only("AMB-1", "AMB-2")
        best = proposed(first, now).vehicle
        # ``now`` is a Sunday; a crew on Mondays only is off duty.
        shift = CrewShift.objects.create(
            vehicle=best, weekday=(now.weekday() + 1) % 7, starts=time(8), ends=time(20)
        )
        row = proposed(first, now)
        assert row.vehicle_id != best.pk
        assert any("is off duty" in reason for reason in row.reasons)
        for weekday in range(7):
            shift.pk = None
            shift.weekday, shift.starts, shift.ends = weekday, time(6), time(6)
            shift.save()
        assert proposed(first, now).vehicle_id == best.pk

    def test_a_vehicle_on_a_journey_is_not_proposed(self, first, now):
        second = a_referral(now, attendant="mei.corrowan")
        best = proposed(second, now).vehicle
        lifecycle.assign(told_by(OFFICER, now), first.transfers.get(), best)
        row = proposed(second, now)
        assert row.vehicle_id != best.pk
        assert f"{best.name} is on the journey of {first.code}" in " ".join(row.reasons)

    def test_another_districts_vehicles_and_journeys_do_not_mix(self, first, now):
        far = District.objects.create(code="far", name="A far district")
        theirs = Vehicle.objects.create(
            district=far, code="far-1", name="Far", kind="ambulance",
            latitude=first.origin.latitude, longitude=first.origin.longitude,
        )  # fmt: skip
        row = proposed(first, now)
        assert row.vehicle_id != theirs.pk
        assert theirs.code not in row.body["costs"]


def test_a_fault_in_one_district_is_logged_and_holds_up_nobody(first, now, monkeypatch, caplog):
    def fails(*_):
        raise RuntimeError("no roads")

    monkeypatch.setattr(proposing, "Roads", fails)
    proposing.keep_up(now)
    assert "no vehicles could be proposed" in caplog.text
    assert not Proposal.objects.exists()


class TestSteady:
    def test_nothing_is_written_anew_while_nothing_changes(self, first, now):
        row = proposed(first, now)
        again = proposed(first, now + timedelta(seconds=30))
        assert (again.pk, again.made_at, again.body) == (row.pk, row.made_at, row.body)

    def test_a_small_gain_changes_nothing_and_a_great_one_does(self, first, now):
        only("AMB-1", "AMB-2")
        before = proposed(first, now)
        other = unlike(before)
        near = first.origin
        District.objects.update(swap_minutes=240)
        Vehicle.objects.filter(pk=other.pk).update(
            latitude=near.latitude, longitude=near.longitude, seen_at=now
        )
        kept = proposed(first, now)
        assert (kept.vehicle_id, kept.since) == (before.vehicle_id, before.since)
        assert any("was proposed before" in reason for reason in kept.reasons)
        District.objects.update(swap_minutes=5)
        later = now + timedelta(minutes=1)
        changed = proposed(first, later)
        assert (changed.vehicle_id, changed.since) == (other.pk, later)

    def test_only_what_changed_is_estimated_anew_and_the_choice_is_as_from_nothing(
        self, first, now, monkeypatch
    ):
        second = a_referral(now, attendant="mei.corrowan")
        proposing.keep_up(now)
        worked_out = []
        real = proposing.cell_of

        def noted(wanted, going, ways):
            worked_out.append((wanted.key, going.key))
            return real(wanted, going, ways)

        monkeypatch.setattr(proposing, "cell_of", noted)
        proposing.keep_up(now)
        assert worked_out == []
        recording.observe(told_by("mei.corrowan", now), second.babies.get(), STABLE)
        Vehicle.objects.filter(code="AMB-1").update(range_km=400)
        District.objects.update(swap_minutes=0)
        proposing.keep_up(now)
        count = Vehicle.objects.exclude(state="out_of_service").count()
        assert len(worked_out) == count + 1  # its row, and one column of the other
        by_pieces = list(Proposal.objects.order_by("transfer").values("vehicle", "saves", "body"))
        Proposal.objects.all().delete()
        proposing.keep_up(now)
        from_nothing = Proposal.objects.order_by("transfer").values("vehicle", "saves", "body")
        assert list(from_nothing) == by_pieces


class TestAtTheDesk:
    def test_one_press_sends_what_is_proposed(self, first, officer, now):
        row = proposed(first, now)
        leena, path = browser_of(officer), f"/desk/{first.code}/"
        page = text_of(leena.get(path))
        assert "Proposed vehicle" in page
        assert "Nobody has sent it" in page
        answer = press(leena, path, action="/assign/", vehicle=row.vehicle.code)
        assert answer.status_code == 302
        entry = first.entries.get(kind="transfer_assigned")
        assert entry.body["vehicle"] == entry.body["proposed"] == row.vehicle.code
        assert "Proposed vehicle" not in text_of(leena.get(path))

    def test_another_choice_wins_and_stands_on_the_timeline_with_its_reason(
        self, first, officer, now
    ):
        row = proposed(first, now)
        other = unlike(row)
        leena, path = browser_of(officer), f"/desk/{first.code}/"
        told = {"vehicle": other.code, "why": "its driver knows the ford"}
        assert press(leena, path, action="/assign/", **told).status_code == 302
        entry = first.entries.get(kind="transfer_assigned")
        assert (entry.body["vehicle"], entry.body["proposed"]) == (other.code, row.vehicle.code)
        page = text_of(leena.get(path))
        assert f"{other.name} sent (proposed was {row.vehicle.name})" in page
        assert "its driver knows the ford" in page

    def test_one_that_is_kept_stays_whatever_is_better_until_it_is_let_go(
        self, first, officer, now
    ):
        other = unlike(proposed(first, now))
        leena, path = browser_of(officer), f"/desk/{first.code}/"
        assert press(leena, path, action="/keep/", vehicle=other.code).status_code == 302
        row = proposed(first, now)
        assert (row.vehicle_id, row.pinned_by) == (other.pk, str(officer))
        assert f"Kept for this journey by {officer}" in text_of(leena.get(path))
        assert Vehicle.objects.get(pk=other.pk).state == "free"
        assert press(leena, path, action="/let_go/").status_code == 302
        assert proposed(first, now).pinned_by == ""
        kinds = [entry.kind for entry in first.entries.order_by("-seq")[:2]]
        assert kinds == ["vehicle_let_go", "vehicle_kept"]

    def test_a_vehicle_kept_for_one_is_not_kept_for_another(self, first, now):
        second = a_referral(now, attendant="mei.corrowan")
        transfers = [each.transfers.get().pk for each in (first, second)]
        desk = device_of(OFFICER)
        kept = desk.post(f"transfers/{transfers[0]}/proposal/", {"vehicle": "AMB-1"})
        assert kept.json()["proposal"]["pinned_by"]
        refused = desk.post(f"transfers/{transfers[1]}/proposal/", {"vehicle": "AMB-1"})
        assert (refused.status_code, refused.json()["code"]) == (409, "kept_for_another")
        # A person may still send it there: the choice of a person wins.
        sent = desk.post(f"transfers/{transfers[1]}/assign/", {"vehicle": "AMB-1"})
        assert sent.status_code == 200
        row = proposed(first, now)
        assert row.pinned_by == ""
        assert row.vehicle.code != "AMB-1"

    def test_one_found_by_phone_can_be_written_down_without_being_sent(self, first, officer):
        told = {
            "kind": "car", "name": "Red taxi", "driver_name": "A neighbour",
            "driver_phone": "+12025550199", "only_note": "on", "range_km": "120",
            "stands_at": Site.objects.get(code="SAL").pk,
        }  # fmt: skip
        answer = press(browser_of(officer), f"/desk/{first.code}/", action="/found/", **told)
        assert answer.status_code == 302
        taxi = Vehicle.objects.get(registered=False)
        assert (taxi.state, taxi.range_km) == ("free", 120)
        assert first.transfers.get().stage == "wanted"


class TestApi:
    def test_the_desk_reads_what_is_proposed_and_why(self, first, now):
        transfer = first.transfers.get()
        body = device_of(OFFICER).get(f"transfers/{transfer.pk}/proposal/").json()["proposal"]
        row = Proposal.objects.get(transfer=transfer)
        assert (body["referral"], body["vehicle"]) == (first.code, row.vehicle.code)
        assert 0 < body["to_baby_p50_minutes"] <= body["to_baby_p90_minutes"]
        assert body["to_baby_p90_minutes"] < body["to_care_minutes"] * 3
        assert body["weight"] == vehicle_costs.WEIGHTS["ventilated"].weight
        listed = device_of(OFFICER).get("proposals/").json()
        assert [each["referral"] for each in listed["results"]] == [first.code]

    def test_a_journey_with_a_vehicle_has_none(self, first, now):
        transfer = first.transfers.get()
        lifecycle.assign(told_by(OFFICER, now), transfer, Vehicle.objects.get(code="AMB-1"))
        desk = device_of(OFFICER)
        assert desk.get(f"transfers/{transfer.pk}/proposal/").json() == {"proposal": None}
        refused = desk.post(f"transfers/{transfer.pk}/proposal/", {"vehicle": "AMB-2"})
        assert (refused.status_code, refused.json()["code"]) == (409, "has_vehicle")

    def test_the_desk_of_another_district_sees_none_of_it(self, first, now):
        proposing.keep_up(now)
        far = District.objects.create(code="far", name="A far district")
        theirs = Staff.objects.create(username="far.desk", display_name="Far Desk")
        StaffRole.objects.create(staff=theirs, role="desk", district=far)
        assert device_of("far.desk").get("proposals/").json()["count"] == 0


def test_what_was_proposed_is_gone_when_the_referral_ends(first, now):
    proposing.keep_up(now)
    endings.take_back(told_by("tomasi.bellaqua", now), first, reason="wrong number")
    proposing.keep_up(now)
    assert not Proposal.objects.exists()
    assert not Transfer.objects.live().exists()
