"""Which lines of the species, camera, clock and tag logs are rows."""

import os
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import LogError
from core.exports.tables import csv_text
from core.logs import (
    COLUMNS,
    LogKind,
    TagLine,
    clock_cells,
    placement_cells,
    read_cameras,
    read_clocks,
    read_species,
    read_trays,
    species_cells,
    tag_lines,
    template,
)
from core.model import ClockCheck, Placement, Species, SpeciesRole, Where
from core.sheets import Sheet, read_sheet, sheet_of_rows

CAPE = ZoneInfo("Africa/Johannesburg")
NEW_YORK = ZoneInfo("America/New_York")


def log(text: str, name: str = "log.csv") -> Sheet:
    """Give the sheet of a log's text."""
    return read_sheet(text.encode(), name)


def read_tags(sheet: Sheet) -> list[TagLine]:
    """Give the lines of a tag log that has no fault."""
    rows, problems = tag_lines(sheet)
    if problems:
        raise LogError(sheet.name, problems)
    return rows


def faults(read: Callable[[], object]) -> list[str]:
    """Give the faults of a refused log, each with its line."""
    with pytest.raises(LogError) as refused:
        read()
    return [str(problem) for problem in refused.value.problems]


def as_csv(rows: Iterable[Mapping[str, str]]) -> Sheet:
    """Write cells to a CSV file and read it as a sheet."""
    listed = [dict(row) for row in rows]
    columns = list(dict.fromkeys(column for row in listed for column in row))
    return log("".join(csv_text(columns, listed)))


def same(expected: list[str], found: list[str]) -> bool:
    """Say whether each fault holds the text that is expected of it, and there are no others."""
    return len(expected) == len(found) and all(map(str.__contains__, found, expected))


# --- species ---------------------------------------------------------------------------------

SPECIES = "key,name,scientific_name,role,sensitive,colour\n"


def species_faults(lines: str) -> list[str]:
    """Give the faults of a species list with these lines."""
    return faults(lambda: read_species(log(SPECIES + lines)))


def test_the_species_list_in_its_order() -> None:
    """Keys, roles and extra columns come as written, a blank extra cell is left out."""
    text = "m,Grass mouse,Rhabdomys pumilio,FORAGER,,brown\n1,Vet,,person,yes,\n"
    assert read_species(log(SPECIES + text)) == [
        Species(
            "m",
            "Grass mouse",
            SpeciesRole.FORAGER,
            "Rhabdomys pumilio",
            extra={"colour": "brown"},
        ),
        Species("1", "Vet", SpeciesRole.PERSON, sensitive=True),
    ]


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        pytest.param(",,,,,x\n", ["key is blank", "name is blank", "role is blank"], id="blank"),
        pytest.param("mm,Mouse,,forager,,\n", ["key 'mm' has 2 characters"], id="long key"),
        pytest.param("m,Mouse,,foragr,,\n", ['Did you mean "forager"?'], id="role"),
        pytest.param("m,Mouse,,forager,perhaps,\n", ["neither yes nor no"], id="sensitive"),
        pytest.param("m,Blank,,other,,\n", ["name 'Blank' is an answer"], id="name blank"),
        pytest.param("m,HANDLER,,person,,\n", ["name 'HANDLER' is an answer"], id="name handler"),
        pytest.param(
            "m,Mouse,,forager,,\ng,Gerbil,,forager,,\nm,Genet,,other,,\n",
            ["line 4: key 'm' stands in line 2 too"],
            id="same key",
        ),
        pytest.param(
            "m,Mouse,,forager,,\nM,Gerbil,,forager,,\n",
            ["line 3: key 'M' differs only by letter case from 'm' in line 2"],
            id="key in another letter case",
        ),
        pytest.param(
            "m,Mouse,,forager,,\ng,mouse,,forager,,\n",
            ["line 3: name 'mouse' differs only by letter case from 'Mouse' in line 2"],
            id="name in another letter case",
        ),
        pytest.param(
            "m,Mouse,#N/A,forager,,=1+1\n",
            ["scientific_name '#N/A' is an error", "colour '=1+1' is a formula"],
            id="spreadsheet errors",
        ),
    ],
)
def test_species_that_are_refused(lines: str, expected: list[str]) -> None:
    """Every species has one keystroke, one name and one role of its own."""
    assert same(expected, species_faults(lines))


