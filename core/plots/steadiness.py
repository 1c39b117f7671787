"""Decide how the sensitivity is drawn: the answer under one other choice after the other."""

import altair as alt

from core.analysis.choice import Choice
from core.analysis.intervals import Undefined
from core.plots.look import Figure, Row, frame, ink
from core.plots.words import UNIT, asked_of, says_in_words
from core.plural import many
from core.sensitivity import Sensitivity, Step

COLUMNS = ["axis", "choice", "line", "estimate", "low", "high", "says", "trays", "densities",
           "own", "p"]  # fmt: skip
OWN = "the study's own"


def steps_rows(found: Sensitivity) -> list[Row]:
    """Give one row for each choice on each axis, the study's own too."""
    return [_row(step, found.choice) for step in found.steps]


def _row(step: Step, choice: Choice) -> Row:
    test = step.answer.test
    row: Row = dict.fromkeys(COLUMNS)
    row |= {
        "axis": str(step.axis), "choice": step.value,
        "line": _line(step), "says": says_in_words(step.answer.says, choice),
        "trays": len(step.trays), "densities": step.answer.densities,
        "own": OWN if step.is_own else "another choice",
    }  # fmt: skip
    if not isinstance(test, Undefined):
        row["estimate"] = float(test.estimate)
        if not isinstance(test.interval, Undefined):
            row |= {"low": test.interval.low, "high": test.interval.high}
        row["p"] = None if isinstance(test.p, Undefined) else test.p.p
    return row


def steps_figure(found: Sensitivity, *, dark: bool = False) -> Figure | Undefined:
    """Draw the Hodges-Lehmann difference under each choice, with its interval.

    The study's own choices are large diamonds; each line says how many trays change. Undefined
    where no choice gives a difference.
    """
    colours, choice = ink(dark=dark), found.choice
    rows = steps_rows(found)
    if all(row["estimate"] is None for row in rows):
        return Undefined(f"no choice gives a difference to draw. {in_words(found)}".rstrip("."))
    lines = [str(row["line"]) for row in rows]
    axis = alt.Axis(labelLimit=420, labelOverlap=False, ticks=False, grid=False)
    y = alt.Y("line:N", sort=lines, title=None, axis=axis)
    x = alt.X("estimate:Q", scale=alt.Scale(zero=True),
              title=f"{choice.first} minus {choice.second} [{UNIT[choice.measure]}]")  # fmt: skip
    base = alt.Chart(frame(rows, COLUMNS))
    tips = ["axis", "choice", alt.Tooltip("estimate:Q", format=".3~f"),
            alt.Tooltip("low:Q", format=".3~f"), alt.Tooltip("high:Q", format=".3~f"),
            alt.Tooltip("p:Q", format=".2~g"), "says", "trays", "densities"]  # fmt: skip
    zero = alt.Chart(frame([{"at": 0}], ["at"])).mark_rule(
        color=colours.quiet, strokeDash=[2, 3], aria=False
    ).encode(x="at:Q")  # fmt: skip
    spans = base.transform_filter("isValid(datum.low)").mark_rule(
        strokeWidth=2, color=colours.quiet, aria=False
    ).encode(x=alt.X("low:Q"), x2="high:Q", y=y)  # fmt: skip
    kinds = [OWN, "another choice"]
    points = base.transform_filter("isValid(datum.estimate)").mark_point(filled=True).encode(
        x=x, y=y, tooltip=tips,
        size=alt.Size("own:N", scale=alt.Scale(domain=kinds, range=[150, 70]), legend=None),
        shape=alt.Shape("own:N", scale=alt.Scale(domain=kinds, range=["diamond", "circle"]),
                        legend=alt.Legend(title=None, orient="top")),
        color=alt.Color("own:N", legend=alt.Legend(title=None, orient="top"), scale=alt.Scale(
            domain=kinds, range=[colours.second, colours.first])),
    )  # fmt: skip
    return Figure(
        name="sensitivity",
        title="What one other choice would change",
        chart=alt.LayerChart(layer=[zero, spans, points]).properties(height=alt.Step(21)),
        rows=tuple(rows),
        words=in_words(found),
        note="Each line changes one choice and leaves the others. " + in_words(found),
        asked=asked_of(choice),
    )


def _line(step: Step) -> str:
    """Write a choice with what it does; no two lines are the same."""
    does = many(len(step.trays), "tray changes", "trays change")
    return f"{step.axis} {step.value}: {'own' if step.is_own else does}"


def in_words(found: Sensitivity) -> str:
    """Say how often the answer stays as it is, and how many trays any choice touches."""
    own = says_in_words(found.own.says, found.choice)
    touched = sum(one.same < len(found.found) for one in found.trays)
    return (
        f"Under {found.same} of {len(found.found)} settings the pairs say the same as under the "
        f"study's own: {own}. {touched} of {many(len(found.trays), 'tray')} "
        f"{'comes' if touched == 1 else 'come'} out differently under some of them."
    )


def in_a_clause(found: Sensitivity) -> str:
    """Say beforehand how many other settings give another answer."""
    others = len(found.found) - 1
    changed = len(found.found) - found.same
    if not others:
        return ""
    if not changed:
        return f"All {many(others, 'other setting')} give the same answer."
    gives = "gives" if changed == 1 else "give"
    return f"{changed} of {many(others, 'other setting')} {gives} another answer, see below."
