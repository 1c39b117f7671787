"""The photo, visit and outcome tables: their columns, and how each cell is written."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from builders import SPECIES, Night, Stay, at, camera, record, stay, tray
from hypothesis import given
from hypothesis import strategies as st

from core.clockfaults import ClockCorrection, ClockFault
from core.exports.tables import (
    OUTCOME_COLUMNS,
    PHOTO_COLUMNS,
    VISIT_COLUMNS,
    Row,
    csv_text,
    ledger,
    number_text,
    outcome_row,
    photo_row,
    time_text,
    visit_row,
)
from core.model import (
    ClockFlag,
    Outcome,
    Photo,
    PhotoKind,
    Placement,
    Reason,
    Status,
    TimeSource,
    Where,
)
from core.sheets import plain_cell

CAPE = ZoneInfo("Africa/Johannesburg")
D = Decimal

# The design's words (section 5), so that a column renamed or moved is noticed.
PHOTOS = "placement file camera_time subsec offset time_source true_time kind problem correction"
VISITS = (
    "placement visit tray start end photos first_photo last_photo answer count where taggers state"
)
OUTCOMES = (
    "deployment tray site pair microhabitat set_out picked_up hours_out food_start_g food_left_g "
    "food_left_corrected_g eaten_g items_start items_left items_left_corrected items_eaten gud_g "
    "gud_g_per_l gud_items proportion_left censored forager visits visits_all minutes_on_tray "
    "first_visit_min last_fed_at watched_share unanswered status reason notes"
)


@pytest.mark.parametrize(
    ("columns", "words"),
    [(PHOTO_COLUMNS, PHOTOS), (VISIT_COLUMNS, VISITS), (OUTCOME_COLUMNS, OUTCOMES)],
    ids=["photos", "visits", "outcomes"],
)
def test_columns_are_the_designs(columns: Sequence[str], words: str) -> None:
    """Columns and their order are promised to whoever reads the files."""
    assert list(columns) == words.split()


# --- cells -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("moment", "zone", "text"),
    [
        pytest.param(None, CAPE, "", id="none"),
        pytest.param(at("18:00"), CAPE, "2026-03-14T20:00:00+02:00", id="the zone's offset"),
        pytest.param(at("18:00"), ZoneInfo("UTC"), "2026-03-14T18:00:00+00:00", id="UTC"),
        pytest.param(
            datetime(2025, 11, 2, 8, 30, tzinfo=UTC),
            ZoneInfo("America/Los_Angeles"),
            "2025-11-02T01:30:00-07:00",
            id="01:30 the first time",
        ),
        pytest.param(
            datetime(2025, 11, 2, 9, 30, tzinfo=UTC),
            ZoneInfo("America/Los_Angeles"),
            "2025-11-02T01:30:00-08:00",
            id="01:30 the second time",
        ),
    ],
)
def test_times(moment: datetime | None, zone: ZoneInfo, text: str) -> None:
    """RFC 3339 in the study's zone, so that an hour that comes twice is told apart."""
    assert time_text(moment, zone) == text
    if moment is not None:
        assert datetime.fromisoformat(text) == moment


@pytest.mark.parametrize(
    ("number", "digits", "text"),
    [
        pytest.param(None, 4, "", id="none"),
        pytest.param(D("4.0"), 4, "4", id="no needless zero"),
        pytest.param(D(100), 4, "100", id="zeros that count"),
        pytest.param(D("1E+2"), 2, "100", id="never an exponent"),
        pytest.param(D("0.00004"), 4, "0", id="rounded to nothing"),
        pytest.param(D("0.00005"), 4, "0.0001", id="half up"),
        pytest.param(2.675, 2, "2.68", id="half up as written, not as stored"),
        pytest.param(0.5, 0, "1", id="never half to even"),
        pytest.param(D("-0.4"), 4, "-0.4", id="below zero"),
        pytest.param(1 / 3, 4, "0.3333", id="cut to the digits"),
        pytest.param(D(1) / 3, 4, "0.3333", id="a decimal that never ends"),
    ],
)
def test_numbers(number: Decimal | float | None, digits: int, text: str) -> None:
    """At most so many digits behind the point, rounded half up."""
    assert number_text(number, digits) == text


