"""Decide how pairs are drawn: their trays joined by lines, and their differences by station."""

from collections.abc import Sequence
from statistics import fmean

import altair as alt

from core.analysis.choice import in_order
from core.analysis.intervals import Undefined
from core.analysis.pairs import Pair, Pairs
from core.analysis.ranks import SignedRank
from core.analysis.told import Told
from core.plots.look import SHAPES, TRAY, Figure, Row, click, frame, ink
from core.plots.words import asked_of, difference
from core.plural import many

MOST_LINES = 400
"""Up to so many pairs have a line each; beyond, a station has one."""
MOST_NAMED = 30
"""Up to so many stations have their name at the axis."""


def pairs_figure(
    pairs: Pairs | Undefined, test: SignedRank | Undefined, *, dark: bool = False
) -> Figure | Undefined:
    """Join the two trays of each pair by a line; undefined where there is no pair."""
    if isinstance(pairs, Undefined):
        return pairs
    if not pairs.made:
        lost = many(len(pairs.lost), "was", "were")
        return Undefined(f"no pair has a density on both sides, {lost} lost")
    choice, colours = pairs.choice, ink(dark=dark)
    rows = _by_station(pairs) if len(pairs.made) > MOST_LINES else _by_pair(pairs)
    joined = (
        f"{many(len(rows) // 2, 'station')}, nights averaged: more pairs than can be told apart."
        if len(pairs.made) > MOST_LINES
        else ""
    )
    made = many(len(pairs.made), "pair")
    sides = [choice.first, choice.second]
    x = alt.X("microhabitat:N", sort=sides, title=None, scale=alt.Scale(padding=0.6),
              axis=alt.Axis(labelAngle=0, labelFontSize=13))  # fmt: skip
    y = alt.Y("density:Q", title=f"giving-up density: {choice.measure}",
              scale=alt.Scale(zero=True), axis=alt.Axis(minExtent=38))  # fmt: skip
    base = alt.Chart(frame(rows, ["pair", TRAY, "microhabitat", "density", "station", "night",
                                  "difference", "forager"]))  # fmt: skip
    lines = base.mark_line(color=colours.quiet, opacity=0.6, strokeWidth=1.2).encode(
        x=x, y=y, detail="pair:N"
    )
    points = (
        base.mark_point(size=80, filled=True, opacity=0.95)
        .encode(
            x=x,
            y=y,
            color=alt.Color("microhabitat:N", legend=None, scale=alt.Scale(
                domain=sides, range=[colours.first, colours.second])),
            shape=alt.Shape("microhabitat:N", legend=None, scale=alt.Scale(
                domain=sides, range=list(SHAPES))),
            tooltip=[f"{TRAY}:N", "forager:N", "microhabitat:N",
                     alt.Tooltip("density:Q", format=".3~f"),
                     "station:N", "night:N", alt.Tooltip("difference:Q", format=".3~f")],
        )
        .add_params(click())
    )  # fmt: skip
    return Figure(
        name="pairs",
        title=f"{choice.first} and {choice.second}, pair by pair",
        chart=alt.LayerChart(layer=[lines, points]).properties(height=330),
        rows=tuple(rows),
        words=f"{made} of trays, joined by lines. {difference(test, choice)}",
        note=f"{made}, {len(pairs.lost)} lost. {difference(test, choice)} {joined}".strip(),
        clickable=not joined,
        asked=asked_of(choice),
    )


def _by_pair(pairs: Pairs) -> list[Row]:
    """Give a row for each tray of each pair."""
    rows: list[Row] = []
    for number, pair in enumerate(pairs.made, start=1):
        for side, one in ((pairs.choice.first, pair.first), (pairs.choice.second, pair.second)):
            rows.append(
                {
                    "pair": number, TRAY: one.name, "microhabitat": side, "density": _of(one),
                    "station": pair.station, "night": str(pair.night),
                    "difference": float(pair.difference), "forager": one.outcome.forager,
                }
            )  # fmt: skip
    return rows


def _by_station(pairs: Pairs) -> list[Row]:
    """Give a row for each side of each station: the mean of its nights."""
    nights: dict[str, list[Pair]] = {}
    for pair in pairs.made:
        nights.setdefault(pair.station, []).append(pair)
    rows: list[Row] = []
    for number, (station, some) in enumerate(nights.items(), start=1):
        first = fmean(_of(pair.first) for pair in some)
        second = fmean(_of(pair.second) for pair in some)
        sides = ((pairs.choice.first, first, [pair.first for pair in some]),
                 (pairs.choice.second, second, [pair.second for pair in some]))  # fmt: skip
        for side, mean, trays in sides:
            rows.append(
                {
                    "pair": number, TRAY: "", "microhabitat": side, "density": mean,
                    "station": station, "night": many(len(some), "night"),
                    "difference": first - second,
                    "forager": ", ".join(dict.fromkeys(one.outcome.forager for one in trays)),
                }
            )  # fmt: skip
    return rows


