"""The receiving unit's pages: the question, yes, no, preparing, receiving, telling back."""

import re
from datetime import timedelta

import pytest
from pages_world import browser_of, forms_on, press, text_of
from world import a_journey, a_placed_referral, a_referral, an_offer, told_by

from referrals import cots, lifecycle, links
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Baby, KeptInput, Offer, Referral
from referrals.pages import kept
from transport import handing_over, ticking
from transport.calc.stages import TransferStage


@pytest.fixture
def question(district, intensive, now) -> Offer:
    """One unit is asked for a newborn ventilated by hand."""
    return an_offer(a_referral(now), intensive, now)


def link_of(offer: Offer) -> str:
    delivery = offer.alerts.get(kind="question").deliveries.filter(channel="sms").first()
    return f"/a/{links.token('a', delivery.pk)}/"


def test_questions_come_first_then_babies_on_the_way_then_cots(question, nurse, now, intensive):
    coming = a_placed_referral(now, intensive)
    page = text_of(browser_of(nurse).get("/unit/"))
    places = [
        page.index("Can you take this baby?"),
        page.index(question.referral.code),
        page.index("On the way to you"),
        page.index(coming.code),
        page.index("Free cots"),
    ]
    assert places == sorted(places)


def test_a_unit_that_is_asked_nothing_sees_that(other_nurse):
    page = text_of(browser_of(other_nurse).get("/unit/"))
    assert "No question waits for you." in page
    assert "Nobody is on the way to you." in page


def test_the_state_is_told_in_handover_order_with_reasons(district, nurse, now):
    referral = a_referral(now)
    (offer,) = lifecycle.ask_best(referral.pk, now)
    page = text_of(browser_of(nurse).get(f"/unit/{offer.pk}/"))
    order = ["Situation", "Background", "Assessment", "Recommendation"]
    assert [page.index(word) for word in order] == sorted(page.index(word) for word in order)
    assert re.search(r'With you between <span class="when">\d\d:\d\d–\d\d:\d\d<', page)
    assert "<summary>Why, and from where this is known</summary>" in page
    assert "Local protocol and the clinician in charge come first" in page
    assert re.search(r"a cot with bag and mask, CPAP, ", " ".join(page.split()))


def test_one_press_accepts_with_receiver_and_entrance(question, nurse, intensive):
    client = browser_of(nurse)
    press(client, f"/unit/{question.pk}/", action="accept/")
    question.refresh_from_db()
    assert (question.stage, question.receiver) == ("accepted", "Hana Wendorra")
    assert question.entrance == intensive.entrance
    page = text_of(client.get(f"/unit/{question.pk}/"))
    assert f"You take {question.referral.code}" in page
    assert "Prepare" in page


def test_one_press_declines_with_a_reason_and_the_next_is_asked(question, nurse):
    client = browser_of(nurse)
    press(client, f"/unit/{question.pk}/", action="decline/", reason="no_staff")
    question.refresh_from_db()
    assert (question.stage, question.decline_reason) == ("declined", "no_staff")
    assert question.referral.offers.filter(stage="open").exclude(pk=question.pk).exists()
    assert "said no at" in text_of(client.get(f"/unit/{question.pk}/"))
    assert ": not enough staff. If that" in text_of(client.get(f"/unit/{question.pk}/"))


def test_a_decline_without_reason_asks_for_one_and_keeps_the_words(question, nurse):
    answer = press(
        browser_of(nurse), f"/unit/{question.pk}/", action="decline/", words="the roof leaks"
    )
    assert answer.status_code == 422
    assert "Choose a reason" in text_of(answer)
    assert "the roof leaks" in text_of(answer)


def test_after_a_no_a_yes_is_still_possible(question, nurse):
    client = browser_of(nurse)
    press(client, f"/unit/{question.pk}/", action="decline/", reason="no_staff")
    press(client, f"/unit/{question.pk}/", action="accept/")
    question.refresh_from_db()
    assert question.stage == "accepted"


