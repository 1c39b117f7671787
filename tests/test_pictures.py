"""Copies of photos for looking at: upright, small, and words in place of what cannot be shown."""

import csv
import hashlib
import io
import os
import random
import re
import zlib
from pathlib import Path

import pytest
from PIL import Image

from core import pictures
from core.errors import CardError, StudyError


def corpus(name: str) -> Path:
    shared = os.environ.get("LASTBITE_SHARED")
    if not shared:
        pytest.skip("LASTBITE_SHARED names no folder with the Exif test pictures")
    return Path(shared) / "corpora" / "exif" / name


def review(path: Path) -> Image.Image:
    """Give the copy of a picture that is to be looked at."""
    made = pictures.copies(path)
    assert made.fault == ""
    return opened(made.review)


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
    made = pictures.copies(quarters(tmp_path / "p.jpg", orientation))
    for copy, long in ((opened(made.review), 400), (opened(made.strip), 320)):
        assert copy.size == ((long // 2, long) if turned else (long, long // 2))
        red_is_at(copy, corner)


def red_is_at(copy: Image.Image, corner: str) -> None:
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
    copy = review(path).convert("L").resize((32, 32))
    pairs = zip(upright.tobytes(), copy.tobytes(), strict=True)
    assert sum(abs(one - other) for one, other in pairs) / 32**2 < 12  # of 255


@pytest.mark.parametrize(
    ("size", "unpacked"),
    [
        pytest.param((4000, 3000), (1000, 750), id="12 million pixels: a quarter, kept as it is"),
        pytest.param((3000, 4000), (750, 1000), id="upright"),
        pytest.param((3264, 2448), (1280, 960), id="8 million: a quarter is too small"),
        pytest.param((2048, 1536), (1024, 768), id="3 million: a half"),
        pytest.param((1920, 1080), (960, 540), id="exactly the least"),
        pytest.param((1918, 1080), (1280, 721), id="just under the least"),
        pytest.param((6000, 4000), (1280, 853), id="24 million: made smaller still"),
        pytest.param((1000, 2), (1000, 2), id="a line"),
        pytest.param((200, 100), (200, 100), id="nothing is blown up"),
    ],
)
def test_a_copy_is_as_small_as_its_camera_s_frame_allows(
    tmp_path: Path, size: tuple[int, int], unpacked: tuple[int, int]
) -> None:
    """The scales of the JPEG itself come first; no copy is longer than 1280 px or blown up."""
    path = tmp_path / "p.jpg"
    Image.new("RGB", size, "grey").save(path)
    assert review(path).size == unpacked


def test_other_formats_are_made_smaller_too(tmp_path: Path) -> None:
    """A large PNG has no scales of its own; its copy is at most 1280 px long."""
    path = tmp_path / "p.png"
    Image.new("RGB", (2000, 1000), "grey").save(path)
    made = pictures.copies(path)
    assert (opened(made.review).size, opened(made.strip).size) == ((1280, 640), (320, 160))


def test_a_copy_shows_what_the_original_shows(tmp_path: Path) -> None:
    """Unpacked at a quarter, a frame differs from one unpacked whole by noise alone.

    Against a full decode and Lanczos the copy's error is under 3 of 255 on average (a judgement).
    """
    path = tmp_path / "p.jpg"
    drawn = Image.radial_gradient("L").resize((4000, 3000)).convert("RGB")
    drawn.paste("red", (1000, 1000, 1400, 1300))
    drawn.save(path, quality=90)
    whole = Image.open(path).resize((1000, 750), Image.Resampling.LANCZOS)
    pairs = zip(whole.tobytes(), review(path).tobytes(), strict=True)
    assert sum(abs(one - other) for one, other in pairs) / (1000 * 750 * 3) < 3


def test_the_hash_is_that_of_the_whole_file(tmp_path: Path) -> None:
    """The same reading gives the SHA-256 of all bytes, of damaged and odd files too."""
    path = quarters(tmp_path / "p.jpg", 1)
    whole = path.read_bytes()
    for content in (whole, whole[:-400], b"no picture", b""):
        path.write_bytes(content)
        assert pictures.copies(path).content_hash == hashlib.sha256(content).hexdigest()


def test_a_copy_holds_no_metadata(tmp_path: Path) -> None:
    """Place, owner and time that a camera wrote do not go into the copy."""
    path = tmp_path / "p.jpg"
    exif = Image.Exif()
    exif[0x013B] = "A. Name"  # artist
    exif.get_ifd(0x8825)[1] = "S"  # GPS latitude reference
    Image.new("RGB", (50, 50)).save(path, exif=exif, comment="A. Name", xmp=b"<A. Name>")
    made = pictures.copies(path)
    for data in (made.review, made.strip):
        assert set(opened(data).info) == {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert b"A. Name" not in data


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "CMYK", "I;16", "1", "LA"])
def test_every_kind_of_picture_becomes_a_jpeg(tmp_path: Path, mode: str) -> None:
    """Grey, transparent, printed and 16-bit pictures can be looked at too."""
    path = tmp_path / ("p.tif" if mode in {"CMYK", "I;16"} else "p.png")
    sixteen = Image.new("I;16", (60, 40), 32768)
    picture = sixteen if mode == "I;16" else Image.new("RGB", (60, 40), "grey").convert(mode)
    picture.save(path)
    copy = review(path)
    assert (copy.format, copy.mode, copy.size) == ("JPEG", "RGB", (60, 40))
    if mode not in {"1", "P"}:  # of few colours: their grey is a pattern
        colour = copy.getpixel((30, 20))
        assert isinstance(colour, tuple)
        assert all(100 < one < 156 for one in colour), colour


def test_the_cmyk_picture_of_the_corpus_is_shown_in_its_colours() -> None:
    """A picture made for print becomes red, green and blue, near what Pillow makes of it whole."""
    path = corpus("encoding/sharp__Channel_digital_image_CMYK_color_no_profile.jpg")
    whole = Image.open(path).convert("RGB").resize((25, 16))
    pairs = zip(whole.tobytes(), review(path).resize((25, 16)).tobytes(), strict=True)
    assert max(abs(one - other) for one, other in pairs) < 16


def test_the_original_is_only_read(tmp_path: Path) -> None:
    """Bytes and time of the original are what they were."""
    original = quarters(tmp_path / "p.jpg", 6)
    original.chmod(0o444)
    before = (hashlib.sha256(original.read_bytes()).hexdigest(), original.stat().st_mtime_ns)
    kept = tmp_path / "previews" / "1"
    written = pictures.write_copies(original, kept / "review.jpg", kept / "strip.jpg")
    after = (hashlib.sha256(original.read_bytes()).hexdigest(), original.stat().st_mtime_ns)
    assert after == before
    assert written.content_hash == before[0]
    assert sorted(one.name for one in kept.iterdir()) == ["review.jpg", "strip.jpg"]
    assert written.size == sum(one.stat().st_size for one in kept.iterdir())


def test_nothing_half_written_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the copy cannot be put in its place, no part of it stays behind, and words say why."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    kept = tmp_path / "previews"
    with pytest.raises(StudyError, match=r"previews' \(No space left.* Make room on that disk"):
        pictures.write_copies(quarters(tmp_path / "p.jpg", 1), kept / "r.jpg", kept / "s.jpg")
    assert list(kept.iterdir()) == []


def test_a_copy_that_is_looked_at_just_now_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows does not let go of an open file: the same copy is there already, and that is well."""

    def held(*_: object) -> None:
        raise PermissionError(13, "The process cannot access the file")

    target = tmp_path / "copy.jpg"
    target.write_bytes(b"copy")
    monkeypatch.setattr(os, "replace", held)
    pictures.keep(target, b"copy")
    assert [one.name for one in tmp_path.iterdir()] == ["copy.jpg"]
    with pytest.raises(StudyError, match="cannot be kept"):
        pictures.keep(tmp_path / "other.jpg", b"copy")


def fault(path: Path) -> str:
    """Give what is wrong with a picture; it has no copy then."""
    made = pictures.copies(path)
    assert (made.review, made.strip) == (b"", b"")
    return made.fault


def test_a_truncated_picture_is_told_in_words(tmp_path: Path) -> None:
    """A file that ends too early is damaged: the words say what to do, and nothing is written."""
    whole = quarters(tmp_path / "whole.jpg", 1, (1600, 1200)).read_bytes()
    half = tmp_path / "half.jpg"
    half.write_bytes(whole[: len(whole) // 2])
    words = r"^cannot be shown: it is damaged \(.*\), copy it from the card again$"
    assert re.search(words, fault(half))
    written = pictures.write_copies(half, tmp_path / "r.jpg", tmp_path / "s.jpg")
    assert (written.fault, written.size) == (fault(half), 0)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["half.jpg", "whole.jpg"]


def test_the_truncated_pictures_of_the_corpus_are_told_in_words() -> None:
    """What Pillow's own load calls truncated (truth.csv) is called damaged."""
    for name in ("progressive/pillow__truncated_jpeg.jpg", "offset/pillow__ultrahdr.jpg"):
        assert "it is damaged (image file is truncated" in fault(corpus(name))


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
@pytest.mark.parametrize("seed", range(40))
def test_no_damage_ends_in_anything_but_words(tmp_path: Path, seed: int) -> None:
    """Bytes turned at random, in the header or behind it, give a copy or words, never a crash."""
    chance = random.Random(seed)
    kind = ("p.jpg", "p.png", "p.tif", "p.webp")[seed % 4]
    Image.effect_noise((300, 200), 40).convert("RGB").save(tmp_path / kind)
    data = bytearray((tmp_path / kind).read_bytes())
    for _ in range(chance.choice((1, 5, 50))):
        data[chance.randrange(chance.choice((200, len(data))))] = chance.randrange(256)
    (tmp_path / kind).write_bytes(data)
    made = pictures.copies(tmp_path / kind)
    assert bool(made.review) is bool(made.strip) is not bool(made.fault)
    assert ";" not in made.fault  # faults stand `;` between


def test_a_huge_picture_is_not_unpacked(tmp_path: Path) -> None:
    """A small file that claims a huge size is refused before it is unpacked."""
    bomb = tmp_path / "bomb.png"
    small = io.BytesIO()
    Image.new("1", (8, 8)).save(small, "PNG")
    data = bytearray(small.getvalue())
    data[16:24] = (30_000).to_bytes(4, "big") + (30_000).to_bytes(4, "big")
    data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4, "big")
    bomb.write_bytes(bytes(data))
    assert "more than 80 million pixels" in fault(bomb)
    assert pictures.media_type(bomb) == ""


