"""The small pictures in photos' headers: upright, without bars, or none at all."""

import io
import os
import random
import struct
from pathlib import Path

import pytest
from PIL import Image

from core.cards.thumbnails import MOST_PIXELS, thumbnail

SHARED = Path(os.environ.get("LASTBITE_SHARED", "")) if os.environ.get("LASTBITE_SHARED") else None


def corpus(name: str) -> Path:
    if SHARED is None:
        pytest.skip("LASTBITE_SHARED names no folder with the Exif test pictures")
    return SHARED / "corpora" / "exif" / name


def exif_block(small: bytes, orientation: int | None = None, order: str = "<") -> bytes:
    """Lay out an Exif block as cameras do: a directory, the next one, then the small picture.

    Tags of the second directory: 0x0103 compression 6 (JPEG), 0x0201 where, 0x0202 how long
    (Exif 2.32, section 4.6.9 and table 19; from memory).
    """
    rows = (
        [] if orientation is None else [struct.pack(f"{order}HHIHH", 0x0112, 3, 1, orientation, 0)]
    )
    first = struct.pack(f"{order}H", len(rows)) + b"".join(rows)
    second_at = 8 + len(first) + 4
    at = second_at + 2 + 3 * 12 + 4
    second = struct.pack(f"{order}H", 3)
    second += struct.pack(f"{order}HHIHH", 0x0103, 3, 1, 6, 0)
    second += struct.pack(f"{order}HHII", 0x0201, 4, 1, at)
    second += struct.pack(f"{order}HHII", 0x0202, 4, 1, len(small))
    mark = (b"II" if order == "<" else b"MM") + struct.pack(f"{order}HI", 42, 8)
    return mark + first + struct.pack(f"{order}I", second_at) + second + bytes(4) + small


