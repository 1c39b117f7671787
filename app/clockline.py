"""Decide how the clocks of placements are drawn: what cameras showed and what is true, one axis."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from app import wording
from core.clockbook import Lanes
from core.clockfaults.rows import Seconds
from core.model import Span, TrayDeployment
from core.windows import window_of

BINS = 320
"""A row has so many marks at the most; photos that fall together make a taller one."""
ROW_PX = 30
AROUND = 0.08
"""So much of the windows' length is shown before and after them."""
SHOWED, TRUE, PROPOSED = "camera showed", "held true", "as proposed"
COLOURS = {
    SHOWED: ("#8a6d1f", "#ecd067"),
    TRUE: ("#23685f", "#7fded3"),
    PROPOSED: ("#8a4f9e", "#d5a3e6"),
}
"""Of each kind of row, on a light and on a dark page."""

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A placement to be drawn: its rows, from top to bottom, and the windows of its trays."""

    lanes: Lanes
    trays: Sequence[TrayDeployment]
    proposed: Seconds | None = None
    """True times with the proposal. [s since 1970 UTC]"""

    def rows(self) -> list[tuple[str, str, Seconds]]:
        """Give kind, label and times of each row."""
        name = self.lanes.placement.placement
        found = [(SHOWED, self.lanes.shown), (TRUE, self.lanes.held)]
        if self.proposed is not None:
            found.append((PROPOSED, self.proposed))
        return [(kind, f"{name} {kind}", times) for kind, times in found]

    def windows(self) -> list[Span]:
        """Give the windows of its trays, each once."""
        found = (window_of(one) for one in self.trays)
        return list(dict.fromkeys(one for one in found if one is not None))


def chart(drawn: Sequence[Drawn], zone: ZoneInfo, *, dark: bool = False) -> alt.LayerChart:
    """Draw placements under each other: tray windows as bars, photos as marks.

    Photos beyond the axis are counted at its end, with an arrow and their first date.
    """
    span = axis_of(drawn)
    labels = [label for one in drawn for _, label, _ in one.rows()]
    kinds = list(dict.fromkeys(kind for one in drawn for kind, _, _ in one.rows()))
    scale = alt.Scale(domain=[_iso(span.start, zone), _iso(span.end, zone)])
    x = alt.X(
        "from:T", title=f"time in {zone.key}", scale=scale, axis=alt.Axis(format="%d %b %H:%M")
    )
    y = alt.Y("row:N", sort=labels, title=None, scale=alt.Scale(domain=labels),
              axis=alt.Axis(labelLimit=240, labelOverlap=False, ticks=False))  # fmt: skip
    colour = alt.Color(
        "kind:N",
        scale=alt.Scale(domain=kinds, range=[COLOURS[kind][dark] for kind in kinds]),
        legend=None,
    )
    out = _frame(_windows(drawn, zone), ["row", "from", "to", "what"])
    windows = (
        alt.Chart(out)
        .mark_bar(
            height=ROW_PX - 6, fill="#8a958f", fillOpacity=0.22, stroke="#7b847f", strokeDash=[3, 3]
        )
        .encode(x=x, x2="to:T", y=y, tooltip=["row:N", "what:N", _tip("from"), _tip("to")])
    )
    taken = _frame(_marks(drawn, span, zone), ["row", "kind", "from", "photos"])
    tall = alt.Scale(type="sqrt", range=[8, ROW_PX - 8])
    marks = (
        alt.Chart(taken)
        .mark_tick(thickness=2)
        .encode(
            x=x,
            y=y,
            color=colour,
            size=alt.Size("photos:Q", scale=tall, legend=None),
            tooltip=["row:N", _tip("from"), "photos:Q"],
        )
    )
    beyond = _beyond(drawn, span, zone)
    layers: list[alt.Chart] = [windows, marks]
    ink = "#f4f1e8" if dark else "#23302e"
    for end in ("start", "end"):
        rows = _frame([row for row in beyond if row["end"] == end], ["row", "from", "words"])
        text = alt.Chart(rows).encode(x=x, y=y, text="words:N")
        if end == "start":
            layers.append(text.mark_text(align="left", dx=3, fontWeight="bold", color=ink))
        else:
            layers.append(text.mark_text(align="right", dx=-3, fontWeight="bold", color=ink))
    height = alt.Step(ROW_PX)
    made: alt.LayerChart = alt.LayerChart(layer=layers).properties(height=height)
    return made


def axis_of(drawn: Sequence[Drawn]) -> Span:
    """Give the stretch that is drawn: the camera log's and the windows', and some way around."""
    edges: list[datetime] = []
    for one in drawn:
        place = one.lanes.placement
        edges += [edge for edge in (place.start, place.end) if edge is not None]
        edges += [edge for window in one.windows() for edge in (window.start, window.end)]
    if not edges:
        seconds = np.concatenate([np.zeros(0, np.int64), *(one.lanes.held for one in drawn)])
        ends = (int(seconds.min()), int(seconds.max()) + 1) if len(seconds) else (0, 1)
        edges = [datetime.fromtimestamp(end, UTC) for end in ends]
    start, end = min(edges), max(edges)
    around = (end - start) * AROUND
    return Span(start - around, end + around)


def in_words(drawn: Sequence[Drawn], zone: ZoneInfo) -> str:
    """Say what the chart shows, for those who cannot see it."""
    said = []
    for one in drawn:
        windows = one.windows()
        name = one.lanes.placement.placement
        parts = [f"{name}: {len(windows)} tray windows"]
        for kind, _, times in one.rows():
            inside = sum(_inside(times, window) for window in windows)
            many = f"{inside} of {len(times)} photos in a window"
            parts.append(f"{kind}: {many}{_from_to(times, zone)}")
        said.append("; ".join(parts))
    return ". ".join(said)


def _from_to(times: Seconds, zone: ZoneInfo) -> str:
    if not len(times):
        return ""
    first, last = (
        wording.moment(datetime.fromtimestamp(int(end), UTC), zone)
        for end in (times.min(), times.max())
    )
    return f", from {first} to {last}"


def _inside(times: Seconds, window: Span) -> int:
    start, end = window.start.timestamp(), window.end.timestamp()
    return int(((times >= start) & (times < end)).sum())


def _windows(drawn: Sequence[Drawn], zone: ZoneInfo) -> list[Row]:
    return [
        {
            "row": label,
            "from": _iso(window.start, zone),
            "to": _iso(window.end, zone),
            "what": "tray out: " + ", ".join(
                tray.deployment for tray in one.trays if window_of(tray) == window
            ),
        }
        for one in drawn
        for _, label, _ in one.rows()
        for window in one.windows()
    ]  # fmt: skip


def _marks(drawn: Sequence[Drawn], span: Span, zone: ZoneInfo) -> list[Row]:
    start, end = span.start.timestamp(), span.end.timestamp()
    step = (end - start) / BINS
    rows = []
    for one in drawn:
        for kind, label, times in one.rows():
            there = times[(times >= start) & (times <= end)]
            places, counts = np.unique(((there - start) // step).astype(int), return_counts=True)
            for place, count in zip(places.tolist(), counts.tolist(), strict=True):
                moment = datetime.fromtimestamp(start + (place + 0.5) * step, UTC)
                rows.append(
                    {"row": label, "kind": kind, "from": _iso(moment, zone), "photos": count}
                )
    return rows


def _beyond(drawn: Sequence[Drawn], span: Span, zone: ZoneInfo) -> list[Row]:
    """Count the photos that lie before or after the axis."""
    start, end = span.start.timestamp(), span.end.timestamp()
    rows = []
    for one in drawn:
        for _, label, times in one.rows():
            before, after = times[times < start], times[times > end]
            for there, at, side in ((before, span.start, "start"), (after, span.end, "end")):
                if len(there):
                    nearest = there.max() if side == "start" else there.min()
                    day = datetime.fromtimestamp(int(nearest), UTC).astimezone(zone)
                    many = f"{len(there)} photos, {day:%d %b %Y}"
                    words = (
                        f"\N{LEFTWARDS ARROW} {many}"
                        if side == "start"
                        else f"{many} \N{RIGHTWARDS ARROW}"
                    )
                    rows.append({"row": label, "from": _iso(at, zone), "words": words, "end": side})
    return rows


def _tip(name: str) -> alt.Tooltip:
    return alt.Tooltip(f"{name}:T", format="%d %b %Y %H:%M")


def _iso(moment: datetime, zone: ZoneInfo) -> str:
    return wording.naive(moment, zone).isoformat()


def _frame(rows: Sequence[Row], columns: Sequence[str]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(columns))
