"""Every byte of an archive is held against what was packed, and no reader's fault is misnamed."""

import os
import shutil
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app import copywords
from core import keeping
from core.archive import members, proving
from core.errors import StudyError
from core.workspace import Workspace

OTHER_FAULTS = ("cannot be made", "is no study", "pack it again", "have it packed")
"""What is said where the archive itself is not at fault."""


class Zip(NamedTuple):
    """An archive, and where the zip around its files lies."""

    file: Path
    local: dict[str, range]
    """The header in front of each file."""
    listed: dict[str, range]
    """The line of each file in the list at the end."""
    end: range


@pytest.fixture(scope="module")
def whole(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Zip:
    """The demo as an archive; lengths of headers as the .ZIP File Format Specification has them."""
    folder = tmp_path_factory.mktemp("whole")
    shutil.copytree(built, folder / "demo")
    with Workspace.open(folder / "demo") as demo:
        keeping.pack(demo, folder / "demo.zip")
    with zipfile.ZipFile(folder / "demo.zip") as archive:
        infos, at = archive.infolist(), archive.start_dir
    local, listed = {}, {}
    for info in infos:
        name = len(info.filename.encode())
        begin = info.header_offset
        local[info.filename] = range(begin, begin + 30 + name + 20)  # 20: the lengths in 64 bits
        listed[info.filename] = range(at, at + 46 + name)
        at += 46 + name
    end = range(at, (folder / "demo.zip").stat().st_size)
    assert len(end) == 22
    return Zip(folder / "demo.zip", local, listed, end)


def changed(file: Path, at: dict[int, int]) -> Path:
    """Copy an archive with some of its bytes changed by the bits that are given."""
    content = bytearray(file.read_bytes())
    for one, bits in at.items():
        content[one] ^= bits
    other = file.with_name("changed.zip")
    other.write_bytes(content)
    return other


def found(file: Path) -> str:
    """Say where the zip of an archive is otherwise, or what is said where it is not read."""
    try:
        with proving.opened(file) as archive:
            return proving.proved(archive, file).otherwise
    except StudyError as fault:
        said = str(fault)
    assert file.name in said
    assert not any(words in said for words in OTHER_FAULTS), said
    return said


# --- the zip around the files ---------------------------------------------------------------------


def test_an_archive_is_byte_for_byte_as_it_is_written(whole: Zip) -> None:
    """Nothing is said of one that nobody touched."""
    assert found(whole.file) == ""


@pytest.mark.parametrize("name", ["README.txt", "logs/cameras.csv", members.CHECKSUMS])
def test_every_byte_before_a_file_is_looked_at(whole: Zip, name: str) -> None:
    """One that was changed is told by its place, or the file is named that cannot be read."""
    for at in whole.local[name]:
        for bits in (1, 0x80, 0xFF):
            said = found(changed(whole.file, {at: bits}))
            assert said == f"byte {at} ({name})" or (name in said and "changed" in said), said


@pytest.mark.parametrize("name", ["README.txt", "logs/cameras.csv", members.CHECKSUMS])
def test_every_byte_of_the_list_at_the_end_is_looked_at(whole: Zip, name: str) -> None:
    """One that was changed is told by its place, or the archive is not read."""
    for at in whole.listed[name]:
        for bits in (1, 0x80, 0xFF):
            said = found(changed(whole.file, {at: bits}))
            there = f"byte {at} ({name} in the list at its end)"
            assert said == there or whole.file.with_name("changed.zip").name in said, said


def test_every_byte_of_the_end_is_looked_at(whole: Zip) -> None:
    """Also those with the place and length of the list, and of a remark behind it."""
    for at in whole.end:
        for bits in (1, 4, 0x80, 0xFF):
            said = found(changed(whole.file, {at: bits}))
            assert said == f"byte {at} (the end of the list at its end)" or "Take another" in said


@settings(max_examples=150)
@given(data=st.data())
def test_any_bytes_around_the_files_may_change(whole: Zip, data: st.DataObject) -> None:
    """However many: the reader of zips raises nothing that is not put into words."""
    spans = [*whole.local.values(), *whole.listed.values(), whole.end]
    span = data.draw(st.sampled_from(spans))
    bits = st.integers(1, 255)
    at = data.draw(st.dictionaries(st.sampled_from(span), bits, min_size=1, max_size=12))
    assert found(changed(whole.file, at)) != ""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda held: held + b"more", "(behind its end)"),
        (lambda held: b"more" + held, "byte 0 (README.txt)"),
        (lambda held: held[:-2] + b"\x04\x00more", "(the end of the list at its end)"),
    ],
)
def test_what_lies_around_a_zip_is_told(
    whole: Zip, tmp_path: Path, change: Callable[[bytes], bytes], words: str
) -> None:
    """Bytes behind it, before it, or a remark: readers of zips pass over them."""
    other = tmp_path / "other.zip"
    other.write_bytes(change(whole.file.read_bytes()))
    assert words in found(other)


def test_a_study_is_made_where_only_the_zip_is_otherwise(whole: Zip, tmp_path: Path) -> None:
    """Its contents are proved; where the zip differs is said, and that nobody can tell why."""
    made, other = keeping.unpack(changed(whole.file, {8: 8}), tmp_path / "back")
    assert (made.otherwise, other) == ("byte 8 (README.txt)", [])
    told = "\n".join(copywords.unpacked("changed.zip", made))
    assert "! The zip around them is not as Lastbite writes it" in told
    assert "byte 8 (README.txt)" in told
    made, _ = keeping.unpack(whole.file, tmp_path / "again")
    assert made.otherwise == ""
    assert "So is the zip around them, byte for byte." in copywords.unpacked("a", made)


