"""Decide how the clocks of placements are drawn: what cameras showed and what is true, one axis."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Literal
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
AROUND, FOR_WORDS = 0.03, 0.16
"""So much is shown before and after all that is drawn; and where words on photos beyond stand."""
SHOWED, TRUE, PROPOSED = "camera showed", "held true", "as proposed"
COLOURS = {
    SHOWED: ("#8a6d1f", "#ecd067"),
    TRUE: ("#23685f", "#7fded3"),
    PROPOSED: ("#8a4f9e", "#d5a3e6"),
}
"""Of each kind of row, on a light and on a dark page."""

ENDS: Mapping[str, tuple[Literal["left", "right"], int]] = {
    "start": ("left", 3),
    "end": ("right", -3),
}
"""Of each end of the axis how words stand there, and how far from it. [px]"""

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A placement to be drawn: its rows, from top to bottom, and the windows of its trays."""

    lanes: Lanes
    trays: Sequence[TrayDeployment]
    proposed: Sequence[Seconds] = ()
    """True times with each proposal, one row each. [s since 1970 UTC]"""
    about: Mapping[str, Seconds] = field(default_factory=dict)
    """By what was found, the times held true of the photos that it is about. [s]"""

    def rows(self) -> list[tuple[str, str, Seconds]]:
        """Give kind, label and times of each row."""
        name = self.lanes.placement.placement
        found = [(SHOWED, self.lanes.shown), (TRUE, self.lanes.held)]
        rows = [(kind, f"{name} {kind}", times) for kind, times in found]
        for number, times in enumerate(self.proposed, start=1):
            which = f" {number}" if len(self.proposed) > 1 else ""
            rows.append((PROPOSED, f"{name} {PROPOSED}{which}", times))
        return rows

    def windows(self) -> list[Span]:
        """Give the windows of its trays, each once."""
        found = (window_of(one) for one in self.trays)
        return list(dict.fromkeys(one for one in found if one is not None))


def chart(drawn: Sequence[Drawn], zone: ZoneInfo, *, dark: bool = False) -> alt.LayerChart:
    """Draw placements under each other: tray windows as bars, photos as marks.

    Photos beyond the axis are counted at its end, with an arrow and their first date.
    """
    span, ink = axis_of(drawn), "#f4f1e8" if dark else "#23302e"
    labels = [label for one in drawn for _, label, _ in one.rows()]
    x, y = _axes(span, labels, zone)
    beyond = _beyond(drawn, span, zone)
    layers = [
        _bars(_windows(drawn, zone), x, y),
        _ticks(_marks(drawn, span, zone), x, y, dark=dark),
        _lines(_about(drawn, span, zone), x, y, ink),
        *(_ends([row for row in beyond if row["end"] == end], x, y, ink) for end in ENDS),
    ]
    # A layer without marks would be a picture without words to who cannot see it.
    shown = [layer for layer in layers if len(layer.data)] or layers[:1]
    made: alt.LayerChart = alt.LayerChart(layer=shown).properties(height=alt.Step(ROW_PX))
    return made


def _axes(span: Span, labels: Sequence[str], zone: ZoneInfo) -> tuple[alt.X, alt.Y]:
    scale = alt.Scale(domain=[_iso(span.start, zone), _iso(span.end, zone)])
    x = alt.X(
        "from:T", title=f"time in {zone.key}", scale=scale, axis=alt.Axis(format="%d %b %H:%M")
    )
    y = alt.Y("row:N", sort=labels, title=None, scale=alt.Scale(domain=labels),
              axis=alt.Axis(labelLimit=240, labelOverlap=False, ticks=False))  # fmt: skip
    return x, y


def _bars(rows: Sequence[Row], x: alt.X, y: alt.Y) -> alt.Chart:
    """Draw the windows of trays."""
    drawn = alt.Chart(_frame(rows, ["row", "from", "to", "what"])).mark_bar(
        height=ROW_PX - 6, fill="#8a958f", fillOpacity=0.22, stroke="#7b847f", strokeDash=[3, 3]
    )
    made: alt.Chart = drawn.encode(
        x=x, x2="to:T", y=y, tooltip=["row:N", "what:N", _tip("from"), _tip("to")]
    )
    return made


def _ticks(rows: Sequence[Row], x: alt.X, y: alt.Y, *, dark: bool) -> alt.Chart:
    """Draw photos, those that fall together as a taller mark."""
    colours = alt.Scale(domain=list(COLOURS), range=[two[dark] for two in COLOURS.values()])
    tall = alt.Scale(type="sqrt", range=[8, ROW_PX - 8])
    drawn = alt.Chart(_frame(rows, ["row", "kind", "from", "photos"])).mark_tick(thickness=2)
    made: alt.Chart = drawn.encode(
        x=x,
        y=y,
        color=alt.Color("kind:N", scale=colours, legend=None),
        size=alt.Size("photos:Q", scale=tall, legend=None),
        tooltip=["row:N", _tip("from"), "photos:Q"],
    )
    return made


