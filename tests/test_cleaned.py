"""What of a picture's file is given to others: the same pixels, and nothing that is private."""

import io
import json
import os
import shutil
import struct
import subprocess
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, PngImagePlugin

from core import cleaned as cleaning
from core.cleaned import cleaned
from core.errors import CardError

SHARED = Path(os.environ.get("LASTBITE_SHARED", "")) if os.environ.get("LASTBITE_SHARED") else None
SECRET = "Kovacs"
"""Stands in every private field of the pictures that are built here, and in nothing else."""
ALLOWED = {
    "DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal", "Make", "Model", "Orientation",
}  # fmt: skip
GROUPS = {"IFD0", "IFD1", "ExifIFD", "GPS", "SubIFD", "InteropIFD"}
"""exiftool's names of the directories of Exif."""
HARMLESS = {"ExifTool", "System", "File", "JFIF", "PNG", "PNG-pHYs", "Composite", "Adobe"}
"""Its groups of what it works out, of the file itself, and of how a picture is drawn."""
PNG_TEXTS = {"Comment", "Author", "Software", "Source", "Description", "RawProfile"}


def segment(marker: int, data: bytes) -> bytes:
    """Lay out one segment of a JPEG (ITU T.81, annex B.1.1.4)."""
    return bytes((0xFF, marker)) + (len(data) + 2).to_bytes(2) + data


def private_exif(orientation: int = 6) -> Image.Exif:
    """Fill every field of Exif that can tell a person, a device or a place (Exif 2.32)."""
    made = Image.Exif()
    made[0x010E] = f"{SECRET}'s den"  # ImageDescription
    made[0x010F], made[0x0110] = "Make of cams\0", "  Model 7 "
    made[0x0112] = orientation
    made[0x0131] = f"C:\\Users\\{SECRET}\\firmware"  # Software
    made[0x0132] = "2026:05:09 10:00:00"  # DateTime, when somebody changed the file
    made[0x013B], made[0x8298] = SECRET, f"(c) {SECRET}"  # Artist, Copyright
    made[0x9C9B] = SECRET.encode("utf-16-le")  # XPTitle
    inner = made.get_ifd(0x8769)
    inner |= {0x9003: "2026:05:04 22:00:20", 0x9291: "073", 0x9011: "+02:00"}
    inner |= {0x9004: "2026:05:04 22:00:21", 0x927C: SECRET.encode() * 90}  # MakerNote
    inner |= {0x9286: b"ASCII\0\0\0" + SECRET.encode(), 0xA430: SECRET, 0xA431: f"SN-{SECRET}"}
    inner |= {0xA435: f"LENS-{SECRET}", 0xA420: SECRET * 3}  # LensSerialNumber, ImageUniqueID
    made.get_ifd(0x8825).update(  # GPS
        {1: "S", 2: (26.0, 7.0, 24.0), 3: "E", 4: (19.0, 39.0, 15.0), 29: "2026:05:04"}
    )
    return made


def picture(mode: str = "RGB", size: tuple[int, int] = (96, 64)) -> Image.Image:
    """Draw something with edges and noise, so that its pixels differ."""
    shape = (size[1], size[0]) if mode == "L" else (size[1], size[0], len(mode))
    noise = np.random.default_rng(7).integers(0, 256, shape, dtype=np.uint8)
    return Image.fromarray(noise, mode if mode == "CMYK" else None)


def jpeg(mode: str = "RGB", **options: object) -> bytes:
    buffer = io.BytesIO()
    picture(mode).save(buffer, "JPEG", **options)
    return buffer.getvalue()


