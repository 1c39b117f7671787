"""Decide how shifts, times and counts of a clock fault are put into words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from core.clockfaults.light import Against
from core.clockfaults.rows import ClockFault
from core.clockfaults.series import DAY_S, HOUR_S
from core.clocks import EARLIEST_S, LATEST_S

YEAR_S = 365.2425 * DAY_S
"""A year of the calendar, over all leap years. [s]"""
_UNITS = ((DAY_S, "d"), (HOUR_S, "h"), (60, "min"), (1, "s"))


def span(seconds: int) -> str:
    """Say a length of time exactly, without its sign: `1 d 2 h 5 min`."""
    left = abs(seconds)
    parts = []
    for size, unit in _UNITS:
        many, left = divmod(left, size)
        if many:
            parts.append(f"{many} {unit}")
    return " ".join(parts) or "0 s"


def change(seconds: int) -> str:
    """Say what a shift does: `add 1 h` or `take off 1 h`."""
    return f"{'add' if seconds >= 0 else 'take off'} {span(seconds)}"


def proposal(kind: ClockFault, seconds: int) -> str:
    """Say what a correction would do to a card or a piece of it."""
    if kind is ClockFault.DAY_MONTH_EACH:
        return "exchange day and month of each photo's date"
    if kind is ClockFault.YEARS:
        many = round(abs(seconds) / YEAR_S)
        return f"{change(seconds)} ({'1 year' if many == 1 else f'{many} years'})"
    return change(seconds)


def moment(seconds: int, zone: ZoneInfo) -> str:
    """Say a true time in the study's zone, to the minute."""
    seconds = min(max(seconds, EARLIEST_S), LATEST_S)
    return f"{datetime.fromtimestamp(seconds, UTC).astimezone(zone):%Y-%m-%d %H:%M}"


def photos(many: int) -> str:
    """Say a number of photos."""
    return "1 photo" if many == 1 else f"{many} photos"


def light(against: Against) -> str:
    """Say how many bursts do not fit the light of the hour."""
    return (
        f"{against.infrared_by_day} bursts are infrared at high sun and "
        f"{against.colour_by_night} in colour at deep night"
    )
