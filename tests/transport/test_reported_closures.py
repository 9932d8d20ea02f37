"""A road, bridge or landing reported closed: estimates renewed, the desk told, expiry by itself."""

from datetime import timedelta

import pytest

from referrals import clock, sweeping
from referrals.calc.states import NotPossible
from referrals.models import Alert, District
from tests.api_world import device_of
from tests.commands import run
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_journey, a_referral, told_by
from transport import choosing, closures, estimating, tracking, where_to
from transport.calc.closures import ClosureKind, closures_of, middle
from transport.calc.places import Place
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Closure, Transfer

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"


def on_the_way(transfer):
    """The middle of the way from the post to the unit."""
    return middle(
        choosing.place_of(transfer.referral.origin), choosing.place_of(transfer.destination.site)
    )


def report(transfer, now, *, place=None, **told):
    if "between" not in told:
        told["place"] = place or on_the_way(transfer)
    what = {"kind": ClosureKind.BRIDGE, "name": "Bridge of Ossery"} | told
    return closures.report(
        told_by(OFFICER, now), transfer.referral.district, closures.ClosureTold(**what)
    )


@pytest.fixture
def transfer(now, ward):
    return a_journey(now, ward, stage=TransferStage.ASSIGNED)


def alert_of(transfer):
    return Alert.objects.filter(referral=transfer.referral, kind="road_closed")


class TestReport:
    def test_the_way_is_expected_later_and_wider(self, transfer, now):
        before = estimating.road_estimate(transfer, now)
        report(transfer, now)
        after = estimating.road_estimate(transfer, now)
        assert after.p50_minutes > before.p50_minutes
        assert after.p90_minutes - after.p10_minutes > before.p90_minutes - before.p10_minutes
        assert closures_of(after) == ("Bridge of Ossery",)

    def test_every_open_journey_is_ranked_and_estimated_anew_at_once(self, transfer, now):
        other = a_referral(now, attendant="mei.corrowan")
        ranked = {each.pk: each.rankings.count() for each in (transfer.referral, other)}
        report(transfer, now)
        for referral in (transfer.referral, other):
            assert referral.rankings.count() == ranked[referral.pk] + 1
            assert referral.entries.filter(kind="roads_changed").count() == 1
        newest = transfer.estimate_set.filter(purpose="road").last()
        assert newest.inputs["closures"] == ["Bridge of Ossery"]
        assert newest.method == "geodesic_detour+closures"

    def test_the_desk_is_told_of_the_journey_whose_way_it_is_and_of_no_other(self, transfer, now):
        report(transfer, now)
        alert = alert_of(transfer).get()
        assert "Bridge of Ossery" in alert.sentence
        assert alert.for_desk
        report(transfer, now, place=Place(-20.0, 80.0), name="Far away")
        assert alert_of(transfer).count() == 1

    def test_no_unit_is_left_out_and_the_reasons_say_what_is_closed(self, transfer, ward, now):
        referral = a_referral(now)
        before = choosing.ranking_for(referral, now)
        report(transfer, now)
        after = choosing.ranking_for(referral, now)
        assert {(c.key, c.possible) for c in after.candidates} == {
            (c.key, c.possible) for c in before.candidates
        }
        candidate = next(c for c in after.candidates if c.key == ward.code)
        said = " ".join(candidate.reasons_against)
        assert "reported closed on the straight way to the unit: Bridge of Ossery" in said
        assert "a guess without a road map" in said

    def test_the_road_between_two_sites(self, transfer, now):
        ends = (transfer.referral.origin, transfer.destination.site)
        report(transfer, now, between=ends)
        assert closures_of(estimating.road_estimate(transfer, now)) == ("Bridge of Ossery",)
        assert alert_of(transfer).exists()

    def test_what_the_vehicle_has_passed_is_no_longer_on_its_way(self, ward, now):
        transfer = a_journey(now - timedelta(hours=1), ward, stage=TransferStage.ON_THE_ROAD)
        report(transfer, now)
        assert estimating.road_estimate(transfer, now).inputs["closures"]
        site = transfer.destination.site
        near = tracking.PositionTold(
            key="near", happened_at=now, latitude=site.latitude, longitude=site.longitude
        )
        tracking.record(transfer, [near], received_at=now)
        assert closures_of(estimating.road_estimate(transfer, now)) == ()
        closures.keep_up(now)
        assert not alert_of(transfer).open().exists()

    def test_the_district_may_set_what_a_closure_costs(self, transfer, now):
        plain = estimating.road_estimate(transfer, now).p50_minutes
        transfer.referral.district.travel_settings = {
            **transfer.referral.district.travel_settings, "closure_factor": 3,
        }  # fmt: skip
        report(transfer, now)
        assert estimating.road_estimate(transfer, now).p50_minutes == pytest.approx(3 * plain)

    @pytest.mark.parametrize(
        "told",
        [{"hours": 0}, {"hours": 10_000}, {"radius_km": 0}, {"radius_km": 900}, {"between": None}],
    )
    def test_what_cannot_be_is_refused_and_nothing_is_kept(self, transfer, now, told):
        with pytest.raises(NotPossible):
            report(transfer, now, **told)
        assert not Closure.objects.exists()