def laden(plain: bytes) -> bytes:
    """Put into a JPEG all that cameras and programs write beside the picture."""
    xmp = f"http://ns.adobe.com/xap/1.0/\0<x path='C:\\Users\\{SECRET}\\a.jpg'/>".encode()
    iptc = b"Photoshop 3.0\x008BIM\x04\x04\0\0" + struct.pack(
        ">IBBBH", 5 + len(SECRET), 0x1C, 2, 80, len(SECRET)
    )
    small = jpeg()
    before = [
        segment(0xE1, b"Exif\0\0" + private_exif().tobytes().removeprefix(b"Exif\0\0")),
        segment(0xE1, xmp),
        segment(0xE1, b"http://ns.adobe.com/xmp/extension/\0" + SECRET.encode()),
        segment(0xE0, b"JFXX\0\x10" + small),
        segment(0xE2, b"MPF\0II*\0\x08\0\0\0\0\0" + SECRET.encode()),
        segment(0xE2, b"FPXR\0\0" + SECRET.encode()),
        segment(0xE3, b"Meta\0\0" + SECRET.encode()),
        segment(0xEA, SECRET.encode()),
        segment(0xEC, b"Ducky" + SECRET.encode()),
        segment(0xED, iptc + SECRET.encode()),
        segment(0xEF, SECRET.encode()),
        segment(0xF7, SECRET.encode()),  # reserved, of JPEG-LS
        segment(0xFE, f"seen by {SECRET}".encode()),
    ]
    jfif = 4 + int.from_bytes(plain[4:6]) if plain[2:4] == b"\xff\xe0" else 2
    head = plain[:jfif]
    if jfif > 2:  # with a small picture of 2 x 1 dots in it
        head = plain[:2] + segment(0xE0, plain[6:18] + b"\x02\x01" + SECRET.encode())
    return head + b"".join(before) + plain[jfif:] + small + SECRET.encode() + bytes(40)


def scans(content: bytes) -> list[bytes]:
    """Give the compressed pixels of a JPEG, scan by scan, read by another rule than the cleaner's.

    The end of a scan is an FF that neither 00 nor D0..D7 follows; more FF may stand before a
    marker, which real trail cameras do (ITU T.81, annex B.1.1.2).
    """
    found, at = [], 2
    while content[at + 1] != 0xD9:
        if content[at + 1] == 0xFF:
            at += 1
            continue
        end = at + 2 + int.from_bytes(content[at + 2 : at + 4])
        if content[at + 1] == 0xDA:
            start = end
            while not (content[end] == 0xFF and content[end + 1] not in {0, *range(0xD0, 0xD8)}):
                end += 1
            found.append(content[at + 2 : start] + content[start:end])
        at = end
    return found


def pixels(content: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(content)) as opened:
        return np.asarray(opened)