def small_picture(size: tuple[int, int] = (160, 120), bars: tuple[int, int] = (0, 0)) -> bytes:
    """Give a JPEG whose top left quarter is red, with black bars of so many px (across, down)."""
    wide, high = size
    picture = Image.new("RGB", size)
    inner = Image.new("RGB", (wide - 2 * bars[0], high - 2 * bars[1]), "white")
    inner.paste("red", (0, 0, inner.width // 2, inner.height // 2))
    picture.paste(inner, bars)
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=95)
    return buffer.getvalue()


def photo(path: Path, block: bytes, size: tuple[int, int] = (1600, 1200)) -> Path:
    path.parent.mkdir(exist_ok=True)
    Image.new("RGB", size, "grey").save(path, exif=b"Exif\0\0" + block)
    return path


def seen(data: bytes | None) -> Image.Image:
    assert data is not None
    picture = Image.open(io.BytesIO(data))
    assert picture.format == "JPEG"
    return picture.convert("RGB")


def is_red(picture: Image.Image, at: tuple[int, int]) -> bool:
    colour = picture.getpixel(at)
    assert isinstance(colour, tuple)
    return colour[0] > 150 and colour[1] < 100


@pytest.mark.parametrize("order", ["<", ">"])
def test_the_small_picture_is_given_as_it_was_written(tmp_path: Path, order: str) -> None:
    """Upright and of the photo's shape, its bytes are those that the camera wrote."""
    small = small_picture()
    assert thumbnail(photo(tmp_path / "a.jpg", exif_block(small, 1, order))) == small
    assert thumbnail(photo(tmp_path / "b.jpg", exif_block(small, None, order))) == small


# Where the stored top left corner is to be seen, and whether the sides change places: the table
# of the Exif standard (orientation tag 274), common practice.
CORNERS = {
    2: ("top right", False), 3: ("bottom right", False), 4: ("bottom left", False),
    5: ("top left", True), 6: ("top right", True), 7: ("bottom right", True),
    8: ("bottom left", True),
}  # fmt: skip


@pytest.mark.parametrize("orientation", CORNERS)
def test_the_small_picture_stands_upright(tmp_path: Path, orientation: int) -> None:
    """It is turned as the photo is."""
    corner, turned = CORNERS[orientation]
    block = exif_block(small_picture(), orientation)
    picture = seen(thumbnail(photo(tmp_path / "p.jpg", block)))
    assert picture.size == ((120, 160) if turned else (160, 120))
    wide, high = picture.size
    at = {
        "top left": (9, 9), "top right": (wide - 9, 9),
        "bottom left": (9, high - 9), "bottom right": (wide - 9, high - 9),
    }  # fmt: skip
    assert [name for name, place in at.items() if is_red(picture, place)] == [corner]


def test_an_orientation_that_does_not_exist_turns_nothing(tmp_path: Path) -> None:
    """Number 9 is no orientation."""
    picture = seen(thumbnail(photo(tmp_path / "p.jpg", exif_block(small_picture(), 9))))
    assert picture.size == (160, 120)
    assert is_red(picture, (9, 9))


@pytest.mark.parametrize(
    ("shape", "bars", "shown"),
    [
        pytest.param((1920, 1080), (0, 15), (160, 90), id="a wide photo: above and below"),
        pytest.param((1600, 1600), (20, 0), (120, 120), id="a square photo: at the sides"),
        pytest.param((2048, 1440), (0, 4), (160, 112), id="a little wider"),
        pytest.param((1600, 1200), (0, 0), (160, 120), id="the same shape"),
        pytest.param((1600, 1195), (0, 0), (160, 120), id="the same but for rounding"),
        pytest.param((1920, 1080), (0, 0), (160, 120), id="cut to shape, no bars: left alone"),
    ],
)
def test_black_bars_are_cut_off(
    tmp_path: Path, shape: tuple[int, int], bars: tuple[int, int], shown: tuple[int, int]
) -> None:
    """Bars are cut off where the shapes differ and what lies outside is dark (common practice)."""
    block = exif_block(small_picture(bars=bars), 1)
    picture = seen(thumbnail(photo(tmp_path / "p.jpg", block, shape)))
    assert picture.size == shown
    assert is_red(picture, (9, 9))


def test_bars_are_cut_off_before_it_is_turned(tmp_path: Path) -> None:
    """A camera that stood upright wrote its bars as it wrote the photo: lying."""
    block = exif_block(small_picture(bars=(0, 15)), 6)
    picture = seen(thumbnail(photo(tmp_path / "p.jpg", block, (1920, 1080))))
    assert picture.size == (90, 160)
    assert is_red(picture, (81, 9))


def test_no_small_picture(tmp_path: Path) -> None:
    """A photo without Exif, one without a second directory, a PNG, text, nothing: none."""
    Image.new("RGB", (9, 9)).save(tmp_path / "a.jpg")
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.new("RGB", (9, 9)).save(tmp_path / "b.jpg", exif=exif)
    Image.new("RGB", (9, 9)).save(tmp_path / "c.png")
    (tmp_path / "d.jpg").write_text("notes", encoding="utf-8")
    (tmp_path / "e.jpg").write_bytes(b"")
    assert [thumbnail(path) for path in sorted(tmp_path.iterdir())] == [None] * 5
    assert thumbnail(tmp_path / "gone.jpg") is None
    assert thumbnail(tmp_path) is None


def test_a_damaged_small_picture_is_none(tmp_path: Path) -> None:
    """Cut short, or no picture at all: the strip waits for the real copy."""
    small = small_picture()
    for number, damaged in enumerate((small[:600], b"\xff\xd8" + bytes(600), b"")):
        path = photo(tmp_path / f"{number}.jpg", exif_block(damaged, 1))
        assert thumbnail(path) is None, number


@pytest.mark.parametrize(("size", "given"), [((1000, 1000), True), ((1001, 1000), False)])
def test_a_large_picture_in_a_header_is_not_unpacked(
    tmp_path: Path, size: tuple[int, int], given: bool
) -> None:
    """A few thousand bytes can hold millions of pixels; up to one million is unpacked (ours)."""
    block = exif_block(small_picture(size), 1)
    assert (thumbnail(photo(tmp_path / "p.jpg", block, size)) is not None) is given
    assert MOST_PIXELS == 1_000_000


def test_a_damaged_photo_has_its_small_picture_all_the_same(tmp_path: Path) -> None:
    """What comes behind the header may be cut off."""
    path = photo(tmp_path / "p.jpg", exif_block(small_picture(), 1))
    path.write_bytes(path.read_bytes()[:-2000])
    assert seen(thumbnail(path)).size == (160, 120)


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
@pytest.mark.parametrize("seed", range(60))
def test_no_damage_of_a_header_ends_in_anything_but_a_picture_or_none(
    tmp_path: Path, seed: int
) -> None:
    """Bytes of the header turned at random never crash the reader or lead it in circles."""
    chance = random.Random(seed)
    path = photo(tmp_path / "p.jpg", exif_block(small_picture(), 6))
    data = bytearray(path.read_bytes())
    for _ in range(chance.choice((1, 4, 20))):
        data[chance.randrange(2, 120)] = chance.randrange(256)
    path.write_bytes(data)
    found = thumbnail(path)
    assert found is None or seen(found).size


def test_the_small_pictures_of_real_cameras() -> None:
    """Of the Exif test pictures 23 have one that is whole, with the shape that their photo has.

    Found with exifread's own reading of the whole header and Pillow's `load`.
    """
    found = {}
    for path in sorted(corpus("").rglob("*.*")):
        data = thumbnail(path)
        if data is not None:
            found[path.name] = seen(data).size
    assert len(found) == 23
    # A real trail camera of 3264 x 2448, and one photo that stands upright as it was stored.
    [trail] = [size for name, size in found.items() if "Bushnell" in name]
    assert trail == (160, 120)
    assert found["exifpy__WWL_Polaroid_ION230.jpg"] == (56, 75)
    assert "pillow__hopper.jpg" not in found


def test_a_real_small_picture_shows_what_its_photo_shows() -> None:
    """The trail camera's small picture is its photo made small: same light and dark."""
    [path] = corpus("trail-camera").glob("*Bushnell*")
    small = seen(thumbnail(path)).convert("L").resize((32, 24))
    whole = Image.open(path).convert("L").resize((32, 24))
    pairs = zip(small.tobytes(), whole.tobytes(), strict=True)
    assert sum(abs(one - other) for one, other in pairs) / (32 * 24) < 8  # of 255