def test_all_faults_stand_in_the_order_of_their_lines() -> None:
    """A log with several faults names them all at once, and a long cell is one of them."""
    text = f"m,Mouse,,forager,,\nm,{'x' * 2001},,f,,\n,Genet,,other,,a,b\n"
    found = species_faults(text)
    expected = [
        "line 3: name 'x",
        "line 3: role 'f' is not",
        "line 3: key 'm'",
        "line 4: 'b' stands",
    ]
    assert same(expected, found)  # fmt: skip
    assert "has 2001 characters" in found[0]


# --- cameras ---------------------------------------------------------------------------------

CAMERAS = ",".join(column.name for column in COLUMNS[LogKind.CAMERAS]) + ",lens\n"
FULL = "P1,cam01,T1;T2,2026-03-14 06:40,2026-03-15 17:50,+0200,yes,120,5,-32.1,18.3,30,wide\n"


def camera_faults(old: str, new: str) -> list[str]:
    """Give the faults of a full camera line in which one thing was changed."""
    assert old in FULL
    return faults(lambda: read_cameras(log(CAMERAS + FULL.replace(old, new)), CAPE))


def test_a_full_line_of_the_camera_log() -> None:
    """Times are local to the study (two hours ahead of UTC), trays stand between semicolons."""
    (found,) = read_cameras(log(CAMERAS + FULL), CAPE)
    assert found == Placement(
        placement="P1",
        camera="cam01",
        trays=("T1", "T2"),
        start=datetime(2026, 3, 14, 4, 40, tzinfo=UTC),
        end=datetime(2026, 3, 15, 15, 50, tzinfo=UTC),
        clock="+02:00",
        working_at_pickup=True,
        timelapse_every_min=120,
        quiet_s=5,
        latitude=-32.1,
        longitude=18.3,
        uncertainty_m=30.0,
        extra={"lens": "wide"},
    )


def test_a_camera_line_with_blank_cells_loads() -> None:
    """Only the id must be filled in; what is missing is asked for later."""
    (found,) = read_cameras(log("placement,camera,trays,start,end\nP1,,,,\n"), CAPE)
    assert found == Placement("P1")
    assert found.missing == ("camera", "trays", "start", "end")


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("P1", "", "placement is blank"),
        ("T1;T2", '"T1, T2"', "Write a semicolon between: T1; T2."),
        ("T1;T2", '"Tray 1, Tray 2"', "looks like several trays"),
        ("T1;T2", "T1; T2 ;T1", "names tray 'T1' twice"),
        ("T1;T2", '"T1\nT2"', "line break"),
        ("2026-03-15 17:50", "2026-03-14 06:40", "Placement 'P1' starts at 2026-03-14 06:40, not"),
        ("2026-03-14 06:40", "14/03/2026 06:40", "Write 2026-03-14 06:40."),
        ("+0200", "02:00", "clock '02:00' has no sign"),
        ("yes", "dead", "working_at_pickup 'dead' is neither"),
        ("120", "0", "timelapse_every_min '0' is outside 1 to 1440"),
        ("120", "1441", "timelapse_every_min '1441' is outside 1 to 1440"),
        (",5,", ",-1,", "quiet_s '-1' is outside 0"),
        ("-32.1", "-132.1", "latitude '-132.1' is outside -90 to 90"),
        ("18.3", "218.3", "longitude '218.3' is outside -180 to 180"),
        (",30,", ",0,", "uncertainty_m '0' is not above 0"),
    ],
)
def test_camera_cells_that_are_refused(old: str, new: str, expected: str) -> None:
    """One wrong cell is one fault of its line."""
    (fault,) = camera_faults(old, new)
    assert fault.startswith("line 2: ")
    assert expected in fault


def test_a_comma_in_a_tray_name_is_no_list() -> None:
    """Commas stand for a list only between names of one shape, or of one word each."""
    text = FULL.replace("T1;T2", '"Tray 1, north"')
    assert read_cameras(log(CAMERAS + text), CAPE)[0].trays == ("Tray 1, north",)