def written(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


JPEGS: dict[str, Callable[[], bytes]] = {
    "baseline": jpeg,
    "progressive": lambda: jpeg(progressive=True),
    "restarts": lambda: jpeg(restart_marker_blocks=2),
    "progressive with restarts": lambda: jpeg(progressive=True, restart_marker_blocks=1),
    "grey": lambda: jpeg("L"),
    "CMYK": lambda: jpeg("CMYK"),
    "sharp colours": lambda: jpeg(subsampling=0, quality=95),
}


@pytest.mark.parametrize("kind", JPEGS)
def test_the_pixels_are_the_same_and_nothing_else_is(kind: str, tmp_path: Path) -> None:
    """Byte for byte as they were compressed; no private field of any kind is left."""
    plain = JPEGS[kind]()
    source = written(tmp_path / f"{SECRET}.jpg", laden(plain))
    clean = cleaned(source)
    assert SECRET.encode() in source.read_bytes()
    assert SECRET.encode() not in clean
    assert SECRET.encode("utf-16-le") not in clean
    assert scans(clean) == scans(plain)
    assert np.array_equal(pixels(clean), pixels(plain))
    assert clean.endswith(b"\xff\xd9")
    assert clean.count(b"\xff\xd8\xff") == 1


def test_time_maker_model_and_orientation_stay(tmp_path: Path) -> None:
    """As the camera wrote them, and no other field of Exif (Pillow reads them back)."""
    clean = cleaned(written(tmp_path / "a.jpg", laden(jpeg())))
    with Image.open(io.BytesIO(clean)) as opened:
        exif = opened.getexif()
    assert exif.get_ifd(0x8769) == {
        0x9003: "2026:05:04 22:00:20", 0x9291: "073", 0x9011: "+02:00"
    }  # fmt: skip
    outer = {tag: value for tag, value in exif.items() if tag != 0x8769}
    assert outer == {0x010F: "Make of cams", 0x0110: "Model 7", 0x0112: 6}
    assert exif.get_ifd(0x8825) == {}


@pytest.mark.parametrize(
    "time",
    [
        "2023-07-21 21:06:26",
        "2018-01-20T11:46:00Z",
        "2019-11-28 14:38:40:794",
        "2025:04:27 19:47:08-0300",
        "2019:01:01 24:04:20",
    ],
)
def test_a_time_is_told_as_it_was_written(time: str, tmp_path: Path) -> None:
    """Real cameras write all of these; whoever reads the file decides what they mean."""
    assert exif_of(tmp_path, {0x9003: time}) == {0x9003: time}


@pytest.mark.parametrize(
    "inner",
    [
        {0x9003: "0000:00:00 00:00:00"},
        {0x9003: f"at {SECRET}'s den"},
        {0x9004: "2026:05:04 22:00:21"},
        {0x9291: "073", 0x9011: "+02:00"},
    ],
)
def test_what_is_no_time_is_not_told(inner: dict[int, str], tmp_path: Path) -> None:
    """Neither words in its place, nor another time under its name."""
    assert exif_of(tmp_path, inner) == {}


def test_words_behind_a_time_are_not_told(tmp_path: Path) -> None:
    """A field of text could hold anything."""
    inner = {0x9003: f"2026:05:04 22:00:20 +{SECRET}", 0x9291: SECRET, 0x9011: SECRET}
    assert exif_of(tmp_path, inner) == {0x9003: "2026:05:04 22:00:20"}


def exif_of(folder: Path, inner: dict[int, str]) -> dict[int, object]:
    """Clean a picture with these fields; give those that are left."""
    made = Image.Exif()
    made.get_ifd(0x8769).update(inner)
    clean = cleaned(written(folder / "a.jpg", jpeg(exif=made.tobytes())))
    assert SECRET.encode() not in clean
    with Image.open(io.BytesIO(clean)) as opened:
        return dict(opened.getexif().get_ifd(0x8769))


def test_a_picture_without_anything_has_no_exif(tmp_path: Path) -> None:
    """There is nothing to tell, so nothing is written."""
    plain = jpeg()
    assert cleaned(written(tmp_path / "a.jpg", plain)) == plain


def test_cleaning_twice_changes_nothing(tmp_path: Path) -> None:
    """So that a package that is read in and given away again has the same pictures."""
    once = cleaned(written(tmp_path / "a.jpg", laden(jpeg(progressive=True))))
    assert cleaned(written(tmp_path / "b.jpg", once)) == once


def test_a_colour_profile_stays(tmp_path: Path) -> None:
    """Colours need it, in several segments too; what its description says stays with it."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    long = profile + bytes(70_000)
    clean = cleaned(written(tmp_path / "a.jpg", laden(jpeg(icc_profile=long))))
    with Image.open(io.BytesIO(clean)) as opened:
        assert opened.info["icc_profile"] == long


def test_adobes_colours_stay(tmp_path: Path) -> None:
    """Without its segment inks would be drawn inverted; bytes behind its twelve are cut."""
    plain = jpeg("CMYK")
    at = plain.index(b"\xff\xee")
    end = at + 2 + int.from_bytes(plain[at + 2 : at + 4])
    longer = plain[:at] + segment(0xEE, plain[at + 4 : end] + SECRET.encode()) + plain[end:]
    clean = cleaned(written(tmp_path / "a.jpg", longer))
    assert plain[at:end] in clean
    assert SECRET.encode() not in clean
    assert np.array_equal(pixels(clean), pixels(plain))


def test_the_source_is_as_it_was(tmp_path: Path) -> None:
    """It is opened to read, also where nobody may write it."""
    source = written(tmp_path / "a.jpg", laden(jpeg()))
    before = source.read_bytes(), source.stat().st_mtime_ns
    source.chmod(0o400)
    cleaned(source)
    assert (source.read_bytes(), source.stat().st_mtime_ns) == before


# --- PNG -----------------------------------------------------------------------------------------


def png(mode: str = "RGB") -> bytes:
    """Give a PNG with texts, Exif and more behind its end."""
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Author", SECRET)
    texts.add_text("Comment", SECRET, zip=True)
    texts.add_itxt("XML:com.adobe.xmp", f"<x path='/home/{SECRET}'/>")
    buffer = io.BytesIO()
    drawn = picture() if mode == "RGB" else picture().convert("P")
    drawn.save(buffer, "PNG", pnginfo=texts, exif=private_exif().tobytes())
    return buffer.getvalue() + SECRET.encode()


@pytest.mark.parametrize("mode", ["RGB", "P"])
def test_a_png_keeps_its_pixels_and_time(mode: str, tmp_path: Path) -> None:
    """Its texts, its old Exif and what follows its end are gone."""
    source = png(mode)
    clean = cleaned(written(tmp_path / "a.png", source))
    assert SECRET.encode() not in clean
    assert set(chunks(clean)) <= {b"IHDR", b"PLTE", b"eXIf", b"IDAT", b"IEND"}
    assert chunks(clean)[b"IDAT"] == chunks(source)[b"IDAT"]
    assert np.array_equal(pixels(clean), pixels(source))
    with Image.open(io.BytesIO(clean)) as opened:
        assert opened.getexif().get_ifd(0x8769)[0x9003] == "2026:05:04 22:00:20"
        assert opened.getexif()[0x0112] == 6


def chunks(content: bytes) -> dict[bytes, bytes]:
    """Give the data of each kind of chunk, up to the end (PNG, third edition, section 5.3)."""
    found: dict[bytes, bytes] = {}
    at = 8
    while b"IEND" not in found:
        length, kind = struct.unpack_from(">I4s", content, at)
        data = content[at + 8 : at + 8 + length]
        assert struct.unpack_from(">I", content, at + 8 + length) == (zlib.crc32(kind + data),)
        found[kind] = found.get(kind, b"") + data
        at += 12 + length
    return found


# --- what cannot be cleaned ----------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["TIFF", "WebP", "GIF", "BMP"])
def test_other_kinds_are_refused(kind: str, tmp_path: Path) -> None:
    """Their pixels would have to be computed anew; the message names the way out."""
    picture().save(tmp_path / "a.jpg", kind)
    with pytest.raises(CardError, match=r"'a.jpg' is neither JPEG nor PNG.*convert it"):
        cleaned(tmp_path / "a.jpg")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"notes",
        b"\xff\xd8",
        b"\xff\xd8\xff\xd9",
        b"\xff\xd8\xff\xe0\0\x01\xff\xd9",
        b"\x89PNG\r\n\x1a\n",
        bytes(5000),
    ],
)
def test_what_is_no_picture_is_refused(content: bytes, tmp_path: Path) -> None:
    """An empty file, a text, a picture of nothing."""
    with pytest.raises(CardError, match=r"'a\.jpg'"):
        cleaned(written(tmp_path / "a.jpg", content))


def test_a_png_with_one_wrong_byte_is_refused(tmp_path: Path) -> None:
    """Each chunk has a checksum, so a fault of the card is found, in the pixels too."""
    content = bytearray(png())
    content[content.index(b"IDAT") + 1000] ^= 1
    with pytest.raises(CardError, match="torn"):
        cleaned(written(tmp_path / "a.png", bytes(content)))


def test_a_png_or_jpeg_without_its_picture_is_refused(tmp_path: Path) -> None:
    """Whole in every part that is there, but the pixels are not."""
    drawn = png()
    at = drawn.index(b"IDAT") - 4
    length = int.from_bytes(drawn[at : at + 4])
    with pytest.raises(CardError, match=r"'a\.png'"):
        cleaned(written(tmp_path / "a.png", drawn[:at] + drawn[at + 12 + length :]))
    plain = jpeg()
    frame = plain.index(b"\xff\xc0")
    behind = frame + 2 + int.from_bytes(plain[frame + 2 : frame + 4])
    with pytest.raises(CardError, match=r"'a\.jpg'"):
        cleaned(written(tmp_path / "a.jpg", plain[:frame] + plain[behind:]))
    scan = plain.index(b"\xff\xda")
    with pytest.raises(CardError, match=r"'b\.jpg'"):
        cleaned(written(tmp_path / "b.jpg", plain[:scan] + b"\xff\xd9"))


def test_what_is_not_there_or_too_large_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No more than a bounded part of any file comes into memory."""
    with pytest.raises(CardError, match="cannot be read"):
        cleaned(tmp_path / "none.jpg")
    monkeypatch.setattr(cleaning, "MOST_BYTES", 1 << 10)
    with pytest.raises(CardError, match="larger than"):
        cleaned(written(tmp_path / "a.jpg", jpeg()))


@pytest.mark.parametrize("filler", [b"", bytes(512), b"\xff" * 512])
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(share=st.floats(0, 0.999))
def test_a_torn_picture_is_never_given_away(filler: bytes, share: float, tmp_path: Path) -> None:
    """Cut anywhere, also where a card's end was filled up."""
    for number, plain in enumerate((jpeg(progressive=True), png().partition(b"IEND")[0])):
        kept = plain[: int((len(plain) - 1) * share)]
        with pytest.raises(CardError):
            cleaned(written(tmp_path / f"{number}", kept + filler))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    kind=st.sampled_from(["jpeg", "png"]),
    damage=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), min_size=1, max_size=12),
)
def test_a_damaged_picture_is_cleaned_or_refused(
    kind: str, damage: list[tuple[float, int]], tmp_path: Path
) -> None:
    """Nothing else comes of any byte; where a field's own head is damaged it is dropped whole."""
    content = bytearray(laden(jpeg()) if kind == "jpeg" else png())
    for share, byte in damage:
        content[int(len(content) * share)] = byte
    clean = cleaned_or_none(written(tmp_path / "a", bytes(content)))
    assert clean is None or len(clean) <= len(content)
    if clean is not None:
        cleaned(written(tmp_path / "b", clean))


