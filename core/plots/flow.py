"""Decide how the ledger is drawn: all trays set out flow to their status and to what they tell."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp

import altair as alt

from core.analysis.ledger import Ledger
from core.analysis.told import Tells
from core.model import Status
from core.plots.look import Figure, Ink, Row, frame, ink
from core.plots.words import asked_of
from core.plural import many

HIGH = 300
"""Height that all trays together take. [px]"""
LEAST = 17
"""A block is given at least so much room, so that its label can be read. [px]"""
BENDS = 14
"""Steps in which a ribbon bends."""
SHORT: Mapping[Tells, str] = {
    Tells.VALUE: "a value",
    Tells.BELOW: "emptied, below a limit",
    Tells.AT_MOST: "interrupted, at most",
    Tells.ABOVE: "visited, not eaten",
    Tells.BETWEEN: "an earlier feeder",
    Tells.NO_DENSITY: "no density",
    Tells.OTHER_FORAGER: "of another forager",
    Tells.OTHER_MICROHABITAT: "of another microhabitat",
    Tells.NOT_IN_MEASURE: "not in this measure",
}
"""Labels of what a tray tells."""
LIGHTNESS = {
    Status.KEEP: 0.95, Status.CAUTION: 0.7, Status.NO_GUD: 0.45, Status.DROP: 0.3,
    Status.ERROR: 0.3, Status.PENDING: 0.2,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Block:
    """One block of a column: its room and its own height. [px]"""

    top: float
    count: int
    scale: float

    @property
    def bottom(self) -> float:
        return self.top + self.count * self.scale


def flow_figure(found: Ledger, *, dark: bool = False) -> Figure:
    """Draw the ledger: set out, by status, by what a tray tells of the density asked for."""
    colours = ink(dark=dark)
    scale = HIGH / max(found.n, 1)
    by_status = {one: n for one, n in found.by_status().items() if n}
    by_tells = {SHORT[one]: n for one, n in found.by_tells().items() if n}
    all_trays = _stack({"set out": found.n}, scale)
    states = _stack({str(one): n for one, n in by_status.items()}, scale)
    tells = _stack(by_tells, scale)
    blocks = [
        *_bars(all_trays, 0.0, {"set out": f"set out: {found.n}"}),
        *_bars(states, 1.0, {str(s): f"{s}: {n}" for s, n in by_status.items()}),
        *_bars(tells, 2.0, {name: f"{name}: {n}" for name, n in by_tells.items()}),
    ]
    ribbons = _ribbons(found, all_trays, states, tells)
    chart = _drawn(blocks, ribbons, colours)
    rows: list[Row] = [
        {
            "status": str(line.status), "reason": str(line.reason), "tells": str(line.tells),
            "trays": line.count, "deployments": "; ".join(line.deployments),
        }
        for line in found.lines
    ]  # fmt: skip
    told = ", ".join(f"{n} {status}" for status, n in by_status.items())
    valued = many(found.analysed, "has", "have")
    return Figure(
        name="ledger",
        title="From trays set out to densities",
        chart=chart,
        rows=tuple(rows),
        words=f"{many(found.n, 'tray')} set out: {told or 'none'}. {valued} a value.",
        note=f"n = {many(found.n, 'study tray')}. {valued} a value of the density asked for; "
        "the table has every reason.",
        asked=asked_of(found.choice),
    )


def _stack(counts: Mapping[str, int], scale: float) -> dict[str, _Block]:
    """Lay blocks below each other, none with less room than a label needs."""
    top, found = 0.0, {}
    for name, count in counts.items():
        found[name] = _Block(top, count, scale)
        top += max(count * scale, LEAST) + 4
    return found


def _bars(blocks: Mapping[str, _Block], at: float, labels: Mapping[str, str]) -> list[Row]:
    return [
        {
            "left": at, "right": at + 0.04, "top": block.top, "bottom": block.bottom,
            "label": labels[name], "middle": (block.top + max(block.bottom, block.top + 12)) / 2,
        }
        for name, block in blocks.items()
    ]  # fmt: skip


def _ribbons(
    found: Ledger,
    all_trays: Mapping[str, _Block],
    states: Mapping[str, _Block],
    tells: Mapping[str, _Block],
) -> list[Row]:
    """Give the edges of each ribbon, bend by bend."""
    used: dict[tuple[str, str], float] = {}

    def next_of(column: str, name: str, blocks: Mapping[str, _Block], count: int) -> float:
        start = used.get((column, name), blocks[name].top)
        used[column, name] = start + count * blocks[name].scale
        return start

    rows: list[Row] = []
    for number, (status, count) in enumerate(found.by_status().items()):
        if count:
            begin = next_of("all", "set out", all_trays, count)
            end = next_of("in", str(status), states, count)
            rows += _bend(f"a{number}", 0.04, begin, 1.0, end, count, states, status)
    pairs: dict[tuple[Status, str], int] = {}
    for line in found.lines:
        key = (line.status, SHORT[line.tells])
        pairs[key] = pairs.get(key, 0) + line.count
    for number, ((status, what), count) in enumerate(pairs.items()):
        begin = next_of("out", str(status), states, count)
        end = next_of("tells", what, tells, count)
        rows += _bend(f"b{number}", 1.04, begin, 2.0, end, count, states, status, what)
    return rows


def _bend(
    name: str, x0: float, y0: float, x1: float, y1: float, count: int,
    states: Mapping[str, _Block], status: Status, what: str = "",
) -> list[Row]:  # fmt: skip
    high = count * states[str(status)].scale
    rows = []
    for at in range(BENDS + 1):
        share = at / BENDS
        turned = 1 / (1 + exp(-10 * (share - 0.5)))
        y = y0 + (y1 - y0) * turned
        rows.append(
            {
                "ribbon": name, "x": x0 + (x1 - x0) * share, "top": y, "bottom": y + high,
                "trays": count, "status": str(status), "tells": what,
                "shade": LIGHTNESS[status],
            }
        )  # fmt: skip
    return rows


def _drawn(blocks: Sequence[Row], ribbons: Sequence[Row], colours: Ink) -> alt.LayerChart:
    x_scale = alt.Scale(domain=[0, 3.1], nice=False)
    low = max([float(row["bottom"]) for row in blocks] + [HIGH]) + 14
    y_scale = alt.Scale(domain=[low, 0], nice=False)
    none = alt.Axis(labels=False, ticks=False, grid=False, domain=False)
    columns = ["ribbon", "x", "top", "bottom", "trays", "status", "tells", "shade"]
    bands = alt.Chart(frame(ribbons, columns)).mark_area(color=colours.first, line=False).encode(
        x=alt.X("x:Q", scale=x_scale, axis=none, title=None),
        y=alt.Y("top:Q", scale=y_scale, axis=none, title=None), y2="bottom:Q", detail="ribbon:N",
        opacity=alt.Opacity("shade:Q", scale=alt.Scale(domain=[0, 1], range=[0.06, 0.6]),
                            legend=None),
        tooltip=["status:N", "tells:N", "trays:Q"],
    )  # fmt: skip
    table = frame(blocks, ["left", "right", "top", "bottom", "label", "middle"])
    bars = alt.Chart(table).mark_rect(color=colours.text).encode(
        x=alt.X("left:Q", scale=x_scale), x2="right:Q", y=alt.Y("top:Q", scale=y_scale),
        y2="bottom:Q", tooltip=["label:N"],
    )  # fmt: skip
    labels = alt.Chart(table).mark_text(
        align="left", dx=5, baseline="middle", color=colours.text, fontSize=12
    ).encode(
        x=alt.X("right:Q", scale=x_scale), y=alt.Y("middle:Q", scale=y_scale), text="label:N"
    )  # fmt: skip
    drawn: alt.LayerChart = alt.LayerChart(layer=[bands, bars, labels]).properties(
        height=int(low), view=alt.ViewBackground(stroke=None)
    )
    return drawn
