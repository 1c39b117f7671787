"""Decide how visits are drawn by the height of the sun, over the hours of a night.

Seasons that lie months apart have a figure each, on the same hours.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, floor
from zoneinfo import ZoneInfo

import altair as alt

from core import sun
from core.analysis.daylight import Daylight, SunVisit
from core.analysis.intervals import Undefined
from core.model import UNKNOWN, Species
from core.plots.look import TRAY, Figure, Ink, Row, click, frame, ink
from core.plots.words import asked_of
from core.plural import many

SHAPES = ("circle", "square", "triangle-up", "diamond", "triangle-down", "cross")
MOST_MARKS = 2000
"""Up to so many stays have a mark each; beyond, they are counted by height."""
MOST_FIGURES = 4
"""Up to so many seasons have a figure each; beyond, one figure holds all."""
BIN = 5
"""Heights that are counted together. [degrees]"""
EDGES = (90.0, sun.HORIZON, sun.CIVIL, sun.NAUTICAL, -90.0)
SHADES = (0.0, 0.10, 0.20, 0.32)
DAY_H = 24
NOON_H = 12
EDGE_H = 0.2
"""Room at both ends of the hours, so that no mark is cut. [h]"""
COLUMNS = [TRAY, "microhabitat", "animal", "did", "time", "clock", "height", "light", "season"]


@dataclass(frozen=True, slots=True)
class _Axes:
    """What the figures of all seasons share, so that they can be compared."""

    cut: int
    """Hours before this one belong to the day before. [h]"""
    hours: tuple[float, float]
    """From and to, counted on from one midnight. [h]"""
    heights: tuple[float, float]
    sides: tuple[str, ...]
    palette: tuple[str, ...]
    zone: ZoneInfo

    def across(self) -> alt.X:
        """Give the axis of the hours; 26 is two at night."""
        label = f"(datum.value % {DAY_H} < 10 ? '0' : '') + datum.value % {DAY_H} + ':00'"
        axis = alt.Axis(labelExpr=label, tickMinStep=1, tickCount=8)
        scale = alt.Scale(domain=list(self.hours), nice=False)
        return alt.X("hours:Q", title=f"clock time in {self.zone.key}", scale=scale, axis=axis)

    def up(self) -> alt.Scale:
        """Give the scale of the heights of the sun."""
        return alt.Scale(domain=list(self.heights), nice=False, clamp=True)

    def colours(self) -> alt.Scale:
        """Give each microhabitat its colour."""
        shown = [self.palette[at % len(self.palette)] for at in range(len(self.sides))]
        return alt.Scale(domain=list(self.sides), range=shown)

    def shapes(self) -> alt.Scale:
        """Give each microhabitat its shape."""
        shown = [SHAPES[at % len(SHAPES)] for at in range(len(self.sides))]
        return alt.Scale(domain=list(self.sides), range=shown)


def daylight_figures(
    found: Daylight,
    species: Mapping[str, Species],
    zone: ZoneInfo,
    seasons: Mapping[str, str],
    *,
    dark: bool = False,
) -> tuple[Figure, ...] | Undefined:
    """Draw each stay on a tray: at what clock time it was, and how high the sun stood.

    Undefined without one.

    Parameters
    ----------
    seasons
        The season of each tray deployment that was looked at.
    """
    if not found.visits:
        why = "no visit to a tray is answered"
        if found.without_place == found.n:
            why = "no camera has its latitude and longitude in the camera log"
        return Undefined(why, found.n)
    axes = _axes(found, zone, ink(dark=dark))
    met = dict.fromkeys(sorted(seasons.get(one.deployment, "") for one in found.visits))
    if not 1 < len(met) <= MOST_FIGURES:
        return (_figure(found, species, seasons, axes, ""),)
    return tuple(
        _figure(_of(found, seasons, season), species, seasons, axes, f"-{number}")
        for number, season in enumerate(met, start=1)
    )


def _of(found: Daylight, seasons: Mapping[str, str], season: str) -> Daylight:
    """Give the stays of one season."""
    visits = tuple(one for one in found.visits if seasons.get(one.deployment, "") == season)
    n = sum(one == season for one in seasons.values())
    return replace(found, visits=visits, n=n)


def _axes(found: Daylight, zone: ZoneInfo, colours: Ink) -> _Axes:
    """Lay the hours so that the time of day in which most came is not cut in two."""
    by_day = sum(one.height > sun.HORIZON for one in found.visits) * 2 > len(found.visits)
    cut = 0 if by_day else NOON_H
    hours = [_hours(one, zone, cut) for one in found.visits]
    heights = [one.height for one in found.visits]
    return _Axes(
        cut=cut,
        hours=(floor(min(hours)) - EDGE_H, max(ceil(max(hours)), floor(min(hours)) + 1) + EDGE_H),
        heights=(min([*heights, -20.0]) - 3, max([*heights, 5.0]) + 3),
        sides=tuple(dict.fromkeys(one.microhabitat or "not given" for one in found.visits)),
        palette=(colours.first, colours.second, colours.quiet, colours.text),
        zone=zone,
    )


def _hours(one: SunVisit, zone: ZoneInfo, cut: int) -> float:
    """Give the clock time of a stay, counted on past midnight where the hours begin later. [h]"""
    local = one.moment.astimezone(zone)
    hours = local.hour + local.minute / 60 + local.second / 3600
    return hours + DAY_H if hours < cut else hours


def _figure(
    found: Daylight,
    species: Mapping[str, Species],
    seasons: Mapping[str, str],
    axes: _Axes,
    ending: str,
) -> Figure:
    rows = [_row(one, species, seasons, axes) for one in found.visits]
    season = str(rows[0]["season"]) if ending else ""
    crowded = len(rows) > MOST_MARKS
    marks = _counted(rows, axes) if crowded else _marked(rows, axes)
    light = Counter(str(row["light"]) for row in rows)
    told = ", ".join(f"{n} by {light}" for light, n in light.items())
    trays = len({one.deployment for one in found.visits})
    left = (
        f" {many(found.without_place, 'tray has', 'trays have')} no place in the camera "
        f"log{', of all seasons' * bool(ending)}."
        if found.without_place
        else ""
    )
    return Figure(
        name=f"visits-by-sun{ending}",
        title="Visits by the height of the sun" + (f", {season}" if season else ""),
        chart=alt.LayerChart(layer=[_dusk(axes), marks]).properties(height=300),
        rows=tuple(rows),
        words=f"{many(len(rows), 'stay')} on trays by the height of the sun: {told}.{left}",
        note=f"n = {many(len(rows), 'stay')}, on {trays} of {many(found.n, 'tray')}; a "
        f"visit of two animals is two stays.{left} Shaded: {sun.LIGHT_RULE}.",
        clickable=not crowded,
        asked=asked_of(found.choice) | ({"season": season} if season else {}),
    )


def _row(
    one: SunVisit, species: Mapping[str, Species], seasons: Mapping[str, str], axes: _Axes
) -> Row:
    local = one.moment.astimezone(axes.zone)
    return {
        TRAY: one.deployment, "microhabitat": one.microhabitat or "not given",
        "animal": _name(one.species, species), "did": str(one.where).replace("_", " "),
        "time": local.replace(tzinfo=None).isoformat(), "clock": f"{local:%H:%M:%S}",
        "hours": round(_hours(one, axes.zone, axes.cut), 4), "height": round(one.height, 2),
        "light": str(one.light), "season": seasons.get(one.deployment, ""),
    }  # fmt: skip


def _dusk(axes: _Axes) -> alt.Chart:
    bands = [
        {"from": high, "to": low, "shade": shade, "light": str(sun.light((high + low) / 2))}
        for high, low, shade in zip(EDGES, EDGES[1:], SHADES, strict=False)
    ]
    drawn: alt.Chart = alt.Chart(frame(bands, ["from", "to", "shade", "light"])).mark_rect(
        color="#5b6a7a"
    ).encode(
        y=alt.Y("from:Q", scale=axes.up(), title="height of the sun [degrees]"), y2="to:Q",
        opacity=alt.Opacity("shade:Q", scale=None, legend=None), tooltip=["light"],
    )  # fmt: skip
    return drawn


def _marked(rows: Sequence[Row], axes: _Axes) -> alt.Chart:
    legend = alt.Legend(title=None, orient="top")
    drawn: alt.Chart = alt.Chart(frame(rows, [*COLUMNS, "hours"])).mark_point(
        size=60, filled=True, opacity=0.85
    ).encode(
        x=axes.across(),
        y=alt.Y("height:Q", scale=axes.up()),
        color=alt.Color("microhabitat:N", legend=legend, scale=axes.colours()),
        shape=alt.Shape("microhabitat:N", legend=legend, scale=axes.shapes()),
        tooltip=[TRAY, "animal", "did", alt.Tooltip("time:T", format="%d %b %Y %H:%M:%S"),
                 "height", "light"],
    ).add_params(click())  # fmt: skip
    return drawn


def _counted(rows: Sequence[Row], axes: _Axes) -> alt.Chart:
    """Count stays by height, the microhabitats one behind the other."""
    tally = Counter((int(float(row["height"]) // BIN), str(row["microhabitat"])) for row in rows)
    bars: list[Row] = []
    for low in sorted({low for low, _ in tally}):
        start = 0
        for side in axes.sides:
            stays = tally[low, side]
            if stays:
                bars.append(
                    {"low": low * BIN, "high": low * BIN + BIN * 0.9, "from": start,
                     "to": start + stays, "microhabitat": side, "stays": stays}
                )  # fmt: skip
            start += stays
    table = frame(bars, ["low", "high", "from", "to", "microhabitat", "stays"])
    drawn: alt.Chart = alt.Chart(table).mark_rect(stroke="#ffffff", strokeWidth=0.5).encode(
        x=alt.X("from:Q", title=f"stays on trays, by {BIN} degrees"), x2="to:Q",
        y=alt.Y("low:Q", scale=axes.up()), y2="high:Q",
        color=alt.Color("microhabitat:N", legend=alt.Legend(title=None, orient="top"),
                        scale=axes.colours()),
        tooltip=["microhabitat", "low", "stays"],
    )  # fmt: skip
    return drawn


def _name(key: str, species: Mapping[str, Species]) -> str:
    if key == UNKNOWN:
        return "an unidentified animal"
    return species[key].name if key in species else key