# --- real photos, and another reader -------------------------------------------------------------


def real_photos() -> list[Path]:
    """Give the photos of others; skipped where there are none."""
    if SHARED is None:
        pytest.skip("LASTBITE_SHARED names no folder with real photos")
    found = [path for path in sorted((SHARED / "corpora").rglob("*")) if path.is_file()]
    return [path for path in found if path.stat().st_size < 8 << 20 and path.suffix != ".csv"]


def told_by_exiftool(folder: Path) -> set[tuple[str, str]]:
    """Give group and name of every tag that exiftool finds, unknown and doubled ones too."""
    if shutil.which("exiftool") is None:
        pytest.skip("exiftool, which reads the pictures independently, is not installed")
    asked = ["exiftool", "-r", "-json", "-G1", "-a", "-u", "-U", "-ee", str(folder)]
    told = subprocess.run(asked, capture_output=True, check=False, text=True).stdout
    names = {name for one in json.loads(told) for name in one if name != "SourceFile"}
    return {(group, tag) for group, _, tag in (name.partition(":") for name in names)}


def refuse_private(told: set[tuple[str, str]]) -> None:
    left = {(group, tag) for group, tag in told if group not in HARMLESS}
    profile = {(group, tag) for group, tag in left if group.startswith("ICC")}
    assert {tag for group, tag in left - profile if group in GROUPS} <= ALLOWED
    assert {group for group, _ in left - profile} <= GROUPS
    assert not {tag for _, tag in told} & (PNG_TEXTS | {"Error", "Warning", "TrailerLength"})


