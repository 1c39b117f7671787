"""Decide how visits are drawn by the height of the sun."""

from collections import Counter
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

import altair as alt

from core import sun
from core.analysis.daylight import Daylight
from core.analysis.intervals import Undefined
from core.model import UNKNOWN, Species
from core.plots.look import TRAY, Figure, Row, click, frame, ink

SHAPES = ("circle", "square", "triangle-up", "diamond", "triangle-down", "cross")
MOST_MARKS = 2000
"""Up to so many stays have a mark each; beyond, they are counted by height."""
BIN = 5
"""Heights that are counted together. [degrees]"""
EDGES = (90.0, sun.HORIZON, sun.CIVIL, sun.NAUTICAL, -90.0)
SHADES = (0.0, 0.10, 0.20, 0.32)


def daylight_figure(
    found: Daylight, species: Mapping[str, Species], zone: ZoneInfo, *, dark: bool = False
) -> Figure | Undefined:
    """Draw each stay on a tray: when it was, and how high the sun stood; undefined without one."""
    if not found.visits:
        why = "no visit to a tray is answered"
        if found.without_place == found.n:
            why = "no camera has its latitude and longitude in the camera log"
        return Undefined(why, found.n)
    rows: list[Row] = [
        {
            TRAY: one.deployment, "microhabitat": one.microhabitat or "not given",
            "animal": _name(one.species, species), "did": str(one.where).replace("_", " "),
            "time": one.moment.astimezone(zone).replace(tzinfo=None).isoformat(),
            "height": round(one.height, 2), "light": str(one.light),
        }
        for one in found.visits
    ]  # fmt: skip
    colours = ink(dark=dark)
    sides = list(dict.fromkeys(str(row["microhabitat"]) for row in rows))
    palette = [colours.first, colours.second, colours.quiet, colours.text]
    heights = [float(row["height"]) for row in rows]
    domain = [min([*heights, -20.0]) - 3, max([*heights, 5.0]) + 3]
    y_scale = alt.Scale(domain=domain, nice=False, clamp=True)
    bands = [
        {"from": high, "to": low, "shade": shade, "light": str(sun.light((high + low) / 2))}
        for high, low, shade in zip(EDGES, EDGES[1:], SHADES, strict=False)
    ]
    dusk = alt.Chart(frame(bands, ["from", "to", "shade", "light"])).mark_rect(
        color="#5b6a7a"
    ).encode(
        y=alt.Y("from:Q", scale=y_scale, title="height of the sun [degrees]"), y2="to:Q",
        opacity=alt.Opacity("shade:Q", scale=None, legend=None), tooltip=["light"],
    )  # fmt: skip
    by_side = alt.Scale(
        domain=sides, range=[palette[at % len(palette)] for at in range(len(sides))]
    )
    many = len(rows) > MOST_MARKS
    marks = (
        _counted(rows, sides, y_scale, by_side)
        if many
        else _marked(rows, sides, y_scale, by_side, zone)
    )
    by_light: dict[str, int] = {}
    for row in rows:
        by_light[str(row["light"])] = by_light.get(str(row["light"]), 0) + 1
    told = ", ".join(f"{n} by {light}" for light, n in by_light.items())
    left = f" {found.without_place} trays have no place in the camera log." * bool(
        found.without_place
    )
    return Figure(
        name="visits-by-sun",
        title="Visits by the height of the sun",
        chart=alt.LayerChart(layer=[dusk, marks]).properties(height=300),
        rows=tuple(rows),
        words=f"{len(rows)} stays on trays by the height of the sun: {told}.{left}",
        note=f"n = {len(rows)} stays on {found.n - found.without_place} trays.{left} "
        f"Shaded: {sun.LIGHT_RULE}.",
        clickable=not many,
    )


def _marked(
    rows: Sequence[Row], sides: Sequence[str], y_scale: alt.Scale, by_side: alt.Scale,
    zone: ZoneInfo,
) -> alt.Chart:  # fmt: skip
    legend = alt.Legend(title=None, orient="top")
    drawn: alt.Chart = alt.Chart(
        frame(rows, [TRAY, "microhabitat", "animal", "did", "time", "height", "light"])
    ).mark_point(size=60, filled=True, opacity=0.85).encode(
        x=alt.X("time:T", title=f"time in {zone.key}", scale=alt.Scale(padding=14),
                axis=alt.Axis(format="%d %b %H:%M")),
        y=alt.Y("height:Q", scale=y_scale),
        color=alt.Color("microhabitat:N", legend=legend, scale=by_side),
        shape=alt.Shape("microhabitat:N", legend=legend, scale=alt.Scale(
            domain=list(sides), range=[SHAPES[at % len(SHAPES)] for at in range(len(sides))])),
        tooltip=[TRAY, "animal", "did", alt.Tooltip("time:T", format="%d %b %Y %H:%M:%S"),
                 "height", "light"],
    ).add_params(click())  # fmt: skip
    return drawn


def _counted(
    rows: Sequence[Row], sides: Sequence[str], y_scale: alt.Scale, by_side: alt.Scale
) -> alt.Chart:
    """Count stays by height, the microhabitats one behind the other."""
    tally = Counter((int(float(row["height"]) // BIN), str(row["microhabitat"])) for row in rows)
    bars: list[Row] = []
    for low in sorted({low for low, _ in tally}):
        start = 0
        for side in sides:
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
        y=alt.Y("low:Q", scale=y_scale), y2="high:Q",
        color=alt.Color("microhabitat:N", legend=alt.Legend(title=None, orient="top"),
                        scale=by_side),
        tooltip=["microhabitat", "low", "stays"],
    )  # fmt: skip
    return drawn


def _name(key: str, species: Mapping[str, Species]) -> str:
    if key == UNKNOWN:
        return "an unidentified animal"
    return species[key].name if key in species else key