@given(st.decimals(-10_000, 10_000, allow_nan=False), st.integers(0, 6))
def test_a_number_is_within_half_a_step(number: Decimal, digits: int) -> None:
    """What is written differs by at most half of its last digit, and has no exponent."""
    text = number_text(number, digits)
    assert abs(D(text) - number) <= D(1).scaleb(-digits) / 2
    assert set(text) <= set("-.0123456789")
    assert len(text.partition(".")[2]) <= digits


# --- photos ------------------------------------------------------------------------------------

PHOTO = Photo(
    7,
    "P1",
    "DCIM/IMG_0007.JPG",
    datetime(2026, 3, 14, 21, 30, 5),  # noqa: DTZ001  (what the camera showed)
    subsec="07",
    offset="+02:00",
    time_source=TimeSource.ORIGINAL,
    true_time=datetime(2026, 3, 14, 19, 30, 5, tzinfo=UTC),
)


def test_a_photo() -> None:
    """What the camera showed has no zone, the true time has the study's."""
    assert list(photo_row(PHOTO, CAPE).items()) == [
        ("placement", "P1"),
        ("file", "DCIM/IMG_0007.JPG"),
        ("camera_time", "2026-03-14 21:30:05"),
        ("subsec", "07"),
        ("offset", "+02:00"),
        ("time_source", "original"),
        ("true_time", "2026-03-14T21:30:05+02:00"),
        ("kind", "trigger"),
        ("problem", ""),
        ("correction", ""),
    ]


def test_a_photo_names_who_put_its_clock_right() -> None:
    """Every correction that moved it, in the order in which they were made."""
    hour = ClockCorrection("P1", ClockFault.ONE_HOUR, 3600, by="Ann")
    each = ClockCorrection("P1", ClockFault.DAY_MONTH_EACH, by="Ben")
    assert photo_row(PHOTO, CAPE, [hour, each])["correction"] == (
        "add 1 h, by Ann; exchange day and month of each photo's date, by Ben"
    )


@pytest.mark.parametrize(
    ("photo", "kind", "problem"),
    [
        pytest.param(replace(PHOTO, kind=PhotoKind.HANDLER), "handler", "", id="handler"),
        pytest.param(replace(PHOTO, kind=PhotoKind.TIMELAPSE), "timelapse", "", id="time-lapse"),
        pytest.param(replace(PHOTO, copy_of=3, problem="a copy"), "", "a copy", id="copy"),
        pytest.param(replace(PHOTO, is_photo=False, problem="a video"), "", "a video", id="video"),
        pytest.param(
            replace(PHOTO, true_time=None, problem="no time"), "", "no time", id="no time"
        ),
        pytest.param(
            replace(PHOTO, clock_flag=ClockFlag.TWICE),
            "trigger",
            str(ClockFlag.TWICE),
            id="clock not sure",
        ),
        pytest.param(
            replace(PHOTO, clock_flag=ClockFlag.TWICE, problem="cut short"),
            "trigger",
            f"cut short; {ClockFlag.TWICE}",
            id="two problems",
        ),
    ],
)
def test_what_counts_nowhere_has_no_kind(photo: Photo, kind: str, problem: str) -> None:
    """A copy, a video and a photo without a time are listed and count nowhere."""
    row = photo_row(photo, CAPE)
    assert (row["kind"], row["problem"]) == (kind, problem)


def test_a_photo_without_times() -> None:
    """Unknown times are empty cells."""
    row = photo_row(Photo(1, "P1", "A.JPG"), CAPE)
    assert (row["camera_time"], row["true_time"], row["time_source"]) == ("", "", "none")


# --- visits ------------------------------------------------------------------------------------


def visit_cells(place: Placement, *stays: Stay) -> dict[str, str]:
    """Give the row of the only visit of a placement."""
    card = record(place, *stays, alive=())
    (answered,) = card.visits
    return visit_row(answered, place, SPECIES, CAPE)


def test_a_visit() -> None:
    """Two taggers agree: names, not keys; the largest count; the first and last file."""
    place = camera()
    row = visit_cells(
        place, stay("19:00-19:02", count=1), stay("19:00-19:02", count=2, tagger="bob")
    )
    assert list(row.items()) == [
        ("placement", "P1"),
        ("visit", "1"),
        ("tray", "T1"),
        ("start", "2026-03-14T21:00:00+02:00"),
        ("end", "2026-03-14T21:02:00+02:00"),
        ("photos", "3"),
        ("first_photo", "IMG_0001.JPG"),
        ("last_photo", "IMG_0003.JPG"),
        ("answer", "gerbil"),
        ("count", "2"),
        ("where", "fed"),
        ("taggers", "ann;bob"),
        ("state", "agreed"),
    ]


