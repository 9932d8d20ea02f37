"""The desk: who sees it, what needs a person first, the ribbon, and every verb of one referral."""

import asyncio
import contextlib
import re
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import AsyncClient
from django.utils import timezone

from referrals import alerting, clock, endings, recording, sweeping
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Alert, Delivery, District, KeptInput, Observation, Staff, Unit
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, a_placed_referral, a_referral, an_offer, told_by
from transport import desk as rows
from transport import on_the_way
from transport.calc.stages import TransferStage
from transport.models import Check, Cylinder, Vehicle
from transport.pages import desk_stream, needs_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def leena(officer):
    return browser_of(officer)


def late(now, minutes):
    """The sweep has looked at everything after some minutes, and its clock is the page's."""
    return now - timedelta(minutes=minutes)


class TestWhoSeesIt:
    @pytest.mark.parametrize(
        ("username", "status"),
        [
            ("leena.morrastad", 200),
            ("adaeze.wintermoor", 200),
            ("tomasi.bellaqua", 404),
            ("hana.wendorra", 404),
            ("mateus.dunnaway", 404),
        ],
    )
    def test_only_the_desk_and_the_lead_have_a_desk(self, district, now, username, status):
        code = a_referral(now).code
        browser = browser_of(Staff.objects.get(username=username))
        for path in ("/desk/", "/desk/rows/", f"/desk/{code}/"):
            assert browser.get(path).status_code == status, path

    def test_nobody_signed_in_is_asked_to_sign_in(self, district):
        answer = browser_of().get("/desk/")
        assert answer.status_code == 302
        assert "sign-in" in answer["Location"]

    def test_a_referral_of_another_district_does_not_exist_here(self, leena, now):
        referral = a_referral(now)
        elsewhere = District.objects.create(code="elsewhere", name="Elsewhere")
        type(referral).objects.filter(pk=referral.pk).update(district=elsewhere)
        assert leena.get(f"/desk/{referral.code}/").status_code == 404
        assert leena.post(f"/desk/{referral.code}/ask_next/").status_code == 404

    def test_a_code_nobody_has_and_a_verb_nobody_knows_are_404(self, leena, now):
        assert leena.get("/desk/Z9Z9/").status_code == 404
        assert leena.post(f"/desk/{a_referral(now).code}/erase/").status_code == 404


