"""Scanning cards into a study: only what is new, copies once, nothing touched or half done."""

import shutil
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from builders import write_burst, write_photo

from app import wording
from core.errors import CardError, StudyError
from core.logs import LogKind
from core.workspace import NewTag, Workspace

DAY = datetime(2026, 3, 14, 8, 0)  # noqa: DTZ001  what a camera shows has no zone


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    with Workspace.create(tmp_path / "study", "Africa/Johannesburg") as workspace:
        yield workspace


def files_of(study: Workspace, placement: str) -> list[str]:
    return [photo.file for photo in study.view(placement).photos]


def test_a_second_scan_adds_only_what_is_new(study: Workspace, tmp_path: Path) -> None:
    """The camera wrote three more photos since; the visit they prolong keeps its tag."""
    card = tmp_path / "card"
    write_burst(card, DAY, 4)
    first = study.scan(card, "P1")
    assert (first.files, first.new, first.photos) == (4, 4, 4)
    [visit] = [one.visit for one in study.view("P1").visits]
    tag = NewTag("P1", visit.photos[0].id, visit.photos[-1].id, "ann", "blank")
    study.tag(tag)
    write_burst(card, DAY.replace(second=10), 3, first=5)
    again = study.scan(card, "P1")
    assert (again.files, again.known, again.new) == (7, 4, 3)
    [grown] = study.view("P1").visits
    assert len(grown.visit.photos) == 7
    assert [one.species for one in grown.answer.tags] == ["blank"]
    assert grown.answer.remarks  # it says that the tag covers only part


def test_copies_are_listed_and_counted_once(study: Workspace, tmp_path: Path) -> None:
    """A burst copied twice, inside the card and onto another placement, counts once."""
    card = tmp_path / "card"
    write_burst(card / "100A", DAY, 3)
    shutil.copytree(card / "100A", card / "101A")
    report = study.scan(card, "P1")
    assert (report.files, report.photos, report.copies) == (6, 3, 3)
    [visit] = study.view("P1").visits
    assert len(visit.visit.photos) == 3
    rows = [row for row in study.photo_rows() if "copy" in row["problem"]]
    assert [row["file"] for row in rows] == [f"101A/IMG_000{at}.JPG" for at in (1, 2, 3)]


def test_a_card_on_two_placements_is_said_and_left_to_a_person(
    study: Workspace, tmp_path: Path
) -> None:
    """Which placement is right cannot be told from the files, so nothing is dropped silently."""
    write_burst(tmp_path / "card", DAY, 3)
    shutil.copytree(tmp_path / "card", tmp_path / "other")
    study.scan(tmp_path / "card", "P1")
    assert study.scan(tmp_path / "other", "P2").copies == 0
    assert len(study.view("P2").visits) == 1
    found = [one for one in study.check() if "byte for byte" in one.message]
    assert [(one.thing, one.serious) for one in found] == [("placement P2", True)]


def test_pictures_of_one_size_are_no_copies(study: Workspace, tmp_path: Path) -> None:
    """Equal size alone proves nothing: the content decides."""
    one = write_photo(tmp_path / "card" / "A.JPG", DAY, shade=1)
    other = tmp_path / "card" / "B.JPG"
    content = bytearray(one.read_bytes())
    content[-10] ^= 1
    other.write_bytes(content)
    assert study.scan(tmp_path / "card", "P1").copies == 0


def test_a_card_mounted_elsewhere_is_the_same_card(study: Workspace, tmp_path: Path) -> None:
    """The reader gives the card another folder tomorrow; photos, visits and tags stay the same."""
    write_burst(tmp_path / "E", DAY, 3)
    study.scan(tmp_path / "E", "P1")
    ids = [photo.id for photo in study.view("P1").photos]
    (tmp_path / "E").rename(tmp_path / "F")
    assert study.missing_originals() == {"P1": 3}
    report = study.scan(tmp_path / "F", "P1")
    assert (report.new, report.moved_here, report.copies) == (0, 3, 0)
    assert [photo.id for photo in study.view("P1").photos] == ids
    assert study.previews.original(ids[0]).path.is_file()


