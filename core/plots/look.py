"""Decide how all figures look: safe for colour-blind eyes, and plain in grey.

Two things that are compared differ in colour, lightness and shape; nothing hangs on colour alone.

References
----------
.. [1] Okabe & Ito 2008, Color universal design: blue and vermillion of their palette, and sky blue
   and orange on a dark page.
"""

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import altair as alt
import pandas as pd

PICKED = "picked"
"""Name of the choice of a tray in a figure: a click on a mark."""
TRAY = "deployment"
"""The field that names the tray deployment of a mark."""
SHAPES = ("circle", "square")

LINE = 110
"""So long is a line under the title of a printed figure. [characters]"""

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure with what it is drawn from."""

    name: str
    """For files: small letters and dashes."""
    title: str
    chart: alt.Chart | alt.LayerChart
    rows: tuple[Row, ...]
    """The data, one row a mark."""
    words: str
    """What it shows, for those who cannot see it."""
    note: str
    """What stands below it: n, settings, how to read it."""
    clickable: bool = False
    """Whether its marks name trays."""
    asked: Mapping[str, str] = field(default_factory=dict)
    """What it is of, by name: whose density, in what measure, between what, of which seasons."""

    @property
    def question(self) -> str:
        """Give what it is of in one line; empty where nothing was asked."""
        return "; ".join(f"{name}: {told}" for name, told in self.asked.items() if told)

    @property
    def caption(self) -> str:
        """Give the note with whose densities it shows, and of which season where one is asked."""
        whose = ("density of", "season")
        told = "; ".join(f"{name}: {self.asked[name]}" for name in whose if self.asked.get(name))
        return f"{self.note} {told[:1].upper()}{told[1:]}.".strip() if told else self.note


@dataclass(frozen=True, slots=True)
class Ink:
    """The colours of one page."""

    first: str
    second: str
    text: str
    quiet: str
    band: str


LIGHT = Ink("#0072B2", "#D55E00", "#1c2421", "#6b746f", "#dfe4e1")
DARK = Ink("#56B4E9", "#E69F00", "#eef1ef", "#9aa39e", "#3a4440")


def ink(*, dark: bool) -> Ink:
    """Give the colours for a light or a dark page."""
    return DARK if dark else LIGHT


def frame(rows: Sequence[Row], columns: Sequence[str]) -> pd.DataFrame:
    """Give rows as a table; the columns stand even where there is no row."""
    return pd.DataFrame(list(rows), columns=list(columns))


def click() -> alt.Parameter:
    """Give the choice of a tray by a click on its mark."""
    return alt.selection_point(name=PICKED, fields=[TRAY], on="click", clear=False)


def printed(figure: Figure, width: int = 640) -> dict[str, Any]:
    """Give a figure's specification as it is printed: on white, of a width [px], in one font.

    What it is of stands under its title, since a figure is also shown without its page.
    """
    heading = alt.Title(
        figure.title, anchor="start", subtitle=textwrap.wrap(figure.question, LINE),
        subtitleColor=LIGHT.quiet,
    )  # fmt: skip
    chart = figure.chart.properties(width=width, title=heading).configure(
        background="white", font="sans-serif"
    )
    found: dict[str, Any] = chart.configure_view(stroke="#c5ccc8").to_dict()
    return _without_clicks(found)


def _without_clicks(spec: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out what only a page can do."""
    return {key: value for key, value in spec.items() if key != "params"}


def svg(figure: Figure) -> str:
    """Draw a figure (made for a light page) as SVG."""
    import vl_convert  # noqa: PLC0415

    drawn: str = vl_convert.vegalite_to_svg(printed(figure))
    return drawn


def png(figure: Figure) -> bytes:
    """Draw a figure (made for a light page) as PNG, at twice its size."""
    import vl_convert  # noqa: PLC0415

    drawn: bytes = vl_convert.vegalite_to_png(printed(figure), scale=2)
    return drawn