def test_a_placement_is_named_once() -> None:
    """The second line of a placement names the first."""
    found = faults(lambda: read_cameras(log(CAMERAS + FULL + FULL), CAPE))
    assert same(["line 3: placement 'P1' stands in line 2 too"], found)


# --- clocks ----------------------------------------------------------------------------------

CLOCKS = "placement,camera_showed,true_time,photo\n"


def test_clock_checks() -> None:
    """The camera's display stays as shown, the true time becomes UTC; blank cells load."""
    text = "P1,2026-03-14 06:14:32,2026-03-14 07:14:32,DCIM\\A1.JPG\nP2,,,\n"
    assert read_clocks(log(CLOCKS + text), CAPE) == [
        ClockCheck(
            "P1",
            datetime.fromisoformat("2026-03-14 06:14:32"),
            datetime(2026, 3, 14, 5, 14, 32, tzinfo=UTC),
            "DCIM/A1.JPG",
        ),
        ClockCheck("P2", None, None),
    ]


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        pytest.param(",2026-03-14 06:00,,\n", ["line 2: placement is blank"], id="blank id"),
        pytest.param("P1,2026-03-14 06:00+02:00,,\n", ["has an offset"], id="offset"),
        pytest.param(
            "P1,2026-03-14 06:00,2026-03-14 07:00,\nP1,2026-03-14 06:00,,\n",
            ["line 3: placement and camera_showed 'P1 at 2026-03-14 06:00' stands in line 2 too"],
            id="same display twice",
        ),
        pytest.param(
            "P1,2026-03-16 06:00,2026-03-14 07:00,\nP1,2026-03-14 06:00,2026-03-15 07:00,\n",
            ["runs back while its camera goes on: line 3 has 2026-03-14 06:00 = 2026-03-15 07:00,"],
            id="true time runs back",
        ),
        pytest.param(
            "P1,2026-03-14 06:00,2026-03-14 07:00,\nP1,2026-03-14 06:01,2026-03-14 07:00,\n",
            ["stands still while its camera goes on: line 2"],
            id="true time stands still",
        ),
    ],
)
def test_clock_checks_that_are_refused(lines: str, expected: list[str]) -> None:
    """A camera's clock and the true time run forward together."""
    assert same(expected, faults(lambda: read_clocks(log(CLOCKS + lines), CAPE)))


def test_two_placements_have_clocks_of_their_own() -> None:
    """Checks of different placements are not compared, and the lines may stand in any order."""
    text = (
        "P1,2026-03-14 06:00,2026-03-14 07:00,\n"
        "P2,2026-03-14 07:00,2026-03-14 06:00,\n"
        "P1,2026-03-13 06:00,2026-03-13 07:00,\n"
    )
    assert len(read_clocks(log(CLOCKS + text), CAPE)) == 3


# --- tags ------------------------------------------------------------------------------------

TAGS = "placement,first_photo,last_photo,tagger,species,count,where,sure,tray,ruling,also,comment\n"


def test_tags_as_written() -> None:
    """Defaults are sure, no ruling, not also; answers come in small letters, names with slashes."""
    text = (
        "P1,100DUNE\\A1.JPG,A2.JPG,Nomsa,m,2,fed,no,T1,yes,yes,pouched\n"
        "P1,A1.JPG,A1.JPG,Piet,Blank,,,,,,,\n"
        "P1,A1.JPG,A1.JPG,Piet,UNKNOWN,,near,,,,,\n"
    )
    first, second, third = read_tags(log(TAGS + text))
    assert first == TagLine(
        2, "P1", "100DUNE/A1.JPG", "A2.JPG", "Nomsa", "m", 2, Where.FED, False, "T1", True, True,
        "pouched",
    )  # fmt: skip
    assert second == TagLine(3, "P1", "A1.JPG", "A1.JPG", "Piet", "blank")
    assert third == TagLine(4, "P1", "A1.JPG", "A1.JPG", "Piet", "unknown", where=Where.NEAR)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        pytest.param("P1,A,B,Piet,m,,,,,,,", ["where is blank for species 'm'"], id="animal"),
        pytest.param("P1,A,B,Piet,unknown,,,,,,,", ["where is blank"], id="unknown"),
        pytest.param("P1,A,B,Piet,blank,,near,,,,,", ["where is 'near' but"], id="blank"),
        pytest.param("P1,A,B,Piet,handler,,fed,,,,,", ["where is 'fed' but"], id="handler"),
        pytest.param("P1,A,B,Piet,m,0,fed,,,,,", ["count '0' is outside 1 to 999"], id="none"),
        pytest.param("P1,A,B,Piet,m,1000,fed,,,,,", ["count '1000' is outside"], id="many"),
        pytest.param("P1,A,B,Piet,m,,eating,,,,,", ["where 'eating' is not known"], id="where"),
        pytest.param("P1,A,B,Piet,m,,fed,sure,,,,", ["sure 'sure' is neither"], id="sure"),
        pytest.param(
            ",,,,,1,,,,,,",
            [f"{name} is blank" for name in TAGS.split(",")[:5]],
            id="blank required cells",
        ),
    ],
)
def test_tags_that_are_refused(line: str, expected: list[str]) -> None:
    """An animal or person is somewhere, a blank or handler nowhere."""
    assert same(expected, faults(lambda: read_tags(log(TAGS + line + "\n"))))


