"""Codes for the camera: what they say, how they are drawn, and that none is ever read wrong."""

import binascii
import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
import segno
from code_photos import Light, Matrix, Shot, photo, seen_corners
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from core import codes
from core.codes import ClockCode, Code, TrayCode, reading
from core.errors import CardError, CodeError

MOMENT = datetime(2026, 3, 4, 6, 12, 45, tzinfo=UTC)
CLOCK = ClockCode(MOMENT)
TRAY = TrayCode("SKO-N1")
TABLE = codes.clock_table()

moments = st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 31, 23, 59, 59)).map(  # noqa: DTZ001
    lambda moment: moment.replace(microsecond=0, tzinfo=UTC)
)
ids = st.text(st.characters(codec="utf-8"), min_size=1, max_size=30).filter(str.strip)


def clean(modules: Matrix, pixels: int = 5) -> Matrix:
    """Draw modules as a picture, as on a screen."""
    light = 1 - np.pad(modules, codes.QUIET)
    return np.kron(light, np.full((pixels, pixels), 255, np.uint8)).astype(np.uint8)


def grey(jpeg: bytes) -> Matrix:
    """Open a photo."""
    with Image.open(BytesIO(jpeg)) as opened:
        return np.array(opened.convert("L"), dtype=np.uint8)


def read(matrix: Matrix, shot: Shot) -> list[Code]:
    """Give the codes that are read in a photo of one."""
    found = codes.read_codes(grey(photo(matrix, shot)), budget_s=math.inf).found
    return [one.code for one in found]


# --- what a code says ----------------------------------------------------------------------------


def test_a_clock_code_can_be_read_by_people_too() -> None:
    """Mark, year to second in UTC, and a check worked out by hand."""
    # CRC-16 with polynomial 0x1021 from 0xFFFF gives 0x29B1 for "123456789" (the published check
    # value of that CRC, from memory); here, of the text before the check, its last four digits.
    rest = 0xFFFF
    for byte in b"LB1T260304061245":
        rest ^= byte << 8
        for _ in range(8):
            rest = (rest << 1 ^ 0x1021) & 0xFFFF if rest & 0x8000 else rest << 1
    assert codes.text_of(CLOCK) == f"LB1T260304061245{rest % 10000:04}"


def test_the_check_is_the_published_one() -> None:
    """The library's CRC gives the published check value."""
    assert binascii.crc_hqx(b"123456789", 0xFFFF) == 0x29B1  # from memory


@given(moments)
def test_every_second_comes_back(moment: datetime) -> None:
    """Two thousand to 2099: the text of a second gives that second, in 20 tight characters."""
    text = codes.text_of(ClockCode(moment))
    assert codes.code_of(text) == ClockCode(moment)
    assert len(text) == 20


def test_a_time_with_an_offset_is_the_same_moment() -> None:
    """The code is in UTC, whatever zone the moment is told in."""
    there = MOMENT.astimezone(timezone(timedelta(hours=5, minutes=45)))
    assert codes.text_of(ClockCode(there)) == codes.text_of(CLOCK)


@given(ids)
def test_every_id_comes_back(deployment: str) -> None:
    """Any letters of any script, blanks and digits at the end too."""
    assert codes.code_of(codes.text_of(TrayCode(deployment))) == TrayCode(deployment)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "https://example.org/LB1T",
        "5901234123457",
        "LB1T",
        "LB1D1234",
        "LB2T2603040612451234",
        "lb1t2603040612452814",
        codes.text_of(CLOCK) + " ",
        " " + codes.text_of(CLOCK),
        codes.text_of(CLOCK).replace("0", "٠"),  # noqa: RUF001  Arabic digits are no digits here
    ],
)
def test_a_foreign_text_says_nothing(text: str) -> None:
    """Only texts of exactly our form are ours."""
    assert codes.code_of(text) is None


def test_a_wrong_letter_is_noticed() -> None:
    """Of all texts that differ from a right one in one digit, about one in ten thousand passes."""
    tried = passed = 0
    for second in range(0, 10**8, 10**6 + 7):
        text = codes.text_of(ClockCode(MOMENT + timedelta(seconds=second)))
        for at in range(4, len(text)):
            for digit in set("0123456789") - {text[at]}:
                passed += codes.code_of(text[:at] + digit + text[at + 1 :]) is not None
                tried += 1
    assert tried == 100 * 16 * 9
    assert passed <= tried / 2000