def test_the_giant_picture_of_the_corpus_is_refused_in_words() -> None:
    """280 million pixels in 1.1 MB are refused in words."""
    assert "more than 80 million pixels" in fault(corpus("huge/sharp__giant-image.jpg"))


@pytest.mark.parametrize("content", [b"not a picture", b""])
def test_what_is_no_picture_is_told_in_words(tmp_path: Path, content: bytes) -> None:
    """Text and an empty file are no picture."""
    path = tmp_path / "p.jpg"
    path.write_bytes(content)
    assert "it is no picture that can be read here" in fault(path)


def test_what_cannot_be_read_is_no_fault_of_the_picture(tmp_path: Path) -> None:
    """A missing file, a folder, and a file of absurd size are errors in words: not damaged."""
    with pytest.raises(CardError, match=r"is not at hand\. Put the card in"):
        pictures.copies(tmp_path / "gone.jpg")
    with pytest.raises(CardError, match="cannot be read"):
        pictures.copies(tmp_path)
    film = tmp_path / "film.avi"
    with film.open("wb") as handle:
        handle.truncate(pictures.MOST_BYTES + 1)
    with pytest.raises(CardError, match=r"film\.avi has 256 MB"):
        pictures.copies(film)


def test_too_little_memory_is_no_fault_of_the_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where memory runs out, the photo is not called damaged: it may be shown later."""

    def full(*_: object, **__: object) -> None:
        raise MemoryError

    monkeypatch.setattr(Image.Image, "thumbnail", full)
    with pytest.raises(CardError, match="needs more memory than is free"):
        pictures.copies(quarters(tmp_path / "p.jpg", 1))


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
def test_every_picture_of_the_corpus_is_shown_or_told_in_words() -> None:
    """Each of the Exif test pictures has copies or a fault, as Pillow's load had (truth.csv)."""
    table = corpus("truth.csv").read_text(encoding="utf-8").splitlines()
    for row in csv.DictReader(table):
        made = pictures.copies(corpus(row["file"]))
        loads = row["pillow_status"] == "loads" and row["FileType"] not in {"HEIC", "HEIF"}
        assert (made.fault == "") is loads, row["file"]
        if loads:
            assert max(opened(made.review).size) <= 1280
            assert max(opened(made.strip).size) <= 320


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
