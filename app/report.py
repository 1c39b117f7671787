"""Decide how a study is told on one page that needs nothing else: for a reviewer, and for paper.

People and places stay out of it unless they are asked for: names of taggers, notes of the logs,
people in pictures, sites and coordinates; with a sensitive species listed, also the visits by the
height of the sun, which would tell where the trays stood.
"""

import base64
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from itertools import count

from app import answers, foodwords, reportwords, wording
from app.reportwords import Facts
from core.analysis.choice import Choice, folded
from core.analysis.daylight import Place, by_the_sun
from core.analysis.intervals import Undefined
from core.analysis.pairs import Pairs
from core.analysis.told import tell
from core.analysis.whole import Analysis, analyse
from core.model import AnsweredVisit, Outcome, Photo, Species, SpeciesRole, Status
from core.plots import look
from core.plots.daylight import daylight_figures
from core.plots.flow import flow_figure
from core.plots.look import Figure
from core.plots.pairs import differences_figure, pairs_figure
from core.plots.residuals import fitted_figure, normal_figure
from core.plots.steadiness import steps_figure
from core.plots.words import UNIT
from core.plural import many
from core.privacy import shows_people
from core.sensitivity import Sensitivity

LONGEST_WORD = 30
"""Longer words, such as checksums, are broken where a column ends. [characters]"""
DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
"""Is never broken at its dashes."""
MOST_PICTURES = 6
"""So many photos of a tray are shown at the most."""
WITHOUT = (Status.DROP, Status.ERROR, Status.PENDING, Status.NO_GUD)

PictureOf = Callable[[int], bytes | str]
"""Gives the small copy of a photo by its id (a JPEG), or in words why there is none."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What goes into a report beside what always does."""

    people: bool = False
    places: bool = False
    pictures: bool = False


@dataclass(frozen=True, slots=True)
class Material:
    """Everything that a report is made of."""

    facts: Facts
    outcomes: Sequence[Outcome]
    choice: Choice
    species: Mapping[str, Species]
    tray_places: Mapping[str, Place]
    checksums: Mapping[str, str]
    """SHA-256 of the tables, by the command that writes them."""
    picture_of: PictureOf
    by_mass: Analysis
    """Of the same trays, whoever ate."""
    seasons: Mapping[str, str]
    """The season of each tray deployment."""
    shown_first: str = ""
    """Why this forager is shown, where nobody asked for one."""
    sensitivity: Sensitivity | None = None


def page(material: Material, wanted: Wanted) -> str:
    """Give the whole report as HTML, with no script and nothing to fetch."""
    shown = material if wanted.places else _without_places(material)
    shown = shown if wanted.people else _without_people(shown)
    facts = shown.facts
    analysis = analyse(shown.outcomes, shown.choice, shown.species, facts.settings)
    title = f"{facts.settings.name}: giving-up densities"
    body = "\n".join(
        [
            f"<h1>{escape(title)}</h1>",
            _paragraph(
                f"What this can say. {answers.headline(analysis, shown.sensitivity)}"
                f"{answers.mass_says_more(analysis, shown.by_mass)}"
            ),
            _paragraph(f"{answers.asked(analysis)} {_clocks(facts)} {shown.shown_first}".strip()),
            *map(_paragraph, analysis.remarks),
            _paragraph(foodwords.remark(facts.readings.values())),
            _heading("Methods"),
            _paragraph(reportwords.methods(facts, analysis)),
            _heading("Settings"),
            _table(wording.settings_lines(facts.settings)),
            _heading("What a camera study reports"),
            _paragraph(
                "The items that the published guideline for camera studies asks for (Meek et al. "
                "2014, Biodiversity and Conservation 23:2321), as the logs have them."
            ),
            _table(reportwords.reporting_items(facts, shown.choice, places=wanted.places)),
            *_corrected(shown),
            *_results(analysis, shown, wanted),
            *_values(analysis, shown),
            *_set_aside(shown, wanted),
            _heading("To check this report"),
            _paragraph("What the numbers were worked out with:"),
            _table(reportwords.software()),
            _paragraph("SHA-256 of the tables that these commands write from the same study:"),
            _table([{"command": k, "SHA-256": v} for k, v in shown.checksums.items()]),
            _paragraph(_left_out(facts, wanted)),
        ]
    )
    return _PAGE.replace("@title@", escape(title)).replace("@body@", body)


