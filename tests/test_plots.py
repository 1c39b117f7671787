"""Figures: drawn from the numbers of the analysis, safe in grey, and in words where none is."""

import warnings
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from builders import SETTINGS, SPECIES, at, result, seen, sighting
from grounds import study
from scipy.stats import norm

from core import sun
from core.analysis.choice import Alternative, Choice
from core.analysis.daylight import Daylight, by_the_sun, places_of
from core.analysis.intervals import Undefined
from core.analysis.whole import analyse
from core.chain import Chain
from core.model import Outcome, Placement, Reason, SpeciesRole, Status
from core.plots import daylight, look, pairs
from core.plots.daylight import daylight_figures
from core.plots.flow import flow_figure
from core.plots.look import DARK, LIGHT, Figure
from core.plots.pairs import differences_figure, pairs_figure
from core.plots.residuals import FEWEST, fitted_figure, normal_figure, residual_rows
from core.plots.steadiness import in_a_clause, steps_figure
from core.plots.words import difference, level_text, number, p_text, what_can_be_said
from core.sensitivity import Says, grid_of, sensitivity
from core.units import to_array_time

CHOICE = Choice(SETTINGS.timezone, SPECIES["g"], first="open", second="bush")


def seven() -> list[Outcome]:
    """Seven sites, one night: 0.1, 0.2, … 0.7 g more in the open; one site lost its bush tray."""
    found = []
    for site in range(1, 8):
        found.append(result(f"O{site}", f"{3 + site / 10:.1f}", "open", site=f"S{site}"))
        found.append(result(f"B{site}", "3.0", "bush", site=f"S{site}"))
    found.append(result("O8", "4.0", "open", site="S8"))
    found.append(result("B8", None, "bush", site="S8", status=Status.DROP))
    return found


def of(outcomes: list[Outcome], choice: Choice = CHOICE) -> Any:
    return analyse(outcomes, choice, SPECIES, SETTINGS)


def drawn(found: Figure | Undefined) -> Figure:
    assert isinstance(found, Figure)
    return found


def test_pairs_are_joined_with_the_difference_beside_them() -> None:
    """Seven pairs, two marks each; the median of all means of two differences is 0.4 (by hand)."""
    whole = of(seven())
    figure = drawn(pairs_figure(whole.pairs, whole.test))
    assert len(figure.rows) == 14
    first = [row for row in figure.rows if row["pair"] == 1]
    assert [(row["deployment"], row["density"]) for row in first] == [("O1", 3.1), ("B1", 3.0)]
    assert "7 pairs, 1 lost" in figure.note
    assert "0.4 g more left in open than in bush" in figure.note
    assert "p = 0.016" in figure.note  # 2 / 2 ** 7, all differences of one sign
    assert figure.clickable


def test_differences_by_station() -> None:
    """Each difference is drawn at its station; the estimate and its interval are layers."""
    whole = of(seven())
    figure = drawn(differences_figure(whole.pairs, whole.test))
    assert [round(row["difference"], 6) for row in figure.rows] == [n / 10 for n in range(1, 8)]
    assert len(figure.chart.to_dict()["layer"]) == 5


