"""An archive holds a study in plain files, is the same each time, and says what was changed."""

import csv
import hashlib
import io
import os
import shutil
import struct
import subprocess
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
from giving import giving_study, read, rewritten
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stores import ON_SERVER, empty_schema

from core import keeping
from core.archive import differing, members
from core.errors import StudyError
from core.logs import LogKind
from core.store import Database, copying
from core.store import lines as row_lines
from core.taglog import NewTag
from core.workspace import Workspace


@pytest.fixture
def packed(demo: Workspace, tmp_path: Path) -> Path:
    """The demo as an archive, after somebody took a tag back and drew nothing else."""
    tag = demo.view("SK-OPEN").tags[3]
    demo.turn([tag.number], taken_back=True, by="Ike")
    file = tmp_path / "demo.zip"
    keeping.pack(demo, file)
    return file


def digests(folder: Path) -> dict[str, copying.Digest]:
    """Give the digest of each table of a study that is written."""
    database = Database.open(folder / "lastbite.db")
    with database.read() as connection:
        found = copying.digests(connection)
    database.dispose()
    return {name: one for name, one in found.items() if name not in row_lines.LEFT_OUT}


# --- there and back ----------------------------------------------------------------------------


def test_the_study_comes_back_row_by_row(demo: Workspace, packed: Path, tmp_path: Path) -> None:
    """Rows, history of tags, settings and outcomes are those that were packed."""
    made, other = keeping.unpack(packed, tmp_path / "back")
    assert other == []
    here, there = digests(tmp_path / "back"), digests(demo.folder)
    assert here.pop("cards") != there.pop("cards")  # of these only the folders are others
    assert here == there
    with Workspace.open(made.folder) as back:
        assert list(back.outcome_rows()) == list(demo.outcome_rows())
        assert back.view("SK-OPEN").tags == demo.view("SK-OPEN").tags
        assert back.settings == demo.settings