def _of(one: Told) -> float:
    return 0.0 if one.value is None else float(one.value)


def differences_figure(
    pairs: Pairs | Undefined, test: SignedRank | Undefined, *, dark: bool = False
) -> Figure | Undefined:
    """Draw the difference of each pair by its station, and the Hodges-Lehmann difference."""
    if isinstance(pairs, Undefined) or not pairs.made:
        return pairs if isinstance(pairs, Undefined) else Undefined("there is no pair")
    if isinstance(test, Undefined):
        return test
    choice, colours = pairs.choice, ink(dark=dark)
    rows: list[Row] = [
        {
            "station": pair.station, TRAY: pair.first.name, "other": pair.second.name,
            "night": str(pair.night), "difference": float(pair.difference),
            "forager": pair.first.outcome.forager,
            "other forager": pair.second.outcome.forager,
        }
        for pair in pairs.made
    ]  # fmt: skip
    means = [
        {"station": one.station, "difference": float(one.value), "nights": one.pairs}
        for one in pairs.differences
    ]
    # As many dots as can be told apart; the means stand for the rest.
    drawn = rows if len(rows) <= MOST_LINES or not choice.average_nights else []
    order = sorted({one.station for one in pairs.made}, key=in_order)
    names = alt.Axis(labels=len(order) <= MOST_NAMED, ticks=False, labelLimit=160)
    y = alt.Y("station:N", sort=order, title="station", axis=names)
    x = alt.X("difference:Q", title=f"{choice.first} minus {choice.second}: {choice.measure}")
    layers: list[alt.Chart] = []
    if not isinstance(test.interval, Undefined):
        span = [{"low": test.interval.low, "high": test.interval.high}]
        layers.append(
            alt.Chart(frame(span, ["low", "high"]))
            .mark_rect(color=colours.band, opacity=0.7)
            .encode(x=alt.X("low:Q"), x2="high:Q")
        )
    layers += [
        _rule(0.0, colours.quiet, dash=[2, 3]),
        _rule(float(test.estimate), colours.text, dash=[1, 0]),
        alt.Chart(frame(drawn, ["station", TRAY, "forager", "other", "other forager", "night",
                                "difference"]))
        .mark_point(size=45, filled=True, color=colours.quiet, opacity=0.8)
        .encode(x=x, y=y, tooltip=["station:N", f"{TRAY}:N", "forager:N", "other:N",
                                   alt.Tooltip("other forager:N"), "night:N",
                                   alt.Tooltip("difference:Q", format=".3~f")])
        .add_params(click()),
    ]  # fmt: skip
    if pairs.choice.average_nights:
        layers.append(
            alt.Chart(frame(means, ["station", "difference", "nights"]))
            .mark_point(size=110, shape="diamond", filled=True, color=colours.first)
            .encode(x=x, y=y, tooltip=["station:N", "nights:Q",
                                       alt.Tooltip("difference:Q", format=".3~f")])
        )  # fmt: skip
    dots = "Dots: pairs. " if drawn else ""
    step = 20 if len(order) <= MOST_NAMED else 6
    return Figure(
        name="differences",
        title="Differences by station",
        chart=alt.LayerChart(layer=layers).properties(height=alt.Step(step)),
        rows=tuple(rows),
        words=f"{many(len(rows), 'difference')} at {many(len(order), 'station')}. "
        f"{difference(test, choice)}",
        note=dots + ("Diamonds: the mean of a station's nights. "
                                if choice.average_nights else "")
        + "Line and band: the Hodges-Lehmann difference with its interval; dashed: none.",
        clickable=True,
        asked=asked_of(choice),
    )  # fmt: skip


def _rule(at: float, colour: str, *, dash: Sequence[int]) -> alt.Chart:
    drawn: alt.Chart = (
        alt.Chart(frame([{"at": at}], ["at"]))
        .mark_rule(color=colour, strokeDash=list(dash), strokeWidth=1.5, aria=False)
        .encode(x="at:Q")
    )
    return drawn