# --- all logs --------------------------------------------------------------------------------


def test_the_columns_of_the_design() -> None:
    """Required columns are those that the design prints bold, and templates hold them all."""
    required = {
        kind.value: [column.name for column in columns if column.required]
        for kind, columns in COLUMNS.items()
    }
    assert required == {
        "species": ["key", "name", "role"],
        "cameras": ["placement", "camera", "trays", "start", "end"],
        "clocks": ["placement", "camera_showed", "true_time"],
        "trays": ["deployment", "tray", "set_out", "picked_up", "food_start_g", "food_left_g"],
        "tags": ["placement", "first_photo", "last_photo", "tagger", "species"],
    }
    for kind, columns in COLUMNS.items():
        assert template(kind).strip().split(",") == [column.name for column in columns]
        assert all(column.meaning for column in columns)


def test_a_missing_column_stops_the_reading() -> None:
    """Without a required column no line can be trusted, so only columns are named."""
    found = faults(lambda: read_tags(log("placement,first_photo,taggr,species\n,,,\nP1,,,\n")))
    assert same(['"last_photo" is missing', '"taggr" is not known; did you mean "tagger"?'], found)


def test_an_emptied_table_is_an_empty_log() -> None:
    """A table on screen whose rows were all removed has no faults and no rows."""
    assert read_clocks(sheet_of_rows("the clock log", []), CAPE) == []


def test_a_cell_on_screen_that_no_database_holds() -> None:
    """A NUL byte that was pasted into a table is a fault of its row."""
    row = {"placement": "P1", "camera_showed": None, "true_time": None, "photo": "A\0"}
    found = faults(lambda: read_clocks(sheet_of_rows("the clock log", [row]), CAPE))
    assert same(["line 2: photo 'A\\x00' holds a NUL byte"], found)


@pytest.mark.skipif("LASTBITE_SHARED" not in os.environ, reason="LASTBITE_SHARED is not set")
def test_no_shared_table_is_taken_for_a_log() -> None:
    """Tables of other kinds are refused by their columns and never break the reading."""
    tables = sorted(Path(os.environ["LASTBITE_SHARED"]).rglob("*.csv"))
    if not tables:
        pytest.skip("LASTBITE_SHARED holds no CSV table")
    for table in tables:
        sheet = read_sheet(table)
        assert "is missing" in " ".join(faults(partial(read_species, sheet)))


def test_the_demo_logs_load_whole() -> None:
    """The logs that come with the demo have no fault."""
    folder = Path(__file__).parent.parent / "demo_images"
    sheets = {kind: read_sheet(folder / f"{kind}.csv") for kind in LogKind}
    rows = {
        LogKind.SPECIES: len(read_species(sheets[LogKind.SPECIES])),
        LogKind.CAMERAS: len(read_cameras(sheets[LogKind.CAMERAS], CAPE)),
        LogKind.CLOCKS: len(read_clocks(sheets[LogKind.CLOCKS], CAPE)),
        LogKind.TRAYS: len(read_trays(sheets[LogKind.TRAYS], CAPE)),
        LogKind.TAGS: len(read_tags(sheets[LogKind.TAGS])),
    }
    assert rows == {kind: len(sheet.lines) for kind, sheet in sheets.items()}


