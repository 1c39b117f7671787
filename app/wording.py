"""Decide how results are put into words; no Streamlit, no terminal."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from core.exports.tables import name_of, number_text, time_text
from core.model import AnsweredVisit, Finding, Outcome, Photo, SeenVisit, Species, Tag
from core.scan import ScanReport
from core.workspace import Counts

MOST_PROBLEMS = 20
"""So many problem files are listed after a scan; `lastbite photos` lists all."""


def counts(found: Counts) -> str:
    """Say how many rows of a log were new, changed, or there already."""
    return f"{found.new} new, {found.changed} changed, {found.same} as before."


def finding(found: Finding) -> str:
    """Say one finding; `!` marks what has to be put right."""
    return f"{'!' if found.serious else '-'} {found.thing}: {found.message}"


def scan_report(report: ScanReport) -> list[str]:
    """Say what a scan found, a line each."""
    new = f"{report.photos} photos, {report.copies} copies, {report.others} no pictures"
    files = f"{report.files} files, {report.new} new ({new}), {report.known} known."
    lines = [f"{report.placement}: {files}"]
    if report.first_shown and report.last_shown:
        lines.append(f"The camera showed {report.first_shown} to {report.last_shown}.")
    if report.moved_here:
        lines.append(f"{report.moved_here} photos are known from a folder that is gone: same card.")
    if report.changed:
        lines.append(f"{report.changed} files changed since they were first scanned.")
    if report.gone:
        lines.append(f"{report.gone} known files are no longer on the card; the study keeps them.")
    lines += [f"  {file}: {problem}" for file, problem in report.problems[:MOST_PROBLEMS]]
    more = len(report.problems) - MOST_PROBLEMS
    if more > 0:
        lines.append(f"  and {more} more; 'lastbite photos' lists them all.")
    return lines


def explain(outcome: Outcome, species: Mapping[str, Species], zone: ZoneInfo) -> list[str]:
    """Walk an outcome back: rule cell, food, watched time, visits, tags, photos, clock."""
    tray = outcome.deployment
    lines = [
        f"deployment  {tray.deployment}",
        f"tray        {tray.tray}",
        f"status      {outcome.status}",
        f"reason      {outcome.reason}",
        f"rule cell   {outcome.cell}",
        f"window      {time_text(tray.set_out, zone)} to {time_text(tray.picked_up, zone)}",
        f"food        {food(outcome)}",
        f"density     {density(outcome)}",
        f"forager     {outcome.forager or 'none'}",
        f"on tray     {outcome.visits} visits of the forager, {outcome.visits_all} of all animals",
        f"watched     {watched(outcome, zone)}",
    ]
    lines += [f"note        {note}" for note in outcome.notes]
    lines.append(f"visits      {len(outcome.seen)} in the window, {outcome.unanswered} unanswered")
    for number, seen in enumerate(outcome.seen, start=1):
        lines += _visit(number, seen, species, zone)
    return lines


def food(outcome: Outcome) -> str:
    """Say what was put in, left, and left after corrections."""
    tray = outcome.deployment
    unit = "items" if tray.counted else "g"
    start = tray.items_start if tray.counted else tray.food_start_g
    left = tray.items_left if tray.counted else tray.food_left_g
    text = f"start {_or_blank(start)} {unit}, left {_or_blank(left)} {unit}"
    if outcome.corrected is None:
        return text
    return (
        f"{text}, corrected {number_text(outcome.corrected, 4)} {unit}, "
        f"eaten {number_text(outcome.eaten, 4)} {unit}"
    )


def _or_blank(amount: Decimal | int | None) -> str:
    return "blank" if amount is None else f"{amount}"


def density(outcome: Outcome) -> str:
    """Write a giving-up density with its unit and bound."""
    if outcome.gud is None:
        return "none"
    sign = {"below": "below ", "at_most": "at most "}.get(str(outcome.censored), "")
    unit = "items" if outcome.deployment.counted else "g"
    return f"{sign}{number_text(outcome.gud, 4)} {unit}"


def watched(outcome: Outcome, zone: ZoneInfo) -> str:
    """Say how much of the window was watched, and when."""
    if outcome.watched_share is None:
        return "not known, a time is missing"
    spans = ", ".join(
        f"{time_text(span.start, zone)} to {time_text(span.end, zone)}" for span in outcome.watched
    )
    return f"{outcome.watched_share:.1%}" + (f" ({spans})" if spans else "")


def _visit(
    number: int, seen: SeenVisit, species: Mapping[str, Species], zone: ZoneInfo
) -> list[str]:
    marks = [
        words
        for holds, words in (
            (seen.cut_at_set_out, "cut at set-out"),
            (seen.running_at_pickup, "running at pick-up"),
            (seen.outside_placement, "outside the camera's start and end"),
            (seen.which_tray, "which tray?"),
        )
        if holds
    ]
    start, end = time_text(seen.start, zone), time_text(seen.end, zone)
    lines = [f"visit {number}: {start} to {end}" + (f" ({', '.join(marks)})" if marks else "")]
    for part in seen.parts:
        lines += _part(part, species, zone)
    return lines


def _part(part: AnsweredVisit, species: Mapping[str, Species], zone: ZoneInfo) -> list[str]:
    visit, answer = part.visit, part.answer
    said = "+".join(name_of(key, species) for key in answer.species)
    lines = [
        f"  placement {visit.placement}, visit {visit.number}, {len(visit.photos)} photos",
        f"  first photo {photo_line(visit.photos[0], zone)}",
        f"  last photo  {photo_line(visit.photos[-1], zone)}",
        f"  {answer.state}: {said or 'unanswered'}"
        + (f" ({answer.waits_for})" if answer.waits_for else ""),
    ]
    lines += [f"    {tag_line(tag, species, zone)}" for tag in answer.tags]
    lines += [f"    note: {remark}" for remark in answer.remarks]
    return lines


def photo_line(photo: Photo, zone: ZoneInfo) -> str:
    """Say which file it is, what the camera showed and the true time."""
    shown = "no time" if photo.camera_time is None else str(photo.camera_time)
    return f"{photo.file}: camera showed {shown}, true time {time_text(photo.true_time, zone)}"


def tag_line(tag: Tag, species: Mapping[str, Species], zone: ZoneInfo) -> str:
    """Say who said what, and when."""
    parts = [name_of(tag.species, species)]
    parts += [str(tag.count)] if tag.count else []
    parts += [str(tag.where).replace("_", " ")] if tag.where else []
    parts += [f"tray {tag.tray}"] if tag.tray else []
    parts += ["" if tag.sure else "not sure", "ruling" if tag.ruling else ""]
    parts += [f"“{tag.comment}”"] if tag.comment else []
    return f"{tag.tagger}: {', '.join(filter(None, parts))} [{_when(tag.made_at, zone)}]"


def _when(moment: datetime | None, zone: ZoneInfo) -> str:
    return time_text(moment, zone) or "time not kept"
