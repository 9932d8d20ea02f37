"""Checklists: who answered what under which version, what is open, and leaving all the same."""

from datetime import timedelta

import pytest

from referrals import timeline, watching
from referrals.calc.terms import Capability
from referrals.models import Alert, District, Referral
from referrals.recording import UnknownFact
from tests.api_world import device_of, driver_device
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, a_referral, told_by
from transport import checklists, ticking
from transport.calc.shipped_lists import DEPARTURE, DEPARTURE_1, PREPARATION, SHIPPED
from transport.calc.stages import TransferStage
from transport.models import ChecklistAnswer, ChecklistTemplate, LeftAllTheSame, Transfer

MUSTS = [item.code for item in DEPARTURE if item.must]
TICK = "tomasi.bellaqua"


@pytest.fixture
def transfer(district, intensive, now):
    return a_journey(now, intensive, stage=TransferStage.AT_ORIGIN)


@pytest.fixture
def template(district):
    found = checklists.newest("departure", district)
    assert found is not None
    return found


def answer(transfer, template, now, *codes, said="yes"):
    return ticking.answer_checklist(
        told_by(TICK, now), transfer, template, dict.fromkeys(codes, said)
    )


class TestTheShippedLists:
    def test_every_item_has_a_source_and_a_code_of_its_own(self):
        for shipped in SHIPPED:
            codes = [item.code for item in shipped.items]
            assert len(set(codes)) == len(codes), shipped.code
            assert all(item.source and item.words for item in shipped.items)

    def test_before_leaving_covers_what_the_guide_lists(self):
        """WHO, Managing newborn problems, 2003, C-63 to C-65 and Table C-13."""
        codes = {item.code for item in DEPARTURE}
        assert codes >= {
            "bag_works", "valve_works", "relief_valve", "second_mask", "suction", "oxygen",
            "oxygen_minutes", "warmth", "ventilation_on_the_way", "relief", "band", "papers",
            "treatments_due", "mother", "family", "consent", "unit_knows", "supplies",
        }  # fmt: skip

    def test_before_a_birth_every_part_of_the_bag_is_tried(self):
        [birth] = [shipped for shipped in SHIPPED if shipped.when == "birth"]
        must = {item.code for item in birth.items if item.must}
        assert must >= {"bag_works", "valve_works", "relief_valve", "second_mask", "suction"}

    def test_no_item_speaks_of_a_dose_of_stopping_or_of_waiting(self):
        for shipped in SHIPPED:
            for item in shipped.items:
                words = item.words.lower()
                assert not any(each in words for each in (" mg", "dose", "stop", "wait")), words


class TestAnswers:
    def test_a_later_answer_is_added_and_counts(self, transfer, template, now):
        answer(transfer, template, now, "band")
        answer(transfer, template, now + timedelta(minutes=1), "band", said="no")
        assert transfer.answers.filter(item="band").count() == 2
        assert checklists.newest_answers(transfer, "departure")["band"].answer == "no"

    def test_an_item_that_is_not_in_this_version_is_refused(self, transfer, template, now):
        with pytest.raises(UnknownFact, match="has no item wings"):
            answer(transfer, template, now, "wings")
        assert not transfer.answers.exists()

    def test_a_form_of_an_older_version_is_taken_and_says_which_it_answered(self, transfer, now):
        old = ChecklistTemplate.objects.get(code="before-leaving", version=1)
        answer(transfer, old, now, *[item.code for item in DEPARTURE_1])
        entry = transfer.referral.entries.filter(kind="checklist").last()
        assert entry.body["version"] == 1
        row = checklists.newest_answers(transfer, "departure")["bag_works"]
        assert row.template.version == 1
        left = {item["code"] for item in checklists.leaving(transfer).open}
        assert left == {"valve_works", "relief_valve", "treatments_due", "mother_seen", "consent"}

    def test_an_older_page_that_is_sent_late_counts_under_its_own_version(
        self, transfer, attendant
    ):
        path = f"/r/{transfer.referral.code}/before-leaving/"
        answered = press(
            browser_of(attendant), path, list="before-leaving:1", item=["bag_works", "suction"]
        )
        assert answered.status_code == 302
        rows = transfer.answers.values_list("item", "template__version")
        assert sorted(rows) == [("bag_works", 1), ("suction", 1)]
        page = text_of(browser_of(attendant).get(path))
        assert "on version 1 of the list" in page

    def test_a_page_says_who_answered_and_when(self, transfer, template, now, attendant, officer):
        answer(transfer, template, now, "band")
        page = text_of(browser_of(attendant).get(f"/r/{transfer.referral.code}/before-leaving/"))
        assert "Tomasi Bellaqua, " in page
        desk = text_of(browser_of(officer).get(f"/desk/{transfer.referral.code}/"))
        assert "Every answer" in desk
        assert "version 2" in desk

    def test_a_districts_own_list_takes_the_place_of_the_shipped_one(self, district, transfer):
        own = ChecklistTemplate.objects.create(
            code="our-leaving", version=1, district=district, title="Ours", when="departure",
            items=[{"code": "goat", "words": "The goat is tied", "source": "here", "must": True}],
        )  # fmt: skip
        assert checklists.newest("departure", district) == own
        other = District.objects.create(code="other", name="Other")
        shipped = checklists.newest("departure", other)
        assert shipped is not None
        assert (shipped.code, shipped.version) == ("before-leaving", 2)
        assert checklists.template_named("our-leaving", 1, other) is None
        assert [item["code"] for item in checklists.leaving(transfer).open] == ["goat"]