# --- written and read back -------------------------------------------------------------------

WORDS = st.text(st.sampled_from("aé;,\"'ß 1-\u00a0"), max_size=6).map(str.strip)
IDS = st.text(st.sampled_from("abc123;,\" '"), min_size=1, max_size=6).map(str.strip).filter(bool)
EXTRA = st.dictionaries(st.sampled_from(["Lens", "höhe, m"]), WORDS.filter(bool))
TRAYS = st.lists(st.sampled_from(["T1", "T2", "Tray 3", "north"]), max_size=3, unique=True)
SHOWN = st.datetimes(datetime.fromisoformat("1990-01-02"), datetime.fromisoformat("2100-12-30"))
MOMENTS = SHOWN.map(lambda moment: moment.replace(microsecond=0, tzinfo=UTC))
DOUBLE = st.sampled_from([datetime(2024, 11, 3, hour, 30, tzinfo=UTC) for hour in (5, 6)])
CLOCK = st.sampled_from(["", "UTC", "Z", "+02:00", "-09:30", "Europe/Brussels"])


def maybe(values: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    """Give a value or none."""
    return st.none() | values


PLACEMENTS = st.builds(
    Placement,
    placement=IDS,
    camera=WORDS,
    trays=TRAYS.map(tuple),
    start=maybe(st.sampled_from([datetime(1990, 1, 2, tzinfo=UTC)])),
    end=maybe((MOMENTS | DOUBLE).filter(lambda end: end > datetime(1990, 1, 3, tzinfo=UTC))),
    clock=CLOCK,
    working_at_pickup=maybe(st.booleans()),
    timelapse_every_min=maybe(st.integers(1, 1440)),
    quiet_s=maybe(st.integers(0, 86_400)),
    latitude=maybe(st.floats(-90, 90)),
    longitude=maybe(st.floats(-180, 180)),
    uncertainty_m=maybe(st.floats(1e-3, 1e6)),
    extra=EXTRA,
)


@given(st.lists(PLACEMENTS, min_size=1, max_size=4, unique_by=lambda row: row.placement))
def test_placements_that_are_written_read_back_the_same(rows: list[Placement]) -> None:
    """A camera log that is written is read as the same rows, from a file and from a screen."""
    cells = [placement_cells(row, NEW_YORK) for row in rows]
    assert read_cameras(as_csv(cells), NEW_YORK) == rows
    assert read_cameras(sheet_of_rows("screen", cells), NEW_YORK) == rows


@given(
    st.lists(
        st.builds(
            Species,
            key=st.sampled_from("mg1é,\"';#"),
            name=IDS,
            role=st.sampled_from(SpeciesRole),
            scientific_name=WORDS,
            sensitive=st.booleans(),
            extra=EXTRA,
        ),
        min_size=1,
        unique_by=(lambda row: row.key, lambda row: row.name),
    )
)
def test_species_that_are_written_read_back_the_same(rows: list[Species]) -> None:
    """A species list that is written is read as the same rows, odd keys too."""
    cells = [species_cells(row) for row in rows]
    assert read_species(as_csv(cells)) == rows
    assert read_species(sheet_of_rows("screen", cells)) == rows


@given(
    st.lists(
        st.builds(
            ClockCheck,
            placement=IDS,
            camera_showed=maybe(SHOWN.map(lambda shown: shown.replace(microsecond=0))),
            true_time=maybe(MOMENTS | DOUBLE),
            photo=WORDS,
            extra=EXTRA,
        ),
        min_size=1,
        unique_by=lambda row: row.placement,
    )
)
def test_clock_checks_that_are_written_read_back_the_same(rows: list[ClockCheck]) -> None:
    """A clock log that is written is read as the same rows, the double hour too."""
    cells = [clock_cells(row, NEW_YORK) for row in rows]
    assert read_clocks(as_csv(cells), NEW_YORK) == rows
    assert read_clocks(sheet_of_rows("screen", cells), NEW_YORK) == rows
