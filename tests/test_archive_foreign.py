"""What an archive from elsewhere may not do: break a page, hold nonsense, lead out of its place."""

import re
import shutil
from datetime import datetime
from pathlib import Path

import pytest
from builders import write_photo
from giving import giving_study, read, resealed, with_cell

from core import keeping
from core.archive import members
from core.errors import CardError, StudyError
from core.workspace import Workspace


@pytest.fixture
def packed(demo: Workspace, tmp_path: Path) -> Path:
    """The demo as an archive."""
    keeping.pack(demo, tmp_path / "demo.zip")
    return tmp_path / "demo.zip"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        (members.VERSIONS, b""),
        (members.VERSIONS, b"5"),
        (members.VERSIONS, b"{}"),
        (members.VERSIONS, b'{"format": 1, "schema_step": "x", "lastbite": "1"}'),
        (members.VERSIONS, b"[" * 100_000),
        (members.NUMBERS, b"[]"),
        (members.SETTINGS, b"[study]\n"),
        (members.rows_of("cards"), b'["id"]\n[{}]\n'),
        (members.rows_of("tags"), b'["number"]\n["x"]\n[1, 2]\n'),
    ],
)
def test_no_archive_makes_a_traceback(
    packed: Path, tmp_path: Path, name: str, content: bytes
) -> None:
    """Somebody may write one whose checksums fit, but that is no study: nothing is made of it."""
    with pytest.raises(StudyError):
        keeping.unpack(resealed(packed, name, content), tmp_path / "never")
    assert {path.name for path in tmp_path.iterdir()} >= {"other.zip"}
    assert not list(tmp_path.glob("*never*"))


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("tray_deployments", "set_out", "0000-03-04T16:00:00+00:00"),
        ("tray_deployments", "picked_up", "9999-12-31T23:59:59+00:00"),
        ("tray_deployments", "picked_up", "2026-03-04T16:00:00"),
        ("tray_deployments", "food_left_g", "NaN"),
        ("tray_deployments", "food_left_g", "1E+999999"),
        ("tray_deployments", "extra", "[]"),
        ("placements", "start", "1850-01-01T00:00:00+00:00"),
        ("placements", "clock", "Nowhere/Land"),
        ("placements", "timelapse_every_min", 0),
        ("placements", "latitude", float("inf")),
        ("placements", "trays", "[1]"),
        ("photos", "camera_time", "0000-03-04T16:00:00"),
        ("photos", "camera_time", "2026-03-04T16:00:00+02:00"),
        ("photos", "offset", "?"),
        ("photos", "file", "../../key.txt"),
        ("photos", "file", "/etc/hostname"),
        ("species", "role", "king"),
        ("tags", "sure", "perhaps"),
        ("tags", "count", 1.5),
        ("tags", "made_at", "yesterday"),
        ("cards", "folder", 5),
    ],
)
def test_rows_that_no_study_holds_are_named(
    packed: Path, tmp_path: Path, table: str, column: str, value: object
) -> None:
    """By file, line, column and value, before anything is made; no rule meets them."""
    words = f"rows/{table}.jsonl line 2: {column} is {value!r}, "
    with pytest.raises(StudyError, match=re.escape(words)):
        keeping.unpack(with_cell(packed, table, column, value), tmp_path / "never")
    assert not list(tmp_path.glob("*never*"))


def test_a_camera_may_show_any_year(tmp_path: Path) -> None:
    """A clock that was never set is no reason to refuse what was packed."""
    with giving_study(tmp_path) as study:
        for year in ("0001", "9999"):
            write_photo(tmp_path / "third" / f"{year}.JPG", datetime(2026, 12, 31), shade=7)  # noqa: DTZ001
            file = tmp_path / "third" / f"{year}.JPG"
            file.write_bytes(file.read_bytes().replace(b"2026:12:31", f"{year}:12:31".encode()))
        study.scan(tmp_path / "third", "P2")
        shown = {photo.file: photo.camera_time for photo in study.view("P2").photos}
        assert shown["0001.JPG"] == datetime(1, 12, 31)  # noqa: DTZ001
        keeping.pack(study, tmp_path / "odd.zip")
    made, other = keeping.unpack(tmp_path / "odd.zip", tmp_path / "back")
    assert other == []
    with Workspace.open(made.folder) as back:
        assert {p.file: p.camera_time for p in back.view("P2").photos} == shown


