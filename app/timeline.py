"""Decide how tray deployments are drawn on one axis of time: windows, watched time, visits."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import pandas as pd

from app import wording
from core.exports.tables import name_of
from core.model import BLANK, UNKNOWN, Outcome, Species, Where
from core.windows import window_of

UNNAMED, UNANSWERED = "unidentified", "unanswered"
COLOURS = ("#0f6f9c", "#b5541c", "#4c7a34", "#8a4f9e", "#a8841a", "#2f8f87", "#b23a5e", "#5b5bb5")
ON_DARK = ("#6cc4ee", "#f5a06a", "#a5d681", "#d5a3e6", "#ecd067", "#7fded3", "#f592b1", "#b5b5f7")
"""Colours of species on a light and on a dark page."""
SHAPES = ("circle", "square", "triangle-up", "diamond", "triangle-down", "cross")
_OWN = {
    UNNAMED: ("#8a8a8a", "triangle-right"),
    UNANSWERED: ("#d2403c", "M-1,-1L1,1M1,-1L-1,1"),
    BLANK: ("#9a9a9a", "triangle-left"),
}
ROW_PX = 26

Row = dict[str, Any]


def chart(
    outcomes: Sequence[Outcome],
    species: Mapping[str, Species],
    zone: ZoneInfo,
    *,
    dark: bool = False,
) -> alt.LayerChart:
    """Draw one line a deployment, all on one axis of the study's local time.

    The window is a bar with a dashed edge, watched time a darker bar inside it; what stays light
    was not watched. Each species has a colour and a shape of its own; who was only near the tray
    is hollow.
    """
    names = [label(one) for one in outcomes]
    lines = alt.Y(
        "line:N",
        sort=names,
        title=None,
        axis=alt.Axis(labelLimit=220, labelOverlap=False, ticks=False),
    )
    windows = _frame(_windows(outcomes, zone))
    watched = _frame(_watched(outcomes, zone))
    seen = _visits(outcomes, species, zone)
    axis = alt.X("from:T", title=f"time in {zone.key}", axis=alt.Axis(format="%d %b %H:%M"))
    span: dict[str, Any] = {"x": axis, "x2": "to:T", "y": lines}
    tips = [
        "line:N",
        alt.Tooltip("from:T", format=_TIP),
        alt.Tooltip("to:T", format=_TIP),
        "what:N",
    ]
    base = (
        alt.Chart(windows)
        .mark_bar(height=16, fill="#8a958f", fillOpacity=0.12, stroke="#7b847f", strokeDash=[3, 3])
        .encode(**span, tooltip=tips)
    )
    inside = (
        alt.Chart(watched).mark_bar(height=16, color="#8a958f", opacity=0.45).encode(
            **span, tooltip=tips
        )
    )  # fmt: skip
    layers = [base, inside, *([_marks(seen, lines, dark=dark)] if seen else [])]
    drawn: alt.LayerChart = alt.LayerChart(layer=layers).properties(height=alt.Step(ROW_PX))
    return drawn


_TIP = "%d %b %Y %H:%M:%S"


def label(outcome: Outcome) -> str:
    """Name a line: the deployment with the sign of its status."""
    return f"{outcome.deployment.deployment} {wording.SIGN[outcome.status]} {outcome.status}"


def in_words(outcomes: Sequence[Outcome]) -> str:
    """Say what the chart shows, for those who cannot see it; the table below has the same."""
    visits = sum(len(one.seen) for one in outcomes)
    return (
        f"{len(outcomes)} tray deployments on one axis of time, with their windows, the time that "
        f"was watched, and {visits} visits. The table below holds the same in words."
    )


def _marks(seen: Sequence[Row], lines: alt.Y, *, dark: bool) -> alt.Chart:
    kinds = list(dict.fromkeys(str(row["who"]) for row in seen))
    ordinary = [kind for kind in kinds if kind not in _OWN]
    kinds = [*ordinary, *(kind for kind in _OWN if kind in kinds)]
    looks = {kind: look(at, dark=dark) for at, kind in enumerate(ordinary)} | _OWN
    colours = [looks[kind][0] for kind in kinds]
    shapes = [looks[kind][1] for kind in kinds]
    near = alt.condition(f"datum.where == '{Where.NEAR}'", alt.value(0.0), alt.value(0.9))
    legend = alt.Legend(title=None, orient="top", columns=7, labelLimit=170, symbolSize=110)
    marks: alt.Chart = (
        alt.Chart(_frame(seen))
        .mark_point(size=110, filled=True, strokeWidth=2)
        .encode(
            x=alt.X("from:T"),
            y=lines,
            color=alt.Color("who:N", scale=alt.Scale(domain=kinds, range=colours), legend=legend),
            stroke=alt.Stroke("who:N", scale=alt.Scale(domain=kinds, range=colours), legend=None),
            shape=alt.Shape("who:N", scale=alt.Scale(domain=kinds, range=shapes), legend=legend),
            fillOpacity=near,
            tooltip=["line:N", "who:N", "where:N", alt.Tooltip("from:T", format=_TIP), "photos:Q"],
        )
    )
    return marks


def look(at: int, *, dark: bool = False) -> tuple[str, str]:
    """Give the colour and shape of the species at this place: no pair comes twice in 24."""
    colours = ON_DARK if dark else COLOURS
    return colours[at % len(colours)], SHAPES[at % len(SHAPES)]


def _frame(rows: Sequence[Row]) -> pd.DataFrame:
    columns = list(rows[0]) if rows else ["line", "from", "to", "what"]
    return pd.DataFrame(list(rows), columns=columns)


def _windows(outcomes: Sequence[Outcome], zone: ZoneInfo) -> list[Row]:
    found = [(one, window_of(one.deployment)) for one in outcomes]
    return [
        _span(label(one), window.start, window.end, "window", zone)
        for one, window in found
        if window
    ]


def _watched(outcomes: Sequence[Outcome], zone: ZoneInfo) -> list[Row]:
    return [
        _span(label(one), span.start, span.end, "watched", zone)
        for one in outcomes
        for span in one.watched
    ]


def _span(line: str, start: datetime, end: datetime, what: str, zone: ZoneInfo) -> Row:
    return {
        "line": line,
        "from": wording.naive(start, zone),
        "to": wording.naive(end, zone),
        "what": what,
    }


def _visits(
    outcomes: Sequence[Outcome], species: Mapping[str, Species], zone: ZoneInfo
) -> list[Row]:
    """Give one mark for each species in each visit; one for an unanswered or blank visit."""
    rows = []
    for one in outcomes:
        for visit in one.seen:
            photos = sum(len(part.visit.photos) for part in visit.parts)
            there = [
                (UNNAMED if s.species == UNKNOWN else name_of(s.species, species), s.where, s.first)
                for s in visit.sightings
            ]
            unclear = not visit.held or visit.which_tray
            blank = all(part.answer.species == (BLANK,) for part in visit.parts)
            if unclear:
                there = [(UNANSWERED, "", visit.start)]  # type: ignore[list-item]
            elif not there and blank:
                there = [(BLANK, "", visit.start)]  # type: ignore[list-item]
            rows += [
                {
                    "line": label(one),
                    "who": who,
                    "where": str(where),
                    "from": wording.naive(start, zone),
                    "photos": photos,
                }
                for who, where, start in there
            ]
    return rows