@pytest.mark.parametrize(
    ("stays", "cells"),
    [
        pytest.param(
            [stay("19:00", "")],
            {"answer": "", "count": "", "where": "", "taggers": "", "state": "untagged"},
            id="untagged",
        ),
        pytest.param(
            [stay("19:00", "blank")],
            {"answer": "blank", "where": "", "state": "single"},
            id="blank",
        ),
        pytest.param(
            [stay("19:00", "unknown", Where.NEAR)],
            {"answer": "unknown", "where": "near", "count": ""},
            id="unknown",
        ),
        pytest.param(
            [stay("19:00"), stay("19:00", "m", tagger="bob")],
            {"answer": "", "taggers": "ann;bob", "state": "disputed"},
            id="disputed",
        ),
        pytest.param(
            [stay("19:00"), stay("19:00", "m", tagger="eve", ruling=True)],
            {"answer": "mouse", "state": "ruled"},
            id="ruled",
        ),
        pytest.param(
            [stay("19:00-19:05", "m", Where.ON_TRAY), stay("19:02-19:04")],
            {"answer": "gerbil+mouse", "where": "fed"},
            id="two species, the last standing last",
        ),
    ],
)
def test_answers_in_words(stays: list[Stay], cells: dict[str, str]) -> None:
    """An answer is empty until it is held; the state says how far people got."""
    assert cells.items() <= visit_cells(camera(), *stays).items()


@pytest.mark.parametrize(
    ("trays", "named", "cell"),
    [
        (("T1",), "", "T1"),
        (("T1", "T2"), "T2", "T2"),
        (("T1", "T2"), "", ""),
        ((), "", ""),
    ],
    ids=["the only one", "named", "not named", "none in view"],
)
def test_the_tray_of_a_visit(trays: tuple[str, ...], named: str, cell: str) -> None:
    """The only tray in view, or the one that was named."""
    assert visit_cells(camera(trays=trays), stay("19:00", tray=named))["tray"] == cell


# --- outcomes ----------------------------------------------------------------------------------


def test_an_outcome() -> None:
    """A night written out, every cell: 4.0 g left of 10.0 g in 2.5 L is 1.6 g/L."""
    found = Night(
        [stay("19:00-19:03"), stay("20:00-20:00:20")],
        {"site": "dune", "pair": "A", "microhabitat": "open", "substrate_l": D("2.5")},
    ).outcome()
    assert list(outcome_row(found, CAPE).items()) == [
        ("deployment", "D1"),
        ("tray", "T1"),
        ("site", "dune"),
        ("pair", "A"),
        ("microhabitat", "open"),
        ("set_out", "2026-03-14T20:00:00+02:00"),
        ("picked_up", "2026-03-15T08:00:00+02:00"),
        ("hours_out", "12"),
        ("food_start_g", "10"),
        ("food_left_g", "4"),
        ("food_left_corrected_g", "4"),
        ("eaten_g", "6"),
        ("items_start", ""),
        ("items_left", ""),
        ("items_left_corrected", ""),
        ("items_eaten", ""),
        ("gud_g", "4"),
        ("gud_g_per_l", "1.6"),
        ("gud_items", ""),
        ("proportion_left", "0.4"),
        ("censored", "no"),
        ("forager", "gerbil"),
        ("visits", "2"),
        ("visits_all", "2"),
        ("minutes_on_tray", "3.33"),
        ("first_visit_min", "60"),
        ("last_fed_at", "2026-03-14T22:00:20+02:00"),
        ("watched_share", "1"),
        ("unanswered", "0"),
        ("status", "keep"),
        ("reason", "one species fed and every minute was watched"),
        ("notes", ""),
    ]