def test_more_pairs_than_can_be_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the limit each station has one line: the mean of its nights."""
    nights = [
        result(f"{side[0]}{night}", left, side, night=night)
        for night, (opened, bush) in enumerate((("4.0", "3.0"), ("5.0", "3.5")))
        for side, left in (("open", opened), ("bush", bush))
    ]
    monkeypatch.setattr(pairs, "MOST_LINES", 1)
    whole = of(nights)
    figure = drawn(pairs_figure(whole.pairs, whole.test))
    assert [(r["microhabitat"], r["density"]) for r in figure.rows] == [
        ("open", 4.5), ("bush", 3.25)
    ]  # fmt: skip
    assert not figure.clickable


def test_the_ledger_flows_and_adds_up() -> None:
    """Every tray is in one row of the data, and all ribbons of a column hold all trays."""
    whole = of(seven())
    figure = flow_figure(whole.ledger)
    assert sum(int(row["trays"]) for row in figure.rows) == 16
    assert {row["status"] for row in figure.rows} == {"keep", "drop"}
    [bands] = [v for k, v in figure.chart.to_dict()["datasets"].items() if "ribbon" in v[0]]
    ends = {row["ribbon"]: row["trays"] for row in bands}
    assert sum(n for name, n in ends.items() if name.startswith("a")) == 16
    assert sum(n for name, n in ends.items() if name.startswith("b")) == 16


def of_sun(found: Daylight, *, dark: bool = False) -> Figure | Undefined:
    made = daylight_figures(found, SPECIES, SETTINGS.timezone, {}, dark=dark)
    if isinstance(made, Undefined):
        return made
    [one] = made
    return one


def places() -> dict[str, tuple[float, float]]:
    return places_of([Placement("P1", "cam", ("T1",), latitude=-33.9, longitude=19.0)])


def test_visits_by_the_height_of_the_sun() -> None:
    """The height is that of core.sun at the first photo; midnight in March is night."""
    found = by_the_sun(seven()[:2], places(), CHOICE)
    [one, other] = found.visits
    [height] = sun.height(to_array_time(at("20:00")).reshape(1), -33.9, 19.0)
    assert one.height == other.height == height
    assert one.light is sun.light(height)
    figure = drawn(of_sun(found))
    assert [row["deployment"] for row in figure.rows] == ["O1", "B1"]
    assert sun.LIGHT_RULE in figure.note


def test_whose_visits_by_the_sun() -> None:
    """With a forager asked for others are left out; with none all, people too."""
    stay = seen(sighting("g"), sighting("m"), sighting("p"))
    outcome = result(seen=(stay,))
    assert [one.species for one in by_the_sun([outcome], places(), CHOICE).visits] == ["g"]
    anybody = Choice(SETTINGS.timezone)
    assert [one.species for one in by_the_sun([outcome], places(), anybody).visits] == [
        "g", "m", "p"
    ]  # fmt: skip
    assert SPECIES["p"].role is SpeciesRole.PERSON


def test_many_visits_are_counted_by_height(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the limit stays are counted in steps of 5 degrees, and all are in the bars."""
    monkeypatch.setattr(daylight, "MOST_MARKS", 3)
    found = by_the_sun(seven(), places(), CHOICE)
    figure = drawn(of_sun(found))
    [bars] = [v for v in figure.chart.to_dict()["datasets"].values() if "stays" in v[0]]
    assert sum(row["stays"] for row in bars) == len(found.visits) == 15
    assert len({row["low"] for row in bars}) == 1
    assert not figure.clickable


def test_no_place_no_visit() -> None:
    """Where nothing can be drawn it is said why."""
    none = of_sun(by_the_sun(seven(), {}, CHOICE))
    assert isinstance(none, Undefined)
    assert "latitude" in none.why
    empty = of_sun(by_the_sun([], places(), CHOICE))
    assert isinstance(empty, Undefined)


def test_the_sensitivity_is_drawn_choice_by_choice() -> None:
    """Each axis with more than one choice has its lines, the study's own marked, none twice."""
    given = study(1, 3)
    grid = grid_of(SETTINGS, corrected=given.corrected)
    found = sensitivity(given, grid, CHOICE)
    figure = drawn(steps_figure(found))
    lines = [row["line"] for row in figure.rows]
    assert len(lines) == len(set(lines)) == len(found.steps)
    assert sum(row["own"] == "the study's own" for row in figure.rows) == len(
        {step.axis for step in found.steps}
    )
    assert f"{found.same} of {len(found.found)} settings" in figure.note


def test_how_many_other_settings_say_otherwise() -> None:
    """One clause for the top of a page; as many as say something else than the study's own."""
    given = study(1, 12)
    found = sensitivity(given, grid_of(SETTINGS, corrected=given.corrected), CHOICE)
    alike = replace(found, found=(found.own,) * 3)
    assert in_a_clause(alike) == "All 2 other settings give the same answer."
    turned = replace(found, found=(found.own, replace(found.own, says=Says.FIRST)))
    assert found.own.says is not Says.FIRST
    assert in_a_clause(turned) == "1 of 1 other setting gives another answer, see below."