def test_without_a_free_cot_the_yes_says_what_is_possible_and_keeps_what_was_typed(
    question, nurse, intensive, now
):
    cots.report_cots(told_by("hana.wendorra", now), intensive, cots_free=0)
    answer = press(
        browser_of(nurse), f"/unit/{question.pk}/", action="accept/", receiver="Night nurse"
    )
    page = text_of(answer)
    assert answer.status_code == 409
    assert "report the free cots first" in page
    assert "Night nurse" in page
    assert Referral.objects.get().stage == "asking"


def test_the_second_unit_is_thanked_not_blamed(question, other_nurse, ward, now):
    late = an_offer(question.referral, ward, now)
    lifecycle.accept(told_by("hana.wendorra", now), question)
    client = browser_of(other_nurse)
    page = text_of(client.get(f"/unit/{late.pk}/"))
    assert "Thank you; nothing more is needed from you." in page
    assert "accept/" not in page
    pressed = client.post(f"/unit/{late.pk}/accept/", {})
    assert pressed.status_code == 409
    assert "was taken by" in text_of(pressed)


def test_a_unit_that_answered_too_late_may_still_say_yes(question, nurse, now):
    lifecycle.lapse(question, now)
    client = browser_of(nurse)
    assert "Your yes is still welcome" in text_of(client.get(f"/unit/{question.pk}/"))
    press(client, f"/unit/{question.pk}/", action="accept/")
    question.refresh_from_db()
    assert question.stage == "accepted"


def test_an_acceptance_can_be_taken_back_loudly(question, nurse):
    client = browser_of(nurse)
    press(client, f"/unit/{question.pk}/", action="accept/")
    press(client, f"/unit/{question.pk}/", action="decline/", reason="no_power")
    assert Referral.objects.get().stage == "asking"
    assert Referral.objects.get().alerts.filter(kind="unplaced").exists()


def test_another_units_question_is_not_found(question, other_nurse, attendant):
    for stranger in (other_nurse, attendant):
        client = browser_of(stranger)
        assert client.get(f"/unit/{question.pk}/").status_code == 404
        assert client.post(f"/unit/{question.pk}/accept/", {}).status_code == 404
    question.refresh_from_db()
    assert question.stage == "open"


def test_the_link_of_a_message_answers_without_an_account(question):
    client = browser_of()
    path = client.get(link_of(question), follow=True).redirect_chain[-1][0]
    assert path.startswith("/u/")
    question.refresh_from_db()
    assert question.stage == "open"  # opening it changed nothing
    press(client, path, action="accept/")
    question.refresh_from_db()
    assert question.stage == "accepted"
    assert question.answered_by == "Hana Wendorra"
    assert question.referral.entries.get(kind="accepted").channel == "link"
    assert "Prepare" in text_of(client.get(path))


def test_a_link_of_a_declined_question_ends_two_hours_later(question, now, monkeypatch):
    lifecycle.decline(told_by("hana.wendorra", now), question, reason=DeclineReason.NO_COT)
    later = now + timedelta(hours=3)
    monkeypatch.setattr("referrals.clock.now", lambda: later)
    assert browser_of().get(link_of(question), follow=True).status_code == 404


def test_a_link_of_an_acceptance_stands_as_long_as_the_referral(question, now, monkeypatch):
    lifecycle.accept(told_by("hana.wendorra", now), question)
    later = now + timedelta(hours=3)
    monkeypatch.setattr("referrals.clock.now", lambda: later)
    assert browser_of().get(link_of(question), follow=True).status_code == 200


def test_who_left_the_unit_answers_nothing_by_an_old_link(question, nurse):
    nurse.roles.all().delete()
    answer = browser_of().get(link_of(question), follow=True)
    assert answer.status_code == 404


def test_the_preparation_list_follows_the_needs_and_is_ticked(question, nurse):
    client = browser_of(nurse)
    path = f"/unit/{question.pk}/"
    press(client, path, action="accept/")
    assert "CPAP set up and tried" in text_of(client.get(path))
    press(client, path, action="prepare/", item=["cot", "cpap"])
    ticked = question.referral.transfers.get().answers.values_list("item", "answer")
    assert list(ticked) == [("cot", "yes"), ("cpap", "yes")]
    assert re.search(r'value="cpap" checked', text_of(client.get(path)))


