"""The Results page: what is asked, figures with their numbers, the outcomes, what is amiss."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app import answers, foodwords, reportwords, session, widgets, wording
from core import people
from core.agreement import group_agreement, read_visits
from core.analysis.choice import Alternative, Choice, Measure
from core.analysis.intervals import Undefined
from core.analysis.mixed import MixedModel
from core.analysis.scales import Scale
from core.analysis.whole import Analysis
from core.analysisbook import Question, season_of
from core.exports import tables
from core.people import Act
from core.plots import look
from core.plots.daylight import daylight_figures
from core.plots.flow import flow_figure
from core.plots.look import Figure
from core.plots.pairs import differences_figure, pairs_figure
from core.plots.residuals import fitted_figure, normal_figure
from core.plots.steadiness import steps_figure
from core.plots.words import ANYBODY
from core.plural import many
from core.sensitivity import Axis, Grid, Sensitivity, Setting
from core.workspace import Workspace

# Columns that answer first; the file holds all in their own order.
FIRST = ("deployment", "status", "forager", "gud_g", "gud_items", "censored", "visits", "reason")
SMALL = 150
"""Up to so many trays the sensitivity is worked out unasked."""

WIDTHS = {"what": 270, "number": 170, "how": 764}
"""Of tables of numbers, together as wide as the page on a usual screen. [px]"""
LEDGER_WIDTHS = {"status": 100, "reason": 560, "tells": 464, "trays": 80}
BETWEEN = "\n"
"""Stands between seasons that are kept; no season has one in its name."""
ACROSS = 2
"""Figures side by side."""
PAPER = "On paper, or to send: 'lastbite report STUDY FILE.html' writes all of this as one page."

Draw = Callable[[bool], Figure | Undefined]
"""Draws a figure for a light (False) or a dark page."""


def results_page() -> None:
    """Draw the page."""
    workspace = session.workspace()
    st.title("Results")
    widgets.messages()
    if not workspace.outcomes():
        widgets.guide(workspace)
        st.info("There are no results yet: the tray log has no study tray.")
        cautions()
        return
    question = ask(workspace)
    analysis: Analysis = workspace.analysis.analyse(question)
    if not analysis.ledger.n:
        st.info("No tray is of that season. Choose another one.")
        return
    session.keep("settings-asked", answers.settings_asked(analysis))
    by_mass = workspace.analysis.by_mass(question)
    first = st.empty()
    say_first(first, analysis, by_mass, None)
    st.text(answers.asked(analysis))
    st.text(how_sure(workspace, question))
    st.text(PAPER)
    for words in filter(None, (*analysis.remarks, corrected(workspace, question))):
        st.warning(wording.plain(words), icon=":material/rule:")
    compared(analysis)
    flow(analysis)
    by_the_sun(workspace, question)
    how_often(analysis)
    models(analysis)
    mass_alone(analysis, by_mass)
    if people.may(session.who(), Act.SEE_ALL):
        say_first(first, analysis, by_mass, hangs_on(workspace, question))
    every_tray(workspace)
    to_put_right(workspace)
    cautions()


def ask(workspace: Workspace) -> Question:
    """Let people say whose density, between which microhabitats, of which seasons."""
    known: list[Any] = workspace.analysis.foragers()
    sides: list[str] = workspace.analysis.microhabitats()
    seasons: list[str] = workspace.analysis.seasons()
    names = {one.key: one.name for one in known} | {"": ANYBODY}
    shown = session.kept("whose", next(iter(names)))
    who, first, second, when = st.columns([2, 2, 2, 3], vertical_alignment="bottom")
    forager = who.selectbox(
        "Forager", list(names), format_func=lambda key: names[key], key="whose",
        index=_place(list(names), shown),
    )  # fmt: skip
    session.keep("whose", forager)
    kept = session.kept("seasons").split(BETWEEN)
    wanted = when.multiselect(
        "Season", seasons, [one for one in seasons if one in kept], placeholder="all", key="seasons"
    )
    session.keep("seasons", BETWEEN.join(wanted))
    question = Question(forager=forager, seasons=tuple(wanted))
    own = workspace.analysis.choice(question)
    left = first.selectbox(
        "Microhabitat", sides, index=_place(sides, session.kept("first") or own.first), key="first"
    )
    right = second.selectbox(
        "minus", sides, index=_place(sides, session.kept("second") or own.second), key="second"
    )
    session.keep("first", left)
    session.keep("second", right)
    if why := answers.shown_first(known, forager):
        st.text(why)
    return how(Question(forager, (left or "", right or ""), tuple(wanted)), own)


def how(question: Question, own: Choice) -> Question:
    """Let people say in what densities are told and how they are compared."""
    with st.popover("How it is compared", icon=":material/tune:", key="how"):
        measure = one_of("Measure", list(Measure), own.measure, "measure")
        each = st.toggle(
            "Rank each night, not the mean of a station",
            value=session.kept("each-night") == str(True), key="each-night",
        )  # fmt: skip
        session.keep("each-night", each)
        towards = one_of(
            "Alternative of the test", list(Alternative), Alternative.TWO_SIDED, "alternative",
            "Anything but two-sided is to be chosen before the data are seen.",
        )  # fmt: skip
        scale = one_of(
            "Scale of the mixed model", list(Scale), Scale.RAW, "scale",
            "Logit and arcsine need the share of the food left as the measure.",
        )  # fmt: skip
    return replace(
        question,
        measure=Measure(measure),
        scale=Scale(scale),
        average_nights=not each,
        alternative=Alternative(towards),
    )


def one_of(label: str, words: Sequence[str], own: str, key: str, help_: str | None = None) -> str:
    """Let people choose a word, which is kept on other pages; `own` stands first of all."""
    listed = [str(word) for word in words]
    chosen: str = st.selectbox(
        label, listed, _place(listed, session.kept(key) or own), key=key, help=help_
    )
    session.keep(key, "" if chosen == own else chosen)
    return chosen


def _place(names: Sequence[str], name: str) -> int:
    return names.index(name) if name in names else 0


def say_first(
    place: DeltaGenerator, analysis: Analysis, by_mass: Analysis, others: Sensitivity | None
) -> None:
    """Say what so many pairs can show and what not; the settings once they were tried."""
    told = answers.headline(analysis, others) + answers.mass_says_more(analysis, by_mass)
    place.markdown(f"**What this can say.** {wording.plain(told)}")


def how_sure(workspace: Workspace, question: Question) -> str:
    """Say how far clocks were put right and, to those who may see it, how far readers agree."""
    names = {one.placement for one in workspace.analysis.placements(question)}
    checks = sum(one.placement in names for one in workspace.clock_checks())
    history = [one for one in workspace.clocks.history() if one.placement in names]
    told = answers.clocks_asked(checks, sum(one.taken_back is None for one in history))
    if not names or not people.may(session.who(), Act.SEE_ALL):
        return told * bool(names)
    if question.seasons:
        read = read_visits(reportwords.visits_of(workspace.analysis.outcomes(question)))
        agreed = group_agreement(read)
    else:
        read = workspace.people.read_visits()
        agreed = workspace.people.agreements().group
    return f"{told} {reportwords.agreed(agreed, sum(one.ruled for one in read))}"


def corrected(workspace: Workspace, question: Question) -> str:
    """Say how many trays have no moisture control of their own; empty where each has."""
    outcomes = workspace.analysis.outcomes(question)
    found = foodwords.readings_of(workspace.trays(), outcomes, workspace.settings)
    return foodwords.remark(found.values())


# --- figures -------------------------------------------------------------------------------------


def figure(draw: Draw, missing: str) -> None:
    """Show a figure with its note; a click on a tray walks down to it, a press downloads it."""
    made = draw(session.dark())
    if isinstance(made, Undefined):
        st.info(wording.plain(f"{missing}: {made.why}."), icon=":material/info:")
        return
    st.markdown(f"**{wording.plain(made.title)}**")
    key = f"figure-{made.name}-{session.counter('figure')}"
    if made.clickable:
        event = st.altair_chart(
            made.chart, width="stretch", alt=made.words, key=key, on_select="rerun",
            selection_mode=look.PICKED,
        )  # fmt: skip
        walk_to(event)
    else:
        st.altair_chart(made.chart, width="stretch", alt=made.words, key=key)
    st.text(made.caption + " A click on a tray opens it." * made.clickable)
    keep(made, draw)


def walk_to(event: Any) -> None:
    """Go to the tray that was clicked, with its evidence, on the Trays page."""
    picked = event["selection"].get(look.PICKED) or []
    if picked and picked[0].get(look.TRAY):
        session.keep("deployment", picked[0][look.TRAY])
        session.count_up("deployment")
        session.count_up("figure")
        st.switch_page("screens/trays.py")


def keep(made: Figure, draw: Draw) -> None:
    """Offer a figure as SVG, PNG and the rows behind it, made when they are asked for."""

    def light() -> Figure:
        found = draw(False)
        return made if isinstance(found, Undefined) else found

    settings = session.kept("settings-asked")
    kinds: tuple[tuple[str, str, Callable[[], str | bytes]], ...] = (
        ("svg", "image/svg+xml", lambda: look.svg(light())),
        ("png", "image/png", lambda: look.png(light())),
        ("csv", "text/csv", lambda: answers.rows_text(made, settings)),
    )
    with st.popover("Download", icon=":material/download:", key=f"keep-{made.name}"):
        for kind, mime, content in kinds:
            st.download_button(
                "The data (CSV)" if kind == "csv" else kind.upper(), content,
                f"{made.name}.{kind}", mime, key=f"{kind}-{made.name}", on_click="ignore",
            )  # fmt: skip


def numbers(lines: Sequence[answers.Line], alt: str) -> None:
    """Show numbers with what each means; on a usual screen no word of it is cut off."""
    widgets.table(lines, alt=alt, widths=WIDTHS)


def compared(analysis: Analysis) -> None:
    """Show the pairs, their differences, and the numbers of the test."""
    st.subheader("Pairs", anchor=False)
    pairs, test = analysis.pairs, analysis.test
    left, right = st.columns(2, gap="medium")
    with left:
        figure(lambda dark: pairs_figure(pairs, test, dark=dark), "No pairs to draw")
    with right:
        figure(lambda dark: differences_figure(pairs, test, dark=dark), "No differences to draw")
    numbers(answers.pair_lines(pairs, test), "The paired comparison in numbers")
    if not isinstance(pairs, Undefined) and pairs.warning:
        st.warning(wording.plain(pairs.warning))
    lost = answers.lost_lines(pairs)
    if lost:
        with st.expander(f"{many(len(lost), 'pair was', 'pairs were')} lost"):
            widgets.table(lost, alt="Lost pairs with the reason")


def flow(analysis: Analysis) -> None:
    """Show the ledger as a flow, and how many trays were used."""
    st.subheader("From all trays to those with a density", anchor=False)
    figure(lambda dark: flow_figure(analysis.ledger, dark=dark), "No trays")
    widgets.table(
        answers.ledger_lines(analysis.ledger), alt="Trays by status and reason, adding up",
        widths=LEDGER_WIDTHS,
    )  # fmt: skip
    st.markdown("**Share of trays used, and density where they were**")
    widgets.table(answers.used_lines(analysis.used), alt="Use of trays and density in used trays")
    st.text("\n".join(answers.used_notes(analysis.used)))


def by_the_sun(workspace: Workspace, question: Question) -> None:
    """Show when animals came, by the height of the sun."""
    st.subheader("When animals came", anchor=False)
    found, zone = workspace.analysis.daylight(question), workspace.zone
    species = workspace.species()
    trays = [one.deployment for one in workspace.analysis.outcomes(question)]
    seasons = {one.deployment: season_of(one, zone) for one in trays}

    def draw(number: int, dark: bool) -> Figure | Undefined:
        made = daylight_figures(found, species, zone, seasons, dark=dark)
        return made if isinstance(made, Undefined) else made[number]

    all_made = daylight_figures(found, species, zone, seasons)
    many = 1 if isinstance(all_made, Undefined) else len(all_made)
    cells = st.columns(min(many, ACROSS), gap="medium")
    for number in range(many):
        with cells[number % ACROSS]:
            figure(partial(draw, number), "No visits by the sun")


def how_often(analysis: Analysis) -> None:
    """Show the visit rates by watched hours."""
    widgets.table(answers.rate_lines(analysis.rates), alt="Visits by watched hour")
    left_out = answers.left_out_of_rates(analysis.rates)
    if left_out:
        st.text(left_out)


def models(analysis: Analysis) -> None:
    """Show the two models, one that knows stations and nights, one that knows bounds."""
    st.subheader("Models", anchor=False)
    st.markdown("**With station and night as random effects**")
    numbers(answers.mixed_lines(analysis.mixed), "The mixed model in numbers")
    if not isinstance(analysis.mixed, Undefined):
        left_over(analysis.mixed)
    st.markdown("**With emptied and interrupted trays as bounds**")
    numbers(answers.censored_lines(analysis.censored), "The model with bounds")


def left_over(found: MixedModel) -> None:
    """Show what the mixed model leaves over; where nothing can be seen in it, say so once."""
    if isinstance(fitted_figure(found), Undefined):
        figure(lambda dark: fitted_figure(found, dark=dark), "No residuals to draw")
        return
    left, right = st.columns(2, gap="medium")
    with left:
        figure(lambda dark: fitted_figure(found, dark=dark), "Nothing to draw")
    with right:
        figure(lambda dark: normal_figure(found, dark=dark), "Nothing to draw")


def mass_alone(confirmed: Analysis, found: Analysis) -> None:
    """Show what the food says where nobody knows who ate, apart from the densities above."""
    told = answers.mass_alone(confirmed, found)
    if not told:
        return
    st.subheader("By mass alone, whoever ate", anchor=False)
    st.markdown(wording.plain(told))
    with st.expander("In numbers", expanded=not confirmed.ledger.analysed):
        widgets.table(answers.left_lines(found.used), alt="Use of trays and food left, by mass")
        st.text("\n".join(answers.used_notes(found.used)))
        numbers(answers.pair_lines(found.pairs, found.test), "Pairs by mass")
        lost = answers.lost_lines(found.pairs)
        if lost:
            widgets.table(lost, alt="Pairs by mass that were lost, with the reason")
        numbers(answers.mixed_lines(found.mixed), "Model by mass")
        numbers(answers.censored_lines(found.censored), "Model with bounds by mass")


# --- sensitivity ---------------------------------------------------------------------------------


def hangs_on(workspace: Workspace, question: Question) -> Sensitivity | None:
    """Show what another choice would change, and let people try any of them; None: not asked."""
    st.subheader("How far this hangs on the settings", anchor=False)
    small = len(workspace.analysis.outcomes(question)) <= SMALL
    asked = st.toggle(
        "Work the study out under other settings too (some seconds)", value=small, key="other"
    )
    if not asked:
        return None
    with st.spinner("Working the whole study out under every setting …"):
        found = workspace.analysis.sensitivity(question)
    figure(lambda dark: steps_figure(found, dark=dark), "No differences under other settings")
    tried(found)
    with st.expander("In numbers", expanded=False):
        widgets.table(answers.step_lines(found), alt="What one other choice changes")
        shaky = answers.unsteady_lines(found)
        if shaky:
            st.markdown("**Trays that come out differently under some setting**")
            widgets.table(shaky, alt="Trays that hang on the settings")
    return found


def tried(found: Sensitivity) -> None:
    """Let people choose a setting of the grid, and say what would come out."""
    grid, own = found.grid, found.grid.own
    cells = iter(st.columns(5))
    gap = slide(next(cells), Axis.GAP, grid.gaps, own.gap, grid)
    within = slide(next(cells), Axis.TOLERANCE, grid.tolerances, own.tolerance, grid)
    feeder = slide(next(cells), Axis.FEEDER, grid.feeders, own.feeder, grid)
    taggers = slide(next(cells), Axis.TAGGERS, grid.taggers, own.taggers, grid)
    clocks = slide(next(cells), Axis.CLOCKS, grid.clocks, own.clocks, grid)
    st.text(answers.at_setting(found, Setting(gap, within, feeder, taggers, clocks)))


def slide(
    cell: st.delta_generator.DeltaGenerator, axis: Axis, values: Sequence[Any], own: Any, grid: Grid
) -> Any:
    """Let people move along one axis; an axis with one choice has nothing to move."""
    if len(values) == 1:
        cell.text(f"{axis}: {grid.along(axis)[0].value(axis)}")
        return values[0]
    written = dict(zip(values, (one.value(axis) for one in grid.along(axis)), strict=True))
    return cell.select_slider(
        str(axis), list(values), own, format_func=lambda one: written[one], key=f"try-{axis.name}"
    )


# --- every tray ----------------------------------------------------------------------------------


def every_tray(workspace: Workspace) -> None:
    """Show the outcome table with the settings behind it, and offer all tables."""
    st.subheader("One line a tray", anchor=False)
    st.text(
        "All trays of the study, of every season, whoever ate: what is chosen above narrows "
        "neither this table nor its files."
    )
    rows = list(workspace.outcome_rows())
    order = [name for name in FIRST if any(row[name] for row in rows)]
    order += [name for name in tables.OUTCOME_COLUMNS if name not in order]
    widgets.table(rows, alt="Outcomes, one row a tray deployment", columns=order)
    downloads(workspace)
    with st.expander("Settings behind these numbers"):
        widgets.table(wording.settings_lines(workspace.settings), alt="Settings of the study")


def downloads(workspace: Workspace) -> None:
    """Offer the three tables as CSV, made when they are asked for."""
    sources: tuple[tuple[str, Iterable[str], Callable[[], Iterable[tables.Row]]], ...] = (
        ("outcomes", tables.OUTCOME_COLUMNS, workspace.outcome_rows),
        ("visits", tables.VISIT_COLUMNS, workspace.visit_rows),
        ("photos", tables.PHOTO_COLUMNS, workspace.photo_rows),
    )
    for cell, (name, columns, rows) in zip(st.columns([1, 1, 1, 2]), sources, strict=False):

        def made(
            columns: Iterable[str] = columns, rows: Callable[[], Iterable[tables.Row]] = rows
        ) -> str:
            return "".join(tables.csv_text(columns, rows()))

        cell.download_button(
            f"Download {name} (CSV)", made, f"{name}.csv", "text/csv", key=f"csv-{name}",
            icon=":material/download:", on_click="ignore", width="stretch",
            type="primary" if name == "outcomes" else "secondary",
        )  # fmt: skip


def to_put_right(workspace: Workspace) -> None:
    """List what `check` finds: what has to be put right, then what is good to know."""
    found = sorted(workspace.check(), key=lambda one: not one.serious)
    serious = sum(one.serious for one in found)
    with st.expander(
        f"To put right: {serious}. Good to know: {len(found) - serious}.",
        expanded=bool(serious),
        icon=":material/rule:",
    ):
        if not found:
            st.text("Nothing was found.")
            return
        widgets.table(
            [
                {
                    "": "to put right" if one.serious else "good to know",
                    "about": one.thing,
                    "what": one.message,
                }
                for one in found
            ],
            alt="What was found in the study",
        )


def cautions() -> None:
    """Show the cautions, which defer to local rules and licensed practice."""
    with st.expander("Before you handle trays: cautions", icon=":material/health_and_safety:"):
        for topic, words in wording.CAUTIONS.items():
            st.markdown(f"**{topic}.** {wording.plain(words)}")


results_page()
