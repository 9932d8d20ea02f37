"""The attendant's pages, as a phone without scripts sees and sends them."""

import gzip
import re

import pytest
from pages_world import browser_of, press, text_of
from world import BAGGED, a_journey, a_placed_referral, a_referral, an_offer, told_by

from referrals import lifecycle, recording
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.models import Baby, Observation, Referral
from transport import handing_over, ticking
from transport.calc.shipped_lists import DEPARTURE
from transport.calc.stages import TransferStage

BYTES_AT_FIRST = 14 * 1024


def raised(client) -> Referral:
    press(client, "/post/")
    return Referral.objects.latest("pk")


def test_one_press_calls_for_help(attendant, post, django_capture_on_commit_callbacks):
    client = browser_of(attendant)
    with django_capture_on_commit_callbacks(execute=True):
        answer = press(client, "/post/")
    referral = Referral.objects.get()
    assert answer.url == f"/r/{referral.code}/details/"
    assert (referral.origin, referral.raised_by) == (post, attendant)
    assert referral.offers.count() == 1  # asked in the same breath
    assert referral.transfers.get().stage == "wanted"
    page = text_of(client.get(answer.url))
    assert "Help is called" in page
    assert f"{referral.code}-1" in page


def test_a_second_baby_is_one_press_too_and_the_first_stays_in_sight(attendant):
    client = browser_of(attendant)
    first = raised(client)
    page = text_of(client.get("/post/"))
    assert first.code in page
    assert "Call for help for another baby" in page


def test_a_post_without_open_calls_says_so(attendant):
    assert "No open calls from this post" in text_of(browser_of(attendant).get("/post/"))


def test_nobody_can_call_from_a_post_that_is_not_theirs(attendant, person, post):
    other = person("lupe.sandrivo")
    answer = browser_of(other).post("/post/", {"site": str(post.pk)})
    assert answer.status_code == 404
    assert Referral.objects.count() == 0


