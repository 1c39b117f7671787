"""Decide how a tray's window is drawn: visits, watched, untrusted and unwatched time, the night."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from app import wording
from core import sun
from core.coverage import State, Stretch, WindowAccount
from core.model import Outcome, Placement, Span

ROWS = {
    State.WATCHED: "watched",
    State.UNTRUSTED: "not trusted",
    State.UNWATCHED: "not watched",
}
"""Each state has a row of its own, so that nothing hangs on colour."""
VISITS, NIGHT = "visits", "night"
FILLS = {"watched": "#23685f", "not trusted": "#b5541c", "not watched": "#8a958f"}
ON_DARK = {"watched": "#3fa292", "not trusted": "#e08a4f", "not watched": "#a3aea8"}
ROW_PX = 26
STEP = timedelta(minutes=5)
"""How finely the sun's height is asked for."""

Row = dict[str, Any]


def chart(
    account: WindowAccount,
    outcome: Outcome,
    place: Placement | None,
    zone: ZoneInfo,
    *,
    dark: bool = False,
) -> alt.LayerChart:
    """Draw one window; the night is shaded where the camera log has a place.

    For a screen reader the drawing is one picture, of which `in_words` tells: its marks are hidden.
    """
    rows = [VISITS, *ROWS.values()]
    fills = ON_DARK if dark else FILLS
    window = account.window
    scale = alt.Scale(
        domain=[
            wording.naive(window.start, zone).isoformat(),
            wording.naive(window.end, zone).isoformat(),
        ]
    )
    axis = alt.Axis(format="%d %b %H:%M")
    x = alt.X("from:T", title=f"time in {zone.key}", scale=scale, axis=axis)
    y = alt.Y("row:N", sort=rows, title=None, scale=alt.Scale(domain=rows),
              axis=alt.Axis(ticks=False, labelOverlap=False))  # fmt: skip
    tips = ["what:N", _tip("from"), _tip("to")]
    night = alt.Chart(_frame(_nights(window, place, zone))).mark_rect(
        color="#5b6a7a", opacity=0.16, aria=False
    ).encode(x=x, x2="to:T", tooltip=tips)  # fmt: skip
    bars = alt.Chart(_frame([_bar(one, zone) for one in account.stretches])).mark_bar(
        height=ROW_PX - 8, stroke="#4c5752", strokeWidth=0.6, aria=False
    ).encode(
        x=x, x2="to:T", y=y, tooltip=tips,
        color=alt.Color("row:N", legend=None,
                        scale=alt.Scale(domain=list(fills), range=list(fills.values()))),
    )  # fmt: skip
    visits = alt.Chart(_frame(_visits(outcome, zone))).mark_tick(
        thickness=3, height=ROW_PX - 6, color="#d5a3e6" if dark else "#8a4f9e", aria=False
    ).encode(x=x, y=y, tooltip=["what:N", _tip("from")])  # fmt: skip
    drawn: alt.LayerChart = alt.LayerChart(layer=[night, bars, visits]).properties(
        height=alt.Step(ROW_PX)
    )
    return drawn


def _bar(one: Stretch, zone: ZoneInfo) -> Row:
    what = f"{one.why}{f' ({one.said})' if one.said else ''}"
    return _row(ROWS[one.state], one.span, what, zone)


def _visits(outcome: Outcome, zone: ZoneInfo) -> list[Row]:
    return [
        _row(VISITS, Span(one.start, one.end), f"visit {number}", zone)
        for number, one in enumerate(outcome.seen, start=1)
    ]


def _nights(window: Span, place: Placement | None, zone: ZoneInfo) -> list[Row]:
    """Give the stretches of a window in which the sun is down."""
    if place is None or place.latitude is None or place.longitude is None:
        return []
    steps = int((window.end - window.start) / STEP) + 2
    seconds = window.start.timestamp() + np.arange(steps) * STEP.total_seconds()
    times = seconds.astype("int64").astype("datetime64[s]")
    down = sun.height(times, place.latitude, place.longitude) < sun.HORIZON
    edges = np.flatnonzero(np.diff(np.concatenate(([False], down, [False])).astype(np.int8)))
    found = []
    for first, stop in edges.reshape(-1, 2).tolist():
        start = datetime.fromtimestamp(seconds[first], UTC)
        end = min(datetime.fromtimestamp(seconds[stop - 1], UTC), window.end)
        found.append(_row(NIGHT, Span(start, end), "night: the sun is down", zone))
    return found


def _row(row: str, span: Span, what: str, zone: ZoneInfo) -> Row:
    return {
        "row": row,
        "from": wording.naive(span.start, zone).isoformat(),
        "to": wording.naive(span.end, zone).isoformat(),
        "what": what,
    }


def _tip(name: str) -> alt.Tooltip:
    return alt.Tooltip(f"{name}:T", format="%d %b %Y %H:%M:%S")


def _frame(rows: Sequence[Row]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=["row", "from", "to", "what"])


def stretch_line(one: Stretch, missed: str, zone: ZoneInfo) -> str:
    """Say when a stretch was, why it was not watched, and what could have been missed in it."""
    said = f" ({one.said})" if one.said else ""
    when = wording.stretch(one.span.start, one.span.end, zone)
    return f"{when}: {ROWS[one.state]}, {one.why}{said}. {missed}"


def in_words(account: WindowAccount, outcome: Outcome) -> str:
    """Say what the drawing shows, for those who cannot see it."""
    parts = [
        f"{ROWS[state]} {account.total(state).total_seconds() / 3600:.1f} h" for state in State
    ]
    return f"The window with {len(outcome.seen)} visits: {', '.join(parts)}. {account.sentence}"


def account_lines(account: WindowAccount, zone: ZoneInfo) -> list[str]:
    """Say for a walk back how the window was watched, a line each stretch that was not."""
    lost = zip(account.stretches, account.missed, strict=True)
    return [
        f"watched     {account.sentence}",
        *(f"  {stretch_line(one, missed, zone)}" for one, missed in lost if missed),
    ]
