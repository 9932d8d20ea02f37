"""A milestone pressed by mistake is taken back, and the journey stands where it stood before."""

from datetime import timedelta

import pytest

from referrals import clock
from referrals.calc.states import NotPossible
from referrals.models import Entry, KeptInput
from tests.api_world import device_of, driver_device
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_journey, told_by
from transport import handing_over, invariants, milestones
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Transfer

pytestmark = pytest.mark.django_db
ARRIVED, ON_THE_ROAD = TransferStage.ARRIVED, TransferStage.ON_THE_ROAD


@pytest.fixture
def transfer(now, ward):
    """On the road with the baby; 'arrived' was pressed by mistake."""
    return a_journey(now - timedelta(hours=1), ward, stage=ARRIVED)


def fresh(transfer):
    return Transfer.objects.get(pk=transfer.pk)


def withdraw(transfer, now, milestone=None):
    by = told_by("mateus.dunnaway", now)
    return milestones.withdraw_milestone(by, transfer, milestone)


class TestFoldedBack:
    def test_stage_and_time_are_those_of_what_else_was_reported(self, transfer, now):
        before = transfer.on_the_road_at
        withdraw(transfer, now)
        after = fresh(transfer)
        assert (after.stage, after.on_the_road_at, after.arrived_at) == (
            "on_the_road",
            before,
            None,
        )

    def test_over_a_gap_it_folds_back_to_what_was_really_told(self, now, ward):
        transfer = a_journey(now, ward, stage=TransferStage.COLLECTING)
        milestones.reach(told_by("mateus.dunnaway", now), transfer, ARRIVED)
        withdraw(transfer, now)
        assert fresh(transfer).stage == "collecting"
        withdraw(transfer, now)
        assert fresh(transfer).stage == "assigned"
        with pytest.raises(NotPossible, match="none to take back"):
            withdraw(transfer, now)

    def test_the_row_stays_in_sight_and_the_timeline_says_so(self, transfer, officer, now):
        withdraw(transfer, now)
        row = transfer.milestones.get(kind="arrived")
        assert (row.withdrawn_at, row.withdrawn_by) == (now, "Mateus Dunnaway")
        body = Entry.objects.get(kind="milestone_withdrawn").body
        assert (body["transfer"], body["milestone"]) == (transfer.pk, "arrived")
        page = text_of(browser_of(officer).get(f"/desk/{transfer.referral.code}/"))
        assert "taken back, it was a mistake: the vehicle arrived at the unit" in page
        assert "by Mateus Dunnaway" in page

    def test_it_can_be_reported_again(self, transfer, now):
        withdraw(transfer, now)
        milestones.reach(told_by("mateus.dunnaway", now), transfer, ARRIVED)
        assert (fresh(transfer).stage, fresh(transfer).arrived_at) == ("arrived", now)
        assert transfer.milestones.filter(kind="arrived").count() == 2

    def test_withdrawn_twice_it_changes_nothing(self, transfer, now):
        for _ in range(2):
            withdraw(transfer, now, ARRIVED)
        assert fresh(transfer).stage == "on_the_road"
        assert Entry.objects.filter(kind="milestone_withdrawn").count() == 1

    def test_only_the_last_one_can_be_withdrawn(self, transfer, now):
        with pytest.raises(NotPossible, match="The last milestone is 'arrived'") as refusal:
            withdraw(transfer, now, ON_THE_ROAD)
        assert refusal.value.code == "not_the_last"

    @pytest.mark.parametrize("sides", [("giver",), ("giver", "receiver")])
    def test_not_once_a_handover_is_signed(self, transfer, now, sides):
        for side in sides:
            signature = handing_over.Signature(side=side, name="Hana", band_checked=True)
            baby = transfer.referral.babies.get()
            handing_over.hand_over(told_by("hana.wendorra", now), transfer, baby, signature)
        with pytest.raises(NotPossible) as refusal:
            withdraw(transfer, now)
        assert refusal.value.code == ("handover_signed" if len(sides) == 1 else "journey_over")
        assert fresh(transfer).arrived_at

    def test_rows_entries_and_milestones_still_agree(self, transfer, now):
        withdraw(transfer, now)
        at = invariants.moment(60)
        assert list(invariants.stages_follow_milestones(at)) == []
        assert list(invariants.stages_follow_entries(at)) == []