def test_a_study_works_without_its_originals(study: Workspace, tmp_path: Path) -> None:
    """The card is gone tomorrow: times and visits stay, and the picture is missed in words."""
    write_burst(tmp_path / "card", DAY, 3)
    study.scan(tmp_path / "card", "P1")
    shutil.rmtree(tmp_path / "card")
    assert len(study.view("P1").visits) == 1
    with pytest.raises(CardError, match="not at hand"):
        study.previews.original(study.view("P1").photos[0].id)
    assert any("not at hand" in finding.message for finding in study.check())


def test_a_file_that_changed_is_read_again_and_said(study: Workspace, tmp_path: Path) -> None:
    """Somebody edited a photo on the card after the scan: its row says so."""
    file = write_photo(tmp_path / "card" / "A.JPG", DAY)
    study.scan(tmp_path / "card", "P1")
    write_photo(file, DAY.replace(hour=9), shade=77)
    assert study.scan(tmp_path / "card", "P1").changed == 1
    [row] = study.photo_rows()
    assert row["camera_time"] == "2026-03-14 09:00:00"
    assert "changed since" in row["problem"]


def test_a_file_that_is_only_younger_has_not_changed(study: Workspace, tmp_path: Path) -> None:
    """Copying a card to a new disk gives new file dates; the content is what counts."""
    file = write_photo(tmp_path / "card" / "A.JPG", DAY)
    study.scan(tmp_path / "card", "P1")
    file.touch()
    report = study.scan(tmp_path / "card", "P1")
    assert (report.changed, report.known) == (0, 1)
    [row] = study.photo_rows()
    assert not row["problem"]


def test_every_file_met_has_a_row(study: Workspace, tmp_path: Path) -> None:
    """Good, undated, damaged or no picture at all: one row each, with what is wrong."""
    card = tmp_path / "card"
    write_photo(card / "good.JPG", DAY)
    write_photo(card / "undated.JPG", None, shade=2)
    (card / "notes.txt").write_text("battery changed", encoding="utf-8")
    (card / "empty.JPG").touch()
    cut = write_photo(card / "cut.JPG", DAY, shade=3)
    cut.write_bytes(cut.read_bytes()[:-200])
    report = study.scan(card, "P1")
    rows = {row["file"]: row for row in study.photo_rows()}
    assert report.files == len(rows) == 5
    assert not rows["good.JPG"]["problem"]
    assert {file for file, row in rows.items() if row["problem"]} == {
        "undated.JPG", "notes.txt", "empty.JPG", "cut.JPG",
    }  # fmt: skip
    assert rows["cut.JPG"]["camera_time"] == "2026-03-14 08:00:00"


@pytest.mark.parametrize("made", [(), ("notes.txt",)])
def test_a_folder_without_photos_leaves_no_trace(
    study: Workspace, tmp_path: Path, made: tuple[str, ...]
) -> None:
    """An empty folder, or one with other files only, is refused and no card is kept."""
    folder = tmp_path / "wrong"
    folder.mkdir()
    for name in made:
        (folder / name).write_text("x", encoding="utf-8")
    with pytest.raises(CardError, match="folder"):
        study.scan(folder, "P1")
    assert study.cards() == []


def test_one_folder_is_the_card_of_one_placement(study: Workspace, tmp_path: Path) -> None:
    """Scanned under the wrong placement, the card is moved as a whole, tags and all."""
    write_burst(tmp_path / "card", DAY, 3)
    study.scan(tmp_path / "card", "WRONG")
    [visit] = study.view("WRONG").visits
    photos = visit.visit.photos
    study.tag(NewTag("WRONG", photos[0].id, photos[-1].id, "ann", "blank"))
    with pytest.raises(CardError, match="'WRONG'"):
        study.scan(tmp_path / "card", "P1")
    study.move_card(study.card_in(tmp_path / "card").id, "P1")
    assert [one.answer.species for one in study.view("P1").visits] == [("blank",)]
    assert study.view("WRONG").photos == ()


