"""An archive can be understood, and its photos told apart, by somebody without the program."""

import csv
import hashlib
import io
import json
import re
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from giving import giving_study, read

from app import copywords
from core import forager, keeping
from core.archive import Packed, Unpacked, members, words
from core.archive.packing import FILES, HISTORY
from core.cards.tags import Content
from core.exports import dictionary, tables
from core.logs import COLUMNS, LogKind
from core.model import Reason, Status
from core.store import lines
from core.workspace import Workspace

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def about(told: str, file: str) -> list[str]:
    """Name the columns that an archive's README describes of a file, in their order."""
    part = told.partition(f"\n\n{file}")[2].partition("\n")[2].partition("\n\n")[0]
    return re.findall(
        r"^  (\w+) +(?:text|number|whole number|time|yes or no) +\S", part, re.MULTILINE
    )


@pytest.fixture
def told(demo: Workspace, tmp_path: Path) -> str:
    """The README of the demo's archive."""
    keeping.pack(demo, tmp_path / "demo.zip")
    return read(tmp_path / "demo.zip", members.README)


# --- columns, statuses, reasons -------------------------------------------------------------------


def test_every_column_of_every_table_is_described(told: str, tmp_path: Path) -> None:
    """In its order, with its type; what stands in the README stands in the files, and no more."""
    with zipfile.ZipFile(tmp_path / "demo.zip") as archive:
        names = [name for name in archive.namelist() if name.endswith(".csv")]
        heads = {name: next(csv.reader(io.StringIO(archive.read(name).decode()))) for name in names}
    assert len(heads) == 9
    tags = heads[members.LOGS[LogKind.TAGS]]
    for name, head in heads.items():
        own = head[len(tags) :] if name == members.HISTORY else head
        assert about(told, name) == own, name


def test_the_table_of_every_row_is_described(told: str) -> None:
    """A table that comes to the schema needs words in the archive."""
    assert set(words.ROWS) == set(lines.names())
    for name in lines.names():
        assert re.search(rf"^  {name} +\S", told.partition("What the rows are")[2], re.MULTILINE)


def test_the_dictionary_has_every_column_of_photos_and_visits() -> None:
    """With a meaning, in the order of the tables."""
    assert tuple(dictionary.PHOTO_FIELDS) == tables.PHOTO_COLUMNS
    assert tuple(dictionary.VISIT_FIELDS) == tables.VISIT_COLUMNS
    assert {*words.OF_A_FILE} == set(FILES) - set(tables.PHOTO_COLUMNS)
    assert {*words.OF_A_TAG} == set(HISTORY) - {one.name for one in COLUMNS[LogKind.TAGS]}


@pytest.mark.usefixtures("told")
def test_cells_are_of_the_type_that_is_told(tmp_path: Path) -> None:
    """In each table of the demo's archive."""
    kinds = {
        members.PHOTOS: {name: one["type"] for name, (one, _) in dictionary.PHOTO_FIELDS.items()},
        members.VISITS: {name: one["type"] for name, (one, _) in dictionary.VISIT_FIELDS.items()},
        members.OUTCOMES: {name: one["type"] for name, (one, _) in dictionary.FIELDS.items()},
        members.HISTORY: {name: kind for name, (kind, _) in words.OF_A_TAG.items()},
    }
    kinds[members.PHOTOS] |= {name: kind for name, (kind, _) in words.OF_A_FILE.items()}
    for log, name in members.LOGS.items():
        kinds[name] = {one.name: one.type for one in COLUMNS[log]}
    kinds[members.HISTORY] |= kinds[members.LOGS[LogKind.TAGS]]
    for name, types in kinds.items():
        rows = list(csv.DictReader(io.StringIO(read(tmp_path / "demo.zip", name))))
        assert rows
        for row in rows:
            for column, cell in row.items():
                assert not cell or of_type(cell, types[column]), (name, column, cell)


def of_type(cell: str, kind: str) -> bool:
    """Say whether a cell is of a type of Table Schema; a boolean is yes or no."""
    forms = {
        "string": ".*",
        "number": r"-?\d+(\.\d+)?",
        "integer": r"-?\d+",
        "datetime": r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?([+-]\d\d:\d\d)?",
        "boolean": "yes|no",
    }
    return re.fullmatch(forms[kind], cell, re.DOTALL) is not None


def test_every_status_and_reason_is_told_with_its_meaning(told: str) -> None:
    """Each reason once, under the status that it goes with."""
    part = told.partition("Statuses, and the reasons")[2]
    heads = re.findall(r"^(\w+): (.+)$", part, re.MULTILINE)
    assert heads == [(str(one), dictionary.STATUSES[one]) for one in Status]
    assert [line[2:] for line in part.splitlines() if line.startswith("  ")] == [*map(str, Reason)]


def test_reasons_stand_under_the_status_that_the_rule_gives() -> None:
    """Held against the decision table itself, and the special cases that lower to a caution."""
    groups = dictionary.reasons()
    assert list(groups) == list(Status)
    for cells in forager.TABLE.values():
        for cell in cells:
            for verdict in filter(None, (cell.verdict, cell.milder)):
                assert verdict.reason in groups[verdict.status]
    assert set(forager.SPOILT.values()) <= set(groups[Status.DROP])
    assert set(forager.WAITING) <= set(groups[Status.PENDING])