def _lines(rows: Sequence[Row], x: alt.X, y: alt.Y, ink: str) -> alt.Chart:
    """Underline what findings are about."""
    drawn = alt.Chart(_frame(rows, ["row", "from", "to", "what", "photos"])).mark_bar(
        height=3, yOffset=ROW_PX / 2 - 3, color=ink
    )
    made: alt.Chart = drawn.encode(x=x, x2="to:T", y=y, tooltip=["row:N", "what:N", "photos:Q"])
    return made


def _ends(rows: Sequence[Row], x: alt.X, y: alt.Y, ink: str) -> alt.Chart:
    """Write at one end of the axis how many photos lie beyond it."""
    align, away = ENDS[rows[0]["end"]] if rows else ENDS["start"]
    words = alt.Chart(_frame(rows, ["row", "from", "words"])).encode(x=x, y=y, text="words:N")
    drawn: alt.Chart = words.mark_text(align=align, dx=away, fontWeight="bold", color=ink)
    return drawn


def axis_of(drawn: Sequence[Drawn]) -> Span:
    """Give the stretch that is drawn: the camera log's and the windows', and some way around.

    Photos that lie no further out than that is long are on it as well.
    """
    rows = (times for one in drawn for *_, times in one.rows())
    times = np.concatenate([np.zeros(0, np.int64), *rows])
    held = [float(edge) for edge in (times.min(), times.max())] if len(times) else [0.0]
    edges = _logged_edges(drawn) or held
    start, end = min(edges), max(edges)
    early, late = times < 2 * start - end, times > 2 * end - start
    close = times[~early & ~late].tolist()
    start, end = min([start, *close]), max([end, *close])
    long = max(end - start, 1.0)
    before, after = (FOR_WORDS if beyond.any() else AROUND for beyond in (early, late))
    return Span(
        datetime.fromtimestamp(start - long * before, UTC),
        datetime.fromtimestamp(end + long * after, UTC),
    )


def _logged_edges(drawn: Sequence[Drawn]) -> list[float]:
    """Give where stretches of the camera log and windows begin and end. [s since 1970 UTC]"""
    found: list[datetime | None] = []
    for one in drawn:
        found += [one.lanes.placement.start, one.lanes.placement.end]
        found += [edge for window in one.windows() for edge in (window.start, window.end)]
    return [edge.timestamp() for edge in found if edge is not None]


def legend(drawn: Sequence[Drawn]) -> str:
    """Say what the marks of a chart mean, of those that are on it."""
    span = axis_of(drawn)
    ends = span.start.timestamp(), span.end.timestamp()
    words = ["Dashed bars: trays out. Marks: photos, taller where several fall together."]
    if any((t < ends[0]).any() or (t > ends[1]).any() for one in drawn for *_, t in one.rows()):
        words.append("Arrows: photos beyond the axis.")
    if any(len(times) for one in drawn for times in one.about.values()):
        words.append("Underlined: what a finding is about.")
    return " ".join(words)


def in_words(drawn: Sequence[Drawn], zone: ZoneInfo) -> str:
    """Say what the chart shows, for those who cannot see it."""
    said = []
    for one in drawn:
        windows = one.windows()
        name = one.lanes.placement.placement
        parts = [f"{name}: {len(windows)} tray windows"]
        for _, label, times in one.rows():
            inside = sum(_inside(times, window) for window in windows)
            many = f"{inside} of {len(times)} photos in a window"
            parts.append(f"{label.removeprefix(name).strip()}: {many}{_from_to(times, zone)}")
        parts += [f"{what}: {len(times)} photos" for what, times in one.about.items()]
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


def _about(drawn: Sequence[Drawn], span: Span, zone: ZoneInfo) -> list[Row]:
    """Give a line under the photos that a finding is about, as far as they are on the axis."""
    start, end = span.start.timestamp(), span.end.timestamp()
    rows = []
    for one in drawn:
        name = one.lanes.placement.placement
        for what, times in one.about.items():
            if len(times):
                ends = (min(max(int(end_s), start), end) for end_s in (times.min(), times.max()))
                first, last = (_iso(datetime.fromtimestamp(at, UTC), zone) for at in ends)
                rows.append({"row": f"{name} {TRUE}", "from": first, "to": last, "what": what,
                             "photos": len(times)})  # fmt: skip
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