def test_seasons_months_apart_have_a_figure_each() -> None:
    """On the same clock hours: a stay at 20:00 in March and one in September lie above each other.

    With more seasons than figures can stand beside each other, one holds all.
    """
    march = result("A", seen=(seen(sighting()),))
    later = timedelta(days=184)
    stay = replace(sighting(), first=at("20:00") + later, last=at("20:05") + later)
    september = result("B", seen=(seen(stay),))
    found = by_the_sun([march, september], places(), CHOICE)
    seasons = {"A": "2026-03", "B": "2026-09"}
    both = daylight_figures(found, SPECIES, SETTINGS.timezone, seasons)
    assert not isinstance(both, Undefined)
    assert [one.name for one in both] == ["visits-by-sun-1", "visits-by-sun-2"]
    assert [one.title.rsplit(", ")[1] for one in both] == ["2026-03", "2026-09"]
    assert [row["hours"] for one in both for row in one.rows] == [20.0, 20.0]
    first, second = (one.chart.to_dict()["layer"][1]["encoding"]["x"] for one in both)
    assert first == second
    assert all(one.note.startswith("n = 1 stay, on 1 of 1 tray;") for one in both)
    many = {"A": "1", "B": "2"} | {str(number): str(number) for number in range(3, 9)}
    whole = [replace(found.visits[0], deployment=one) for one in many]
    crowd = replace(found, visits=tuple(whole), n=len(whole))
    one = daylight_figures(crowd, SPECIES, SETTINGS.timezone, many)
    assert not isinstance(one, Undefined)
    assert [each.name for each in one] == ["visits-by-sun"]


def test_a_night_is_not_cut_at_midnight() -> None:
    """One at 23:00 and one at 02:00 of the next day lie three hours apart, in that order."""
    stays = [
        sighting(clock="23:00"),
        replace(sighting(), first=at("02:00", 1), last=at("02:05", 1)),
    ]
    found = by_the_sun([result(seen=(seen(*stays),))], places(), CHOICE)
    figure = drawn(of_sun(found))
    assert [row["hours"] for row in figure.rows] == [23.0, 26.0]


def test_every_figure_says_what_it_is_of() -> None:
    """Whose density, in what, between what, of which season: under the title that is printed."""
    choice = replace(CHOICE, seasons=("2026-03",))
    whole = of(seven(), choice)
    figures = [
        pairs_figure(whole.pairs, whole.test),
        differences_figure(whole.pairs, whole.test),
        flow_figure(whole.ledger),
        of_sun(by_the_sun(seven(), places(), choice)),
    ]
    for figure in map(drawn, figures):
        assert "density of: gerbil; measure: food left [g]; compared: open minus bush" in (
            figure.question
        )
        assert "Density of: gerbil; season: 2026-03." in figure.caption
        svg = look.svg(figure)
        assert "density of: gerbil" in svg
        assert "season: 2026-03" in svg


def test_marks_tell_whose_density_they_are() -> None:
    """In rows and tooltips: with whoever fed last the trays of one pair may be of two animals."""
    outcomes = seven()
    outcomes[1] = replace(outcomes[1], forager="mouse")
    whole = of(outcomes, replace(CHOICE, forager=None))
    joined = drawn(pairs_figure(whole.pairs, whole.test))
    assert [row["forager"] for row in joined.rows[:2]] == ["gerbil", "mouse"]
    apart = drawn(differences_figure(whole.pairs, whole.test))
    assert (apart.rows[0]["forager"], apart.rows[0]["other forager"]) == ("gerbil", "mouse")
    for figure in (joined, apart):
        assert '"forager' in str(figure.chart.to_dict()).replace("'", '"')


# --- print ---------------------------------------------------------------------------------------