def test_both_sides_sign_and_the_baby_is_handed_over(now, nurse, attendant, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    offer, code = transfer.referral.accepted_offer(), transfer.referral.code
    client = browser_of(nurse)
    path = f"/unit/{offer.pk}/receive/1/"
    press(client, path, band=f"{code}-1", condition="ventilated", temperature_c="36.2")
    assert "The other side has not signed yet" in text_of(client.get(f"/unit/{offer.pk}/"))
    press(browser_of(attendant), f"/r/{code}/handover/1/", band=code)
    assert Baby.objects.get().ending == Ending.HANDED_OVER
    handover = transfer.handovers.get()
    assert (handover.received_by, handover.condition) == ("Hana Wendorra", "ventilated")
    assert handover.temperature_c == 36.2


def test_a_wrong_band_is_looked_at_again_and_a_disagreement_never_keeps_a_baby_out(
    now, nurse, intensive
):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    path = f"/unit/{transfer.referral.accepted_offer().pk}/receive/1/"
    client = browser_of(nurse)
    refused = press(client, path, band="K7Q4-2")
    assert refused.status_code == 422
    assert 'value="K7Q4-2"' in text_of(refused)
    taken = press(client, path, band="K7Q4-2", disagreement="the band names another case")
    assert taken.status_code == 302
    handover = transfer.handovers.get()
    assert not handover.received_band_checked
    assert str(handover.disagreement) == "the band names another case"


def test_the_outcome_goes_back_to_the_post(now, nurse, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    baby, by = transfer.referral.babies.get(), told_by("hana.wendorra", now)
    offer = transfer.referral.accepted_offer()
    client = browser_of(nurse)
    path = f"/unit/{offer.pk}/outcome/1/"
    assert client.get(path).status_code == 404  # nothing to tell before the handover
    for side in ("giver", "receiver"):
        handing_over.hand_over(by, transfer, baby, handing_over.Signature(side=side, name="Hana"))
    press(client, path, state="still_in_care", words="on CPAP, warm")
    assert baby.outcomes.get().state == "still_in_care"


def test_free_cots_are_reported_and_a_wrong_number_is_kept(nurse, intensive):
    client = browser_of(nurse)
    path = f"/unit/cots/{intensive.pk}/"
    refused = press(client, path, cots_free="many")
    assert refused.status_code == 422
    assert 'value="many"' in text_of(refused)
    press(client, path, cots_free="5")
    intensive.refresh_from_db()
    assert (intensive.cots_free, intensive.is_open) == (5, True)


def test_the_changing_parts_are_sent_only_when_they_changed(question, nurse, ward, now):
    client = browser_of(nurse)
    for path in ("/unit/now/", f"/unit/{question.pk}/now/"):
        first = client.get(path)
        headers = {"If-None-Match": first["ETag"]}
        assert client.get(path, headers=headers).status_code == 304
    late = an_offer(question.referral, ward, now)
    lifecycle.accept(told_by("miriam.castowell", now), late)
    page = text_of(client.get(f"/unit/{question.pk}/now/", headers=headers))
    assert "took the baby at" in page


def test_nobody_reports_the_cots_of_another_unit(other_nurse, intensive):
    answer = browser_of(other_nurse).post(f"/unit/cots/{intensive.pk}/", {"cots_free": "9"})
    assert answer.status_code == 404


def refuse(*_: object, **__: object) -> None:
    raise NotPossible("The journey has ended.")


def test_ticks_that_could_not_be_taken_stand_as_they_were_pressed(question, nurse, monkeypatch):
    client = browser_of(nurse)
    path = f"/unit/{question.pk}/"
    press(client, path, action="accept/")
    press(client, path, action="prepare/", item=["cot"])
    monkeypatch.setattr(ticking, "answer_checklist", refuse)
    answer = press(client, path, action="prepare/", item=["cpap"])
    assert answer.status_code == 409
    assert 'value="cpap" checked' in text_of(answer)
    assert 'value="cot" checked' not in text_of(answer)


@pytest.mark.parametrize("by_link", [False, True])
@pytest.mark.parametrize("form", ["receive/1/", "outcome/1/", "prepare/"])
def test_what_is_typed_after_the_question_was_withdrawn_is_kept_and_shown(
    question, nurse, now, form, by_link
):
    client = browser_of() if by_link else browser_of(nurse)
    path = f"/unit/{question.pk}/"
    if by_link:
        path = client.get(link_of(question), follow=True).redirect_chain[-1][0]
    desk = told_by("leena.morrastad", now)
    lifecycle.accept(told_by("hana.wendorra", now), question)
    lifecycle.withdraw(desk, question, why="another unit is nearer")
    told = {"key": "k", "name": "Hana", "disagreement": "the baby is cold", "item": "cot"}
    answer = client.post(path + form, told)
    assert answer.status_code == 409
    assert "not expected at your unit any more" in text_of(answer)
    assert "the baby is cold" in text_of(answer)
    assert "What you typed is kept" in text_of(answer)
    assert ("disagreement", "the baby is cold") in kept.fields_of(KeptInput.objects.get())


def test_a_no_that_comes_too_late_keeps_its_words(question, nurse, now):
    lifecycle.withdraw(told_by("leena.morrastad", now), question, why="pressed by mistake")
    told = {"key": "k", "reason": "no_cot", "words": "one cot has no oxygen"}
    answer = browser_of(nurse).post(f"/unit/{question.pk}/decline/", told)
    assert answer.status_code == 409
    assert "one cot has no oxygen" in text_of(answer)
    assert "one+cot+has+no+oxygen" in KeptInput.objects.get().body


def test_a_yes_that_comes_too_late_and_says_nothing_more_leaves_nothing_for_the_desk(
    question, other_nurse, ward, now
):
    late = an_offer(question.referral, ward, now)
    client = browser_of(other_nurse)
    form = forms_on(client.get(f"/unit/{late.pk}/"))[0]
    lifecycle.accept(told_by("hana.wendorra", now), question)
    assert client.post(form["action"], form["fields"]).status_code == 409
    assert not KeptInput.objects.exists()


def test_a_refused_no_after_a_yes_opens_its_fold_again(question, nurse, monkeypatch):
    client = browser_of(nurse)
    path = f"/unit/{question.pk}/"
    press(client, path, action="accept/")
    monkeypatch.setattr(lifecycle, "decline", refuse)
    told = {"reason": "no_power", "words": "the roof leaks"}
    page = text_of(press(client, path, action="decline/", **told))
    fold = page[page.index("<details open>") :]
    assert "the roof leaks" in fold


def test_what_is_typed_through_a_link_that_has_ended_is_kept(question, now, monkeypatch):
    client = browser_of()
    path = client.get(link_of(question), follow=True).redirect_chain[-1][0]
    lifecycle.decline(told_by("hana.wendorra", now), question, reason=DeclineReason.NO_COT)
    monkeypatch.setattr("referrals.clock.now", lambda: now + timedelta(hours=3))
    told = {"key": "k", "receiver": "Night nurse"}
    answer = client.post(path + "accept/", told)
    assert answer.status_code == 404
    assert "What you typed is kept" in text_of(answer)
    assert "Night nurse" in text_of(answer)
    assert KeptInput.objects.get().path == path + "accept/"
    client.post(f"/u/{links.token('b', 1)}/accept/", told)
    assert KeptInput.objects.count() == 1  # what never was one of our links keeps nothing


def test_receiving_says_what_comes_first_and_whom_to_ring(now, nurse, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    offer = transfer.referral.accepted_offer()
    page = text_of(browser_of(nurse).get(f"/unit/{offer.pk}/receive/1/"))
    assert "Local protocol and the clinician in charge come first" in page
    assert 'href="tel:+12025550100"' in page
    assert f'href="tel:{transfer.referral.origin.phone.as_e164}"' in page
