"""Copies of photos for looking at: upright, small, and words in place of what cannot be shown."""

import contextlib
import hashlib
import io
import os
import zlib
from pathlib import Path

import pytest
from PIL import Image

from core import pictures
from core.errors import CardError


def corpus(name: str) -> Path:
    shared = os.environ.get("LASTBITE_SHARED")
    if not shared:
        pytest.skip("LASTBITE_SHARED names no folder with the Exif test pictures")
    return Path(shared) / "corpora" / "exif" / name


def opened(data: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(data))
    picture.load()
    return picture


def quarters(path: Path, orientation: int, size: tuple[int, int] = (400, 200)) -> Path:
    """Write a picture whose top left quarter is red as it was stored, with an orientation."""
    picture = Image.new("RGB", size, "white")
    picture.paste("red", (0, 0, size[0] // 2, size[1] // 2))
    exif = Image.Exif()
    exif[0x0112] = orientation
    picture.save(path, exif=exif, quality=95)
    return path


# Where the stored top left corner is to be seen, and whether the sides change places: the table
# of the Exif standard (orientation tag 274), common practice.
CORNERS = {
    1: ("top left", False), 2: ("top right", False), 3: ("bottom right", False),
    4: ("bottom left", False), 5: ("top left", True), 6: ("top right", True),
    7: ("bottom right", True), 8: ("bottom left", True),
}  # fmt: skip


@pytest.mark.parametrize("orientation", CORNERS)
def test_a_copy_stands_upright(tmp_path: Path, orientation: int) -> None:
    """The corner that a camera stored first comes where the Exif orientation says."""
    corner, turned = CORNERS[orientation]
    copy = opened(pictures.copy_bytes(quarters(tmp_path / "p.jpg", orientation), 320))
    assert copy.size == ((160, 320) if turned else (320, 160))
    wide, high = copy.size
    at = {
        "top left": (10, 10), "top right": (wide - 10, 10),
        "bottom left": (10, high - 10), "bottom right": (wide - 10, high - 10),
    }  # fmt: skip
    for name, place in at.items():
        colour = copy.convert("RGB").getpixel(place)
        assert isinstance(colour, tuple)
        assert (colour[1] < 100) is (name == corner), (name, colour)


@pytest.mark.parametrize("orientation", range(2, 9))
def test_real_pictures_of_each_orientation_look_the_same(orientation: int) -> None:
    """The same face stored in seven orientations gives the same copy (Pillow's hopper pictures)."""
    upright = Image.open(corpus("no-exif/pillow__hopper.jpg")).convert("L").resize((32, 32))
    path = corpus(f"orientation/pillow__hopper_orientation_{orientation}.jpg")
    copy = opened(pictures.copy_bytes(path)).convert("L").resize((32, 32))
    pairs = zip(upright.tobytes(), copy.tobytes(), strict=True)
    assert sum(abs(one - other) for one, other in pairs) / 32**2 < 12  # of 255


def test_a_copy_is_small_and_a_small_picture_keeps_its_size(tmp_path: Path) -> None:
    """The longest side is at most what was asked; nothing is blown up."""
    large, small = tmp_path / "large.jpg", tmp_path / "small.jpg"
    Image.new("RGB", (4000, 3000), "grey").save(large)
    Image.new("RGB", (200, 100), "grey").save(small)
    assert opened(pictures.copy_bytes(large, pictures.REVIEW_PX)).size == (1280, 960)
    assert opened(pictures.copy_bytes(large, pictures.STRIP_PX)).size == (320, 240)
    assert opened(pictures.copy_bytes(small, pictures.STRIP_PX)).size == (200, 100)


def test_a_copy_holds_no_metadata(tmp_path: Path) -> None:
    """Place, owner and time that a camera wrote do not go into the copy."""
    path = tmp_path / "p.jpg"
    exif = Image.Exif()
    exif[0x013B] = "A. Name"  # artist
    exif.get_ifd(0x8825)[1] = "S"  # GPS latitude reference
    Image.new("RGB", (50, 50)).save(path, exif=exif)
    data = pictures.copy_bytes(path)
    assert not opened(data).getexif()
    assert b"A. Name" not in data


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "CMYK", "I;16", "1", "LA"])
def test_every_kind_of_picture_becomes_a_jpeg(tmp_path: Path, mode: str) -> None:
    """Grey, transparent, printed and 16-bit pictures can be looked at too."""
    path = tmp_path / ("p.tif" if mode in {"CMYK", "I;16"} else "p.png")
    sixteen = Image.new("I;16", (60, 40), 32768)
    picture = sixteen if mode == "I;16" else Image.new("RGB", (60, 40), "grey").convert(mode)
    picture.save(path)
    copy = opened(pictures.copy_bytes(path))
    assert (copy.format, copy.mode, copy.size) == ("JPEG", "RGB", (60, 40))
    if mode not in {"1", "P"}:  # of few colours: their grey is a pattern
        colour = copy.getpixel((30, 20))
        assert isinstance(colour, tuple)
        assert all(100 < one < 156 for one in colour), colour