class TestTheEnd:
    def test_lifted_it_stops_counting_and_the_alert_is_settled(self, transfer, now):
        plain = estimating.road_estimate(transfer, now).p50_minutes
        closure = report(transfer, now)
        later = now + timedelta(minutes=5)
        closures.lift(told_by(OFFICER, later), closure)
        closures.lift(told_by(OFFICER, later), closure)
        assert estimating.road_estimate(transfer, later).p50_minutes == pytest.approx(plain)
        assert not alert_of(transfer).open().exists()
        changes = [
            entry.body["change"]
            for entry in transfer.referral.entries.filter(kind="roads_changed").order_by("seq")
        ]
        assert changes == ["reported", "lifted"]

    def test_it_stops_counting_by_itself_and_the_sweep_renews_once(self, transfer, now):
        plain = estimating.road_estimate(transfer, now).p50_minutes
        report(transfer, now, hours=1)
        later = now + timedelta(minutes=61)
        assert estimating.road_estimate(transfer, later).p50_minutes == pytest.approx(plain)
        for _ in range(2):
            closures.keep_up(later)
        entries = transfer.referral.entries.filter(kind="roads_changed")
        assert [entry.body["change"] for entry in entries.order_by("seq")] == ["reported", "ended"]
        assert not alert_of(transfer).open().exists()

    def test_a_way_that_comes_to_pass_it_later_is_told_by_the_sweep(self, ward, now):
        transfer = a_journey(now, ward, stage=TransferStage.ASSIGNED)
        place = on_the_way(transfer)
        referral = a_referral(now, attendant="tomasi.bellaqua")
        report(transfer, now, place=place)
        fresh = referral.transfers.get()
        assert not alert_of(fresh).exists()
        where_to.send_toward(told_by(OFFICER, now), fresh, ward)
        sweeping.sweep("test", send=False)
        assert alert_of(fresh).count() == 1
        sweeping.sweep("test", send=False)
        assert alert_of(fresh).count() == 1

    def test_a_fault_with_a_closure_never_stops_the_sweep(self, transfer, now, monkeypatch):
        report(transfer, now, hours=1)
        other = report(transfer, now, hours=24, place=Place(-20.0, 80.0))

        def broken(closure, now):
            raise RuntimeError("no")

        monkeypatch.setattr(closures, "_end_by_itself", broken)
        looked = []
        monkeypatch.setattr(closures, "_tell_of_changes", lambda each, now: looked.append(each.pk))
        closures.keep_up(now + timedelta(hours=2))
        assert looked == [other.pk]


class TestTheDriver:
    @pytest.fixture
    def path(self, transfer):
        return f"/d/{token_for(transfer)}/"

    def at(self, transfer, place, moment):
        one = tracking.PositionTold(
            key=f"k{moment:%M%S}",
            happened_at=moment,
            latitude=place.latitude,
            longitude=place.longitude,
        )
        tracking.record(transfer, [one], received_at=moment)

    def test_one_press_reports_the_road_where_the_vehicle_is(self, transfer, path, now):
        place = on_the_way(transfer)
        self.at(transfer, place, clock.now())
        answer = press(browser_of(), path, action="/closed/", words="tree across")
        assert answer.status_code == 302
        closure = Closure.objects.get()
        assert (closure.latitude, closure.longitude) == (place.latitude, place.longitude)
        assert (closure.words, closure.reported_by) == ("tree across", transfer.driver_name)
        assert closure.ends_at > now + timedelta(hours=1)
        assert "The desk knows that the road is closed here." in text_of(
            browser_of().get(answer["Location"])
        )

    def test_pressed_twice_it_is_one_closure(self, transfer, path):
        self.at(transfer, on_the_way(transfer), clock.now())
        phone = browser_of()
        page = phone.get(path)
        form = next(f for f in forms_on(page) if f["action"].endswith("/closed/"))
        for _ in range(2):
            phone.post(form["action"], form["fields"])
        assert Closure.objects.count() == 1

    def test_without_a_position_the_driver_is_asked_to_ring(self, transfer, path):
        Transfer.objects.get(pk=transfer.pk).positions.all().delete()
        answer = press(browser_of(), path, action="/closed/")
        assert answer.status_code == 409
        assert "Please ring the desk and say where." in text_of(answer)
        assert not Closure.objects.exists()