class TestTheFirstPage:
    def test_an_empty_desk_says_so(self, leena):
        page = text_of(leena.get("/desk/"))
        assert "Nobody is needed just now." in page
        assert "No journey is open." in page

    def test_it_says_loudly_that_nothing_is_watched(self, leena):
        assert "Nothing is being watched" in text_of(leena.get("/desk/"))
        sweeping.sweep("test", send=False)
        assert "Nothing is being watched" not in text_of(leena.get("/desk/"))

    def test_without_script_it_loads_itself_again(self, leena):
        page = text_of(leena.get("/desk/"))
        assert '<noscript><meta http-equiv="refresh"' in page
        assert " style=" not in page

    def test_what_needs_a_person_stands_with_its_age_and_its_button(self, leena, now):
        referral = a_referral(late(now, 12))
        page = text_of(leena.get("/desk/"))
        assert f"{referral.code} at Mirrow Heights Health Post needs a vehicle." in page
        assert "for 12\xa0minutes" in page
        assert re.search(r"Send [^<]+, about \d+ min to the baby \(\d+ to \d+\)", page)

    def test_sending_the_vehicle_offered_first_is_one_press(self, leena, now):
        referral = a_referral(now)
        answer = press(leena, "/desk/", action=f"/desk/{referral.code}/assign/")
        assert answer["Location"] == f"/desk/{referral.code}/#vehicle"
        assert referral.transfers.get().stage == TransferStage.ASSIGNED.value
        assert "needs a vehicle" not in text_of(leena.get("/desk/"))

    @pytest.mark.parametrize(
        ("kind", "stage", "verb"),
        [
            ("handover_unsigned", TransferStage.ARRIVED, "sign"),
            ("departure_overdue", TransferStage.AT_ORIGIN, "milestone"),
            ("late_note", TransferStage.COLLECTING, "milestone"),
        ],
    )
    def test_its_button_opens_the_form_that_deals_with_it(
        self, leena, now, ward, officer, by, kind, stage, verb
    ):
        referral = a_journey(now, ward, stage=stage).referral
        words = alerting.Text(sentence=f"{kind} in words", message=kind)
        alerting.tell_desk(referral, by(officer), kind, f"test:{kind}", words)
        [matter] = needs_person.matters(referral.district, now)
        [opens] = [each.target for each in matter.actions if f"?open={verb}" in each.target]
        assert f'href="{opens}"' in text_of(leena.get("/desk/"))
        page = text_of(leena.get(opens.partition("#")[0]))
        fold = page[page.index(f'id="{verb}-fold"') :]
        assert fold[: fold.index(">")].endswith(" open")
        assert page.count('<details class="fold"') > page.count(" open>") == 1

    def test_a_ventilated_baby_comes_before_a_stable_one(self, leena, now, district):
        stable = a_referral(late(now, 40), attendant="ngozi.harvelund")
        bagged = a_referral(now)
        Alert.objects.filter(referral=stable).update(urgency="stable")
        assert [m.referral for m in needs_person.matters(district, now)] == [bagged, stable]

    def test_the_gravest_matter_of_a_referral_comes_first(self, now, district):
        transfer = a_journey(late(now, 60), Unit.objects.first(), stage=TransferStage.ON_THE_ROAD)
        baby = transfer.referral.babies.get()
        told = on_the_way.CheckTold(facts={}, stopped_because="a flat tyre")
        sweeping.sweep("test", send=False)
        on_the_way.check(told_by("mateus.dunnaway", now), transfer, baby, told)
        [matter] = needs_person.matters(district, now)
        assert matter.alerts[0].kind == "stopped"
        assert {"check_missed", "stopped"} <= {alert.kind for alert in matter.alerts}
        assert any(action.target == "tel:+12025550140" for action in matter.actions)

    def test_taking_care_stops_the_ladder_and_says_who(self, leena, now, officer):
        alert = Alert.objects.get(referral=a_referral(now), kind="vehicle_wanted")
        assert press(leena, "/desk/", action=f"/alerts/{alert.pk}/take/").status_code == 302
        alert.refresh_from_db()
        assert (alert.acknowledged_by, alert.acknowledged_channel) == (str(officer), "desk")
        assert "taken by Leena Morrastad" in text_of(leena.get("/desk/"))

    def test_a_unit_that_does_not_answer_can_be_rung_from_the_first_page(self, leena, now, ward):
        an_offer(a_referral(late(now, 30)), ward, late(now, 10))
        sweeping.sweep("test", send=False)
        page = text_of(leena.get("/desk/"))
        assert "has not said yes or no" in page
        assert f'href="tel:{ward.phone.as_e164}"' in page

    def test_the_ribbon_has_a_row_and_a_line_in_the_table_for_every_journey(self, leena, now, ward):
        codes = {a_referral(now).code, a_placed_referral(now, ward).code}
        page = text_of(leena.get("/desk/"))
        assert page.count('class="lanes"') == 2
        table = page.split("as-table")[1]
        assert all(code in table for code in codes)

    def test_reading_the_desk_costs_no_query_more_for_a_second_journey(
        self, leena, now, ward, intensive, django_assert_max_num_queries
    ):
        # Two calls close together would be a matter of their own: perhaps one baby.
        a_journey(now - timedelta(minutes=40), ward, stage=TransferStage.COLLECTING)
        rows.refresh_stale(now)
        with django_assert_max_num_queries(60) as first:
            leena.get("/desk/rows/")
        a_journey(now, intensive, stage=TransferStage.COLLECTING, vehicle="AMB-2")
        rows.refresh_stale(now)
        with django_assert_max_num_queries(len(first)):
            leena.get("/desk/rows/")

    def test_a_vehicle_that_is_back_is_made_ready(self, leena):
        Vehicle.objects.filter(code="AMB-1").update(state="returning")
        press(leena, "/desk/", action="/desk/vehicles/AMB-1/ready/")
        assert Vehicle.objects.get(code="AMB-1").state == "free"

    def test_a_vehicle_on_a_journey_is_not_made_ready(self, leena, now, ward):
        a_journey(now, ward, stage=TransferStage.COLLECTING)
        answer = leena.post("/desk/vehicles/AMB-1/ready/")
        assert answer.status_code == 409
        assert "is on a journey" in text_of(answer)

    def test_what_was_not_understood_is_shown_until_somebody_has_seen_to_it(self, leena, now):
        kept = KeptInput.objects.create(
            received_at=now, channel="sms", body="<b>HR onehundred", problem="not a number"
        )
        assert "1 waits for a person to read it." in text_of(leena.get("/desk/"))
        assert "&lt;b&gt;HR onehundred" in text_of(leena.get("/desk/came-in/"))
        press(leena, "/desk/came-in/", action=f"/{kept.pk}/done/")
        press(leena, "/desk/came-in/", action=f"/{kept.pk}/undo/")  # the wrong button
        assert "onehundred" in text_of(leena.get("/desk/came-in/"))
        press(leena, "/desk/came-in/", action=f"/{kept.pk}/done/")
        assert "onehundred" not in text_of(leena.get("/desk/came-in/"))
        assert "Nothing is waiting." in text_of(leena.get("/desk/"))

    def test_what_another_district_sent_is_left_to_its_desk(self, leena, now, officer):
        other = Staff.objects.create(username="far.away", phone="+12025550199")
        elsewhere = District.objects.create(code="elsewhere", name="Elsewhere")
        other.roles.create(role="desk", district=elsewhere)
        for caller in ("far.away", "staff:far.away", "+12025550199"):
            KeptInput.objects.create(
                received_at=now, channel="sms", caller=caller, problem="theirs"
            )
        assert "Nothing is waiting." in text_of(leena.get("/desk/"))
        assert "theirs" not in text_of(leena.get("/desk/came-in/"))

    def test_a_message_that_cannot_work_is_on_the_list_with_its_number(self, leena, now, ward):
        offer = an_offer(a_referral(now), ward, now)
        Delivery.objects.filter(alert__offer=offer, channel="sms").update(
            state="refused", error="no such number"
        )
        page = text_of(leena.get("/desk/"))
        assert "Miriam Castowell by SMS" in page
        assert "no such number" in page