def _clocks(facts: Facts) -> str:
    return answers.clocks_asked(facts.checks, facts.corrections) if facts.placements else ""


def _corrected(material: Material) -> Iterable[str]:
    """Give the factors that the food was corrected by."""
    facts = material.facts
    lines = foodwords.factor_lines(material.outcomes, facts.readings, facts.settings)
    if lines:
        yield _heading("What the food was corrected by")
        yield _paragraph(
            "Food left is divided by each factor: what controls weighed after, over before. SD is "
            "that of the single controls."
        )
        yield _table(lines)


def _results(analysis: Analysis, material: Material, wanted: Wanted) -> Iterable[str]:
    pairs, test, found = analysis.pairs, analysis.test, material.sensitivity
    number = count(1)
    yield _heading("From all trays to those with a density")
    yield _figure(flow_figure(analysis.ledger), number)
    yield _table(answers.ledger_lines(analysis.ledger))
    yield _heading("Use of trays, and density where they were used")
    yield _table(answers.used_lines(analysis.used))
    yield from map(_paragraph, answers.used_notes(analysis.used))
    yield _heading("Pairs")
    yield _figure(pairs_figure(pairs, test), number)
    yield _figure(differences_figure(pairs, test), number)
    yield _table(answers.pair_lines(pairs, test))
    if not isinstance(pairs, Undefined):
        yield _paragraph(pairs.warning)
    yield _lost(pairs)
    yield _heading("Visits")
    if not material.facts.sensitive or wanted.places:
        yield from _by_the_sun(analysis, material, number)
    yield _table(answers.rate_lines(analysis.rates))
    yield _paragraph(answers.left_out_of_rates(analysis.rates))
    yield _heading("Models")
    yield _table(answers.mixed_lines(analysis.mixed))
    if not isinstance(analysis.mixed, Undefined):
        yield _figure(fitted_figure(analysis.mixed), number)
        if not isinstance(normal := normal_figure(analysis.mixed), Undefined):
            yield _figure(normal, number)
    yield _table(answers.censored_lines(analysis.censored))
    yield from _by_mass(analysis, material.by_mass)
    if found is not None:
        yield _heading("How far this hangs on the settings")
        yield _figure(steps_figure(found), number)
        yield _table(answers.step_lines(found))
        yield _table(answers.unsteady_lines(found))


def _by_the_sun(analysis: Analysis, material: Material, number: Iterator[int]) -> Iterable[str]:
    choice = analysis.choice
    daylight = by_the_sun(material.outcomes, material.tray_places, choice)
    found = daylight_figures(daylight, material.species, choice.zone, material.seasons)
    for one in (found,) if isinstance(found, Undefined) else found:
        yield _figure(one, number)


def _values(analysis: Analysis, material: Material) -> Iterable[str]:
    """List every value that went in, so that somebody can check them."""
    choice = analysis.choice
    owned, told = (
        tell(material.outcomes, one, material.species)
        for one in (replace(choice, forager=None), choice)
    )
    trays = answers.tray_lines(owned, told, analysis.pairs)
    pairs = answers.made_lines(analysis.pairs)
    unit = UNIT[analysis.choice.measure]
    yield _heading(f"Trays with an owner ({len(trays)}) and pairs ({len(pairs)})")
    yield _paragraph(
        f"All trays whose forager is confirmed, whoever it is; densities and bounds [{unit}]. "
        "Under `here` stands why a tray gives this question no value."
    )
    yield _folding(f"{many(len(trays), 'tray')} with an owner", trays)
    yield _folding(f"{many(len(pairs), 'pair')} with a density on both sides", pairs)


def _by_mass(confirmed: Analysis, found: Analysis) -> Iterable[str]:
    """Tell what the food says where nobody knows who ate, apart from the densities."""
    told = answers.mass_alone(confirmed, found)
    if told:
        yield _heading("By mass alone, whoever ate")
        yield _paragraph(told)
        yield _table(answers.left_lines(found.used))
        yield from map(_paragraph, answers.used_notes(found.used))
        yield _table(answers.pair_lines(found.pairs, found.test))
        yield _lost(found.pairs)
        yield _table(answers.mixed_lines(found.mixed))
        yield _table(answers.censored_lines(found.censored))