def lightness(colour: str) -> float:
    """Give the relative luminance of a colour (WCAG 2, from memory)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(("ink", "page"), [(LIGHT, 1.0), (DARK, lightness("#0e1513"))])
def test_marks_stand_out_from_the_page(ink: look.Ink, page: float) -> None:
    """3 to 1 for marks and 4.5 to 1 for text against the page (WCAG 2.1, 1.4.11 and 1.4.3)."""
    for colour, least in ((ink.first, 3), (ink.second, 3), (ink.text, 4.5)):
        bright, dim = sorted((lightness(colour), page), reverse=True)
        assert (bright + 0.05) / (dim + 0.05) >= least, colour


def test_what_is_compared_differs_in_shape_too() -> None:
    """In grey print the two microhabitats are told apart by their shapes."""
    whole = of(seven())
    figure = drawn(pairs_figure(whole.pairs, whole.test))
    shape = figure.chart.to_dict()["layer"][1]["encoding"]["shape"]["scale"]
    assert shape["domain"] == ["open", "bush"]
    assert len(set(shape["range"])) == 2


@pytest.mark.parametrize("dark", [False, True])
def test_every_figure_becomes_svg_and_png(dark: bool) -> None:
    """Both are made here, without a network, and without a warning."""
    whole = of(seven())
    sun_visits = by_the_sun(seven(), places(), CHOICE)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figures = [
            pairs_figure(whole.pairs, whole.test, dark=dark),
            differences_figure(whole.pairs, whole.test, dark=dark),
            flow_figure(whole.ledger, dark=dark),
            of_sun(sun_visits, dark=dark),
        ]
        for figure in map(drawn, figures):
            svg = look.svg(figure)
            assert svg.startswith("<svg")
            assert figure.title in svg
            assert look.png(figure).startswith(b"\x89PNG\r\n")


# --- words ---------------------------------------------------------------------------------------


def test_too_few_pairs_are_not_no_effect() -> None:
    """Five differences of one sign: p could be 0.0625 at the least (2 / 2 ** 5)."""
    whole = of(seven()[:10])
    words = what_can_be_said(whole.test, CHOICE)
    assert "5 differences are too few" in words
    assert "0.062" in words
    assert "no sign that there is no difference" in words


def test_zeros_alone_are_not_too_few() -> None:
    """Eight equal pairs are eight; with two that differ, these two are too few, as is said."""
    equal = [result(f"{name}{site}", "3.0", name, site=f"S{site}")
             for site in range(8) for name in ("open", "bush")]  # fmt: skip
    said = what_can_be_said(of(equal).test, CHOICE)
    assert said.startswith("8 differences are zero, so there is nothing to rank and no p")
    for one in (0, 2):
        left = Decimal("3.4")
        equal[one] = replace(equal[one], gud=left, corrected=left)
    said = what_can_be_said(of(equal).test, CHOICE)
    assert said.startswith("2 differences are (of 8, 6 zero) too few for a test")
    assert "six differences that are not zero are the least" in said
    less = replace(CHOICE, alternative=Alternative.LESS)
    assert "five differences that are not zero" in what_can_be_said(of(equal, less).test, less)


def test_what_many_pairs_say() -> None:
    """A small p speaks against chance; a large one is not the same as no difference."""
    whole = of(seven())
    assert "speak against chance" in what_can_be_said(whole.test, CHOICE)
    mixed = seven()[:14]
    turned = [
        result(one.deployment.deployment, "2.9", "open", site=one.deployment.site)
        if at % 4 == 0 and one.deployment.microhabitat == "open"
        else one
        for at, one in enumerate(mixed)
    ]
    assert "not the same as no difference" in what_can_be_said(of(turned).test, CHOICE)


def test_pairs_of_two_animals_are_no_answer() -> None:
    """Whoever fed last: where one pair joins two animals, no p is read; the way out is named."""
    outcomes = seven()
    outcomes[1] = replace(outcomes[1], forager="mouse")
    anybody = replace(CHOICE, forager=None)
    whole = of(outcomes, anybody)
    said = what_can_be_said(whole.test, anybody)
    assert said.startswith("1 of 7 pairs compares")
    assert "forager" in said
    assert "chance" not in said
    assert "of different foragers" in difference(whole.test, anybody)
    assert "speak against chance" in what_can_be_said(of(seven(), anybody).test, anybody)


def test_levels_are_whole_where_they_are() -> None:
    """The level of an exact interval is told as it is, and the usual one without a digit more."""
    assert [level_text(one) for one in (0.95, 0.9609375, 0.99)] == ["95%", "96.1%", "99%"]


def test_numbers_are_written_short() -> None:
    """Three digits that count, and no powers of ten."""
    assert [number(one) for one in (1.23456, 0.000123, 1234.5, 2.0, 0.0)] == [
        "1.23", "0.000123", "1,230", "2", "0"
    ]  # fmt: skip
    assert (p_text(0.0004), p_text(0.0312)) == ("p < 0.001", "p = 0.031")


# --- bad input -----------------------------------------------------------------------------------

DROPPED = [
    result(f"{side}{n}", None, side, site=f"S{n}", status=Status.DROP,
           reason=Reason.EATER_NOT_SEEN, gud=None, forager="")
    for n in range(3) for side in ("open", "bush")
]  # fmt: skip
SAME = [result(f"{side}{n}", "3.0", side, site=f"S{n}") for n in range(7)
        for side in ("open", "bush")]  # fmt: skip
TIES = [result(f"{side}{n}", left, side, site=f"S{n}") for n in range(7)
        for side, left in (("open", "3.5"), ("bush", "3.0"))]  # fmt: skip
ZEROS = [result(f"{side}{n}", "0", side, site=f"S{n}") for n in range(7)
         for side in ("open", "bush")]  # fmt: skip


@pytest.mark.parametrize(
    ("outcomes", "words"),
    [
        pytest.param([], "cannot compare", id="no tray"),
        pytest.param(DROPPED, "cannot compare", id="all dropped"),
        pytest.param(SAME[:2], "zero, so there is nothing to rank", id="one pair"),
        pytest.param(SAME[:1], "cannot compare", id="a missing pair"),
        pytest.param(SAME, "zero, so there is nothing to rank", id="all differences zero"),
        pytest.param(TIES, "speak against chance", id="ties only"),
        pytest.param(ZEROS, "zero, so there is nothing to rank", id="all zeros"),
    ],
)
def test_bad_input_is_told_in_words(outcomes: list[Outcome], words: str) -> None:
    """Nothing raises, and there is no p where none is meant."""
    whole = of(outcomes)
    assert words in what_can_be_said(whole.test, CHOICE)
    assert difference(whole.test, CHOICE)
    for found in (
        pairs_figure(whole.pairs, whole.test),
        differences_figure(whole.pairs, whole.test),
        flow_figure(whole.ledger),
    ):
        if isinstance(found, Undefined):
            assert found.why
        else:
            assert look.svg(found).startswith("<svg")


def test_one_is_no_plural() -> None:
    """One tray, one pair lost: words fit the number."""
    whole = of([result("O1"), result("B1", None, "bush", status=Status.DROP)])
    lost = pairs_figure(whole.pairs, whole.test)
    assert isinstance(lost, Undefined)
    assert lost.why == "no pair has a density on both sides, 1 was lost"
    alone = flow_figure(of([result("O1")]).ledger)
    assert alone.note.startswith("n = 1 study tray. 1 has a value of")
    assert alone.words == "1 tray set out: 1 keep. 1 has a value."


def test_a_chain_without_a_tray() -> None:
    """A study without trays has no answer and no change, and nothing to draw, which is said."""
    given = study(0, 0)
    assert Chain(given).outcomes(SETTINGS) == []
    found = sensitivity(given, grid_of(SETTINGS, corrected=False), CHOICE)
    assert found.trays == ()
    figure = steps_figure(found)
    assert isinstance(figure, Undefined)
    assert figure.why.startswith("no choice gives a difference to draw")
    assert timedelta(seconds=120) in found.grid.gaps


# --- residuals -----------------------------------------------------------------------------------


def nights(sites: int) -> list[Outcome]:
    """So many sites, two nights each, uneven enough that something is left over."""

    def left(site: int, night: int, base: float, step: int) -> str:
        return f"{base + site * 0.3 + night * 0.2 + (site * step + night * 2) % 7 / 10:.1f}"

    return [
        result(f"{name}{site}{night}", left(site, night, base, step), name, site=f"S{site}",
               night=night)
        for site in range(sites) for night in (0, 1)
        for name, base, step in (("open", 4.0, 3), ("bush", 3.0, 5))
    ]  # fmt: skip


def test_residuals_stand_against_what_a_normal_one_would_be() -> None:
    """SciPy's probability plot with the same positions, (i - 1/2) / n, has the same quantiles."""
    mixed = of(nights(6)).mixed
    rows = residual_rows(mixed)
    residuals = np.array([row["residual"] for row in rows])
    positions = (np.arange(1, len(rows) + 1) - 0.5) / len(rows)
    expected = norm.ppf(positions, scale=residuals.std())
    assert [row["expected"] for row in rows] == pytest.approx(expected.tolist())
    assert residuals.tolist() == sorted(residuals.tolist())
    assert residuals.sum() == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("draw", [fitted_figure, normal_figure])
def test_residuals_are_drawn_tray_by_tray(draw: Any) -> None:
    """One mark a tray, each a way to its evidence; what to look for is said."""
    figure = drawn(draw(of(nights(6)).mixed))
    assert len(figure.rows) == 24
    assert figure.clickable
    assert "What to look for" in figure.note
    assert look.svg(figure).startswith("<svg")


def test_few_residuals_are_not_drawn() -> None:
    """Nothing can be read from them, which is said; neither without a model."""
    mixed = of(nights(2)).mixed
    few = fitted_figure(mixed)
    assert isinstance(few, Undefined)
    none = Undefined("no model")
    assert normal_figure(none) is none
    assert mixed.n < FEWEST
