"""Tray cards: what a printer would print is read back, on paper that is cut where it is marked."""

from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pypdfium2
import pytest
from builders import tray
from test_cli import Run, run  # noqa: F401  (a fixture)

from core import codes, traycards
from core.codes import TrayCode
from core.errors import CodeError
from core.model import TrayDeployment, TrayRole

JOHANNESBURG = ZoneInfo("Africa/Johannesburg")
DPI = 100
MM = DPI / 25.4
"""Pixels of a rendered sheet in a millimetre."""


def study_trays(*names: str) -> list[TrayDeployment]:
    """Give study trays of these ids."""
    return [tray(name, site="Skulpkom", microhabitat="open") for name in names]


def printed(pdf: bytes) -> list[Any]:
    """Give each sheet as a printer would print it. [grey levels]"""
    document = pypdfium2.PdfDocument(pdf)
    try:
        sheets = []
        for page in document:
            sheets.append(np.array(page.render(scale=DPI / 72).to_pil().convert("L")))
            page.close()
        return sheets
    finally:
        document.close()


def text_of(pdf: bytes) -> str:
    """Give the words of all sheets."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        found = []
        for page in document:
            text = page.get_textpage()
            found.append(str(text.get_text_range()))
            text.close()
            page.close()
        return "\n".join(found)
    finally:
        document.close()


def quarters(sheet: Any) -> list[Any]:
    """Cut a sheet in four, as its marks say: left to right, then down."""
    high, wide = (side // 2 for side in sheet.shape)
    return [
        sheet[row : row + high, column : column + wide] for row in (0, high) for column in (0, wide)
    ]


def test_each_card_carries_its_own_code_four_to_a_sheet() -> None:
    """Five deployments: four A6 cards on one A4 sheet and one on the next, in the log's order."""
    names = ["SKO-N1", "SKO-N2", "lower case", "Ω-night", "X" * 40]
    cards = traycards.tray_cards(study_trays(*names), JOHANNESBURG)
    assert (cards.cards, cards.sheets) == (5, 2)
    sheets = printed(cards.pdf)
    assert [sheet.shape for sheet in sheets] == [(1170, 827)] * 2  # A4 at 100 dots an inch
    found = [
        [one.code for one in codes.read_codes(np.ascontiguousarray(card)).found]
        for sheet in sheets
        for card in quarters(sheet)
    ]
    assert found == [[TrayCode(name)] for name in names] + [[], [], []]


def test_the_modules_are_as_big_as_the_card_allows() -> None:
    """A code of 21 modules is 72 mm wide on a card of 105 mm, with 4 white modules around it."""
    [sheet] = printed(traycards.tray_cards(study_trays("SKO-N1"), JOHANNESBURG).pdf)
    card = quarters(sheet)[0]
    found = codes.read_codes(np.ascontiguousarray(card)).found[0]
    corners = np.array(found.corners) * card.shape[1] / MM
    width = corners[1, 0] - corners[0, 0]
    assert width == pytest.approx(100 * 21 / 29, abs=1)
    quiet = 4 * width / 21
    dark = np.argwhere(card < 128) / MM
    in_rows = dark[dark[:, 0] < corners[2, 1] + quiet - 0.5]
    assert in_rows[:, 1].min() >= corners[0, 0] - 0.5
    assert corners[0, 0] >= quiet - 0.5
    assert corners[1, 0] <= 105 - quiet + 0.5


def test_the_words_are_on_the_card() -> None:
    """Deployment, tray, site, microhabitat, set-out in the study's zone, and the advice."""
    text = text_of(traycards.tray_cards(study_trays("SKO-N1"), JOHANNESBURG).pdf)
    for words in (
        "SKO-N1",
        "tray T1, Skulpkom, open",
        "set out 2026-03-14 20:00 (Africa/Johannesburg)",
        "infrared may wash out glossy paper",
        "matte paper",
    ):
        assert words in " ".join(text.split())


def test_what_the_log_leaves_blank_is_left_out_or_said() -> None:
    """No comma hangs in the air, and a missing set-out is said."""
    one = replace(tray("D1"), tray="", site="", set_out=None, microhabitat="bush")
    lines = text_of(traycards.tray_cards([one], JOHANNESBURG).pdf).splitlines()
    assert "bush" in [line.strip() for line in lines]
    assert "no set-out in the log yet" in [line.strip() for line in lines]


