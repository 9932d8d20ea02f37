"""Every colour stands in one file, and every text can be read in the sun.

The contrast is that of the Web Content Accessibility Guidelines 2.2 (relative luminance and
contrast ratio): at least 7 to 1 for body text, 4.5 to 1 for what is short and large.
"""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PALETTE = ROOT / "referrals/static/referrals/palette.css"
STYLES = sorted(
    path
    for folder in ("referrals", "transport", "fixtures_demo")
    for path in (ROOT / folder).glob("**/static/**/*.css")
    if path != PALETTE
)
LITERAL = re.compile(
    r"#[0-9a-f]{3,8}\b(?=[^{]*[;}])|\b(?:rgba?|hsla?|hwb|lab|lch|oklab|oklch|color)\("
    r"|:\s*[^;{}]*\b(?:white|black|red|green|blue|yellow|orange|purple|grey|gray|brown)\b(?!\))",
    re.IGNORECASE,
)
GROUNDS = ("paper", "sheet", "sand")
BODY_TEXT = ("ink", "soft-ink", "blue")
MARKED_TEXT = ("orange", "plum")
FILLED = ("blue", "orange", "plum", "ink")


def colours() -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", PALETTE.read_text()))


def luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
        for value in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_the_formula_gives_the_known_extremes() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("ground", ["paper", "sheet"])
@pytest.mark.parametrize("text", BODY_TEXT)
def test_body_text_can_be_read_in_the_sun(text: str, ground: str) -> None:
    assert contrast(colours()[text], colours()[ground]) >= 7


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("text", [*BODY_TEXT, *MARKED_TEXT])
def test_every_text_can_be_read_on_every_ground(text: str, ground: str) -> None:
    assert contrast(colours()[text], colours()[ground]) >= 4.5


@pytest.mark.parametrize("ground", FILLED)
def test_text_on_a_filled_button_can_be_read_in_the_sun(ground: str) -> None:
    assert contrast(colours()["on-colour"], colours()[ground]) >= 7


def test_every_colour_of_the_palette_is_one_that_is_checked_here() -> None:
    checked = {*GROUNDS, *BODY_TEXT, *MARKED_TEXT, "on-colour", "line"}
    assert set(colours()) == checked


@pytest.mark.parametrize("path", STYLES, ids=lambda path: path.name)
def test_no_other_style_sheet_names_a_colour(path: Path) -> None:
    rules = re.sub(r"/\*.*?\*/", "", path.read_text(), flags=re.DOTALL)
    found = [match.group() for match in LITERAL.finditer(rules)]
    assert found == []


def test_a_literal_colour_would_be_found() -> None:
    for rule in ("a { color: #fff; }", "a { border: 1px solid Red }", "a { fill: rgb(1 2 3); }"):
        assert LITERAL.search(rule), rule
    assert not LITERAL.search("a#bad { color: var(--blue); }")


@pytest.mark.parametrize("folder", ["referrals", "transport", "fixtures_demo"])
def test_no_template_carries_a_style_of_its_own(folder: str) -> None:
    for path in (ROOT / folder).glob("**/templates/**/*.html"):
        assert not re.search(r"\sstyle=|<style|\sfill=\"#|\sstroke=\"", path.read_text()), path