def test_the_same_study_gives_the_same_bytes(demo: Workspace, packed: Path, tmp_path: Path) -> None:
    """Packed twice, or packed from what was unpacked: no clock and no computer is in it."""
    keeping.pack(demo, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == packed.read_bytes()
    keeping.unpack(packed, tmp_path / "back")
    with Workspace.open(tmp_path / "back") as back:
        keeping.pack(back, tmp_path / "third.zip")
    assert (tmp_path / "third.zip").read_bytes() == packed.read_bytes()


def test_a_number_that_was_given_is_not_given_again(packed: Path, tmp_path: Path) -> None:
    """A tag that is made after unpacking comes behind all that ever were."""
    keeping.unpack(packed, tmp_path / "back")
    with Workspace.open(tmp_path / "back") as back:
        photo = back.view("SK-OPEN").ordered[0].id
        before = [t.number for one in back.placements() for t in back.view(one.placement).tags]
        assert back.tag(NewTag("SK-OPEN", photo, photo, "Ann", "blank")) > max(before)


def test_the_logs_load_by_themselves(demo: Workspace, packed: Path, tmp_path: Path) -> None:
    """Without a row of the database: from the plain logs and the cards, the same outcomes."""
    Workspace.create(tmp_path / "plain", str(demo.zone)).close()
    (tmp_path / "plain" / "study.toml").write_text(read(packed, "study.toml"), encoding="utf-8")
    with Workspace.open(tmp_path / "plain") as plain:
        for kind in (LogKind.SPECIES, LogKind.CAMERAS, LogKind.CLOCKS, LogKind.TRAYS):
            plain.load(kind, read(packed, members.LOGS[kind]).encode(), str(kind))
        for card in demo.cards():
            plain.scan(Path(card.folder), card.placement)
        plain.load(LogKind.TAGS, read(packed, members.LOGS[LogKind.TAGS]).encode(), "tags")
        assert list(plain.outcome_rows()) == list(demo.outcome_rows())


def test_every_tag_is_in_the_history(packed: Path) -> None:
    """One that was taken back is not in the tag log, but in the history, and says so."""
    history = list(csv.DictReader(io.StringIO(read(packed, members.HISTORY))))
    count = list(csv.DictReader(io.StringIO(read(packed, members.LOGS[LogKind.TAGS]))))
    back = [row for row in history if row["taken_back_by"]]
    assert [row["taken_back_by"] for row in back] == ["Ike"]
    assert back[0]["counts"] == "no"
    assert len(count) == sum(row["counts"] == "yes" for row in history)


def test_pictures_come_along_where_they_are_asked_for(tmp_path: Path) -> None:
    """Byte for byte; the study that is made looks for them in its own folder."""
    with giving_study(tmp_path) as study:
        done = keeping.pack(study, tmp_path / "whole.zip", pictures=True)
        originals = {path.name: path.read_bytes() for path in (tmp_path / "third").iterdir()}
    assert done.pictures == done.photos
    for name in ("card", "second", "third"):
        shutil.rmtree(tmp_path / name)
    made, other = keeping.unpack(tmp_path / "whole.zip", tmp_path / "back")
    assert (made.pictures, made.away, other) == (done.pictures, 0, [])
    with Workspace.open(tmp_path / "back") as back:
        assert back.missing_originals() == {}
        for photo in back.view("P2").photos:
            path = back.previews.original(photo.id).path
            assert path.read_bytes() == originals[photo.file]
            assert path.is_relative_to(tmp_path / "back")


def test_photos_that_are_not_at_hand_are_counted(tmp_path: Path) -> None:
    """An archive with pictures says which it does not have; so does a study without its cards."""
    with giving_study(tmp_path) as study:
        shutil.rmtree(tmp_path / "third")
        done = keeping.pack(study, tmp_path / "whole.zip", pictures=True)
    assert done.missing == 2
    made, _ = keeping.unpack(tmp_path / "whole.zip", tmp_path / "back")
    assert made.away == 1


@ON_SERVER
def test_a_study_on_a_server_is_packed_alike(demo: Workspace, tmp_path: Path) -> None:
    """The same bytes wherever its rows are held."""
    keeping.pack(demo, tmp_path / "file.zip")
    with empty_schema() as address:
        demo.copies.move(address)
        demo.close()
        with Workspace.open(demo.folder) as served:
            keeping.pack(served, tmp_path / "server.zip")
    assert (tmp_path / "server.zip").read_bytes() == (tmp_path / "file.zip").read_bytes()


# --- what must not be in it ----------------------------------------------------------------------


def test_no_secret_is_in_an_archive(demo: Workspace, tmp_path: Path) -> None:
    """What signs tickets and makes pseudonyms stays with the study."""
    secret = demo.ticket_secret().hex()
    keeping.pack(demo, tmp_path / "demo.zip")
    assert secret.encode() not in (tmp_path / "demo.zip").read_bytes()


def test_the_address_of_a_server_is_not_in_it(demo: Workspace, tmp_path: Path) -> None:
    """A study of an archive is held in its own folder."""
    keeping.pack(demo, tmp_path / "demo.zip")
    assert "database = " not in read(tmp_path / "demo.zip", "study.toml")


# --- what was changed is named -------------------------------------------------------------------


def test_other_tools_read_it(packed: Path, tmp_path: Path) -> None:
    """Python's zip module finds no fault; `unzip` and `sha256sum` agree where they are there."""
    with zipfile.ZipFile(packed) as archive:
        assert archive.testzip() is None
        archive.extractall(tmp_path / "out")
    if shutil.which("sha256sum"):
        done = subprocess.run(
            ["sha256sum", "-c", "--strict", members.CHECKSUMS], cwd=tmp_path / "out",
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert done.stdout.count(": OK") == len(list(zipfile.ZipFile(packed).namelist())) - 1
    if shutil.which("unzip"):
        subprocess.run(["unzip", "-tq", packed], check=True, capture_output=True)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_changed_byte_is_found_and_named(packed: Path, data: st.DataObject) -> None:
    """Any byte of any file; nothing is made then."""
    with zipfile.ZipFile(packed) as archive:
        names = sorted(info.filename for info in archive.infolist() if info.file_size)
        name = data.draw(st.sampled_from(names))
        info = archive.getinfo(name)
    content = bytearray(packed.read_bytes())
    name_length, extra = struct.unpack_from("<HH", content, info.header_offset + 26)
    begin = info.header_offset + 30 + name_length + extra
    at = begin + data.draw(st.integers(0, info.file_size - 1))
    content[at] ^= data.draw(st.integers(1, 255))
    other = packed.with_name("flipped.zip")
    other.write_bytes(content)
    with pytest.raises(StudyError) as caught:
        keeping.unpack(other, packed.parent / "never")
    assert name in str(caught.value) or name == members.CHECKSUMS
    assert not (packed.parent / "never").exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda held: held.pop("outcomes.csv"), "outcomes.csv is missing"),
        (lambda held: held.update({"mine.txt": b"x"}), "mine.txt was added"),
        (lambda held: held.update({"out.csv": held.pop("visits.csv")}), "visits.csv is missing"),
        (lambda held: held.update({"../x": b""}), "leads elsewhere"),
        (lambda held: held.update({"/x": b""}), "leads elsewhere"),
        (lambda held: held.update({"C:x": b""}), "leads elsewhere"),
        (lambda held: held.pop(members.CHECKSUMS), "no archive of a study"),
        (lambda held: held.update({members.CHECKSUMS: b"nonsense\n"}), "has a line that is none"),
    ],
)  # fmt: skip
def test_files_that_went_or_came_are_named(
    packed: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], object], words: str
) -> None:
    """Nothing is made of such an archive."""
    with pytest.raises(StudyError, match=words.replace(".", r"\.")):
        keeping.unpack(rewritten(packed, change), tmp_path / "never")
    assert not (tmp_path / "never").exists()