class TestOneReferral:
    def test_it_shows_the_baby_the_needs_with_sources_and_the_candidates(self, leena, now):
        referral = a_referral(now)
        page = text_of(leena.get(f"/desk/{referral.code}/"))
        assert "being ventilated" in page
        assert referral.needs.first().source in page
        assert all(unit.name in page for unit in Unit.objects.all())
        assert referral.rankings.count() == 1
        assert "The chain holds" in page

    def test_a_broken_chain_is_said_loudly(self, leena, now):
        referral = a_referral(now)
        type(referral).objects.filter(pk=referral.pk).update(head_hash="0" * 64)
        assert "The chain of this timeline is broken" in text_of(
            leena.get(f"/desk/{referral.code}/")
        )

    def test_a_code_in_small_letters_leads_to_the_page(self, leena, now):
        code = a_referral(now).code
        assert leena.get(f"/desk/{code.lower()}/")["Location"] == f"/desk/{code}/"

    def test_a_unit_that_is_asked_keeps_the_candidate_as_it_was_shown(self, leena, now):
        referral = a_referral(now)
        press(leena, f"/desk/{referral.code}/", action="/ask/")
        offer = referral.offers.get()
        assert offer.shown["key"] == offer.unit.code
        assert offer.shown["ranking"] == referral.rankings.first().pk

    def test_the_next_unit_is_asked(self, leena, now):
        referral = a_referral(now)
        leena.post(f"/desk/{referral.code}/ask_next/")
        assert referral.offers.get().stage == "open"

    def test_with_nobody_left_to_ask_it_says_so(self, leena, now):
        referral = a_referral(now)
        Unit.objects.update(is_open=False)
        answer = leena.post(f"/desk/{referral.code}/ask_next/")
        assert answer.status_code == 409
        assert "There is no unit left to ask" in text_of(answer)

    def test_a_yes_on_the_phone_is_written_down_by_the_desk(self, leena, now, ward):
        offer = an_offer(a_referral(now), ward, now)
        path = f"/desk/{offer.referral.code}/"
        press(leena, path, action="/accept/", receiver="Sister Teuila")
        offer.refresh_from_db()
        assert (offer.stage, offer.receiver, offer.entrance) == (
            "accepted",
            "Sister Teuila",
            ward.entrance,
        )
        entry = offer.referral.entries.get(kind="accepted")
        assert (entry.channel, entry.actor) == ("desk", "leena.morrastad")

    def test_a_refused_yes_keeps_what_was_typed_and_says_why(self, leena, now, ward):
        offer = an_offer(a_referral(now), ward, now)
        Unit.objects.filter(pk=ward.pk).update(cots_free=0)
        answer = press(
            leena, f"/desk/{offer.referral.code}/", action="/accept/", receiver="Sister Teuila"
        )
        assert answer.status_code == 409
        assert "has 0 free cot(s)" in text_of(answer)
        assert 'value="Sister Teuila"' in text_of(answer)

    def test_a_no_on_the_phone_asks_on(self, leena, now, ward):
        offer = an_offer(a_referral(now), ward, now)
        path = f"/desk/{offer.referral.code}/decline/"
        leena.post(path, {"offer": offer.pk, "reason": "no_staff", "words": "one nurse ill"})
        offer.refresh_from_db()
        assert offer.decline_reason == DeclineReason.NO_STAFF
        assert offer.referral.offers.filter(stage="open").exists()
        assert "one nurse ill" in text_of(leena.get(f"/desk/{offer.referral.code}/"))

    def test_an_offer_of_another_referral_cannot_be_answered_here(self, leena, now, ward):
        offer = an_offer(a_referral(now), ward, now)
        other = a_referral(now)
        answer = leena.post(f"/desk/{other.code}/accept/", {"offer": offer.pk, "receiver": "X"})
        assert answer.status_code == 404

    def test_diverting_takes_the_acceptance_back_and_asks_on(self, leena, now, ward):
        referral = a_placed_referral(now, ward)
        leena.post(f"/desk/{referral.code}/divert/", {"why": "the ward has filled up"})
        assert referral.accepted_offer() is None
        assert referral.offers.get(unit=ward).stage == "withdrawn"
        assert referral.offers.filter(stage="open").exclude(unit=ward).exists()

    def test_a_vehicle_found_by_phone_is_written_down_and_sent(self, leena, now):
        referral = a_referral(now)
        told = {
            "kind": "car", "name": "Blue car of the school", "driver_name": "Ovid Marrenby",
            "driver_phone": "202-555-0177", "owner": "the school", "fuel": "half a tank",
            "who_pays": "the district",
        }  # fmt: skip
        assert leena.post(f"/desk/{referral.code}/found/", told).status_code == 302
        vehicle = referral.transfers.get().vehicle
        assert (vehicle.registered, vehicle.driver_phone.as_e164) == (False, "+12025550177")

    def test_a_wrong_number_keeps_everything_that_was_typed(self, leena, now):
        referral = a_referral(now)
        told = {"kind": "boat", "name": "The green boat", "driver_name": "Ovid", "fuel": "two cans",
                "driver_phone": "12"}  # fmt: skip
        answer = leena.post(f"/desk/{referral.code}/found/", told)
        assert answer.status_code == 400
        assert all(f'value="{word}"' in text_of(answer) for word in ("The green boat", "two cans"))
        assert not Vehicle.objects.filter(registered=False).exists()

    def test_a_vehicle_that_is_not_free_is_refused_in_words(self, leena, now, ward):
        a_journey(now, ward, stage=TransferStage.COLLECTING)
        referral = a_referral(now)
        answer = leena.post(f"/desk/{referral.code}/assign/", {"vehicle": "AMB-1"})
        assert answer.status_code == 409
        assert "Ambulance of Port Orlime is busy for" in text_of(answer)

    def test_a_broken_vehicle_is_taken_back(self, leena, now, ward):
        transfer = a_journey(now, ward, stage=TransferStage.COLLECTING)
        path = f"/desk/{transfer.referral.code}/take_back/"
        leena.post(path, {"why": "gearbox", "broken": "on"})
        transfer.refresh_from_db()
        assert transfer.stage == TransferStage.WANTED.value
        assert Vehicle.objects.get(code="AMB-1").state == "out_of_service"

    def test_sending_without_acceptance_is_recorded_as_such(self, leena, now, intensive):
        referral = a_referral(now)
        leena.post(f"/desk/{referral.code}/toward/", {"unit": intensive.code})
        transfer = referral.transfers.get()
        assert (transfer.destination, transfer.without_acceptance) == (intensive, True)
        assert "not accepted yet" in text_of(leena.get("/desk/"))

    def test_a_milestone_for_the_driver_carries_when_it_was(self, leena, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.COLLECTING)
        told = {"milestone": "at_origin", "minutes_ago": "12"}
        leena.post(f"/desk/{transfer.referral.code}/milestone/", told)
        reached = transfer.milestones.get(kind="at_origin").reached_at
        assert abs((clock.now() - reached) - timedelta(minutes=12)) < timedelta(seconds=20)

    def test_a_check_told_on_the_phone_is_entered(self, leena, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ON_THE_ROAD)
        path = f"/desk/{transfer.referral.code}/check/"
        told = {"baby": "1", "heart_rate": "128", "spo2": "92", "oxygen_bar": "75"}
        assert leena.post(path, told).status_code == 302
        check = Check.objects.get()
        assert (check.observation.heart_rate, check.oxygen_bar) == (128, 75)
        entry = transfer.referral.entries.filter(kind="checked").last()
        assert entry.channel == "desk"

    def test_an_impossible_number_is_refused_beside_its_field(self, leena, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ON_THE_ROAD)
        path = f"/desk/{transfer.referral.code}/check/"
        answer = leena.post(path, {"baby": "1", "heart_rate": "999", "spo2": "92"})
        assert answer.status_code == 400
        assert "999 is not possible" in text_of(answer)
        assert 'value="92"' in text_of(answer)
        assert not Check.objects.exists()

    def test_a_check_with_nothing_in_it_is_not_a_check(self, leena, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ON_THE_ROAD)
        answer = leena.post(f"/desk/{transfer.referral.code}/check/", {"baby": "1"})
        assert answer.status_code == 400
        assert not Check.objects.exists()

    def test_both_signatures_by_phone_end_the_journey(self, leena, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ARRIVED)
        path = f"/desk/{transfer.referral.code}/sign/"
        for side in ("giver", "receiver"):
            leena.post(path, {"baby": "1", "side": side, "name": "Teuila", "band_checked": "on"})
        assert transfer.referral.babies.get().ending == Ending.HANDED_OVER

    def test_a_death_needs_the_name_of_who_determined_it(self, leena, now):
        referral = a_referral(now)
        path = f"/desk/{referral.code}/end/"
        told = {"baby": "1", "ending": Ending.DIED_BEFORE_DEPARTURE.value, "words": "at 04:10"}
        answer = leena.post(path, told)
        assert answer.status_code == 409
        assert 'value="at 04:10"' in text_of(answer)
        told |= {"determined_by": "Dr Ostermoor"}
        answer = leena.post(path, told | {"band": "K7Q4-1"})
        assert answer.status_code == 409
        assert "Look at the band again" in text_of(answer)
        assert 'value="K7Q4-1"' in text_of(answer)
        leena.post(path, told | {"band": referral.code})
        assert referral.babies.get().ending == Ending.DIED_BEFORE_DEPARTURE
        assert leena.get(f"/desk/{referral.code}/").status_code == 200

    def test_an_ending_in_error_is_taken_back(self, leena, now):
        referral = a_referral(now)
        endings.take_back(told_by("tomasi.bellaqua", now), referral, reason="wrong press")
        leena.post(f"/desk/{referral.code}/reverse/", {"baby": "1", "reason": "it was right"})
        assert referral.babies.get().ending == ""

    def test_the_outcome_goes_back_to_the_post(self, leena, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ARRIVED)
        path = f"/desk/{transfer.referral.code}/outcome/"
        leena.post(path, {"baby": "1", "state": "improving", "words": "warm and feeding"})
        assert transfer.referral.babies.get().outcomes.get().words.text == "warm and feeding"

    def test_a_corrected_value_stands_beside_the_old_one(self, leena, now):
        referral = a_referral(now)
        by = told_by("tomasi.bellaqua", now)
        baby = referral.babies.get()
        wrong = recording.observe(by, baby, {"heart_rate": 20})
        recording.observe(by, baby, {"heart_rate": 120}, corrects=wrong)
        page = text_of(leena.get(f"/desk/{referral.code}/"))
        assert '<span class="was">20 /min</span> → <b>120 /min</b>' in page
        assert Observation.objects.count() == 3

    def test_a_second_press_of_the_same_form_counts_once(self, leena, now):
        referral = a_referral(now)
        told = {"key": "one-press", "baby": "1", "spo2": "90"}
        for _ in range(2):
            assert leena.post(f"/desk/{referral.code}/check/", told).status_code == 302
        assert Check.objects.count() == 1


