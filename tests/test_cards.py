"""What a file's header says, whatever the file is like."""

import hashlib
import io
import logging
import os
import struct
import time
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from PIL import Image

from core.cards import (
    FoundFile,
    content_hash,
    read_file,
    tags,
)
from core.errors import CardError
from core.model import Header, TimeSource

ASCII, SHORT, LONG, UNDEFINED, BYTE, UTF8 = 2, 3, 4, 7, 1, 129
ORIGINAL, DIGITIZED, CHANGED, EXIF_OFFSET, MAKER_NOTE = 0x9003, 0x9004, 0x0132, 0x8769, 0x927C
GOOD = "2024:05:06 07:08:09"
MOMENT = datetime.fromisoformat("2024-05-06T07:08:09")
FIXTURE = [HealthCheck.function_scoped_fixture]  # each example writes its own file anew
Row = tuple[int, int, bytes]

# --- builders ------------------------------------------------------------------------------------


def text(tag: int, value: str, kind: int = ASCII) -> Row:
    """Give a row of an Exif directory that holds a text and its NUL."""
    return tag, kind, value.encode() + b"\0"


def exif_block(first: Sequence[Row], below: Sequence[Row], order: str = "<") -> bytes:
    """Lay out a TIFF header, the first directory and the Exif directory."""

    def directory(rows: Sequence[Row], at: int) -> bytes:
        head, values = struct.pack(f"{order}H", len(rows)), b""
        for tag, kind, value in sorted(rows):
            count = len(value) // {SHORT: 2, LONG: 4}.get(kind, 1)
            head += struct.pack(f"{order}HHI", tag, kind, count)
            if len(value) <= 4:
                head += value.ljust(4, b"\0")
            else:
                head += struct.pack(f"{order}I", at + 2 + 12 * len(rows) + 4 + len(values))
                values += value
        return head + bytes(4) + values

    def pointer(at: int) -> Row:
        return EXIF_OFFSET, LONG, struct.pack(f"{order}I", at)

    at = 8 + len(directory([*first, pointer(0)], 8))
    mark = b"II*\0" if order == "<" else b"MM\0*"
    start = mark + struct.pack(f"{order}I", 8)
    return start + directory([*first, pointer(at)], 8) + directory(below, at)


def picture(kind: str = "JPEG", size: tuple[int, int] = (64, 48)) -> bytes:
    """Draw a picture without a header."""
    drawn = io.BytesIO()
    Image.effect_noise(size, 50).save(drawn, kind)
    return drawn.getvalue()


PLAIN = picture()


def segment(marker: int, content: bytes) -> bytes:
    """Give one segment of a JPEG."""
    return bytes((0xFF, marker)) + struct.pack(">H", len(content) + 2) + content


def jpeg(block: bytes | None = None, plain: bytes = PLAIN, before: bytes = b"") -> bytes:
    """Put an Exif block into a JPEG, behind the segments `before`."""
    block = exif_block([], [text(ORIGINAL, GOOD)]) if block is None else block
    return plain[:2] + before + segment(0xE1, b"Exif\0\0" + block) + plain[2:]


def heic(block: bytes) -> bytes:
    """Give the boxes of a HEIC file that lead to its Exif block; it holds no picture."""

    def box(name: bytes, content: bytes) -> bytes:
        return struct.pack(">I", 8 + len(content)) + name + content

    def boxes(at: int) -> bytes:
        item = box(b"infe", struct.pack(">IHH", 2 << 24, 1, 0) + b"Exif\0")
        where = struct.pack(">IBBHHHHII", 0, 0x44, 0, 1, 1, 0, 1, at, len(block) + 10)
        found = box(b"iinf", struct.pack(">IH", 0, 1) + item) + box(b"iloc", where)
        return box(b"ftyp", b"heic\0\0\0\0mif1heic") + box(b"meta", bytes(4) + found)

    payload = struct.pack(">I", 6) + b"Exif\0\0" + block
    return boxes(len(boxes(0)) + 8) + box(b"mdat", payload)


def put(folder: Path, file: str, content: bytes | bytearray = PLAIN) -> FoundFile:
    """Write a file below a folder and give it as found."""
    path = folder / file
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return FoundFile(path, file, len(content), path.stat().st_mtime_ns)