def test_a_torn_or_other_file_is_refused(packed: Path, tmp_path: Path) -> None:
    """In words: half a zip, a text, nothing at all, a compressed zip."""
    (tmp_path / "half.zip").write_bytes(packed.read_bytes()[:-200])
    (tmp_path / "text.zip").write_text("no zip", encoding="utf-8")
    with zipfile.ZipFile(tmp_path / "small.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(members.CHECKSUMS, "x" * 10_000)
    for name in ("half.zip", "text.zip", "none.zip", "small.zip"):
        with pytest.raises(StudyError):
            keeping.unpack(tmp_path / name, tmp_path / "never")
    assert not (tmp_path / "never").exists()


def test_an_archive_that_was_zipped_again_is_read(packed: Path, tmp_path: Path) -> None:
    """As any archivist's tool does it: compressed, with its folders; the checksums hold."""
    with zipfile.ZipFile(packed) as archive:
        archive.extractall(tmp_path / "out")
    again = shutil.make_archive(str(tmp_path / "again"), "zip", tmp_path / "out")
    assert Path(again).stat().st_size < packed.stat().st_size
    _, other = keeping.unpack(Path(again), tmp_path / "back")
    assert other == []


def test_a_file_that_grows_without_end_is_refused(packed: Path, tmp_path: Path) -> None:
    """A few bytes in the zip that would fill the disk."""
    bomb = tmp_path / "bomb.zip"
    shutil.copy(packed, bomb)
    with zipfile.ZipFile(bomb, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("rows/more.jsonl", b"0" * 50_000_000)
    with pytest.raises(StudyError, match="not read"):
        keeping.unpack(bomb, tmp_path / "never")


def test_nothing_is_written_over(demo: Workspace, packed: Path, tmp_path: Path) -> None:
    """Neither an archive nor a folder."""
    with pytest.raises(StudyError, match="is there already"):
        keeping.pack(demo, packed)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("kept", encoding="utf-8")
    with pytest.raises(StudyError, match="is there already"):
        keeping.unpack(packed, tmp_path / "mine")


def test_a_full_disk_leaves_nothing(
    demo: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is said in words, and no half archive is there."""

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(members.Writer, "checksums", full)
    before = set(tmp_path.iterdir())
    with pytest.raises(StudyError, match="No space left"):
        keeping.pack(demo, tmp_path / "demo.zip")
    assert set(tmp_path.iterdir()) == before


def test_a_disk_that_fills_up_within_a_photo_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is no photo that is not at hand: half of one would be in the archive."""
    write = members.Writer.write

    def full(out: members.Writer, name: str, chunks: Iterable[bytes]) -> None:
        if name.startswith(members.PICTURES):
            raise OSError(28, "No space left on device")
        write(out, name, chunks)

    monkeypatch.setattr(members.Writer, "write", full)
    with giving_study(tmp_path) as study, pytest.raises(StudyError, match="No space left"):
        keeping.pack(study, tmp_path / "whole.zip", pictures=True)
    assert list(tmp_path.glob("*whole.zip*")) == []


@pytest.mark.skipif(os.sep == "\\", reason="no file can be called so")
@pytest.mark.parametrize("name", ["a\\b.JPG", "a\nb.JPG", "50%5C.JPG", "C:x.JPG", "é 日.JPG"])
def test_photos_of_any_name_come_back(tmp_path: Path, name: str) -> None:
    """Also where a zip, or a list of checksums, would take the name for something else."""
    with giving_study(tmp_path) as study:
        shutil.copyfile(tmp_path / "third" / "CARD_001.JPG", tmp_path / "third" / name)
        study.scan(tmp_path / "third", "P2")
        keeping.pack(study, tmp_path / "whole.zip", pictures=True)
    made, _ = keeping.unpack(tmp_path / "whole.zip", tmp_path / "back")
    with Workspace.open(made.folder) as back:
        assert name in {photo.file for photo in back.view("P2").photos}
        assert back.missing_originals() == {}


def test_a_place_that_is_no_folder_is_told(demo: Workspace, packed: Path, tmp_path: Path) -> None:
    """Below a file nothing can be written, and what is not there is no archive."""
    with pytest.raises(StudyError, match="cannot be written"):
        keeping.pack(demo, packed / "x.zip")
    with pytest.raises(StudyError, match="cannot be made"):
        keeping.unpack(packed, packed / "x")
    with pytest.raises(StudyError, match="no file"):
        keeping.unpack(tmp_path / "none.zip", tmp_path / "never")


def test_outcomes_that_come_out_otherwise_are_named() -> None:
    """A newer rule may say something else; that is told, not hidden."""
    head = "deployment,status\n"
    assert differing(f"{head}D1,keep\nD2,drop\n", f"{head}D1,keep\nD2,keep\n") == ["D2"]
    assert differing(f"{head}D1,keep\n", f"{head}D1,keep\nD3,keep\n") == ["D3"]


def test_a_newer_archive_is_refused(packed: Path, tmp_path: Path) -> None:
    """Its program is named, so that people know what to install."""

    def newer(held: dict[str, bytes]) -> None:
        text = held[members.VERSIONS].replace(b'"format": 1', b'"format": 2')
        sums = held[members.CHECKSUMS].decode()
        old = hashlib.sha256(held[members.VERSIONS]).hexdigest()
        held[members.CHECKSUMS] = sums.replace(old, hashlib.sha256(text).hexdigest()).encode()
        held[members.VERSIONS] = text

    with pytest.raises(StudyError, match="newer Lastbite"):
        keeping.unpack(rewritten(packed, newer), tmp_path / "never")