class TestTheDesk:
    @pytest.fixture
    def leena(self, officer):
        return browser_of(officer)

    def told(self, transfer, **more):
        place = on_the_way(transfer)
        return {
            "kind": "bridge", "name": "Bridge of Ossery", "latitude": place.latitude,
            "longitude": place.longitude, "hours": "6",
        } | more  # fmt: skip

    def test_it_reports_and_lifts(self, leena, transfer):
        answer = press(leena, "/desk/roads/", action="/report/", **self.told(transfer))
        assert answer.status_code == 302
        assert "Bridge of Ossery" in text_of(leena.get("/desk/roads/"))
        first_page = text_of(leena.get("/desk/"))
        assert "reported closed until" in first_page
        assert "What is reported closed" in first_page
        press(leena, "/desk/roads/", action="/lift/")
        assert "Bridge of Ossery" not in text_of(leena.get("/desk/roads/"))

    def test_a_form_that_fails_keeps_what_was_typed(self, leena, transfer):
        told = self.told(transfer, latitude="", words="after the rain")
        answer = press(leena, "/desk/roads/", action="/report/", **told)
        assert answer.status_code == 409
        page = text_of(answer)
        assert "two sites with the road between them, or a point" in page
        assert "after the rain" in page
        too_long = press(leena, "/desk/roads/", action="/report/", **self.told(transfer, hours="0"))
        assert too_long.status_code == 400

    def test_the_season_is_switched(self, leena, district):
        for season, kept in (("rainy", True), ("dry", False), ("months", None)):
            press(leena, "/desk/roads/", action="/season/", season=season)
            assert District.objects.get().rainy_season is kept

    def test_the_timeline_says_it_in_words(self, leena, transfer):
        press(leena, "/desk/roads/", action="/report/", **self.told(transfer))
        page = text_of(leena.get(f"/desk/{transfer.referral.code}/"))
        assert "a bridge reported closed; ranked and estimated anew (this way passes it)" in page

    @pytest.mark.parametrize("username", ["tomasi.bellaqua", "hana.wendorra", "mateus.dunnaway"])
    def test_the_page_is_for_the_desk_alone(self, person, username):
        assert browser_of(person(username)).get("/desk/roads/").status_code == 404


class TestTheApi:
    def test_the_post_reports_and_the_desk_lifts(self, transfer, now):
        post = device_of("tomasi.bellaqua")
        body = {"kind": "road", "name": "Ridge road", "one_end": "MRW", "other_end": "KES"}
        answer = post.post("closures/", body)
        assert answer.status_code == 201
        assert answer.json()["one_end"] == "MRW"
        assert answer.json()["ends_at"] > now.isoformat()
        path = f"closures/{answer.json()['id']}/lift/"
        assert device_of("wezi.oranday").post(path, {}).status_code == 403
        assert device_of(OFFICER).get("closures/").json()["count"] == 1
        assert device_of(OFFICER).post(path, {}).json()["lifted_at"]
        assert post.get("closures/").json()["count"] == 0

    def test_whoever_reported_it_takes_it_back(self, transfer, now):
        post = device_of("tomasi.bellaqua")
        body = {"kind": "road", "name": "Ridge road", "one_end": "MRW", "other_end": "KES"}
        path = f"closures/{post.post('closures/', body).json()['id']}/lift/"
        assert post.post(path, {}).json()["lifted_at"]

    @pytest.mark.parametrize(
        ("body", "status"),
        [
            ({"kind": "road", "name": "x"}, 409),
            ({"kind": "road", "name": "x", "one_end": "MRW"}, 409),
            ({"kind": "road", "name": "x", "one_end": "XXX", "other_end": "KES"}, 400),
            ({"kind": "tunnel", "name": "x", "latitude": 1, "longitude": 1}, 400),
        ],
    )
    def test_half_a_place_is_refused(self, district, body, status):
        assert device_of(OFFICER).post("closures/", body).status_code == status
        assert not Closure.objects.exists()

    def test_the_estimate_command_knows_it_too(self, transfer, now):
        pair = (transfer.referral.origin.code, transfer.destination.site.code)
        before = run("estimate", *pair, "--json").json
        report(transfer, now)
        after = run("estimate", *pair, "--json").json
        assert after["p50_minutes"] > before["p50_minutes"]
        assert after["method"] == "geodesic_detour+closures"