def test_exiftool_finds_no_more_than_the_allowed_tags(tmp_path: Path) -> None:
    """In pictures that hold every private field; before cleaning it does find them."""
    (tmp_path / "before").mkdir()
    (tmp_path / "after").mkdir()
    for kind, make in JPEGS.items():
        source = written(tmp_path / "before" / f"{kind}.jpg", laden(make()))
        written(tmp_path / "after" / f"{kind}.jpg", cleaned(source))
    source = written(tmp_path / "before" / "p.png", png())
    written(tmp_path / "after" / "p.png", cleaned(source))
    before = {tag for _, tag in told_by_exiftool(tmp_path / "before")}
    assert {"GPSLatitude", "SerialNumber", "OwnerName", "Artist", "By-line", "Comment"} <= before
    after = told_by_exiftool(tmp_path / "after")
    refuse_private(after)
    assert {tag for _, tag in after} >= ALLOWED


def test_real_photos_are_cleaned(tmp_path: Path) -> None:
    """Each keeps its pixels and its compressed data, or is refused with words."""
    given_away = 0
    for number, source in enumerate(real_photos()):
        clean = cleaned_or_none(source)
        if clean is None:
            continue
        given_away += 1
        written(tmp_path / f"{number}{source.suffix}", clean)
        if clean.startswith(b"\xff\xd8"):
            assert scans(clean) == scans(source.read_bytes()), source
        assert np.array_equal(pixels_or_none(clean), pixels_or_none(source.read_bytes())), source
    assert given_away >= 70  # of 86 files, nine of other kinds among them
    refuse_private(told_by_exiftool(tmp_path))


def pixels_or_none(content: bytes) -> np.ndarray:
    """Give the pixels; none of a picture that no reader can draw, before and after."""
    try:
        return pixels(content)
    except (OSError, Image.DecompressionBombError):
        return np.zeros(0)


def cleaned_or_none(source: Path) -> bytes | None:
    """Clean a picture; None where it is refused in words, which is the only fault there may be."""
    try:
        return cleaned(source)
    except CardError:
        return None