def header(folder: Path, content: bytes, file: str = "a.jpg", zone: str = "") -> Header:
    """Read the header of a file with this content."""
    return read_file(put(folder, file, content), file_times=ZoneInfo(zone) if zone else None).header


# --- headers -------------------------------------------------------------------------------------


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_healthy_header(tmp_path: Path, order: str) -> None:
    """A photo with all its tags gives them as written, in either byte order, and no problem."""
    below = [text(ORIGINAL, GOOD), text(0x9291, "073"), text(0x9011, "+02:00")]
    below += [text(0x9290, "1"), text(0x9292, "2"), text(0x9010, "+03:00"), text(0x9012, "+04:00")]
    first = [text(0x010F, "MAKER  "), text(0x0110, "CAM\0x"), text(CHANGED, "2025:01:01 00:00:00")]
    content = jpeg(exif_block(first, [*below, (MAKER_NOTE, UNDEFINED, os.urandom(4000))], order))
    assert header(tmp_path, content) == Header(
        MOMENT, "073", "+02:00", TimeSource.ORIGINAL, "MAKER", "CAM"
    )


OTHERS = [text(0x9290, "1"), text(0x9291, "2"), text(0x9292, "3"), text(0x9010, "Z")]


@pytest.mark.parametrize(
    ("original", "digitized", "changed", "source", "subsec", "offset"),
    [
        (GOOD, GOOD, GOOD, TimeSource.ORIGINAL, "2", ""),
        (None, GOOD, GOOD, TimeSource.DIGITIZED, "3", ""),
        (None, None, GOOD, TimeSource.CHANGED, "1", "+00:00"),
        ("0000:00:00 00:00:00", GOOD, None, TimeSource.DIGITIZED, "3", ""),
        ("2024:13:01 00:00:00", "    :  :     :  :  ", GOOD, TimeSource.CHANGED, "1", "+00:00"),
        ("x", None, None, TimeSource.NONE, "", ""),
        (None, None, None, TimeSource.NONE, "", ""),
    ],
)
def test_which_time_counts(
    tmp_path: Path,
    original: str | None,
    digitized: str | None,
    changed: str | None,
    source: TimeSource,
    subsec: str,
    offset: str,
) -> None:
    """Original, then digitized, then changed; digits and offset go with the tag that was used."""
    below = [text(ORIGINAL, original)] if original is not None else []
    below += [text(DIGITIZED, digitized)] if digitized is not None else []
    first = [text(CHANGED, changed)] if changed is not None else []
    read = header(tmp_path, jpeg(exif_block(first, [*below, *OTHERS])))
    assert (read.time_source, read.subsec, read.offset) == (source, subsec, offset)
    assert (read.camera_time == MOMENT) == (source is not TimeSource.NONE)
    bad = [value for value in (original, digitized) if value not in (None, GOOD)]
    assert all(str(value) in read.problem for value in bad)
    assert ("was last changed" in read.problem) == (source is TimeSource.CHANGED)
    assert ("no time in the file" in read.problem) == (source is TimeSource.NONE)


@pytest.mark.parametrize(
    ("written", "offset", "flagged"),
    [
        ("+01:00", "+01:00", False),
        ("Z", "+00:00", False),
        ("-5:00", "-05:00", False),
        ("+0530", "+05:30", False),
        ("   :  ", "", False),
        ("", "", False),
        ("summer", "", True),
        ("+25:00", "", True),
    ],
)
def test_the_offset_tag(tmp_path: Path, written: str, offset: str, *, flagged: bool) -> None:
    """A blank offset is unknown, a bad one is named, and neither loses the date."""
    read = header(tmp_path, jpeg(exif_block([], [text(ORIGINAL, GOOD), text(0x9011, written)])))
    assert (read.camera_time, read.offset, bool(read.problem)) == (MOMENT, offset, flagged)
    assert not flagged or written in read.problem


@pytest.mark.parametrize(
    ("digits", "expected"), [("073", "073"), ("5 ", "5"), ("  ", "25"), ("", "25"), ("1a2", "12")]
)
def test_digits_after_the_point(tmp_path: Path, digits: str, expected: str) -> None:
    """Only digits are kept; the fraction inside the time serves where the tag has none."""
    rows = [text(ORIGINAL, f"{GOOD}.25"), text(0x9291, digits)]
    assert header(tmp_path, jpeg(exif_block([], rows))).subsec == expected


