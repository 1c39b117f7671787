"""Which lines of the tray log are tray deployments."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from core.errors import LogError
from core.exports.tables import csv_text
from core.model import Condition, TrayDeployment, TrayRole
from core.sheets import Sheet, read_sheet, sheet_of_rows
from core.traylog import COLUMNS, read_trays, tray_cells

CAPE = ZoneInfo("Africa/Johannesburg")
NEW_YORK = ZoneInfo("America/New_York")
HEADER = ",".join(column.name for column in COLUMNS)
FULL = (
    "D1,T1,2026-03-14 07:00,2026-03-14 18:10,8.0,3.40,,,Skulpkom,SK1,open,2.0,millet,,wet,gerbil,"
    'Piet,"two\nlines"'
)


def log(text: str) -> Sheet:
    """Give the sheet of a log's text."""
    return read_sheet(text.encode(), "trays.csv")


def faults(read: Callable[[], object]) -> list[str]:
    """Give the faults of a refused log, each with its line."""
    with pytest.raises(LogError) as refused:
        read()
    return [str(problem) for problem in refused.value.problems]


def test_a_full_line_of_the_tray_log() -> None:
    """Masses keep every digit, times are local to the study, a blank role is `study`."""
    (found,) = read_trays(log(f"{HEADER},Moon\n{FULL},full\n"), CAPE)
    assert found == TrayDeployment(
        deployment="D1",
        tray="T1",
        set_out=datetime(2026, 3, 14, 5, 0, tzinfo=UTC),
        picked_up=datetime(2026, 3, 14, 16, 10, tzinfo=UTC),
        food_start_g=Decimal("8.0"),
        food_left_g=Decimal("3.40"),
        site="Skulpkom",
        pair="SK1",
        microhabitat="open",
        substrate_l=Decimal("2.0"),
        food="millet",
        role=TrayRole.STUDY,
        condition=Condition.WET,
        target="gerbil",
        handler="Piet",
        notes="two\nlines",
        extra={"Moon": "full"},
    )
    assert str(found.food_left_g) == "3.40"


def test_a_line_with_blank_cells_loads() -> None:
    """Only the id must be filled in; what is missing makes the outcome wait."""
    columns = "deployment,tray,set_out,picked_up,food_start_g,food_left_g"
    (found,) = read_trays(log(f"{columns}\nD1,,,,,\n"), CAPE)
    assert found == TrayDeployment("D1")


def test_food_that_was_counted() -> None:
    """Counted food needs its own two columns and no masses; more left than put in loads."""
    columns = "deployment,tray,set_out,picked_up,items_start,items_left"
    (found,) = read_trays(log(f"{columns}\nD1,T1,,,1000000,1000000.0\n"), CAPE)
    assert (found.items_start, found.items_left, found.counted) == (1_000_000, 1_000_000, True)
    more = f"{HEADER}\n{FULL.replace('3.40', '8.1')}\n"
    assert read_trays(log(more), CAPE)[0].food_left_g == Decimal("8.1")


@pytest.mark.parametrize(
    ("food", "expected"),
    [
        ("", ["food_start_g", "food_left_g"]),
        ("food_start_g", ["food_left_g"]),
        ("items_start", ["items_left"]),
        ("food_start_g,items_start", ["food_left_g"]),
        ("food_start_g,items_start,items_left", []),
    ],
)
def test_either_pair_of_food_columns_must_be_there(food: str, expected: list[str]) -> None:
    """Both columns of weighed food, or both of counted food; the message names the other way."""
    columns = ",".join(filter(None, ["deployment,tray,set_out,picked_up", food]))
    sheet = log(f"{columns}\nD1,T1\n")
    if not expected:
        assert len(read_trays(sheet, CAPE)) == 1
        return
    found = faults(lambda: read_trays(sheet, CAPE))
    assert [fault.split('"')[1] for fault in found] == expected
    assert all("(or items_" in fault for fault in found if '"food' in fault)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("D1", "", "deployment is blank"),
        ("T1", "T1; T2", "tray 'T1; T2' names several trays"),
        ("2026-03-14 18:10", "2026-03-14 07:00", "set out at 2026-03-14 07:00, not before it is"),
        ("2026-03-14 18:10", "2026-03-13 18:10", "picked up at 2026-03-13 18:10. Mend or swap"),
        ("2026-03-14 18:10", "3/4/2026", "picked_up '3/4/2026' can mean 2026-04-03 or 2026-03-04"),
        ("8.0", "0", "food_start_g is 0: deployment 'D1' is a tray without food"),
        ("8.0,3.40,,", "8.0,3.40,0,", "items_start is 0"),
        ("8.0,3.40,,", "8.0,3.40,1.5,", "items_start '1.5' is no whole number"),
        ("8.0,3.40,,", "8.0,3.40,,1000001", "items_left '1000001' is outside 0 to 1000000"),
        ("8.0", "8000.5 mg", "food_start_g '8000.5 mg' is no plain number"),
        ("8.0", "12000", "did you mean milligrams?"),
        ("3.40", "-3.40", "food_left_g '-3.40' is negative"),
        ("3.40", '"3,40"', "Write 3.40"),
        ("2.0", "0", "substrate_l '0' is not above 0"),
        ("2.0", "1001", "substrate_l '1001' is not above 0 and at most 1000"),
        ("millet,,", "millet,control,", "role 'control' is not known"),
        (",wet,", ",floded,", 'Did you mean "flooded"?'),
    ],
)
def test_tray_cells_that_are_refused(old: str, new: str, expected: str) -> None:
    """One wrong cell is one fault of its line."""
    assert old in FULL
    (fault,) = faults(lambda: read_trays(log(f"{HEADER}\n{FULL.replace(old, new, 1)}\n"), CAPE))
    assert fault.startswith("line 2: ")
    assert expected in fault