def test_files_that_were_zipped_again_are_no_fault(whole: Zip, tmp_path: Path) -> None:
    """By another program, stored or compressed: the study is made, and the zip is not ours."""
    with zipfile.ZipFile(whole.file) as archive:
        archive.extractall(tmp_path / "out")
    for way in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        again = tmp_path / f"again{way}.zip"
        with zipfile.ZipFile(again, "w", way) as archive:
            for path in sorted((tmp_path / "out").rglob("*")):
                archive.write(path, path.relative_to(tmp_path / "out"))
        made, other = keeping.unpack(again, tmp_path / f"back{way}")
        assert other == []
        assert made.otherwise.startswith("byte ")


# --- what is wrong is not said of something else ------------------------------------------------


@pytest.mark.parametrize("back", [-4, -3])
def test_a_list_that_cannot_be_found_is_a_torn_archive(
    whole: Zip, tmp_path: Path, back: int
) -> None:
    """It is no full disk, and nothing about the folder is at fault."""
    other = changed(whole.file, {whole.end.stop + back: 0xFF})
    with pytest.raises(StudyError, match="is torn or was changed"):
        keeping.unpack(other, tmp_path / "never")
    assert not (tmp_path / "never").exists()


@pytest.mark.parametrize(
    ("byte", "bits", "words"),
    [(8, 1, "README.txt was changed, or cannot be read"),  # says that it is encrypted
     (8, 0x20, "README.txt was changed, or cannot be read"),  # and this, that it is a patch
     (10, 9, "'README.txt' in a form that is not read: it was changed"),  # another compression
     (27, 0x80, "'README.txt' in a form that is not read: it was changed"),  # 2 GiB larger
     (23, 0x80, "up to 'README.txt' more is in it than its own size: it is torn")],
)  # fmt: skip
def test_a_changed_line_of_the_list_is_said_of_its_file(
    whole: Zip, tmp_path: Path, byte: int, bits: int, words: str
) -> None:
    """Flags, method and sizes: where each stands the specification of zips says, in 4.3.12."""
    other = changed(whole.file, {whole.listed["README.txt"].start + byte: bits})
    with pytest.raises(StudyError) as caught:
        keeping.unpack(other, tmp_path / "never")
    assert words in str(caught.value)
    assert not any(wrong in str(caught.value) for wrong in OTHER_FAULTS)


def test_a_disk_that_gives_no_more_is_said_of_the_archive(
    whole: Zip, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bad sector under a file of the archive is no fault of where the study is to be."""
    read = zipfile.ZipExtFile.read

    def bad(member: zipfile.ZipExtFile, n: int | None = -1) -> bytes:
        if member.name == members.VISITS:
            raise OSError(5, os.strerror(5))
        return read(member, n)

    monkeypatch.setattr(zipfile.ZipExtFile, "read", bad)
    with pytest.raises(StudyError, match=r"visits\.csv was changed, or cannot be read"):
        keeping.unpack(whole.file, tmp_path / "never")


def test_a_folder_is_no_archive(tmp_path: Path) -> None:
    """It is there, so it is not said that there is none."""
    with pytest.raises(StudyError, match=r"is a folder\. Name an archive.*FILE\.zip"):
        keeping.unpack(tmp_path, tmp_path / "never")


# --- archives that somebody made up ---------------------------------------------------------------


def crafted(whole: Zip, tmp_path: Path, change: Callable[[zipfile.ZipInfo], object]) -> Path:
    """Copy an archive with what its list says of one file made up; its bytes stay."""
    other = tmp_path / "crafted.zip"
    shutil.copyfile(whole.file, other)
    with zipfile.ZipFile(other, "a") as archive:
        change(archive.getinfo("visits.csv"))
        archive.writestr("mine.txt", "so that the list is written again")
    return other


def _link(info: zipfile.ZipInfo) -> None:
    info.external_attr = (stat.S_IFLNK | 0o777) << 16


def _device(info: zipfile.ZipInfo) -> None:
    info.external_attr = (stat.S_IFCHR | 0o666) << 16


def _twice(info: zipfile.ZipInfo) -> None:
    info.filename = "photos.csv"


def _bomb(info: zipfile.ZipInfo) -> None:
    info.file_size = 1 << 50


def _laid_over(info: zipfile.ZipInfo) -> None:
    """Take what stands behind it as its own, as a bomb of files that overlap does."""
    info.compress_size = info.file_size = 1 << 40


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_link, "is a link or a device"),
        (_device, "is a link or a device"),
        (_twice, "stands there twice"),
        (_bomb, "in a form that is not read"),
        (_laid_over, "more is in it than its own size"),
    ],
)
def test_a_list_that_somebody_made_up_is_refused(
    whole: Zip, tmp_path: Path, change: Callable[[zipfile.ZipInfo], object], words: str
) -> None:
    """In words, before anything is read or made."""
    with pytest.raises(StudyError, match=words):
        keeping.unpack(crafted(whole, tmp_path, change), tmp_path / "never")
    assert {path.name for path in tmp_path.iterdir()} == {"crafted.zip"}