@pytest.mark.parametrize("kind", [ASCII, UNDEFINED, BYTE, UTF8])
@pytest.mark.parametrize("ending", [b"\0", b"", b"\0\0junk", b"\0\xff"])
def test_types_and_endings_of_a_time(tmp_path: Path, kind: int, ending: bytes) -> None:
    """A time is read from text, bytes and Exif 3.0's UTF-8, with no, one or more NULs behind."""
    read = header(tmp_path, jpeg(exif_block([], [(ORIGINAL, kind, GOOD.encode() + ending)])))
    assert (read.camera_time, read.problem) == (MOMENT, "")


def test_a_number_is_no_time(tmp_path: Path) -> None:
    """A time whose type is a number is no text, so it holds no time."""
    rows = [(ORIGINAL, SHORT, struct.pack("<12H", *range(1, 13)))]
    assert header(tmp_path, jpeg(exif_block([], rows))).time_source is TimeSource.NONE


def test_exif_behind_other_segments(tmp_path: Path) -> None:
    """The Exif block is found behind others, even where it begins or ends beyond 64 KiB."""
    note = (MAKER_NOTE, UNDEFINED, bytes(30_000))
    block = exif_block([], [note, text(ORIGINAL, GOOD)])
    assert block.index(GOOD.encode()) < 30_000
    late = exif_block([text(0x010F, "x" * 40_000)], [text(ORIGINAL, GOOD)])
    for one, before in [
        (block, segment(0xE0, b"JFIF\0" + bytes(9))),
        (late, segment(0xE2, bytes(40_000))),
        (
            late,
            segment(0xE2, bytes(65_000)) + b"\xff\xff" + segment(0xE1, b"http://" + bytes(65_000)),
        ),
    ]:
        assert header(tmp_path, jpeg(one, before=before)).camera_time == MOMENT


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "AVIF", "TIFF"])
@pytest.mark.parametrize("file", ["a.jpg", "a.bin"])
def test_other_pictures(tmp_path: Path, kind: str, file: str) -> None:
    """Exif is read from other kinds of picture too, and the name plays no part."""
    wanted, drawn = Image.Exif(), io.BytesIO()
    wanted[0x010F] = "MAKER"  # without one of these Pillow writes no block
    wanted.get_ifd(EXIF_OFFSET)[ORIGINAL] = GOOD
    if kind == "TIFF":  # Pillow writes no Exif directory into one
        drawn.write(exif_block([text(0x010F, "MAKER")], [text(ORIGINAL, GOOD)]))
    else:
        Image.new("RGB", (8, 8)).save(drawn, kind, exif=wanted)
    read = header(tmp_path, drawn.getvalue(), file)
    assert (read.camera_time, read.make, read.problem) == (MOMENT, "MAKER", "")


def test_heic(tmp_path: Path) -> None:
    """A HEIC picture is dated whatever its name, and the problem says that it may not be shown."""
    content = heic(exif_block([], [text(ORIGINAL, GOOD)]))
    for file in ("a.jpg", "a.heic"):
        read = header(tmp_path, content, file)
        assert (read.camera_time, read.is_photo) == (MOMENT, True)
        assert read.problem.startswith("this is a HEIC picture, not JPEG")


@pytest.mark.parametrize(
    ("file", "content", "is_photo", "problem"),
    [
        ("a.txt", jpeg(), True, ""),
        ("a.jpg", b"", False, "empty file"),
        ("a.txt", b"checked by Ann", False, "not a picture"),
        ("a.jpg", bytes(5000), False, "no picture in spite of its name"),
        ("._a.JPG", b"\0\x05\x16\x07\0\2\0\0Mac OS X", False, "not a picture"),
        ("a.db", b"SQLite format 3\0", False, "not a picture"),
        ("a.mp4", b"\0\0\0\x18ftypmp42\0\0\0\0", False, "a video"),
        ("a.avi", b"RIFF\0\0\0\0AVI LIST", False, "a video"),
        ("a.gif", b"GIF89a", True, "no time in the file"),
    ],
)
def test_what_is_a_photo(
    tmp_path: Path, file: str, content: bytes, problem: str, *, is_photo: bool
) -> None:
    """The content decides what is a photo, not the name."""
    read = header(tmp_path, content, file)
    assert read.is_photo == is_photo
    assert read.problem.startswith(problem)
    assert bool(read.problem) == bool(problem)