class TestRowsAndSignature:
    def test_the_signature_moves_with_a_vehicle_a_cot_and_an_alert(self, district, now, ward):
        seen = {rows.signature(district, now)}
        Vehicle.objects.filter(code="AMB-1").update(state="returning")
        seen.add(rows.signature(district, now))
        Unit.objects.filter(pk=ward.pk).update(cots_free=0)
        seen.add(rows.signature(district, now))
        referral = a_referral(now)
        seen.add(rows.signature(district, now))
        alerting.acknowledge(referral.alerts.first().pk, told_by("leena.morrastad", now))
        seen.add(rows.signature(district, now))
        assert len(seen) == 5
        assert rows.signature(district, now) in seen

    def test_a_stop_of_the_driver_is_no_check_of_the_baby(self, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ON_THE_ROAD)
        told = on_the_way.CheckTold(facts={}, stopped_because="the road is blocked")
        on_the_way.check(
            told_by("mateus.dunnaway", now), transfer, transfer.referral.babies.get(), told
        )
        assert rows.row_body(transfer.referral, now)["checks"] == []
        sweeping.sweep("test", send=False)
        assert Alert.objects.open().filter(kind="check_missed").exists()

    def test_a_projection_is_made_anew_by_the_sweep_when_it_has_aged(self, now, ward):
        transfer = a_journey(now, ward, stage=TransferStage.ASSIGNED)
        rows.refresh_stale(now)
        before = transfer.referral.desk_row.body["window"]["p50"]
        assert rows.refresh_stale(now + timedelta(seconds=30)) == 0
        rows.refresh_stale(now + timedelta(minutes=5))
        transfer.referral.desk_row.refresh_from_db()
        assert transfer.referral.desk_row.body["window"]["p50"] > before

    def test_oxygen_used_since_the_last_reading_of_the_gauge_is_gone(self, now, ward):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ON_THE_ROAD)
        baby = transfer.referral.babies.get()
        told = on_the_way.CheckTold(facts={}, oxygen_bar=60)
        on_the_way.check(told_by("mateus.dunnaway", late(now, 10)), transfer, baby, told)
        body = rows.row_body(transfer.referral, now)
        ends = timezone.datetime.fromisoformat(body["oxygen_ends_at"])
        minutes = body["oxygen"]["minutes_left"]
        assert ends == now + timedelta(minutes=minutes)

    @pytest.mark.parametrize(("bar", "dated"), [(60, False), (6000, True)])
    def test_oxygen_that_lasts_into_another_day_is_said_with_the_date(
        self, leena, now, ward, bar, dated
    ):
        transfer = a_journey(late(now, 60), ward, stage=TransferStage.ON_THE_ROAD)
        Cylinder.objects.filter(vehicle=transfer.vehicle).update(
            bar=bar, full_bar=None, read_at=now
        )
        rows.make_row(transfer.referral, now)
        body = rows.row_body(transfer.referral, now)
        ends = timezone.datetime.fromisoformat(body["oxygen_ends_at"])
        local = ends.astimezone(ZoneInfo(transfer.referral.district.time_zone))
        page = text_of(leena.get("/desk/"))
        said = f"{local:%d.%m. %H:%M}" if dated else f"{local:%H:%M}"
        assert (ends - now > timedelta(hours=24)) == dated
        assert re.search(rf"oxygen (until|ends)( |</title>)*{re.escape(said)}", page)