def test_a_day_that_does_not_exist_says_nothing() -> None:
    """The 30th of February, with a right check, is no time."""
    text = "LB1T260230061245"
    check = binascii.crc_hqx(text.encode(), 0xFFFF) % 10_000
    assert codes.code_of(f"{text}{check:04}") is None


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (ClockCode(datetime(1999, 12, 31, tzinfo=UTC)), "The year 1999 has no clock code"),
        (ClockCode(datetime(2100, 1, 1, tzinfo=UTC)), "The year 2100 has no clock code"),
        (TrayCode("  "), "without an id has no code"),
        (TrayCode("Ω" * 60), r"'Ω+' has an id too long for a tray card \(60 characters\)"),
    ],
)
def test_what_has_no_code_is_said_in_words(code: Code, words: str) -> None:
    """The thing, the value and the way out."""
    with pytest.raises(CodeError, match=words):
        codes.modules_of(code)


# --- how it is drawn -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "side"),
    [
        pytest.param(CLOCK, 21, id="clock"),
        pytest.param(TRAY, 21, id="short id"),
        pytest.param(TrayCode("SKULPKOM-N12"), 21, id="twelve capitals"),
        pytest.param(TrayCode("SKULPKOM-N123"), 25, id="thirteen"),
        pytest.param(TrayCode("sko-n1"), 21, id="small letters"),
        pytest.param(TrayCode("Heuningrug é, tray 12"), 29, id="any letters"),
        pytest.param(TrayCode("東京"), 21, id="another script"),
        pytest.param(TrayCode("X" * 40), 29, id="forty capitals"),
        pytest.param(TrayCode("x" * 40), 33, id="forty small letters"),
    ],
)
def test_a_drawn_code_is_read_back_and_is_as_small_as_it_can_be(code: Code, side: int) -> None:
    """Clean on a screen, every kind of code gives itself; short ids have the biggest modules."""
    modules = codes.modules_of(code)
    assert modules.shape == (side, side)
    assert [one.code for one in codes.read_codes(clean(modules)).found] == [code]


def test_another_reader_reads_our_codes() -> None:
    """OpenCV's plain reader, without anything of ours, gives the same text."""
    for code in (CLOCK, TRAY):
        drawn = clean(codes.modules_of(code), 8)
        assert cv2.QRCodeDetector().detectAndDecode(drawn)[0] == codes.text_of(code)


def laid_over(table: codes.ClockTable, text: str) -> str:
    """Draw a text from the table, as the page does."""
    modules = np.array(list(map(int, table.empty)))
    for pair, changes in enumerate(table.changes):
        value = 45 * int(text[4 + 2 * pair]) + int(text[5 + 2 * pair])
        for bit, change in enumerate(changes):
            if value >> bit & 1:
                modules ^= np.array(list(map(int, change)))
    return "".join(map(str, modules))


@settings(deadline=None)
@given(moments)
def test_the_table_draws_every_second_as_the_library_does(moment: datetime) -> None:
    """Drawings laid over each other are the code of a second, module by module."""
    code = ClockCode(moment)
    drawn = "".join(map(str, codes.modules_of(code).ravel().tolist()))
    assert laid_over(TABLE, codes.text_of(code)) == drawn


def test_the_table_carries_a_code_to_try_it_on() -> None:
    """The sample is the drawing of its text, and touches most entries of the table."""
    text = TABLE.sample_text
    assert codes.code_of(text) is not None
    assert laid_over(TABLE, text) == TABLE.sample
    pairs = [45 * int(text[at]) + int(text[at + 1]) for at in range(4, 20, 2)]
    assert sum(pair.bit_count() for pair in pairs) >= 24  # of 72 drawings


# --- found in a photo ----------------------------------------------------------------------------