def test_cut_short(tmp_path: Path) -> None:
    """A JPEG cut anywhere is flagged, though its embedded thumbnail has an end marker."""
    big = picture(size=(1000, 800))
    assert len(big) > 4 * tags.END_BYTES
    thumbnail = exif_block([], [text(ORIGINAL, GOOD), (MAKER_NOTE, UNDEFINED, PLAIN)])
    for plain in (PLAIN, big):
        whole = jpeg(thumbnail, plain)
        assert header(tmp_path, whole).problem == ""
        for cut in (whole[:-2], whole[:-1], whole[: len(whole) * 3 // 4], whole[:-2] + bytes(99)):
            assert "cut short" in header(tmp_path, cut).problem
            assert header(tmp_path, cut).camera_time == MOMENT


@pytest.mark.parametrize("behind", [1, 65_535, 65_536, 70_000, 3_000_000])
def test_something_behind_the_picture(tmp_path: Path, behind: int) -> None:
    """Zeros, previews or a film behind the end marker do not make a picture cut short."""
    for plain in (PLAIN, picture(size=(1000, 800))):
        assert header(tmp_path, jpeg(plain=plain) + bytes(behind)).problem == ""


def test_file_times(tmp_path: Path) -> None:
    """Asked for, the file's own date stands in for a time that is not there, in that zone."""
    dated = header(tmp_path, jpeg(), zone="Europe/Brussels")
    assert (dated.camera_time, dated.time_source) == (MOMENT, TimeSource.ORIGINAL)
    found = put(tmp_path, "a.jpg")
    os.utime(found.path, ns=(0, 1_718_452_800_999_999_999))  # 2024-06-15T12:00:00Z (date -u)
    found = FoundFile(found.path, "a.jpg", found.size, found.path.stat().st_mtime_ns)
    assert read_file(found).header.camera_time is None
    assert "--file-times" in read_file(found).header.problem
    read = read_file(found, file_times=ZoneInfo("Europe/Brussels")).header
    assert read.camera_time == datetime.fromisoformat("2024-06-15T14:00:00")  # summer time, +02:00
    assert read.time_source is TimeSource.FILE
    assert "file's own date" in read.problem
    far = FoundFile(found.path, "a.jpg", found.size, 10**30)
    assert read_file(far, file_times=ZoneInfo("UTC")).header.time_source is TimeSource.NONE


def test_a_healthy_photo_takes_the_fast_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A photo with its time, or without any Exif, never waits for a second reader."""
    asked: list[str] = []
    second = tags._pillow_tags

    def noted(kind: str, content: tags.Content, short: bytes) -> tags.Texts:
        asked.append(kind)
        return second(kind, content, short)

    monkeypatch.setattr(tags, "_pillow_tags", noted)
    header(tmp_path, jpeg())
    header(tmp_path, PLAIN)
    assert asked == []
    header(tmp_path, jpeg(exif_block([], [])))
    assert asked == ["JPEG"]


def bases() -> Iterator[bytes]:
    """Give whole files of every kind, to be spoiled."""
    rows = [text(ORIGINAL, GOOD), text(0x9291, "12"), text(0x9011, "+01:00"), OTHERS[0]]
    first = [text(0x010F, "MAKER"), text(CHANGED, GOOD), (0x8825, LONG, b"\x08\0\0\0")]
    for order in "<>":
        block = exif_block(first, rows, order)
        yield from (jpeg(block), block, heic(block))
    wanted = Image.Exif()
    wanted[CHANGED] = GOOD
    for kind in ("PNG", "WEBP"):
        drawn = io.BytesIO()
        Image.new("RGB", (8, 8)).save(drawn, kind, exif=wanted)
        yield drawn.getvalue()


BASES = list(bases())
CIRCLE = b"\0\0\0\x10ftypheic\0\0\0\0" + b"\0\0\0\1free" + bytes(8)  # a box of no length


@settings(max_examples=400, deadline=None, suppress_health_check=FIXTURE)
@given(
    st.sampled_from(BASES),
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), max_size=6),
    st.integers(0, 2000),
    st.binary(max_size=50),
    st.sampled_from(["a.jpg", "b.txt", "c", "._d.JPG", "e.heic"]),
)
@example(CIRCLE, [], 2000, b"", "a.heic")
@example(b"\xff\xd8" + b"\xff" * 200_000, [], 10**6, b"", "a.jpg")
@example(b"II*\0\x08\0\0\0\xff\xff" + b"\x25\x88\4\0\1\0\0\0\x08\0\0\0" * 3000, [], 10**6, b"", "a")
def test_no_content_is_too_corrupt(
    tmp_path: Path,
    base: bytes,
    spoiled: list[tuple[int, int]],
    cut: int,
    more: bytes,
    file: str,
) -> None:
    """Whatever the bytes are, a file is one row with words, soon, and stays as it was."""
    content = bytearray(base[:cut] + more)
    for at, byte in spoiled:
        if at < len(content):
            content[at] = byte
    found = put(tmp_path, file, bytes(content))
    began = time.monotonic()
    read = read_file(found)
    assert time.monotonic() - began < 5
    assert found.path.read_bytes() == content
    assert (read.header.camera_time is None) == (read.header.time_source is TimeSource.NONE)
    assert read.header.camera_time or read.header.problem
    assert "\0" not in read.header.make + read.header.model + read.header.problem
    assert len(read.fingerprint) == 32


@settings(deadline=None, suppress_health_check=FIXTURE)
@given(
    st.sampled_from(
        [b"", b"\xff\xd8\xff", b"\xff\xd8\xff\xe1\0\x40Exif\0\0II*\0\x08\0\0\0", b"MM\0*"]
    ),
    st.binary(max_size=300),
)
def test_no_bytes_are_too_random(tmp_path: Path, start: bytes, rest: bytes) -> None:
    """Random bytes behind any beginning are one row."""
    read = read_file(put(tmp_path, "a.jpg", start + rest)).header
    assert read.camera_time is not None or read.problem


def test_a_reader_that_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever a metadata reader raises, the photo is a row without a time, or the other reads."""
    for fault in (IndexError, struct.error, RecursionError, MemoryError, UnicodeDecodeError):

        def fail(*_: object, fault: type[Exception] = fault, **__: object) -> None:
            raise fault(*(("x", b"", 0, 0, "x") if fault is UnicodeDecodeError else ()))

        monkeypatch.setattr("exifread.process_file", fail)
        assert header(tmp_path, jpeg()).camera_time == MOMENT
        monkeypatch.setattr(tags, "_pillow_tags", fail)
        assert "no time in the file" in header(tmp_path, jpeg()).problem
        monkeypatch.undo()


def test_nothing_is_logged(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    """Corrupt files leave nothing on the terminal and nothing in the log."""
    with caplog.at_level(logging.INFO):
        for base in BASES:
            header(tmp_path, base[: len(base) // 2])
    assert caplog.records == []
    assert capfd.readouterr() == ("", "")


def test_too_many_pixels(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture too large to be opened safely is said to be so."""
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 10)
    assert "too many pixels" in header(tmp_path, picture("PNG")).problem


def test_fingerprint(tmp_path: Path) -> None:
    """A fingerprint tells size and both ends apart; a copy has the same."""
    content = bytearray(os.urandom(300_000))

    def of(content: bytes | bytearray) -> str:
        return read_file(put(tmp_path, "a", content)).fingerprint

    first = of(content)
    both = struct.pack(">Q", 300_000) + content[:65_536] + content[-65_536:]
    assert first == hashlib.blake2b(both, digest_size=16).hexdigest()
    assert of(content) == first
    assert of(content[:-1]) != first
    for at in (0, 65_535, 300_000 - 65_536, 299_999):
        changed = content.copy()
        changed[at] ^= 1
        assert of(changed) != first
    for size in (1, 65_536, 65_537, 131_072, 131_073):
        other = content[: size - 1] + bytes([content[size - 1] ^ 1])
        assert len({of(content[:size]), of(other), of(content[: size - 1])}) == 3


def test_content_hash(tmp_path: Path) -> None:
    """The content hash is the SHA-256 of the whole file; a file that is gone is named."""
    found = put(tmp_path, "a", b"abc")
    # FIPS 180-2, appendix B.1 (memory)
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert content_hash(found.path) == expected
    with pytest.raises(CardError, match="gone"):
        content_hash(tmp_path / "gone")