def test_a_file_of_a_country_with_decimal_commas() -> None:
    """Between semicolons 3,40 is a mass."""
    text = f"{HEADER}\n{FULL}\n".replace(",", ";").replace("8.0", "8,0").replace("3.40", "3,40")
    (found,) = read_trays(log(text), CAPE)
    assert (str(found.food_start_g), str(found.food_left_g)) == ("8.0", "3.40")


def test_a_workbook_gives_the_same_rows_as_a_file() -> None:
    """Typed times and numbers of a workbook mean what the same text means in a CSV."""
    plain = read_trays(log(f"{HEADER}\n{FULL}\n"), CAPE)
    typed: list[object] = list(next(csv.reader(io.StringIO(FULL, newline=""))))
    typed[2:6] = [
        datetime.fromisoformat("2026-03-14 07:00"),
        datetime.fromisoformat("2026-03-14 18:10"),
        8,
        3.4,
    ]
    book = Workbook()
    for row in (HEADER.split(","), typed):
        book.worksheets[0].append(row)
    held = io.BytesIO()
    book.save(held)
    assert read_trays(read_sheet(held.getvalue(), "trays.xlsx"), CAPE) == plain


def test_a_deployment_is_named_once_and_all_faults_are_listed() -> None:
    """Faults of all lines stand in their order; the line number is the file's, not the row's."""
    text = f"{HEADER}\n{FULL}\n{FULL.replace('8.0', 'x')}\n{FULL.replace('T1', '#REF!')}\n"
    found = faults(lambda: read_trays(log(text), CAPE))
    assert [fault.partition(": ")[::2][0] for fault in found] == [
        "line 4",
        "line 4",
        "line 6",
        "line 6",
    ]
    assert "food_start_g 'x'" in found[0]
    assert "deployment 'D1' stands in line 2 too" in found[1]
    assert "tray '#REF!' is an error of the spreadsheet" in found[2]
    assert "deployment 'D1' stands in line 2 too" in found[3]


def test_a_time_in_the_hour_that_comes_twice_asks_for_its_offset() -> None:
    """A tray picked up at the end of summer time needs an offset, and then loads."""
    text = FULL.replace("2026-03-14 18:10", "2026-11-01 01:30")
    (fault,) = faults(lambda: read_trays(log(f"{HEADER}\n{text}\n"), NEW_YORK))
    assert "Add the offset: 2026-11-01 01:30-04:00" in fault
    text = text.replace("01:30", "01:30-05:00")
    (found,) = read_trays(log(f"{HEADER}\n{text}\n"), NEW_YORK)
    assert found.picked_up == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    assert tray_cells(found, NEW_YORK)["picked_up"] == "2026-11-01 01:30-05:00"


WORDS = st.text(st.sampled_from("aé;,\"' 1\n"), max_size=6).map(str.strip)
LINES = WORDS.map(lambda text: " ".join(text.split()))
IDS = LINES.filter(bool)
GRAMS = st.decimals(0, 10_000, places=4)
EARLY = datetime(1990, 1, 2, tzinfo=UTC)
MOMENTS = st.datetimes(
    datetime.fromisoformat("1990-01-03"), datetime.fromisoformat("2100-12-30")
).map(lambda moment: moment.replace(microsecond=0, tzinfo=UTC))
DEPLOYMENTS = st.builds(
    TrayDeployment,
    deployment=IDS,
    tray=LINES.map(lambda text: text.replace(";", "").strip()),
    set_out=st.sampled_from([None, EARLY]),
    picked_up=st.none() | MOMENTS | st.just(datetime(2024, 11, 3, 6, 30, tzinfo=UTC)),
    food_start_g=st.none() | GRAMS.filter(bool),
    food_left_g=st.none() | GRAMS,
    items_start=st.none() | st.integers(1, 1_000_000),
    items_left=st.none() | st.integers(0, 1_000_000),
    site=LINES,
    pair=LINES,
    microhabitat=LINES,
    substrate_l=st.none() | st.decimals("0.001", 1000, places=3),
    food=LINES,
    role=st.sampled_from(TrayRole),
    condition=st.sampled_from(Condition),
    target=LINES,
    handler=LINES,
    notes=WORDS,
    extra=st.dictionaries(st.sampled_from(["Moon", "höhe, m"]), WORDS.filter(bool)),
)


@given(st.lists(DEPLOYMENTS, min_size=1, max_size=4, unique_by=lambda row: row.deployment))
def test_tray_deployments_that_are_written_read_back_the_same(rows: list[TrayDeployment]) -> None:
    """A tray log that is written is read as the same rows, from a file and from a screen."""
    cells = [tray_cells(row, NEW_YORK) for row in rows]
    names = list(dict.fromkeys(name for row in cells for name in row))
    written = log("".join(csv_text(names, cells)))
    assert read_trays(written, NEW_YORK) == rows
    assert read_trays(sheet_of_rows("screen", cells), NEW_YORK) == rows
    digits = [str(row.food_left_g) for row in read_trays(written, NEW_YORK)]
    assert digits == [str(row.food_left_g) for row in rows]
