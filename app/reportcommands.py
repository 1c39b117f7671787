"""The command that writes a report of a study: what is asked of it, and where it goes."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from app.report import Material
    from core.analysisbook import Question
    from core.workspace import Workspace

MEASURES = click.Choice(["grams", "grams-per-litre", "items", "proportion"])
SCALES = click.Choice(["raw", "log", "logit", "arcsine"])
ANY = "any"
"""Asks for whoever fed last, in place of a forager."""
ALTERNATIVES = click.Choice(["two-sided", "greater", "less"])


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.argument("file", metavar="FILE.html", type=click.Path(path_type=Path))
@click.option(
    "--forager",
    metavar="KEY",
    help="Whose density: a key of the species, or 'any': whoever fed last.  "
    "[default: the one with most pairs]",
)
@click.option("--microhabitats", nargs=2, metavar="FIRST SECOND", help="What is compared.")
@click.option("--season", multiple=True, metavar="S", help="Only trays of this season.")
@click.option("--measure", type=MEASURES, help="In what densities are told.")
@click.option("--scale", type=SCALES, default="raw", help="Of the mixed model.")
@click.option("--each-night", is_flag=True, help="Rank each night, not the mean of a station.")
@click.option("--alternative", type=ALTERNATIVES, default="two-sided", help="Of the test.")
@click.option("--sensitivity", is_flag=True, help="Also work it out under other settings.")
@click.option("--pictures", is_flag=True, help="Show photos of the trays without a density.")
@click.option("--people", is_flag=True, help="With notes of the logs, and people on photos.")
@click.option("--places", is_flag=True, help="With names of sites, and places rounded.")
@click.option("--overwrite", is_flag=True, help="Write over FILE.html where it is there.")
def report(
    study: Path,
    file: Path,
    forager: str | None,
    microhabitats: tuple[str, str] | None,
    season: tuple[str, ...],
    measure: str | None,
    scale: str,
    each_night: bool,
    alternative: str,
    sensitivity: bool,
    pictures: bool,
    people: bool,
    places: bool,
    overwrite: bool,
) -> None:
    """Write one page with methods, figures and tables, to be sent, printed and checked.

    It needs no network and no other file. People and places are left out unless asked for.
    """
    from app import answers  # noqa: PLC0415
    from app import report as layout  # noqa: PLC0415
    from core.analysis.choice import Alternative, Measure  # noqa: PLC0415
    from core.analysis.scales import Scale  # noqa: PLC0415
    from core.errors import StudyError  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    if file.exists() and not overwrite:
        raise StudyError(f"{file} is there already. Name another file, or say --overwrite.")
    with Workspace.open(study) as workspace:
        known = workspace.analysis.foragers()
        whose = whose_density(forager, [one.key for one in known])
        question = replace(
            workspace.analysis.question(whose, microhabitats, season),
            measure=Measure[_name(measure)] if measure else None,
            scale=Scale[_name(scale)],
            average_nights=not each_night,
            alternative=Alternative[_name(alternative)],
        )
        material = gather(workspace, question, sensitivity=sensitivity)
        if forager is None:
            material = replace(material, shown_first=answers.shown_first(known, whose))
        made = layout.page(material, layout.Wanted(people, places, pictures))
    _write(file, made)
    click.echo(f"Wrote {file}.", err=True)


def whose_density(word: str | None, owners: Sequence[str]) -> str:
    """Give the forager that is asked for: unasked the first of the owners, `any`: no single one."""
    if word is None:
        return owners[0] if owners else ""
    return "" if word.strip().casefold() == ANY else word


def _name(word: str) -> str:
    """Give the name that a word of the command has in the code."""
    return word.replace("-", "_").upper()


def gather(
    workspace: "Workspace", question: "Question", *, sensitivity: bool = False
) -> "Material":
    """Ask the study for everything that a report is made of."""
    from app.foodwords import readings_of  # noqa: PLC0415
    from app.report import Material  # noqa: PLC0415
    from app.reportwords import Facts, visits_of  # noqa: PLC0415
    from core.agreement import group_agreement, read_visits  # noqa: PLC0415
    from core.analysis.daylight import places_of  # noqa: PLC0415
    from core.analysisbook import season_of  # noqa: PLC0415

    analysis, zone = workspace.analysis, workspace.zone
    placements, outcomes = analysis.placements(question), analysis.outcomes(question)
    names = {one.placement for one in placements}
    visits = visits_of(outcomes) if question.seasons else workspace.people.visits()
    read = read_visits(visits)
    history = [one for one in workspace.clocks.history() if one.placement in names]
    facts = Facts(
        trays=analysis.trays(question),
        placements=placements,
        settings=workspace.settings,
        taggers=len({tag.tagger for one in visits for tag in one.answer.tags}),
        corrections=sum(one.taken_back is None for one in history),
        checks=sum(one.placement in names for one in workspace.clock_checks()),
        agreed=group_agreement(read),
        ruled=sum(one.ruled for one in read),
        sensitive=any(one.sensitive for one in workspace.species().values()),
        readings=readings_of(workspace.trays(), outcomes, workspace.settings),
    )
    return Material(
        facts=facts,
        outcomes=outcomes,
        choice=workspace.analysis.choice(question),
        species=workspace.species(),
        tray_places=places_of(placements),
        checksums=workspace.analysis.checksums(),
        picture_of=lambda photo: _small_copy(workspace, photo),
        by_mass=analysis.by_mass(question),
        seasons={one.deployment.deployment: season_of(one.deployment, zone) for one in outcomes},
        sensitivity=workspace.analysis.sensitivity(question) if sensitivity else None,
    )


def _small_copy(workspace: "Workspace", photo: int) -> bytes | str:
    from core.errors import LastbiteError  # noqa: PLC0415
    from core.pictures import STRIP_PX  # noqa: PLC0415

    try:
        found = workspace.previews.copy(workspace.previews.original(photo), STRIP_PX)
    except LastbiteError as fault:
        last = workspace.previews.last(photo, STRIP_PX)
        return str(fault) if last is None else last.read_bytes()
    return found.read_bytes() if isinstance(found, Path) else found


def _write(file: Path, text: str) -> None:
    """Write a file whole or not at all."""
    from core.errors import StudyError  # noqa: PLC0415

    part = file.with_name(file.name + ".part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(file)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise StudyError(
            f"{str(file)!r} cannot be written: {fault.strerror or fault}. Name another file."
        ) from None


ALL = (report,)