@pytest.mark.django_db(transaction=True)
class TestTheStream:
    @pytest.fixture(autouse=True)
    def _quick(self, monkeypatch):
        monkeypatch.setattr(desk_stream, "POLL_SECONDS", 0.02)
        monkeypatch.setattr(desk_stream, "BEAT_SECONDS", 0.1)

    def events(self, officer, meanwhile=None, *, seconds=1.5, path="/desk/stream/"):
        """What a stream says within some time, while something happens."""

        async def listen():
            browser = AsyncClient()
            await browser.aforce_login(officer, backend="django.contrib.auth.backends.ModelBackend")
            answer = await browser.get(path)
            said = []
            if answer.status_code != 200:
                return answer, said

            async def read():
                async for part in answer.streaming_content:
                    said.append(part.decode())
                    if meanwhile and len(said) == 2:
                        await asyncio.to_thread(meanwhile)
                said.append("ended")

            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(read(), seconds)
            return answer, said

        return asyncio.run(listen())

    def test_it_tells_what_changed_and_that_it_is_there(self, officer):
        def change():
            Vehicle.objects.filter(code="AMB-1").update(state="returning")

        answer, said = self.events(officer, change)
        assert answer["X-Accel-Buffering"] == "no"
        assert answer["Content-Type"] == "text/event-stream"
        assert said[0].startswith("retry:")
        changed = [part for part in said if "event: changed" in part]
        assert len(changed) == 2
        assert changed[0] != changed[1]
        assert any(part.startswith(": still here") for part in said)

    def test_it_says_nothing_changed_to_a_page_that_is_up_to_date(self, officer, district):
        seen = desk_stream.signature_now(district)
        _, said = self.events(officer, path=f"/desk/stream/?seen={seen}", seconds=0.6)
        assert not [part for part in said if "changed" in part]
        assert [part for part in said if "beat" in part]

    def test_it_ends_with_the_session(self, officer):
        from django.contrib.sessions.models import Session

        _, said = self.events(officer, Session.objects.all().delete)
        assert said[-1] == "ended"

    def test_it_ends_with_the_role(self, officer):
        _, said = self.events(officer, officer.roles.all().delete)
        assert said[-1] == "ended"

    def test_it_does_not_exist_for_others(self, nurse):
        answer, _ = self.events(nurse)
        assert answer.status_code == 404

    def test_every_stream_of_a_district_shares_one_poller_and_leaves_none_behind(self, officer):
        self.events(officer, seconds=0.3)
        assert desk_stream._feeds == {}

    def test_a_worker_without_streams_answers_at_once(self, officer):
        assert browser_of(officer).get("/desk/stream/").status_code == 204