# --- where the cards lie -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "told",
    [
        "{cards}",
        "{cards}/../cards",
        "../cards",
        "C:\\cards",
        "\\\\elsewhere.invalid\\share",
        "/x/elsewhere:/{cards}",
        "",
    ],
)
def test_no_folder_that_an_archive_names_is_looked_at(tmp_path: Path, told: str) -> None:
    """Its photos may lie there or not: nobody here has said so. It is packed again as it was."""
    with giving_study(tmp_path) as study:
        keeping.pack(study, tmp_path / "all.zip")
    (tmp_path / "card").rename(tmp_path / "cards")
    folder = told.format(cards=tmp_path / "cards")
    file = with_cell(tmp_path / "all.zip", "cards", "folder", folder)
    made, other = keeping.unpack(file, tmp_path / "back")
    assert (made.away, other) == (3, [])
    with Workspace.open(made.folder) as back:
        for card in back.cards():
            for path in (Path(card.folder), Path(card.folder).resolve()):
                assert path.is_relative_to(made.folder)
                assert not path.exists()
        assert set(back.missing_originals()) == {"P1", "P2"}
        for photo in back.view("P1").photos:
            with pytest.raises(CardError, match="not at hand"):
                back.previews.original(photo.id)
        assert keeping.pack(back, tmp_path / "again.zip", pictures=True).pictures == 0
    rows = members.rows_of("cards")
    assert read(tmp_path / "again.zip", rows) == read(file, rows)


def test_a_folder_too_long_for_any_disk_is_no_fault(tmp_path: Path) -> None:
    """Asking whether such a folder is there would be an error on every page."""
    with giving_study(tmp_path) as study:
        keeping.pack(study, tmp_path / "all.zip")
    for told in ("/x" * 5_000, "y" * 300, "é:" * 100):
        file = with_cell(tmp_path / "all.zip", "cards", "folder", told)
        shutil.rmtree(tmp_path / "back", ignore_errors=True)
        made, _ = keeping.unpack(file, tmp_path / "back")
        with Workspace.open(made.folder) as back:
            assert back.missing_originals().keys() == {"P1", "P2"}


def test_a_card_that_is_scanned_shows_its_photos_again(tmp_path: Path) -> None:
    """Who points to its folder is believed; its photos are those that the study has."""
    with giving_study(tmp_path) as study:
        keeping.pack(study, tmp_path / "all.zip")
        tags = study.view("P1").tags
    made, _ = keeping.unpack(tmp_path / "all.zip", tmp_path / "back")
    with Workspace.open(made.folder) as back:
        told = [back.scan(tmp_path / name, "P1") for name in ("card", "second")]
        assert [one.photos for one in told] == [0, 0]
        assert sum(one.moved_here for one in told) == len(
            [photo for photo in back.view("P1").photos if photo.is_photo]
        )
        assert back.view("P1").tags == tags
        shown = back.view("P1").ordered
        assert all(back.previews.original(one.id).path.is_file() for one in shown)


def test_no_archive_sends_a_study_to_a_server(packed: Path, tmp_path: Path) -> None:
    """Whatever its settings say, it is held in its own folder."""
    text = read(packed, members.SETTINGS).replace(
        "[study]\n", '[study]\ndatabase = "postgresql://somebody@elsewhere.invalid/all"\n'
    )
    assert "elsewhere" in text
    keeping.unpack(resealed(packed, members.SETTINGS, text.encode()), tmp_path / "back")
    assert "elsewhere" not in (tmp_path / "back" / "study.toml").read_text(encoding="utf-8")