def _lost(pairs: Pairs | Undefined) -> str:
    lost = {} if isinstance(pairs, Undefined) else pairs.lost_by_reason()
    return _table([{"why pairs were lost": why, "pairs": str(n)} for why, n in lost.items()])


def _set_aside(material: Material, wanted: Wanted) -> Iterable[str]:
    """List every tray without a density, with why, and its photos where they are asked for."""
    aside = [one for one in material.outcomes if one.status in WITHOUT]
    yield _heading(f"Trays without a density ({len(aside)})")
    if not wanted.pictures:
        yield _table([_aside_line(one) for one in aside])
        return
    for one in aside:
        line = _aside_line(one)
        told = "; ".join(value for key, value in line.items() if key != "deployment" and value)
        yield f"<section><h3>{escape(line['deployment'])}</h3>{_paragraph(told)}"
        yield _pictures(one, material, wanted)
        yield "</section>"


def _aside_line(one: Outcome) -> dict[str, str]:
    share = "" if one.watched_share is None else f"watched {one.watched_share:.0%}"
    return {
        "deployment": one.deployment.deployment,
        "status": str(one.status),
        "reason": str(one.reason),
        "food": wording.food(one),
        "visits": f"{many(one.visits_all, 'visit')} of animals, {one.unanswered} unanswered",
        "window": share,
        "notes": "; ".join(dict.fromkeys(filter(None, (*one.notes, one.deployment.notes)))),
    }


# --- pictures ------------------------------------------------------------------------------------


def _pictures(outcome: Outcome, material: Material, wanted: Wanted) -> str:
    """Give the first and last photo of each visit; visits with people only where asked for."""
    parts = [part for visit in outcome.seen for part in visit.parts]
    if not parts:
        return _paragraph("No photo falls into its window but those of set-out and pick-up.")
    shown = [one for one in parts if wanted.people or not shows_people(one, material.species)]
    photos = list(dict.fromkeys(p for one in shown for p in _ends(one)))
    cells = [_picture(photo, material.picture_of) for photo in photos[:MOST_PICTURES]]
    hidden = len(parts) - len(shown)
    words = [
        f"{many(hidden, 'visit')} left out: people may be on them, or no answer is held"
        if hidden
        else "",
        many(len(photos) - MOST_PICTURES, "more photo") if len(photos) > MOST_PICTURES else "",
    ]
    return "".join(cells) + _paragraph("; ".join(filter(None, words)))


def _ends(answered: AnsweredVisit) -> tuple[Photo, ...]:
    photos = answered.visit.photos
    return (photos[0],) if len(photos) == 1 else (photos[0], photos[-1])


def _picture(photo: Photo, picture_of: PictureOf) -> str:
    found = picture_of(photo.id)
    name = escape(f"{photo.placement}, {photo.file}")
    if isinstance(found, str):
        return f"<p>{name}: {escape(found)}</p>"
    data = base64.b64encode(found).decode()
    return (
        f'<figure class="photo"><img alt="{name}" src="data:image/jpeg;base64,{data}">'
        f"<figcaption>{name}</figcaption></figure>"
    )


# --- what stays out ------------------------------------------------------------------------------


def _without_places(material: Material) -> Material:
    """Give sites numbers, in the order of the log, in place of their names."""
    numbers: dict[str, str] = {}

    def renamed(outcome: Outcome) -> Outcome:
        site = folded(outcome.deployment.site)
        if not site:
            return outcome
        name = numbers.setdefault(site, f"site {len(numbers) + 1}")
        return replace(outcome, deployment=replace(outcome.deployment, site=name))

    return replace(material, outcomes=[renamed(one) for one in material.outcomes])