def test_the_original_is_only_read(tmp_path: Path) -> None:
    """Bytes and time of the original are what they were."""
    original = quarters(tmp_path / "p.jpg", 6)
    original.chmod(0o444)
    before = (hashlib.sha256(original.read_bytes()).hexdigest(), original.stat().st_mtime_ns)
    pictures.review_copy(original, tmp_path / "previews" / "1" / "copy.jpg")
    after = (hashlib.sha256(original.read_bytes()).hexdigest(), original.stat().st_mtime_ns)
    assert after == before
    assert [one.name for one in (tmp_path / "previews" / "1").iterdir()] == ["copy.jpg"]


def test_nothing_half_written_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the copy cannot be put in its place, no part of it stays behind."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        pictures.review_copy(quarters(tmp_path / "p.jpg", 1), tmp_path / "previews" / "copy.jpg")
    assert list((tmp_path / "previews").iterdir()) == []


def test_a_truncated_picture_is_refused_in_words(tmp_path: Path) -> None:
    """A file that ends too early is damaged: the words name it and say what to do."""
    whole = quarters(tmp_path / "whole.jpg", 1, (1600, 1200)).read_bytes()
    half = tmp_path / "half.jpg"
    half.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(CardError, match=r"half\.jpg is damaged .* Copy it from the card again"):
        pictures.copy_bytes(half)


def test_the_truncated_picture_of_the_corpus_is_refused_in_words() -> None:
    """Pillow's own truncated JPEG is called damaged."""
    with pytest.raises(CardError, match="is damaged"):
        pictures.copy_bytes(corpus("progressive/pillow__truncated_jpeg.jpg"))


def test_a_huge_picture_is_not_unpacked(tmp_path: Path) -> None:
    """A small file that claims a huge size is refused before it is unpacked."""
    bomb = tmp_path / "bomb.png"
    small = io.BytesIO()
    Image.new("1", (8, 8)).save(small, "PNG")
    data = bytearray(small.getvalue())
    data[16:24] = (30_000).to_bytes(4, "big") + (30_000).to_bytes(4, "big")
    data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4, "big")
    bomb.write_bytes(bytes(data))
    with pytest.raises(CardError, match="million pixels"):
        pictures.copy_bytes(bomb)
    assert pictures.media_type(bomb) == ""


def test_the_giant_picture_of_the_corpus_is_refused_in_words() -> None:
    """280 million pixels in 1.1 MB are refused in words."""
    with pytest.raises(CardError, match="million pixels"):
        pictures.copy_bytes(corpus("huge/sharp__giant-image.jpg"))


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"not a picture", "is no picture"), (b"", "is no picture"), (None, "is not at hand")],
)
def test_what_is_no_picture_is_refused_in_words(
    tmp_path: Path, content: bytes | None, words: str
) -> None:
    """Text, an empty file and a missing file each have their own words."""
    path = tmp_path / "p.jpg"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(CardError, match=words):
        pictures.copy_bytes(path)


def test_every_picture_of_the_corpus_is_shown_or_refused_in_words() -> None:
    """None of the Exif test pictures ends in anything but a copy or a CardError."""
    shown = 0
    for path in sorted(corpus("").rglob("*.*")):
        if path.suffix.lower() not in {".jpg", ".jpeg", ".heic"}:
            continue
        with contextlib.suppress(CardError):
            assert max(opened(pictures.copy_bytes(path, 320)).size) <= 320
            shown += 1
    assert shown >= 45  # of 55; the others are HEIC, huge or damaged


def test_words_are_drawn_in_place_of_a_picture() -> None:
    """The placeholder is a picture of its own size with ink on it, other for other words."""
    one, other = pictures.placeholder("The card is away."), pictures.placeholder("Damaged.")
    assert opened(one).size == (1280, 960)
    assert opened(pictures.placeholder("x" * 900, 320)).size == (320, 240)
    assert one != other


def test_only_what_a_browser_shows_is_served_as_it_is(tmp_path: Path) -> None:
    """JPEG and PNG have a media type; a TIFF, or text named .jpg, has none."""
    for name in ("a.jpg", "b.png", "c.tif"):
        Image.new("RGB", (5, 5)).save(tmp_path / name)
    (tmp_path / "d.jpg").write_text("<script>", encoding="utf-8")
    kinds = [pictures.media_type(path) for path in sorted(tmp_path.iterdir())]
    assert kinds == ["image/jpeg", "image/png", "", ""]
