"""Decide how shifts, times and counts of a clock fault are put into words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from core.clockfaults.rows import ClockFault
from core.clockfaults.series import DAY_S, HOUR_S


def span(seconds: int) -> str:
    """Say a length of time, without its sign: `1 day 2 hours 5 minutes`."""
    left = abs(seconds)
    parts = []
    for size, name in ((DAY_S, "day"), (HOUR_S, "hour"), (60, "minute"), (1, "second")):
        many, left = divmod(left, size)
        if many:
            parts.append(f"{many} {name}{'s' * (many != 1)}")
    return " ".join(parts) or "nothing"


def change(seconds: int) -> str:
    """Say what a shift does: `add 1 hour` or `take off 1 hour`."""
    return f"{'add' if seconds >= 0 else 'take off'} {span(seconds)}"


def proposal(kind: ClockFault, seconds: int) -> str:
    """Say what a correction would do to a card or a piece of it."""
    if kind is ClockFault.DAY_MONTH_EACH:
        return "exchange day and month of each photo's date"
    return change(seconds)


def moment(seconds: int, zone: ZoneInfo) -> str:
    """Say a true time in the study's zone, to the minute."""
    return f"{datetime.fromtimestamp(seconds, UTC).astimezone(zone):%Y-%m-%d %H:%M}"


def photos(many: int) -> str:
    """Say a number of photos."""
    return "1 photo" if many == 1 else f"{many} photos"