class TestLeaving:
    def test_every_must_item_asks_until_it_is_seen_to_or_not_needed(self, transfer, template, now):
        assert [item["code"] for item in checklists.leaving(transfer).open] == MUSTS
        answer(transfer, template, now, *MUSTS[:-1])
        answer(transfer, template, now, MUSTS[-1], said="no")
        assert [item["code"] for item in checklists.leaving(transfer).open] == [MUSTS[-1]]
        answer(transfer, template, now, MUSTS[-1], said="not_needed")
        assert not checklists.leaving(transfer).asks

    def test_they_leave_all_the_same_with_a_reason_by_name(self, transfer, template, now):
        row = ticking.leave_all_the_same(
            told_by(TICK, now), transfer, template, reason="she turns blue"
        )
        assert row.items == MUSTS
        assert not checklists.leaving(transfer).asks
        referral = Referral.objects.get(pk=transfer.referral_id)
        entry = referral.entries.get(kind="left_all_the_same")
        assert entry.body["open"] == MUSTS
        assert "blue" not in str(entry.body)
        assert not timeline.faults_of(referral)

    def test_the_case_asks_before_departure_and_one_press_says_why(self, transfer, attendant):
        client, code = browser_of(attendant), transfer.referral.code
        assert f"Before you leave: {len(MUSTS)} things" in text_of(client.get(f"/r/{code}/"))
        path = f"/r/{code}/before-leaving/"
        press(client, path, reason="no time, breathing worse", leave="yes")
        assert LeftAllTheSame.objects.get().said_by == "Tomasi Bellaqua"
        assert "Before you leave" not in text_of(client.get(f"/r/{code}/"))
        assert "no time, breathing worse" in text_of(client.get(path))

    def test_nobody_who_is_alone_is_asked(self, transfer, attendant):
        Referral.objects.filter(pk=transfer.referral_id).update(alone=True)
        page = text_of(browser_of(attendant).get(f"/r/{transfer.referral.code}/"))
        assert "Before you leave" not in page

    def test_an_open_list_never_keeps_a_vehicle_and_no_driver_reads_of_it(self, transfer):
        driver = driver_device(transfer)
        path = f"transfers/{transfer.pk}/milestones/"
        answered = driver.post(path, {"milestone": "on_the_road"})
        assert answered.status_code == 200
        assert Transfer.objects.get(pk=transfer.pk).stage == "on_the_road"
        assert "list" not in answered.content.decode()

    def test_the_desk_is_told_once_when_they_left_with_something_open(
        self, district, intensive, template, now
    ):
        transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
        later = now + timedelta(minutes=31)
        watching.look_at(transfer.referral_id, later)
        [alert] = Alert.objects.open().filter(kind="list_open")
        assert f"{len(MUSTS)} things of the list not answered" in alert.sentence
        assert "stop" not in alert.sentence.lower()
        ticking.leave_all_the_same(told_by(TICK, later), transfer, template, reason="emergency")
        watching.look_at(transfer.referral_id, later)
        assert not Alert.objects.open().filter(kind="list_open").exists()

    def test_what_came_open_after_the_reason_asks_again(self, transfer, template, now):
        answer(transfer, template, now, "band")
        ticking.leave_all_the_same(told_by(TICK, now), transfer, template, reason="hurry")
        answer(transfer, template, now, "band", said="no")
        assert checklists.leaving(transfer).asks