def test_the_page_says_who_is_coming_from_where_when_and_whom_to_call(attendant, now, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    page = text_of(browser_of(attendant).get(f"/r/{transfer.referral.code}/"))
    for words in (
        str(intensive),
        intensive.entrance,
        transfer.vehicle.name,
        transfer.driver_name,
        f"tel:{transfer.driver_phone}",
        f"tel:{intensive.phone.as_e164}",
        f"tel:{transfer.referral.district.desk_phone.as_e164}",
    ):
        assert words in page
    windows = re.findall(r'class="when">(\d\d:\d\d)–(\d\d:\d\d)<', page)
    assert len(windows) == 2  # at the post, at the unit
    assert "Next check" in page
    assert "/beat/" in page


def test_the_changing_part_is_sent_only_when_it_changed(attendant, now, intensive):
    referral = a_referral(now)
    client = browser_of(attendant)
    path = f"/r/{referral.code}/now/"
    first = client.get(path)
    same = client.get(path, headers={"If-None-Match": first["ETag"]})
    assert (same.status_code, same.content) == (304, b"")
    lifecycle.accept(told_by("hana.wendorra", now), an_offer(referral, intensive, now))
    changed = client.get(path, headers={"If-None-Match": first["ETag"]})
    assert changed.status_code == 200
    assert "takes the baby" in text_of(changed)


def test_a_correction_keeps_the_old_value_in_sight(attendant, now):
    referral = a_referral(now)
    wrong = referral.babies.get().observations.get()
    client = browser_of(attendant)
    path = f"/r/{referral.code}/told/reading/{wrong.pk}/"
    press(client, path, oxygen_flow_l_min="8")
    assert Observation.objects.get(corrects=wrong).facts() == BAGGED | {"oxygen_flow_l_min": 8.0}
    assert "<s>5 L/min</s> 8 L/min" in text_of(client.get(f"/r/{referral.code}/timeline/"))
    newest = Observation.objects.get(corrects=wrong)
    assert client.get(path).url == f"/r/{referral.code}/told/reading/{newest.pk}/"


def test_treatment_and_advice_are_written_down_as_told(attendant, now):
    referral = a_referral(now)
    client = browser_of(attendant)
    press(client, f"/r/{referral.code}/treatment/", words="as the vial says", given_by="Tomasi")
    assert "Undo" in text_of(client.get(f"/r/{referral.code}/"))
    press(
        client,
        f"/r/{referral.code}/advice/",
        given_by="Dr Hana",
        words="skin to skin",
        read_back="on",
    )
    assert str(referral.treatments.get()) == "as the vial says"
    assert referral.advice.get().read_back


def test_advice_without_a_name_is_asked_for_it_and_keeps_the_words(attendant, now):
    referral = a_referral(now)
    answer = press(browser_of(attendant), f"/r/{referral.code}/advice/", words="skin to skin")
    assert answer.status_code == 422
    assert "skin to skin" in text_of(answer)
    assert not referral.advice.exists()


@pytest.mark.parametrize("missing", ["determined_by", "band"])
def test_a_death_names_who_determined_it_and_which_baby(attendant, now, missing):
    referral = a_referral(now)
    baby = referral.babies.get()
    told = {"ending": "died_before_departure", "determined_by": "Dr Hana", "band": baby.code}
    client = browser_of(attendant)
    path = f"/r/{referral.code}/ending/1/"
    assert press(client, path, **told | {missing: ""}).status_code == 422
    assert Baby.objects.get().ending == ""
    assert press(client, path, **told).status_code == 302
    assert Baby.objects.get().ending == Ending.DIED_BEFORE_DEPARTURE


def test_an_ending_can_be_taken_back_with_a_reason(attendant, now):
    referral = a_referral(now)
    client = browser_of(attendant)
    press(client, f"/r/{referral.code}/ending/1/", ending="family_declined")
    path = f"/r/{referral.code}/ending/1/reverse/"
    assert press(client, path).status_code == 409
    assert Baby.objects.get().ending == "family_declined"
    press(client, path, reason="they changed their mind")
    assert Baby.objects.get().ending == ""


def test_called_by_mistake_is_taken_back(attendant, now):
    referral = a_referral(now)
    answer = press(browser_of(attendant), f"/r/{referral.code}/take-back/", reason="wrong button")
    assert answer.url == "/post/"
    assert Baby.objects.get().ending == Ending.RAISED_IN_ERROR


def test_the_giver_signs_for_the_baby_whose_band_it_is(attendant, now, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED, babies=2)
    client = browser_of(attendant)
    path = f"/r/{transfer.referral.code}/handover/1/"
    code = transfer.referral.code
    wrong = press(client, path, band=f"{code}-2")
    assert wrong.status_code == 422
    assert f"This page is for {code}-1" in text_of(wrong)
    press(client, path, band=f"{code.lower()} 1")
    signed = transfer.handovers.get()
    assert signed.given_by == "Tomasi Bellaqua"
    assert signed.given_band_checked
    assert not signed.received_band_checked


def test_no_handover_without_a_vehicle_and_the_words_stay(attendant, now, intensive):
    referral = a_placed_referral(now, intensive)
    path = f"/r/{referral.code}/handover/1/"
    answer = press(browser_of(attendant), path, disagreement="the cap is missing")
    assert answer.status_code == 409
    assert "has no vehicle yet" in text_of(answer)
    assert "the cap is missing" in text_of(answer)


def test_what_to_bring_is_ticked_and_unticked(attendant, now):
    referral = a_referral(now)
    client = browser_of(attendant)
    path = f"/r/{referral.code}/before-leaving/"
    press(client, path, item=["bag_works", "band"])
    press(client, path, item=["band"])
    answers = referral.transfers.get().answers
    assert list(answers.values_list("item", "answer")) == [
        ("bag_works", "yes"),
        ("band", "yes"),
        ("bag_works", "no"),
    ]


def test_ticks_of_what_to_bring_that_were_refused_stand_as_they_were_pressed(
    attendant, now, monkeypatch
):
    def refuse(*_: object, **__: object) -> None:
        raise NotPossible("The journey has ended.")

    path = f"/r/{a_referral(now).code}/before-leaving/"
    client = browser_of(attendant)
    press(client, path, item=["band"])
    monkeypatch.setattr(ticking, "answer_checklist", refuse)
    answer = press(client, path, item=["bag_works"])
    assert answer.status_code == 409
    assert 'value="bag_works" checked' in text_of(answer)
    assert 'value="band" checked' not in text_of(answer)


def test_the_outcome_is_told_back_with_thanks(attendant, now, intensive):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    baby, by = transfer.referral.babies.get(), told_by("hana.wendorra", now)
    for side in ("giver", "receiver"):
        handing_over.hand_over(by, transfer, baby, handing_over.Signature(side=side, name="Hana"))
    recording.tell_outcome(by, baby, state="improving", words="feeds a little")
    page = text_of(browser_of(attendant).get("/post/"))
    assert "Getting better" in page
    assert "feeds a little" in page
    assert "Thank you for what you did" in page


def test_the_paper_slip_holds_the_code_a_drawing_of_the_link_and_boxes(attendant, now):
    referral = a_referral(now)
    page = text_of(browser_of(attendant).get(f"/r/{referral.code}/print/"))
    assert f'<h1 class="code">{referral.code}</h1>' in page
    assert re.search(r'<svg[^>]*viewBox="0 0 (\d+) \1"', page)  # scaled whole, never cut
    assert f"/c/{referral.code}/" in page
    assert page.count('class="box"') == len(DEPARTURE)
    assert "style=" not in page  # the content policy allows none


def test_a_baby_is_never_asked_to_wait(attendant, now):
    """No page of the attendant says stop or wait, and checks are never the bagger's."""
    referral = a_referral(now)
    client = browser_of(attendant)
    for path in ("", "details/", "check/1/", "before-leaving/"):
        page = text_of(client.get(f"/r/{referral.code}/{path}")).lower()
        assert "stop ventilat" not in page
        assert "please wait" not in page
    assert "whoever is not ventilating" in text_of(client.get(f"/r/{referral.code}/check/1/"))


ATTENDANTS = [
    "",
    "now/",
    "timeline/",
    "print/",
    "summary/1/",
    "take-back/",
    "details/",
    "details/1/weight/",
    "details/mother/bleeding/",
    "details/all/hands/",
    "told/",
    "check/1/",
    "check/1/heart/",
    "treatment/",
    "advice/",
    "before-leaving/",
    "ending/1/",
    "ending/1/reverse/",
    "handover/1/",
]


@pytest.mark.parametrize("path", ATTENDANTS)
def test_other_posts_and_units_find_nothing_here(path, now, intensive, person, nurse, officer):
    referral = a_placed_referral(now, intensive)
    for stranger in (person("lupe.sandrivo"), nurse):
        for method in ("get", "post"):
            answer = getattr(browser_of(stranger), method)(f"/r/{referral.code}/{path}")
            assert answer.status_code in (404, 405)
    assert browser_of(officer).get(f"/r/{referral.code}/{path}").status_code == 200


@pytest.mark.parametrize("path", ATTENDANTS)
def test_nothing_of_a_patient_is_stored_on_the_way(path, now, attendant):
    referral = a_referral(now)
    answer = browser_of(attendant).get(f"/r/{referral.code}/{path}")
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", ["/post/", "", "details/", "details/all/hands/", "check/1/"])
def test_the_first_load_fits_the_budget(path, attendant, now, intensive):
    """HTML, styles and scripts together, compressed, at most 14 kB."""
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, babies=2)
    client = browser_of(attendant)
    path = path if path.startswith("/") else f"/r/{transfer.referral.code}/{path}"
    answer = client.get(path, headers={"Accept-Encoding": "gzip"})
    assert answer["Content-Encoding"] == "gzip"
    page = gzip.decompress(answer.content).decode()
    assets = re.findall(r'(?:href|src)="(/static/[^"]+\.(?:css|js))"', page)
    assert len(assets) == 4
    sizes = [len(gzip.compress(read_all(client.get(asset)))) for asset in assets]
    assert len(answer.content) + sum(sizes) <= BYTES_AT_FIRST, (len(answer.content), sizes)


