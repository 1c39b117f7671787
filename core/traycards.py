"""Decide how tray cards are laid out for printing: one for each study tray, four to an A4 sheet.

What the code on a card says and how it is drawn is decided in codes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from fpdf import FPDF

from core.codes import QUIET, Modules, TrayCode, modules_of
from core.errors import CodeError
from core.model import TrayDeployment, TrayRole

SHEET_MM = (210.0, 297.0)
CARD_MM = (105.0, 148.5)
"""Width and height of an A4 sheet, and of the A6 card that is a quarter of it. [mm]"""
TO_A_SHEET = 4
CODE_MM = 100.0
"""Width of a code with its quiet zone. [mm]"""
ADVICE = (
    "Show this card to the camera at set-out and at pick-up, flat and half a metre to one metre "
    "away. Print on matte paper with a laser printer: infrared may wash out glossy paper, and some "
    "inks vanish in it. Try one card at night first."
)
_MARGIN_MM = 8.0
"""What a printer may leave white at the edge of a sheet, and a little more. [mm]"""
_OVERLAP_MM = 0.02
"""Dark modules reach into each other, so that no white line is printed between them. [mm]"""
_FONT = "helvetica"
SMALLEST_POINTS = 7.0
"""A line too long for it is cut and ends in `...`. [points]"""
_MADE = datetime(2000, 1, 1, tzinfo=UTC)
"""The time that the file names, always the same: the same cards are the same bytes."""


@dataclass(frozen=True, slots=True)
class TrayCards:
    """Cards ready to be printed."""

    pdf: bytes
    """The same trays give the same bytes, on the same versions of the libraries."""
    cards: int
    sheets: int
    unprinted: tuple[str, ...]
    """Deployments with letters that the printed font does not have; `?` stands in their place.
    The code itself holds every letter."""


def tray_cards(trays: Sequence[TrayDeployment], zone: ZoneInfo) -> TrayCards:
    """Lay out a card for each study tray deployment, in the log's order.

    Parameters
    ----------
    zone
        The study's zone, in which set-out is printed.

    Raises
    ------
    CodeError
        There is no study tray deployment, or an id is too long for a card.
    """
    study = [one for one in trays if one.role is TrayRole.STUDY]
    if not study:
        raise CodeError("The tray log has no study tray deployment. Load the tray log first.")
    drawn = [(one, modules_of(TrayCode(one.deployment))) for one in study]
    paper = FPDF(unit="mm", format="A4")
    paper.set_creation_date(_MADE)
    paper.set_auto_page_break(auto=False)
    paper.set_title("Tray cards")
    paper.set_fill_color(0)
    for at, (tray, modules) in enumerate(drawn):
        place = at % TO_A_SHEET
        if place == 0:
            paper.add_page()
            _cut_marks(paper)
        left, top = CARD_MM[0] * (place % 2), CARD_MM[1] * (place // 2)
        _draw_code(paper, modules, left + (CARD_MM[0] - CODE_MM) / 2, top + 1)
        _write_words(paper, _words(tray, zone), left + _MARGIN_MM, top + CODE_MM + 3)
    unprinted = [one.deployment for one in study if _lost(_words(one, zone))]
    return TrayCards(bytes(paper.output()), len(study), paper.page, tuple(unprinted))


@dataclass(frozen=True, slots=True)
class _Words:
    """What a card says in words."""

    deployment: str
    where: str
    when: str


def _words(tray: TrayDeployment, zone: ZoneInfo) -> _Words:
    where = [f"tray {tray.tray}" if tray.tray else "", tray.site, tray.microhabitat]
    when = "no set-out in the log yet"
    if tray.set_out is not None:
        when = f"set out {tray.set_out.astimezone(zone):%Y-%m-%d %H:%M} ({zone.key})"
    return _Words(tray.deployment, ", ".join(filter(None, where)), when)


def _draw_code(paper: FPDF, modules: Modules, left: float, top: float) -> None:
    """Draw the dark modules, each run of a row in one piece."""
    module = CODE_MM / (len(modules) + 2 * QUIET)
    for row, dark in enumerate(modules.tolist()):
        column = 0
        while column < len(dark):
            wide = 0
            while column + wide < len(dark) and dark[column + wide]:
                wide += 1
            if wide:
                x, y = left + (QUIET + column) * module, top + (QUIET + row) * module
                size = (wide * module + _OVERLAP_MM, module + _OVERLAP_MM)
                paper.rect(x, y, *size, style="F")
            column += max(wide, 1)


def _write_words(paper: FPDF, words: _Words, left: float, top: float) -> None:
    wide = CARD_MM[0] - 2 * _MARGIN_MM
    paper.set_xy(left, top)
    lines: tuple[tuple[str, Literal["", "B"], float, float], ...] = (
        (words.deployment, "B", 30.0, 11.0),
        (words.where, "", 14.0, 6.5),
        (words.when, "", 11.0, 6.0),
    )
    for text, style, points, high in lines:
        shown = _fitted(paper, _printable(text), style, points, wide)
        paper.set_x(left)
        paper.cell(wide, high, shown, align="C", new_x="LEFT", new_y="NEXT")
    paper.set_font(_FONT, size=7)
    paper.set_xy(left, paper.get_y() + 1)
    paper.multi_cell(wide, 2.9, ADVICE, align="C")


def _fitted(paper: FPDF, text: str, style: Literal["", "B"], points: float, wide: float) -> str:
    """Choose a font in which a line fits, and cut the line where even the smallest is too wide."""
    while points > SMALLEST_POINTS:
        paper.set_font(_FONT, style, points)
        if paper.get_string_width(text) <= wide:
            return text
        points -= 1
    paper.set_font(_FONT, style, SMALLEST_POINTS)
    while paper.get_string_width(text) > wide:
        text = text.removesuffix("...")[:-1] + "..."
    return text


def _printable(text: str) -> str:
    """Put `?` for letters that the fonts every PDF reader has are without."""
    return text.encode("latin-1", "replace").decode("latin-1")


def _lost(words: _Words) -> bool:
    lines = (words.deployment, words.where, words.when)
    return any(_printable(line) != line for line in lines)


def _cut_marks(paper: FPDF) -> None:
    """Mark where to cut a sheet in four: at its edges, inside what printers reach, and between."""
    paper.set_line_width(0.2)
    middle_x, middle_y = CARD_MM
    for start in (_MARGIN_MM - 2, SHEET_MM[1] - _MARGIN_MM - 4):
        paper.line(middle_x, start, middle_x, start + 6)
    for start in (_MARGIN_MM - 2, SHEET_MM[0] - _MARGIN_MM - 4):
        paper.line(start, middle_y, start + 6, middle_y)
    paper.line(middle_x - 3, middle_y, middle_x + 3, middle_y)
    paper.line(middle_x, middle_y - 3, middle_x, middle_y + 3)