class TestTheDesk:
    def test_it_ticks_what_is_told_on_the_phone_and_says_why_they_leave(self, transfer, officer):
        client, path = browser_of(officer), f"/desk/{transfer.referral.code}/"
        press(client, path, action="/tick/", items=["band", "oxygen"], said_by="Tomasi")
        rows = transfer.answers.values_list("item", "answer", "answered_by")
        assert {row[:2] for row in rows} == {("band", "yes"), ("oxygen", "yes")}
        press(client, path, action="/leave/", reason="the river rises")
        assert str(LeftAllTheSame.objects.get().reason) == "the river rises"
        assert "the river rises" in text_of(client.get(path))


class TestTheUnit:
    def test_its_list_follows_from_the_needs_and_says_why(self, transfer, nurse):
        offer = transfer.referral.accepted_offer()
        page = text_of(browser_of(nurse).get(f"/unit/{offer.pk}/"))
        assert "CPAP set up and tried" in page
        assert "Surgeon on call told" not in page
        assert "Being ventilated: needs a unit with CPAP, better a ventilator" in page

    def test_a_special_item_is_there_only_when_it_is_needed(self, district):
        template = checklists.newest("preparation", district)
        assert template is not None
        plain = {item["code"] for item in checklists.preparation_items(template, [])}
        assert plain == {item.code for item in PREPARATION if not item.needs}
        more = checklists.preparation_items(template, [Capability.SURGERY])
        assert {item["code"] for item in more} - plain == {"surgeon"}


class TestBeforeABirth:
    def test_what_was_tried_stands_with_name_and_time_and_fades_after_a_day(
        self, post, attendant, now
    ):
        client, path = browser_of(attendant), f"/post/ready/{post.code}/"
        press(client, path, item=["bag_works", "suction"])
        rows = ChecklistAnswer.objects.filter(site=post)
        assert {(row.item, row.answered_by) for row in rows} == {
            ("bag_works", "Tomasi Bellaqua"), ("suction", "Tomasi Bellaqua"),
        }  # fmt: skip
        assert 'value="bag_works" checked' in text_of(client.get(path))
        rows.update(answered_at=now - timedelta(hours=25))
        assert "checked" not in text_of(client.get(path))

    def test_another_post_is_not_found(self, person, post):
        mei = person("mei.corrowan")
        assert browser_of(mei).get(f"/post/ready/{post.code}/").status_code == 404


class TestTheApi:
    def test_it_says_what_is_open_and_under_which_version_each_was_answered(self, transfer, now):
        phone, path = device_of(TICK), f"transfers/{transfer.pk}/checklists/"
        told = {"template": "before-leaving", "version": 1, "answers": {"band": "yes"}}
        assert phone.post(path, told).status_code == 201
        [departure] = [each for each in phone.get(path).json() if each["when"] == "departure"]
        assert departure["version"] == 2
        assert departure["open"] == [code for code in MUSTS if code != "band"]
        [band] = [item for item in departure["items"] if item["code"] == "band"]
        assert (band["answer"], band["answered_version"]) == ("yes", 1)

    def test_leaving_is_taken_with_a_reason_and_refused_without(self, transfer):
        phone, path = device_of(TICK), f"transfers/{transfer.pk}/checklists/leave/"
        assert phone.post(path, {}).status_code == 400
        answered = phone.post(path, {"reason": "bleeding"})
        assert answered.status_code == 201
        assert answered.json()["left_because"] == "bleeding"

    def test_a_driver_reads_no_reason(self, transfer, template, now):
        ticking.leave_all_the_same(told_by(TICK, now), transfer, template, reason="mother Aru")
        body = driver_device(transfer).get(f"transfers/{transfer.pk}/checklists/").content.decode()
        assert "Aru" not in body


def test_a_list_that_nobody_wrote_asks_for_nothing(now, district):
    ChecklistTemplate.objects.all().delete()
    transfer = a_referral(now).transfers.get()
    assert not checklists.leaving(transfer).asks