SMALL = Shot(3.0, tilt=20, axis=30, width=1920)
READ = [
    pytest.param(SMALL, id="small and tilted"),
    pytest.param(replace(SMALL, module_px=2.2, tilt=5, blur=0.6), id="smaller, sharp, straight"),
    pytest.param(replace(SMALL, tilt=40), id="tilted further"),
    pytest.param(replace(SMALL, module_px=5, tilt=50, axis=80), id="tilted to fifty degrees"),
    pytest.param(replace(SMALL, module_px=4, blur=1.6), id="blurred"),
    pytest.param(replace(SMALL, module_px=8, blur=3), id="large and very blurred"),
    pytest.param(replace(SMALL, roll=100), id="on its side"),
    pytest.param(replace(SMALL, roll=190), id="upside down"),
    pytest.param(replace(SMALL, module_px=4, light=Light.DULL), id="low contrast"),
    pytest.param(replace(SMALL, light=Light.NIGHT), id="infrared"),
    pytest.param(replace(SMALL, module_px=5, light=Light.WASHED), id="washed out by infrared"),
    pytest.param(replace(SMALL, module_px=9, light=Light.BLOOM), id="a screen too bright at night"),
    pytest.param(replace(SMALL, module_px=14, tilt=30, quality=35), id="pressed hard"),
    pytest.param(Shot(4.0, tilt=30, axis=120, width=4000), id="twelve megapixels"),
]


@pytest.mark.parametrize("shot", READ)
def test_a_code_is_read_in_a_photo(shot: Shot) -> None:
    """By day and infrared, small, tilted, blurred, with low contrast: that code and no other."""
    assert read(codes.modules_of(CLOCK), shot) == [CLOCK]


@pytest.mark.parametrize("deployment", ["SKO-N1", "Skulpkom open 1", "X" * 40, "x" * 40])
def test_a_tray_card_of_every_size_is_read_in_a_photo(deployment: str) -> None:
    """Codes of 21, 25, 29 and 33 modules, tilted."""
    code = TrayCode(deployment)
    assert read(codes.modules_of(code), replace(SMALL, module_px=4, tilt=30)) == [code]


@pytest.mark.parametrize(
    "shot",
    [
        pytest.param(Shot(0.8, width=1920), id="far too small"),
        pytest.param(Shot(3, tilt=80, width=1920), id="nearly edge on"),
        pytest.param(Shot(3, blur=6, width=1920), id="far out of focus"),
    ],
)
def test_what_cannot_be_read_gives_nothing(shot: Shot) -> None:
    """Not a guess: nothing."""
    assert read(codes.modules_of(CLOCK), shot) == []


def test_where_the_code_is_and_how_it_was_found_is_told() -> None:
    """The corners are those of the code in the photo, within a module, in picture widths."""
    shot = replace(SMALL, module_px=6)
    [found] = codes.read_codes(grey(photo(codes.modules_of(CLOCK), shot))).found
    true = seen_corners(codes.CLOCK_MODULES / 2, shot) / shot.width
    assert np.abs(np.array(found.corners) - true).max() < 1.2 * shot.module_px / shot.width
    assert found.text == codes.text_of(CLOCK)
    assert found.how in {way.name for way in reading.WAYS}


def test_a_phone_and_a_card_in_one_photo_are_both_read() -> None:
    """The clock on one side, the tray's card on the other."""
    left = grey(photo(codes.modules_of(CLOCK), replace(SMALL, module_px=5, at=(0.3, 0.4))))
    right = grey(photo(codes.modules_of(TRAY), replace(SMALL, module_px=4, at=(0.7, 0.4))))
    both = np.hstack([left[:, :960], right[:, 960:]])
    found = {one.code for one in codes.read_codes(both).found}
    assert found == {CLOCK, TRAY}


def test_a_code_with_a_finger_on_it_is_still_read() -> None:
    """About a tenth of the modules covered, none of the three eyes."""
    modules = codes.modules_of(CLOCK).copy()
    modules[17:, 17:] = 1
    assert read(modules, replace(SMALL, module_px=6, tilt=10)) == [CLOCK]


# --- and never wrong -----------------------------------------------------------------------------


@pytest.mark.parametrize("damaged", [10, 30, 60, 120, 200])
def test_a_damaged_code_is_read_right_or_not_at_all(damaged: int) -> None:
    """Of 300 codes with modules turned over at random, none gives another text."""
    rng = np.random.default_rng(damaged)
    for number in range(300):
        code = ClockCode(MOMENT + timedelta(seconds=int(rng.integers(0, 10**9))))
        modules = codes.modules_of(code).ravel().copy()
        wrong = rng.choice(modules.size, damaged, replace=False)
        modules[wrong] ^= 1
        said = codes.code_of(reading._decoded(modules.reshape(21, 21)))
        assert said in {None, code}, number


