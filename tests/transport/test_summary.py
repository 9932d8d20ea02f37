"""The summary for whoever takes over: spoken order, one A4 page, a code that leads back.

What the page holds is read by programs of others: pypdfium2 (PDFium) for pages and text, zxing-cpp
for the code.
"""

from datetime import timedelta

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from referrals import correcting, describing, examining, recording, scoring, ventilating
from referrals.calc.scores import ScoreKind
from tests.pages_world import browser_of, text_of
from tests.world import a_journey, a_referral, an_offer, told_by
from transport import handing_over, on_the_way
from transport.calc.stages import TransferStage
from transport.pages.summary import MOST_CHARACTERS, MOST_ROWS, summary_of
from transport.pages.summary_paper import paper_of

pytestmark = pytest.mark.django_db
A4_POINTS = (595.28, 841.89)
"""210 x 297 mm (ISO 216) at 72 points an inch."""
LINK = "https://littleroad.health.example/c/K7Q4/"


@pytest.fixture
def transfer(now, intensive):
    return a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ON_THE_ROAD, babies=2)


@pytest.fixture
def referral(transfer):
    return transfer.referral


@pytest.fixture
def baby(referral):
    return referral.babies.get(birth_order=1)


def tell_much(transfer, baby, now, *, text="warmed on the mother's skin") -> None:
    """More of everything than one page can take."""
    referral, tomasi = transfer.referral, told_by("tomasi.bellaqua", now)
    describing.describe_baby(
        tomasi, baby, {"sex": "female", "born_at": now - timedelta(hours=3), "weight_guessed": True}
    )
    recording.observe(tomasi, baby, {"weight_g": 2100, "gestation_weeks": 34.0})
    facts = {"bleeding": "heavy", "placenta": "delivered", "systolic_mmhg": 90}
    recording.observe_mother(tomasi, referral.mother, facts)
    for number in range(MOST_ROWS + 3):
        then = told_by("tomasi.bellaqua", now - timedelta(minutes=60 - number))
        recording.record_treatment(then, referral, recording.Told(words=f"{number} {text}"))
        recording.record_advice(
            then, referral, given_by="Dr Wendorra", words=f"{number} {text}", read_back=True
        )
        ventilating.try_step(then, baby, "seal", chest_moves=bool(number % 2))
        scoring.take(then, baby, scoring.ScoreTold(kind=ScoreKind.TRIPS))
        gauge = {"heart_rate": 120 + number, "spo2": 91, "temperature_c": 35.4}
        on_the_way.check(
            then, transfer, baby, on_the_way.CheckTold(facts=gauge, oxygen_bar=120 - number)
        )


