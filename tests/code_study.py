"""A study of one tray and one card in whose photos codes were held up, and a few words with it."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from code_photos import Shot, photo
from PIL import Image

from core import codes
from core.codes import ClockCode, Code, Offer, Reading, TrayCode
from core.logs import LogKind
from core.workspace import Workspace

SECOND, HOUR = timedelta(seconds=1), timedelta(hours=1)
SHOT = Shot(5.0, tilt=25, width=960)
OUT = datetime(2026, 3, 14, 16, 3, tzinfo=UTC)
UP = datetime(2026, 3, 15, 3, 55, tzinfo=UTC)


def write(path: Path, camera: datetime, code: Code | None, side: float = 0.5) -> None:
    """Write a photo, with a code or without, whose header holds what the camera showed."""
    jpeg = _drawn(code, side)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = camera.strftime("%Y:%m:%d %H:%M:%S")
    path.parent.mkdir(parents=True, exist_ok=True)
    with Image.open(BytesIO(jpeg)) as picture:
        picture.save(path, exif=exif, quality=85)


@cache
def _drawn(code: Code | None, side: float) -> bytes:
    matrix = codes.modules_of(code or TrayCode("D1"))
    return photo(matrix, replace(SHOT, at=(side, 0.4)) if code else replace(SHOT, module_px=0.2))


_READ: dict[str, Reading] = {}


@pytest.fixture
def study(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    """A tray out from 18:03 to 05:55 by a phone; the camera lags an hour, the log says 18:00."""
    monkeypatch.setattr(codes, "read_photo", _once)
    zone = ZoneInfo("Africa/Johannesburg")
    behind = timedelta(hours=1)
    out, up = (
        datetime(2026, 3, day, hour, minute, tzinfo=zone)
        for day, hour, minute in ((14, 18, 3), (15, 5, 55))
    )
    moments: list[tuple[datetime, Code | None]] = [
        (out - 40 * SECOND, None),
        (out - 20 * SECOND, ClockCode(out.astimezone(UTC) - 20 * SECOND)),
        (out, TrayCode("D1")),
        *((out + n * HOUR, None) for n in range(2, 9)),
        (up, TrayCode("D1")),
        (up + 15 * SECOND, ClockCode(up.astimezone(UTC) + 15 * SECOND)),
    ]
    for number, (moment, code) in enumerate(moments, start=1):
        camera = (moment - behind).replace(tzinfo=None)
        write(tmp_path / "card" / f"IMG_{number:04}.JPG", camera, code, 0.35 + 0.02 * number)
    logs = {
        LogKind.CAMERAS: "placement,camera,trays,start,end\n"
        "P1,c1,T1,2026-03-14 17:30,2026-03-15 06:30\n",
        LogKind.TRAYS: "deployment,tray,set_out,picked_up,food_start_g,food_left_g\n"
        "D1,T1,2026-03-14 18:00,2026-03-15 06:00,10.0,4.0\n",
    }
    with Workspace.create(tmp_path / "study", zone.key) as workspace:
        for kind, text in logs.items():
            workspace.load(kind, text.encode(), f"{kind}.csv")
        workspace.scan(tmp_path / "card", "P1")
        yield workspace


_whole = codes.read_photo


def _once(path: Path) -> Reading:
    """Read a photo as it is read, but the same bytes once in all tests."""
    content = sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
    if content not in _READ:
        _READ[content] = _whole(path)
    return _READ[content]


@pytest.fixture
def read(study: Workspace) -> Workspace:
    """The study after its photos were looked at."""
    study.codes.survey("P1")
    return study


def of_kind(workspace: Workspace, start: str = "") -> list[Offer]:
    """Give the open proposals of a kind."""
    return [one for one in workspace.codes.waiting("P1").offers if one.key.startswith(start)]


def logs_of(workspace: Workspace) -> list[object]:
    """Give all that accepting may change, to be compared with what it was."""
    kinds = (LogKind.CAMERAS, LogKind.CLOCKS, LogKind.TRAYS)
    rows: list[object] = [workspace.log_rows(kind) for kind in kinds]
    return [*rows, list(workspace.outcome_rows()), list(workspace.photo_rows())]