def test_two_seconds_laid_over_each_other_give_one_of_them_or_nothing() -> None:
    """A shutter that is open while the screen renews sees both: half-way is no third time."""
    later = ClockCode(MOMENT + timedelta(seconds=1))
    one, other = (clean(codes.modules_of(code)).astype(np.float32) for code in (CLOCK, later))
    for share in np.linspace(0, 1, 21):
        mixed = np.rint((1 - share) * one + share * other).astype(np.uint8)
        found = {found.code for found in codes.read_codes(mixed).found}
        assert found <= {CLOCK, later}


@pytest.mark.parametrize(
    "text",
    ["https://example.org/", "LB1T2603040612450000", "LB1DSKO-N10000", "5901234123457", "\xff\xfe"],
)
def test_a_foreign_code_in_a_photo_is_nothing(text: str) -> None:
    """A poster, a parcel, a code of ours with a wrong check."""
    matrix = np.array(segno.make_qr(text, error="m").matrix, dtype=np.uint8)
    assert read(matrix, replace(SMALL, module_px=6)) == []


def scenes() -> Iterator[tuple[str, Matrix]]:
    """Pictures without any code."""
    rng = np.random.default_rng(2)
    yield "white", np.full((480, 640), 255, np.uint8)
    yield "black", np.zeros((480, 640), np.uint8)
    yield "noise", rng.integers(0, 256, (480, 640), dtype=np.uint8)
    yield "tiny", rng.integers(0, 256, (9, 7), dtype=np.uint8)
    yield "one line", rng.integers(0, 256, (1, 640), dtype=np.uint8)
    board = np.kron(np.indices((24, 32)).sum(axis=0) % 2, np.full((20, 20), 255))
    yield "chessboard", board.astype(np.uint8)


@pytest.mark.parametrize(("name", "scene"), list(scenes()), ids=[name for name, _ in scenes()])
def test_a_picture_without_a_code_gives_nothing(name: str, scene: Matrix) -> None:
    """Plain, rough and tiny pictures end quietly."""
    assert codes.read_codes(scene).found == (), name


# --- files and time ------------------------------------------------------------------------------


def test_a_photo_is_read_upright_as_its_header_says(tmp_path: Path) -> None:
    """Corners are those of the picture as it is shown: a quarter turn is taken back first."""
    shot = replace(SMALL, module_px=6, at=(0.3, 0.3))
    upright = Image.fromarray(grey(photo(codes.modules_of(CLOCK), shot)))
    exif = Image.Exif()
    exif[0x0112] = 6  # the picture lies on its side: turn it clockwise (Exif, from memory)
    upright.rotate(90, expand=True).save(tmp_path / "a.jpg", exif=exif, quality=90)
    [found] = codes.read_photo(tmp_path / "a.jpg").found
    true = seen_corners(codes.CLOCK_MODULES / 2, shot) / shot.width
    assert np.abs(np.array(found.corners) - true).max() < 0.01


@pytest.mark.parametrize("content", [None, b"", b"no picture", "cut"])
def test_a_file_that_cannot_be_opened_is_said_in_words(
    tmp_path: Path, content: bytes | str | None
) -> None:
    """A missing, empty, foreign or cut file names itself and the way out."""
    file = tmp_path / "IMG_0001.JPG"
    whole = photo(codes.modules_of(CLOCK), replace(SMALL, width=640))
    if content is not None:
        file.write_bytes(whole[:900] if isinstance(content, str) else content)
    with pytest.raises(CardError, match=r"IMG_0001.JPG cannot be looked at .* Put the card in"):
        codes.read_photo(file)


def test_a_short_time_still_tries_the_quickest_way_and_says_so() -> None:
    """Without any time a large code is read and a small one is not, and it says so."""
    large = grey(photo(codes.modules_of(CLOCK), replace(SMALL, module_px=10)))
    hurried = codes.read_codes(large, budget_s=-1)
    assert [one.code for one in hurried.found] == [CLOCK]
    assert hurried.hurried
    small = grey(photo(codes.modules_of(CLOCK), replace(SMALL, module_px=2.2, tilt=0, blur=0.6)))
    assert codes.read_codes(small, budget_s=-1).found == ()
    assert not codes.read_codes(small, budget_s=math.inf).hurried
