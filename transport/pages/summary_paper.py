"""The summary of one baby as a PDF: one A4 page, black on white, with a code to the live record.

The letters shrink until everything stands on the one page; what somebody wrote is cut before that
by ``summary.MOST_CHARACTERS``, and rows are counted, so that it always fits.
"""

from datetime import datetime

import segno
from django.utils import timezone
from django.utils.translation import gettext as _
from font_roboto import Roboto, RobotoBold
from fpdf import FPDF

from transport.pages.summary import Summary

MARGIN_MM = 14.0
CODE_MM = 32.0
"""The side of the code: a phone reads it from an arm's length, in poor light and after a crease."""

SIZES_PT = (11.0, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0)
"""From what is read well at arm's length down to the smallest that still prints cleanly."""

SIGNED_MM = 22.0
"""Kept free at the foot for two hands to sign."""


class TooMuchForOnePage(ValueError):
    """The summary holds more than one page takes even in the smallest letters."""


def paper_of(summary: Summary, link: str) -> bytes:
    """The page as the bytes of a PDF; ``link`` is the whole address of the live record.

    Raises:
        TooMuchForOnePage: which the limits of ``summary.py`` keep from happening.
    """
    for size in SIZES_PT:
        page = _drawn(summary, link, size)
        if page.page_no() == 1:
            return bytes(page.output())
    raise TooMuchForOnePage(summary.baby)


def _drawn(summary: Summary, link: str, size: float) -> FPDF:
    page = FPDF(format="A4")
    page.add_font("letters", fname=Roboto)
    page.add_font("letters", style="B", fname=RobotoBold)
    page.set_title(summary.baby)
    page.set_creation_date(summary.made_at)
    page.set_margin(MARGIN_MM)
    page.set_auto_page_break(True, margin=MARGIN_MM + SIGNED_MM)
    page.add_page()
    _head(page, summary, link, size)
    for part in summary.parts:
        _title(page, part.title, size)
        for line in part.lines:
            beside = f" ({line.source})" if line.source else ""
            _line(page, f"**{_plain(line.about)}:** {_plain(line.text + beside)}", size)
    _readings(page, summary, size)
    _title(page, _("To ring"), size)
    for line in summary.to_ring:
        _line(page, f"**{_plain(line.about)}:** {_plain(line.text)}", size)
    _line(page, _plain(summary.caution), size)
    if page.page_no() == 1:
        _signatures(page)
    return page


def _head(page: FPDF, summary: Summary, link: str, size: float) -> None:
    top = page.t_margin
    _code(page, link, page.w - page.r_margin - CODE_MM, top)
    page.set_font("letters", style="B", size=34)
    page.set_xy(page.l_margin, top)
    page.cell(text=summary.baby, new_x="LMARGIN", new_y="NEXT")
    page.set_font("letters", size=size)
    beside_the_code = page.epw - CODE_MM - 4
    made = _("As it stood on %(date)s at %(time)s. The live record may know more:") % {
        "date": f"{_local(summary.made_at):%d.%m.%Y}",
        "time": f"{_local(summary.made_at):%H:%M}",
    }
    for text in (made, link):
        page.multi_cell(beside_the_code, size * 0.45, text, new_x="LMARGIN", new_y="NEXT")
    page.set_y(max(page.get_y(), top + CODE_MM))


def _code(page: FPDF, link: str, left: float, top: float) -> None:
    rows = list(segno.make(link, error="m", micro=False).matrix_iter(border=0))
    side = CODE_MM / len(rows)
    page.set_fill_color(0)
    for down, row in enumerate(rows):
        for across, dark in enumerate(row):
            if dark:
                page.rect(left + across * side, top + down * side, side, side, style="F")


def _title(page: FPDF, title: str, size: float) -> None:
    page.ln(size * 0.1)
    page.set_font("letters", style="B", size=size * 1.15)
    page.cell(page.epw, size * 0.55, title, border="B", new_x="LMARGIN", new_y="NEXT")
    page.ln(size * 0.06)


def _line(page: FPDF, text: str, size: float) -> None:
    page.set_font("letters", size=size)
    page.multi_cell(
        page.epw, size * 0.44, text, align="L", markdown=True, new_x="LMARGIN", new_y="NEXT"
    )


def _readings(page: FPDF, summary: Summary, size: float) -> None:
    _title(page, _("Readings, newest first"), size)
    for row in summary.readings:
        at = f"{_local(row.at):%d.%m. %H:%M}"
        _line(page, f"**{at}** {_plain(row.text)} ({_plain(row.by)})", size)
    if not summary.readings:
        _line(page, _plain(_("Nothing measured has been told.")), size)
    if summary.earlier_readings:
        said = _("%(count)d earlier readings are in the live record.")
        _line(page, _plain(said % {"count": summary.earlier_readings}), size)


def _signatures(page: FPDF) -> None:
    page.set_auto_page_break(False)
    page.set_y(page.h - MARGIN_MM - SIGNED_MM + 6)
    page.set_font("letters", size=9)
    half = page.epw / 2
    for label in (_("Given by, time, band read"), _("Received by, time, band read")):
        left = page.get_x()
        page.line(left, page.get_y() + 8, left + half - 6, page.get_y() + 8)
        page.set_x(left + half)
        page.text(left, page.get_y() + 12, label)


def _plain(text: str) -> str:
    """Words as they are: what somebody typed is never taken for a mark of emphasis."""
    for mark in ("*", "_", "~", "-"):
        text = text.replace(mark * 2, f"{mark}\u200b{mark}")
    return text


def _local(moment: datetime) -> datetime:
    return timezone.localtime(moment)