def test_counted_food_has_its_own_column() -> None:
    """Items never stand in a column of grams."""
    counted = {"food_start_g": None, "food_left_g": None, "items_start": 100, "items_left": 40}
    row = outcome_row(Night([stay("19:00")], counted | {"substrate_l": D(2)}).outcome(), CAPE)
    items = "items_start items_left items_left_corrected items_eaten gud_items"
    assert [row[name] for name in items.split()] == ["100", "40", "40", "60", "40"]
    assert row["proportion_left"] == "0.4"
    assert {name for name in row if name.endswith(("_g", "_g_per_l")) and row[name]} == set()


@pytest.mark.parametrize("litres", [None, D(0)], ids=["not written", "nothing"])
def test_no_litres_no_density_per_litre(litres: Decimal | None) -> None:
    """Without a volume there is no g/L; the density in grams stays."""
    row = outcome_row(Night([stay("19:00")], {"substrate_l": litres}).outcome(), CAPE)
    assert (row["gud_g"], row["gud_g_per_l"]) == ("4", "")


def test_a_dropped_outcome_has_no_density() -> None:
    """Masses stay in the row; the density, its owner and the owner's times are empty."""
    row = outcome_row(Night([], {"substrate_l": D(2)}).outcome(), CAPE)
    assert row["status"] == "drop"
    assert row["eaten_g"] == "6"
    empty = "gud_g gud_g_per_l gud_items forager minutes_on_tray first_visit_min last_fed_at"
    assert {row[name] for name in empty.split()} == {""}


def test_an_outcome_without_times() -> None:
    """What the log does not tell is empty, not nought."""
    row = outcome_row(Night([], {"set_out": None, "food_left_g": None}).outcome(), CAPE)
    assert {row[name] for name in ("set_out", "hours_out", "watched_share", "eaten_g")} == {""}
    assert row["reason"] == str(Reason.MASS_MISSING)


def test_notes_stand_in_one_cell() -> None:
    """Special cases are parted by semicolons."""
    found = Outcome(tray(), Status.DROP, Reason.GAINED, "T3", notes=("one", "two"))
    assert outcome_row(found, CAPE)["notes"] == "one; two"


# --- files -------------------------------------------------------------------------------------

cells = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\r"), max_size=12)


@given(st.lists(st.tuples(cells, cells), max_size=5))
def test_csv_comes_back_as_written(rows: list[tuple[str, str]]) -> None:
    """Commas, quotes and line feeds inside a cell survive; the header stands first, once."""
    text = "".join(csv_text(("a", "b"), ({"a": one, "b": two} for one, two in rows)))
    found = list(csv.reader(io.StringIO(text, newline="")))
    plain = [[plain_cell(cell) for cell in row] for row in found]
    assert plain == [["a", "b"], *(list(row) for row in rows)]
    assert text.endswith("\n")
    assert "\r" not in text


def test_csv_of_nothing_is_a_header() -> None:
    """A study without rows gives the columns, so that a reader finds them."""
    assert list(csv_text(("a", "b"), [])) == ["a,b\n"]


def test_csv_is_written_as_rows_come() -> None:
    """A long table is not held in memory: each row is given before the next is asked for."""
    asked = []

    def rows() -> Iterator[Row]:
        for number in range(3):
            asked.append(number)
            yield {"a": str(number)}

    lines = csv_text(("a",), rows())
    assert [next(lines), next(lines)] == ["a\n", "0\n"]
    assert asked == [0]
    assert list(lines) == ["1\n", "2\n"]


def test_csv_refuses_a_column_that_is_not_named() -> None:
    """A cell that has no column would be lost without a word."""
    with pytest.raises(ValueError, match="'b'"):
        list(csv_text(("a",), [{"a": "1", "b": "2"}]))


def test_the_ledger_adds_up() -> None:
    """Deployments by status in their order, then by how many; the counts are all of them."""
    many = [
        (Status.DROP, Reason.GAINED, 1),
        (Status.DROP, Reason.ANTS, 3),
        (Status.KEEP, Reason.CLEAN, 2),
        (Status.PENDING, Reason.UNTAGGED, 1),
    ]
    found = [
        Outcome(tray(), status, reason, "") for status, reason, times in many for _ in range(times)
    ]
    assert ledger(found) == [
        (Status.KEEP, str(Reason.CLEAN), 2),
        (Status.DROP, str(Reason.ANTS), 3),
        (Status.DROP, str(Reason.GAINED), 1),
        (Status.PENDING, str(Reason.UNTAGGED), 1),
    ]
    assert ledger([]) == []