def test_forgetting_a_card_asks_about_its_tags(study: Workspace, tmp_path: Path) -> None:
    """Tags are not lost with a card unless that is what was asked for; the files stay."""
    files = write_burst(tmp_path / "card", DAY, 3)
    study.scan(tmp_path / "card", "P1")
    photos = study.view("P1").photos
    study.tag(NewTag("P1", photos[0].id, photos[-1].id, "ann", "blank"))
    card = study.card_in(tmp_path / "card").id
    with pytest.raises((CardError, StudyError)):
        study.forget_card(card)
    assert len(study.view("P1").photos) == 3
    assert study.forget_card(card, with_tags=True) == 1
    assert study.cards() == []
    assert all(file.is_file() for file in files)


def test_an_interrupted_scan_is_continued_by_the_same_scan(
    study: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C between two batches leaves whole batches, and the next scan goes on there."""
    monkeypatch.setattr("core.scan.BATCH", 4)
    write_burst(tmp_path / "card", DAY, 10)

    def stop(done: int, _total: int) -> None:
        if done >= 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        study.scan(tmp_path / "card", "P1", progress=stop)
    assert len(files_of(study, "P1")) == 4
    assert study.scan(tmp_path / "card", "P1").new == 6
    assert len(files_of(study, "P1")) == 10


def test_file_times_are_used_only_when_asked(study: Workspace, tmp_path: Path) -> None:
    """Copying resets a file's date, so it dates a photo only on demand, and flagged."""
    write_photo(tmp_path / "one" / "A.JPG", None, shade=4)
    study.scan(tmp_path / "one", "P1")
    write_photo(tmp_path / "two" / "B.JPG", None, shade=5)
    study.scan(tmp_path / "two", "P2", file_times=True)
    rows = {row["placement"]: row for row in study.photo_rows()}
    assert (rows["P1"]["time_source"], rows["P1"]["true_time"]) == ("none", "")
    assert rows["P2"]["time_source"] == "file"
    assert rows["P2"]["true_time"]
    assert rows["P2"]["problem"]


# --- names of placements -------------------------------------------------------------------------

LOGGED = b"placement,camera,trays,start,end\nSK-OPEN,c,T1,2026-03-14 07:00,2026-03-15 07:00\n"


@pytest.mark.parametrize("name", ["sk-open", "SK OPEN", "Sk_Open"])
def test_a_placement_that_the_camera_log_spells_otherwise_is_refused(
    study: Workspace, tmp_path: Path, name: str
) -> None:
    """Capitals, blanks and marks tell no two placements apart; nothing is kept, none is moved."""
    study.load(LogKind.CAMERAS, LOGGED, "cameras.csv")
    write_burst(tmp_path / "card", DAY, 3)
    with pytest.raises(CardError, match=f"Placement '{name}' is 'SK-OPEN' in the camera log"):
        study.scan(tmp_path / "card", name)
    assert study.cards() == []
    study.scan(tmp_path / "card", "SK-OPEN")
    with pytest.raises(CardError, match="is 'SK-OPEN' in the camera log"):
        study.move_card(study.cards()[0].id, name)
    assert [one.placement for one in study.cards()] == ["SK-OPEN"]


@pytest.mark.parametrize(
    ("name", "meant"),
    [("SK-OPNE", "Was 'SK-OPEN' meant"), ("HILL-1", "reach no tray until it is.")],
)
def test_a_placement_that_is_not_in_the_camera_log_is_told(
    study: Workspace, tmp_path: Path, name: str, meant: str
) -> None:
    """Photos may come before their line of the log: they are kept, and the near name is named."""
    study.load(LogKind.CAMERAS, LOGGED, "cameras.csv")
    write_burst(tmp_path / "card", DAY, 3)
    report = study.scan(tmp_path / "card", name)
    assert report.photos == 3
    assert f"Placement {name!r} is not in the camera log" in report.unlogged
    assert meant in report.unlogged
    assert ("Was" in report.unlogged) is ("Was" in meant)
    assert f"! {report.unlogged}" in wording.scan_report(report)


def test_a_study_without_a_camera_log_is_scanned_in_silence(
    study: Workspace, tmp_path: Path
) -> None:
    """The camera log may come later; then no name can be wrong yet."""
    write_burst(tmp_path / "card", DAY, 3)
    assert study.scan(tmp_path / "card", "SK-OPNE").unlogged == ""