def read_all(response) -> bytes:
    return b"".join(response.streaming_content) if response.streaming else response.content


CAUTION = "Local protocol and the clinician in charge come first"


@pytest.mark.parametrize("page", ["", "advice/", "handover/1/"])
def test_where_harm_is_possible_it_says_what_comes_first_and_whom_to_ring(
    attendant, now, intensive, page
):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    told = text_of(browser_of(attendant).get(f"/r/{transfer.referral.code}/{page}"))
    assert CAUTION in told
    assert 'href="tel:+12025550100"' in told
    assert f'href="tel:{intensive.phone.as_e164}"' in told


def test_the_case_warns_beside_times_and_oxygen_and_only_there(attendant, now, intensive):
    client = browser_of(attendant)
    assert "is not known here" not in text_of(client.get(f"/r/{a_referral(now).code}/"))
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    page = text_of(client.get(f"/r/{transfer.referral.code}/"))
    assert page.index("At the unit between") < page.index("is not known here")
    assert page.index("is not known here") < page.index("Tell more")


def test_a_session_that_has_run_out_is_told_from_a_network_that_is_away(attendant, now):
    """The script shows the sentence for what it meets; a redirect can only be the sign-in."""
    client = browser_of(attendant)
    path = f"/r/{a_referral(now).code}/"
    page = text_of(client.get(path))
    for when in ("unanswered", "ended", "signed-out"):
        assert f'data-when="{when}" hidden' in page
    assert f'href="/sign-in/?next={path}"' in page
    client.logout()
    assert client.get(f"{path}now/").url == f"/sign-in/?next={path}now/"