def _without_people(material: Material) -> Material:
    """Leave out what people wrote into notes, and when people were there."""
    persons = {key for key, one in material.species.items() if one.role is SpeciesRole.PERSON}

    def bare(outcome: Outcome) -> Outcome:
        notes = tuple(one for one in outcome.notes if one != outcome.deployment.notes)
        seen = outcome.seen
        if any(one.species in persons for visit in seen for one in visit.sightings):
            seen = tuple(
                replace(visit, sightings=tuple(
                    one for one in visit.sightings if one.species not in persons
                ))
                for visit in seen
            )  # fmt: skip
        deployment = replace(outcome.deployment, notes="", handler="")
        return replace(outcome, deployment=deployment, notes=notes, seen=seen)

    return replace(material, outcomes=[bare(one) for one in material.outcomes])


def _left_out(facts: Facts, wanted: Wanted) -> str:
    words = []
    if not wanted.people:
        words.append(
            "Left out: names of people, notes of the logs, and when and on which photos people are."
        )
    if not wanted.places:
        words.append("Left out: coordinates and names of sites, which are numbered.")
        if facts.sensitive:
            words.append(
                "A species whose places are not to be published is listed, so visits by the "
                "height of the sun, which tell a place, are left out too."
            )
    words.append("Names of trays and placements stand as they were logged.")
    return " ".join(words)


# --- HTML ----------------------------------------------------------------------------------------


def _heading(words: str) -> str:
    return f"<h2>{escape(words)}</h2>"


def _paragraph(words: str) -> str:
    return f"<p>{escape(words)}</p>" if words else ""


def _table(lines: Sequence[Mapping[str, str]]) -> str:
    """Give lines as a table, columns without a cell left out; nothing where there is no line."""
    names = [name for name in (lines[0] if lines else ()) if any(line[name] for line in lines)]
    if not names:
        return ""
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in names)
    rows = "".join(
        "<tr>" + "".join(_cell(str(line[name])) for name in names) + "</tr>" for line in lines
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _cell(words: str) -> str:
    """Give a cell; only one with a word that no column could hold is broken anywhere."""
    long = max(map(len, words.split()), default=0) > LONGEST_WORD
    opened = (
        '<td class="long">' if long else '<td class="date">' if DATE.fullmatch(words) else "<td>"
    )
    return f"{opened}{escape(words)}</td>"


def _folding(title: str, lines: Sequence[Mapping[str, str]]) -> str:
    """Give a table that can be folded away on a screen, and is open on paper."""
    if not lines:
        return ""
    return f"<details open><summary>{escape(title)}</summary>{_table(lines)}</details>"


def _figure(found: Figure | Undefined, numbers: Iterator[int]) -> str:
    """Give a figure inline; its marks' ids are made its own, since all figures share one page."""
    if isinstance(found, Undefined):
        return _paragraph(f"Nothing to draw here: {found.why}.")
    number = next(numbers)
    drawn = re.sub(r'(id="|url\(#|href="#)', rf"\1f{number}-", look.svg(found))
    return (
        f'<figure role="img" aria-label="{escape(found.words, quote=True)}">{drawn}'
        f"<figcaption>Figure {number}. {escape(found.title)}. {escape(found.caption)}</figcaption>"
        "</figure>"
    )


_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy"
 content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<title>@title@</title>
<style>
body { font: 15px/1.5 sans-serif; color: #1c2421; background: #fff; max-width: 60rem;
 margin: 2rem auto; padding: 0 1rem; }
h1, h2, h3 { line-height: 1.25; break-after: avoid; }
table { border-collapse: collapse; margin: 0.8rem 0; width: 100%; font-size: 13px; }
th, td { border-bottom: 1px solid #c5ccc8; padding: 0.25rem 0.5rem; text-align: left;
 vertical-align: top; overflow-wrap: break-word; }
td.long { overflow-wrap: anywhere; }
td.date { white-space: nowrap; }
summary { font-weight: bold; cursor: pointer; }
thead { display: table-header-group; }
tr, figure, section { break-inside: avoid; }
figure { margin: 1rem 0; }
figure svg { max-width: 100%; height: auto; }
figcaption { font-size: 13px; color: #4c5752; }
figure.photo { display: inline-block; width: 15rem; margin: 0.3rem; vertical-align: top; }
figure.photo img { max-width: 100%; }
@page { size: A4; margin: 16mm; }
@media print { body { margin: 0; max-width: none; } }
</style></head>
<body>
@body@
</body></html>
"""
