"""Decide how it is drawn whether the mixed model fits: what it leaves over, tray by tray."""

from statistics import NormalDist, pstdev

import altair as alt

from core.analysis.intervals import Undefined
from core.analysis.mixed import MixedModel
from core.plots.look import TRAY, Figure, Row, click, frame, ink
from core.plots.words import asked_of

COLUMNS = [TRAY, "station", "night", "fitted", "residual", "expected"]
FEWEST = 10
"""Below so many trays nothing can be read from a residual plot (a judgement)."""


def residual_rows(found: MixedModel) -> list[Row]:
    """Give a row for each tray, the smallest residual first, with what a normal one would be.

    Expected is the quantile (i - 1/2) / n of a normal distribution with their own spread.
    """
    ordered = sorted(found.residuals, key=lambda one: one.residual)
    spread = pstdev([one.residual for one in ordered])
    normal = NormalDist(0, spread) if spread else None
    return [
        {
            TRAY: one.deployment, "station": one.station, "night": one.night,
            "fitted": one.fitted, "residual": one.residual,
            "expected": normal.inv_cdf((at - 0.5) / len(ordered)) if normal else 0.0,
        }
        for at, one in enumerate(ordered, start=1)
    ]  # fmt: skip


def fitted_figure(found: MixedModel | Undefined, *, dark: bool = False) -> Figure | Undefined:
    """Draw what the model leaves over against what it says of each tray."""
    model = _enough(found)
    if isinstance(model, Undefined):
        return model
    words = (
        "What to look for: a band of even width around nothing. A funnel asks for another scale, a "
        "curve for another model; a tray far off is worth a look at its evidence."
    )
    return _figure(model, "fitted", "the model's value", "residuals", "Left over, tray by tray",
                   words, dark=dark)  # fmt: skip


def normal_figure(found: MixedModel | Undefined, *, dark: bool = False) -> Figure | Undefined:
    """Draw what the model leaves over against what a normal distribution would have."""
    model = _enough(found)
    if isinstance(model, Undefined):
        return model
    words = (
        "What to look for: marks along the line. An S or a bow at the ends says that p and "
        "interval are not to be taken to their last digit."
    )
    heading = "Left over, in order, against a normal distribution"
    return _figure(model, "expected", "if they were normal", "residuals-normal", heading, words,
                   dark=dark)  # fmt: skip


def _enough(found: MixedModel | Undefined) -> MixedModel | Undefined:
    """Give the model where it has trays enough to look at."""
    if isinstance(found, Undefined) or found.n >= FEWEST:
        return found
    return Undefined(
        f"{found.n} trays are too few to see from what is left over whether the model fits",
        found.n,
    )


def _figure(
    found: MixedModel, across: str, title: str, name: str, heading: str, words: str, *, dark: bool
) -> Figure:
    colours, rows = ink(dark=dark), residual_rows(found)
    scale = f" [{found.scale}]"
    base = alt.Chart(frame(rows, COLUMNS))
    points = base.mark_point(filled=True, size=60, color=colours.first, opacity=0.75).encode(
        x=alt.X(f"{across}:Q", title=title + scale, scale=alt.Scale(zero=False)),
        y=alt.Y("residual:Q", title="left over" + scale),
        tooltip=[TRAY, "station", "night", alt.Tooltip("fitted:Q", format=".3~f"),
                 alt.Tooltip("residual:Q", format=".3~f")],
    ).add_params(click())  # fmt: skip
    ends = [float(row[across]) for row in rows]
    low, high = min(ends), max(ends)
    heights = (0.0, 0.0) if across == "fitted" else (low, high)
    span = [{"x": low, "y": heights[0]}, {"x": high, "y": heights[1]}]
    line = alt.Chart(frame(span, ["x", "y"])).mark_line(
        color=colours.quiet, strokeDash=[2, 3], aria=False
    ).encode(x="x:Q", y="y:Q")  # fmt: skip
    return Figure(
        name=name,
        title=heading,
        chart=alt.LayerChart(layer=[line, points]).properties(height=260),
        rows=tuple(rows),
        words=f"Residuals of {found.n} trays from {min(r['residual'] for r in rows):.3g} to "
        f"{max(r['residual'] for r in rows):.3g}. {words}",
        note=f"n = {found.n} trays. {words}",
        clickable=True,
        asked=asked_of(found.choice) | {"scale": str(found.scale)},
    )