def lines_of(summary, code: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    [part] = [part for part in summary.parts if part.code == code]
    for line in part.lines:
        found.setdefault(line.about, []).append(line.text)
    return found


def test_the_parts_stand_in_the_order_in_which_a_handover_is_spoken(baby, now):
    titles = [part.title for part in summary_of(baby, now).parts]
    assert titles == ["Situation", "Background", "Assessment", "Recommendation"]


def test_it_says_what_was_told_with_its_time_and_its_source(transfer, baby, now):
    tell_much(transfer, baby, now)
    summary = summary_of(baby, now)
    assert "2100 g" in lines_of(summary, "situation")["Now"][0]
    background = lines_of(summary, "background")
    assert background["Weight"] == ["2100 g (a guess)"]
    assert "heavy" in background["Mother"][0].lower()
    assert background["Given, as told"][-1] == "3 earlier ones are in the live record."
    assert background["Given, as told"][0].startswith("3 warmed")
    assert len(background["Advice and decisions"]) == MOST_ROWS + 1
    assessed = lines_of(summary, "assessment")
    assert "35.4 °C at" in assessed["Temperature"][0]
    assert "WHO" in assessed["Temperature"][0]
    needs = [line for part in summary.parts for line in part.lines if line.about == "Need"]
    assert needs
    assert all(line.source for line in needs)
    newest = summary.readings[0]
    assert newest.text.startswith("Heart rate: 127")
    assert newest.by == "Tomasi Bellaqua"
    assert (len(summary.readings), summary.earlier_readings) == (MOST_ROWS, 4)
    assert {line.about for line in summary.to_ring} >= {"Desk", str(baby.referral.origin)}


def test_what_is_not_known_is_said_and_what_was_taken_back_is_not(baby, now):
    wrong = recording.record_treatment(
        told_by("tomasi.bellaqua", now), baby.referral, recording.Told(words="the other twin's")
    )
    recording_words = lines_of(summary_of(baby, now), "background")
    assert recording_words["Born"] == ["the time of birth is not told"]
    assert recording_words["Mother"] == ["nothing told yet"]
    assert recording_words["Weight"] == ["not known"]
    assert recording_words["Given, as told"] == ["the other twin's"]
    correcting.withdraw(told_by("tomasi.bellaqua", now), wrong, reason="other twin")
    assert "Given, as told" not in lines_of(summary_of(baby, now), "background")


def test_an_examination_not_done_is_carried_over_and_one_that_was_done_is_told(baby, now):
    said = lines_of(summary_of(baby, now), "recommendation")["First full examination"]
    assert said == ["not done yet"]
    by = told_by("tomasi.bellaqua", now)
    examining.examine(by, baby, examined_by="Dr Wendorra", findings="a soft belly")
    [said] = lines_of(summary_of(baby, now), "recommendation")["First full examination"]
    assert said.startswith("Dr Wendorra, ")
    assert said.endswith(": a soft belly")


def test_a_treatment_of_one_twin_is_not_on_the_page_of_the_other(referral, baby, now):
    other = referral.babies.get(birth_order=2)
    told = recording.Told(words="glucose")
    recording.record_treatment(told_by("tomasi.bellaqua", now), referral, told, baby=other)
    assert "Given, as told" not in lines_of(summary_of(baby, now), "background")
    assert lines_of(summary_of(other, now), "background")["Given, as told"] == ["glucose"]


def test_the_handover_and_what_the_two_sides_disagreed_on(transfer, baby, now):
    asked = lines_of(summary_of(baby, now), "recommendation")
    assert asked["Bands"] == [f"read {baby.code} aloud from the band before it changes hands"]
    for username, side in (("tomasi.bellaqua", "giver"), ("hana.wendorra", "receiver")):
        signature = handing_over.Signature(
            side=side, name=username, band_checked=True, condition="breathes_with_help"
        )
        by = told_by(username, now)
        if side == "receiver":
            signature = handing_over.Signature(
                side=side, name="Hana", band_checked=True, condition="breathes_with_help",
                temperature_c=35.9, disagreement="the weight is 1900 g",
            )  # fmt: skip
        handing_over.hand_over(by, transfer, baby, signature)
    baby.refresh_from_db()
    summary = summary_of(baby, now)
    assert lines_of(summary, "recommendation")["Not as it was told"] == ["the weight is 1900 g"]
    assert lines_of(summary, "recommendation")["Bands"] == [f"both sides have read {baby.code}"]
    [handed] = lines_of(summary, "situation")["Handed over"]
    assert "received by Hana" in handed
    assert handed.endswith("35.9 °C")


class TestPaper:
    def read(self, content: bytes) -> tuple[pypdfium2.PdfDocument, str]:
        paper = pypdfium2.PdfDocument(content)
        return paper, paper[0].get_textpage().get_text_range()

    def test_however_much_was_told_it_is_one_a4_page_and_the_code_leads_back(
        self, transfer, baby, now
    ):
        tell_much(transfer, baby, now, text="words of a long night " * 40)
        paper, text = self.read(paper_of(summary_of(baby, now), LINK))
        assert len(paper) == 1
        assert paper[0].get_size() == pytest.approx(A4_POINTS, abs=0.5)
        assert baby.code in text
        assert "Recommendation" in text
        assert "Received by" in text
        picture = paper[0].render(scale=2).to_pil()
        [code] = zxingcpp.read_barcodes(picture)
        assert code.text == LINK

    def test_the_code_is_read_from_a_small_grey_copy(self, baby, now):
        paper, _text = self.read(paper_of(summary_of(baby, now), LINK))
        copy = paper[0].render(scale=1).to_pil().convert("L")
        faded = copy.point(lambda shade: 90 + shade * 120 // 255)
        assert isinstance(faded, Image.Image)
        [code] = zxingcpp.read_barcodes(faded)
        assert code.text == LINK

    def test_it_is_right_without_any_colour(self, transfer, baby, now):
        tell_much(transfer, baby, now)
        paper, _text = self.read(paper_of(summary_of(baby, now), LINK))
        red, green, blue = paper[0].render(scale=1).to_pil().convert("RGB").split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()

    def test_what_somebody_typed_is_printed_as_it_is(self, transfer, baby, now):
        told = recording.Told(words="**1--2** __drops__ ~~no~~ \u2192 Žofia Núñez")
        recording.record_treatment(told_by("tomasi.bellaqua", now), transfer.referral, told)
        _paper, text = self.read(paper_of(summary_of(baby, now), LINK))
        plain = text.replace("\u200b", "").replace("\ufffe", "")
        assert "**1--2** __drops__ ~~no~~" in plain
        assert "Žofia Núñez" in plain


class TestPages:
    def test_who_brings_the_baby_opens_and_keeps_it(self, baby, attendant):
        browser, address = browser_of(attendant), f"/r/{baby.referral.code}/summary/1/"
        page = browser.get(address)
        assert page.status_code == 200
        text = text_of(page)
        assert text.index("Situation") < text.index("Recommendation")
        file = browser.get(f"{address}paper/")
        assert file["Content-Type"] == "application/pdf"
        assert file["Content-Disposition"] == f'attachment; filename="{baby.code}.pdf"'
        assert f"{address}paper/" in page.content.decode()
        assert file.content.startswith(b"%PDF-")
        case = browser.get(f"/r/{baby.referral.code}/").content.decode()
        assert case.count("/summary/") == 2

    def test_the_unit_reads_it_only_after_its_yes(self, now, intensive, nurse):
        referral = a_referral(now)
        offer = an_offer(referral, intensive, now)
        browser = browser_of(nurse)
        page = browser.get(f"/unit/{offer.pk}/summary/1/")
        assert page.status_code == 404
        assert "Answer the question first" in text_of(page)

    def test_the_unit_reads_it_by_its_own_address(self, referral, baby, nurse):
        offer = referral.accepted_offer()
        browser = browser_of(nurse)
        assert baby.code in text_of(browser.get(f"/unit/{offer.pk}/summary/1/"))
        assert f"/unit/{offer.pk}/summary/1/" in browser.get(f"/unit/{offer.pk}/").content.decode()
        file = browser.get(f"/unit/{offer.pk}/summary/1/paper/")
        assert file.content.startswith(b"%PDF-")

    def test_the_desk_comes_back_to_its_own_page(self, referral, officer):
        browser = browser_of(officer)
        assert "/summary/1/" in browser.get(f"/desk/{referral.code}/").content.decode()
        page = browser.get(f"/r/{referral.code}/summary/1/").content.decode()
        assert f'href="/desk/{referral.code}/"' in page

    def test_another_post_finds_nothing(self, referral, person):
        browser = browser_of(person("mei.corrowan"))
        assert browser.get(f"/r/{referral.code}/summary/1/").status_code == 404
        assert browser.get(f"/r/{referral.code}/summary/1/paper/").status_code == 404


def test_a_long_text_is_cut_and_says_so(referral, baby, now):
    told = recording.Told(words="w" * 1000)
    recording.record_treatment(told_by("tomasi.bellaqua", now), referral, told)
    [said] = lines_of(summary_of(baby, now), "background")["Given, as told"]
    assert len(said) == MOST_CHARACTERS
    assert said.endswith("…")