def test_outcomes_have_the_reasons_of_their_status(demo: Workspace) -> None:
    """Of the demo, whose trays come out in several ways."""
    groups = {str(one): [*map(str, many)] for one, many in dictionary.reasons().items()}
    rows = list(demo.outcome_rows())
    assert len({row["status"] for row in rows}) > 2
    assert all(row["reason"] in groups[row["status"]] for row in rows)


# --- which file is which photo --------------------------------------------------------------------


@pytest.mark.parametrize(
    "size", [0, 1, 65_535, 65_536, 65_537, 100_000, 131_071, 131_072, 131_073, 300_000]
)
def test_the_fingerprint_is_made_as_the_archive_says(told: str, size: int) -> None:
    """The two lines of the archive's README are run as they stand, also where the ends meet."""
    data = hashlib.shake_128(b"a photo").digest(size)
    recipe = re.search(r"^ +parts = (.+)\n +(hashlib\.blake2b.+)$", told, re.MULTILINE)
    assert recipe is not None
    parts = eval(recipe[1], {"data": data, "len": len})
    made = eval(recipe[2], {"hashlib": hashlib, "parts": parts})
    assert made == Content(io.BytesIO(data), size).fingerprint()


def test_readme_and_archive_tell_the_fingerprint_alike(told: str) -> None:
    """Whoever has only the README of the program can make it, too."""
    recipe = re.search(r"^ +parts = (.+)\n +(hashlib\.blake2b.+)$", told, re.MULTILINE)
    assert recipe is not None
    assert recipe[1] in README
    assert recipe[2].replace("parts", recipe[1]) in README


def test_what_was_never_hashed_is_counted(tmp_path: Path) -> None:
    """No photo is read for it; pictures that come along, and previews, give the checksum."""
    with giving_study(tmp_path) as study:
        plain = keeping.pack(study, tmp_path / "plain.zip")
        whole = keeping.pack(study, tmp_path / "whole.zip", pictures=True)
        for placement in study.previews.placements():
            list(study.previews.make(study.previews.stock(placement).missing, workers=1))
        seen = keeping.pack(study, tmp_path / "seen.zip")
    files = [*csv.DictReader(io.StringIO(read(tmp_path / "whole.zip", members.PHOTOS)))]
    assert (plain.unhashed, whole.unhashed) == (plain.photos, 0)
    for one in files:
        name = next(path for path in tmp_path.glob(f"*/{one['file']}"))
        assert one["size"] == str(name.stat().st_size)
        assert one["sha256"] == hashlib.sha256(name.read_bytes()).hexdigest()
    left = [*csv.DictReader(io.StringIO(read(tmp_path / "seen.zip", members.PHOTOS)))]
    blank = [one for one in left if not one["sha256"]]
    assert 0 < seen.unhashed == len(blank) < plain.unhashed
    assert all("copy of" in one["problem"] or not one["true_time"] for one in blank)


# --- logs without a line --------------------------------------------------------------------------


def test_a_log_without_a_line_is_left_out(tmp_path: Path) -> None:
    """None can be loaded without one; a rebuild from those that are there goes through."""
    with giving_study(tmp_path) as study:
        assert keeping.pack(study, tmp_path / "a.zip").files > 0
        rows = list(study.outcome_rows())
        cards = [(card.folder, card.placement) for card in study.cards()]
        zone = str(study.zone)
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        there = set(archive.namelist())
    logs = {kind: name for kind, name in members.LOGS.items() if name in there}
    assert set(LogKind) - set(logs) == {LogKind.CLOCKS}
    Workspace.create(tmp_path / "plain", zone).close()
    settings = read(tmp_path / "a.zip", members.SETTINGS)
    (tmp_path / "plain" / "study.toml").write_text(settings, encoding="utf-8")
    with Workspace.open(tmp_path / "plain") as plain:
        for kind, name in logs.items():
            if kind is LogKind.TAGS:
                for folder, placement in cards:
                    plain.scan(Path(folder), placement)
            plain.load(kind, read(tmp_path / "a.zip", name).encode(), name)
        assert list(plain.outcome_rows()) == rows
    made, other = keeping.unpack(tmp_path / "a.zip", tmp_path / "back")
    assert (made.otherwise, other) == ("", [])


def test_an_empty_study_is_packed_and_comes_back(empty: Workspace, tmp_path: Path) -> None:
    """It has no log at all."""
    keeping.pack(empty, tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        assert [name for name in archive.namelist() if name.startswith("logs/")] == [
            members.HISTORY
        ]
        assert json.loads(archive.read(members.VERSIONS))["format"] == members.FORMAT
    made, _ = keeping.unpack(tmp_path / "a.zip", tmp_path / "back")
    assert made.folder == tmp_path / "back"


# --- what is said ---------------------------------------------------------------------------------


def test_one_is_told_as_one() -> None:
    """Of all that packing and unpacking count."""
    said = copywords.packed("a.zip", Packed(1, 1, 1, missing=1, unhashed=1))
    made = Unpacked(Path("back"), 1, "", 1, 1, "1.0", "")
    said += [*copywords.unpacked("a.zip", made), copywords.otherwise(["D1"])]
    assert not re.search(r"\b1 \w+s\b(?! no checksum)", "\n".join(said).replace("1 photo has", ""))
    assert "1 outcome comes out otherwise" in "\n".join(said)
    assert "1 photo has no checksum" in "\n".join(said)
    several = copywords.unpacked("a.zip", replace(made, away=2))
    assert copywords.otherwise(["D1", "D2"]).startswith("2 outcomes come out otherwise")
    assert "2 cards not at hand: scan their folders" in "\n".join(several)