class TestTheDriver:
    @pytest.fixture
    def path(self, transfer):
        return f"/d/{token_for(transfer)}/"

    def test_a_quiet_button_takes_the_last_press_back(self, transfer, path):
        phone = browser_of(enforce_csrf_checks=True)
        answer = press(phone, path, 3, action="/mistake/")
        assert answer.status_code == 302
        assert fresh(transfer).stage == "on_the_road"
        page = phone.get(path)
        assert forms_on(page)[0]["fields"]["milestone"] == "arrived"

    def test_only_the_button_of_the_last_milestone_is_seen(self, transfer, path):
        page = text_of(browser_of().get(path))
        assert page.count('data-queue class="mistake hidden"') == 3
        assert page.count('data-queue class="mistake"') == 1
        assert "“We have arrived” was a mistake" in page

    def test_before_the_first_press_there_is_nothing_to_take_back(self, now, ward):
        transfer = a_journey(now, ward, stage=TransferStage.ASSIGNED)
        page = text_of(browser_of().get(f"/d/{token_for(transfer)}/"))
        assert page.count('data-queue class="mistake hidden"') == 4

    def test_press_mistake_press_kept_offline_arrive_in_order(self, now, ward):
        transfer = a_journey(now, ward, stage=TransferStage.ASSIGNED)
        path, phone = f"/d/{token_for(transfer)}/", browser_of()
        sent = clock.now()
        queue = [
            ("reached", {"key": "a", "milestone": "collecting"}, 9),
            ("mistake", {"key": "b", "mistake": "collecting"}, 8),
            ("reached", {"key": "c", "milestone": "collecting"}, 2),
        ]
        for name, told, ago in queue:
            told["happened_at"] = (sent - timedelta(minutes=ago)).isoformat()
            for _ in range(2):  # the first answer was lost on the way
                phone.post(f"{path}{name}/", told, headers={"Sent-At": sent.isoformat()})
        assert fresh(transfer).stage == "collecting"
        ago = clock.now() - fresh(transfer).collecting_at
        assert abs(ago - timedelta(minutes=2)) < timedelta(seconds=30)
        assert transfer.milestones.count() == 2

    def test_through_a_link_that_has_ended_it_is_kept_and_never_taken_for_a_milestone(
        self, transfer, path, now
    ):
        journeys.unassign(told_by("leena.morrastad", now), transfer, why="does not answer")
        before = transfer.milestones.count()
        browser_of().post(f"{path}mistake/", {"key": "one", "mistake": "arrived"})
        assert transfer.milestones.count() == before
        assert "mistake=arrived" in KeptInput.objects.get().body

    def test_a_refusal_is_a_sentence_on_the_page(self, path):
        answer = browser_of().post(f"{path}mistake/", {"mistake": "collecting"})
        assert answer.status_code == 409
        assert "Only the last one can be" in text_of(answer)


class TestDeskAndDevices:
    def test_the_desk_takes_it_back_for_the_driver(self, transfer, officer):
        desk = browser_of(officer)
        path = f"/desk/{transfer.referral.code}/"
        assert "arrived at the unit&#x27; was pressed by mistake" in text_of(
            desk.get(path)
        ) or "'arrived at the unit' was pressed by mistake" in text_of(desk.get(path))
        assert press(desk, path, action="/mistake/").status_code == 302
        assert fresh(transfer).stage == "on_the_road"

    def test_what_the_desk_saw_is_what_is_taken_back(self, transfer, officer, now):
        withdraw(transfer, now)
        path = f"/desk/{transfer.referral.code}/mistake/"
        browser_of(officer).post(path, {"milestone": "arrived"})
        assert fresh(transfer).stage == "on_the_road"

    @pytest.mark.parametrize("who", ["link", "mateus.dunnaway", "tomasi.bellaqua"])
    def test_a_device_takes_it_back(self, transfer, who):
        device = driver_device(transfer) if who == "link" else device_of(who)
        path = f"transfers/{transfer.pk}/milestones/withdraw/"
        answer = device.post(path, {"milestone": "arrived"})
        assert (answer.status_code, answer.json()["stage"]) == (200, "on_the_road")
        assert answer.json()["next_milestone"] == "arrived"
        rows = device_of("leena.morrastad").get(f"transfers/{transfer.pk}/").json()["milestones"]
        assert [row["milestone"] for row in rows if row["withdrawn_at"]] == ["arrived"]
        again = device.post(path, {"milestone": "collecting"})
        assert (again.status_code, again.json()["code"]) == (409, "not_the_last")