def test_only_study_trays_have_cards() -> None:
    """Controls and prebait stand where no camera looks for a forager."""
    others = [tray(role, role=role) for role in TrayRole if role is not TrayRole.STUDY]
    assert traycards.tray_cards([*others, tray("D1")], JOHANNESBURG).cards == 1
    with pytest.raises(CodeError, match=r"no study tray deployment\. Load the tray log first"):
        traycards.tray_cards(others, JOHANNESBURG)


def test_the_same_trays_give_the_same_bytes() -> None:
    """A card printed again is the same card; another tray makes another file."""
    one, again, other = (
        traycards.tray_cards(study_trays(*names), JOHANNESBURG).pdf
        for names in (("A1", "A2"), ("A1", "A2"), ("A1", "A3"))
    )
    assert one == again != other


def test_letters_that_cannot_be_printed_are_told_and_are_in_the_code() -> None:
    """The font that every PDF reader has knows no Greek; the code does."""
    cards = traycards.tray_cards(study_trays("Heuningrug é", "Ω-night"), JOHANNESBURG)
    assert cards.unprinted == ("Ω-night",)
    assert "?-night" in text_of(cards.pdf)
    assert "Heuningrug é" in text_of(cards.pdf)


@pytest.mark.parametrize(
    "one",
    [
        pytest.param(tray("W" * 40), id="deployment"),
        pytest.param(tray("D1", site="W " * 60), id="site"),
        pytest.param(tray("D1", microhabitat="w" * 90), id="microhabitat"),
    ],
)
def test_long_words_stay_on_their_card(one: TrayDeployment) -> None:
    """A long name is printed smaller, then cut; nothing is printed beside the card."""
    [sheet] = printed(traycards.tray_cards([one], JOHANNESBURG).pdf)
    left = sheet[:, : round(105 * MM)]
    assert (left < 128).any()
    words = sheet[round(103 * MM) : round(140 * MM), :]
    dark = np.argwhere(words < 128)[:, 1] / MM
    assert dark.min() >= 7
    assert dark.max() <= 98


def test_the_cutting_lines_are_marked_and_cross_no_code() -> None:
    """Marks at the four edges and in the middle, exactly between the cards."""
    [sheet] = printed(traycards.tray_cards(study_trays("A", "B", "C", "D"), JOHANNESBURG).pdf)
    middle_x, middle_y = round(105 * MM), round(148.5 * MM)
    down = sheet[:, middle_x - 2 : middle_x + 3].min(axis=1) < 128
    across = sheet[middle_y - 2 : middle_y + 3, :].min(axis=0) < 128
    for line in (down, across):
        places = np.flatnonzero(line) / MM
        assert places.min() >= 5  # what printers leave white, common practice
        assert places.max() <= len(line) / MM - 5
        assert ((places > 5) & (places < 13)).any()
        assert (np.abs(places - len(line) / MM / 2) < 3).any()
        assert line.mean() < 0.2


def test_an_id_too_long_for_a_card_is_refused_whole() -> None:
    """The deployment, how long it is, and the way out; no file is half made."""
    with pytest.raises(CodeError, match=r"'x+' has an id too long for a tray card \(80"):
        traycards.tray_cards(study_trays("A1", "x" * 80), JOHANNESBURG)


# --- the command ---------------------------------------------------------------------------------


def test_the_command_writes_the_cards(tmp_path: Path, run: Run) -> None:  # noqa: F811
    """A PDF with a card for each study tray; how many, and the scale to print at, are said."""
    log = tmp_path / "trays.csv"
    log.write_text(
        "deployment,tray,set_out,picked_up,food_start_g,food_left_g,role\n"
        "D1,T1,2026-03-14 08:00,2026-03-14 15:00,10.0,4.0,study\n"
        "Ω2,T1,2026-03-15 08:00,2026-03-15 15:00,10.0,4.0,\n"
        "C1,T9,2026-03-14 08:00,2026-03-14 15:00,10.0,9.0,moisture_control\n",
        encoding="utf-8",
    )
    study, file = tmp_path / "study", tmp_path / "cards.pdf"
    assert run("new", study, "--timezone", "Africa/Johannesburg")[0] == 0
    code, _, err = run("traycards", study, file)
    assert code == 1
    assert "no study tray deployment" in err
    assert not file.exists()
    assert run("load", study, "trays", log)[0] == 0
    code, out, err = run("traycards", study, file)
    assert (code, out) == (0, "")
    assert "2 tray cards on 1 sheet of A4: print at 100 %" in err
    assert "on the cards of Ω2; their codes are whole" in err
    [sheet] = printed(file.read_bytes())
    read = [one.code for one in codes.read_codes(sheet).found]
    assert {TrayCode("D1"), TrayCode("Ω2")} == set(read)
