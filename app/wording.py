"""Decide how results are put into words; no Streamlit, no terminal."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from core.exports import dictionary, tables
from core.exports.tables import name_of, number_text, time_text
from core.food import Reading
from core.model import (
    BLANK,
    HANDLER,
    UNKNOWN,
    Answer,
    AnsweredVisit,
    Finding,
    Outcome,
    Photo,
    SeenVisit,
    Species,
    Status,
    Tag,
    TrayDeployment,
    Where,
)
from core.scan import ScanReport
from core.settings import FeederRule, Settings
from core.workspace import Counts

MOST_PROBLEMS = 20
"""So many problem files are listed after a scan; `lastbite photos` lists all."""


def counts(found: Counts) -> str:
    """Say how many rows of a log were new, changed, or there already."""
    return f"{found.new} new, {found.changed} changed, {found.same} as before."


def tray_cards(cards: int, sheets: int, unprinted: Sequence[str]) -> list[str]:
    """Say how many tray cards there are, and on which of them letters could not be printed."""
    many = f"{cards} tray {'card' if cards == 1 else 'cards'}"
    lines = [f"{many} on {sheets} {'sheet' if sheets == 1 else 'sheets'} of A4: print at 100 %."]
    if unprinted:
        lines.append(
            "Letters that the printed font does not have stand as ? on the cards of "
            f"{', '.join(unprinted)}; their codes are whole."
        )
    return lines


def finding(found: Finding) -> str:
    """Say one finding; `!` marks what has to be put right."""
    return f"{'!' if found.serious else '-'} {found.thing}: {found.message}"


def scan_report(report: ScanReport) -> list[str]:
    """Say what a scan found, a line each."""
    new = f"{report.photos} photos, {report.copies} copies, {report.others} no pictures"
    files = f"{report.files} files, {report.new} new ({new}), {report.known} known."
    lines = [f"{report.placement}: {files}"]
    if report.unlogged:
        lines.append(f"! {report.unlogged}")
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


def numbers_behind(reading: Reading, settings: Settings, *, counted: bool) -> list[str]:
    """Say which corrections, limits and settings an outcome stands on, a line each."""
    lines = [
        f"  {row['what']:<20}{row['number']} ({row['how']})"
        for row in food_lines(reading, counted=counted)
    ]
    lines += [f"  {row['setting']:<20}{row['value']}" for row in settings_lines(settings)]
    return ["numbers", *lines]


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
        f"on tray     {visits(outcome)}",
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


def visits(outcome: Outcome) -> str:
    """Say how many visits there were on the tray."""
    own = "1 visit" if outcome.visits == 1 else f"{outcome.visits} visits"
    return f"{own} of the forager, {outcome.visits_all} of all animals"


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


def watched_in_short(outcome: Outcome, zone: ZoneInfo) -> str:
    """Say the same with times as people read them."""
    if outcome.watched_share is None:
        return watched(outcome, zone)
    spans = "; ".join(stretch(span.start, span.end, zone) for span in outcome.watched)
    return f"{outcome.watched_share:.1%}" + (f" ({spans})" if spans else "")


def _visit(
    number: int, seen: SeenVisit, species: Mapping[str, Species], zone: ZoneInfo
) -> list[str]:
    marks = visit_marks(seen)
    start, end = time_text(seen.start, zone), time_text(seen.end, zone)
    lines = [f"visit {number}: {start} to {end}" + (f" ({', '.join(marks)})" if marks else "")]
    for part in seen.parts:
        lines += _part(part, species, zone)
    return lines


def visit_marks(seen: SeenVisit) -> list[str]:
    """Say what is special about a visit in a window."""
    marks = (
        (seen.cut_at_set_out, "cut at set-out"),
        (seen.running_at_pickup, "running at pick-up"),
        (seen.outside_placement, "outside the camera's start and end"),
        (seen.which_tray, "which tray?"),
    )
    return [words for holds, words in marks if holds]


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
    files = {photo.id: photo.file for photo in visit.photos}
    lines += [f"    {tag_line(tag, species, zone)} on {run_of(tag, files)}" for tag in answer.tags]
    lines += [f"    note: {remark}" for remark in answer.remarks]
    return lines


def run_of(tag: Tag, files: Mapping[int, str]) -> str:
    """Name the run of photos that a tag was made on; an end outside the visit is said so."""
    first, last = (
        files.get(end, "outside this visit") for end in (tag.first_photo, tag.last_photo)
    )
    return first if tag.first_photo == tag.last_photo else f"{first} to {last}"


def photo_line(photo: Photo, zone: ZoneInfo) -> str:
    """Say which file it is, what the camera showed and the true time."""
    shown = "no time" if photo.camera_time is None else str(photo.camera_time)
    return f"{photo.file}: camera showed {shown}, true time {time_text(photo.true_time, zone)}"


def tag_line(tag: Tag, species: Mapping[str, Species], zone: ZoneInfo) -> str:
    """Say who said what, and when."""
    return f"{tag.tagger}: {what_tag_says(tag, species)} [{_when(tag.made_at, zone)}]"


SHEET_ORIGIN = "Quiet sheet"
"""Origin of a tag that was made there."""
FROM_SHEET = "from the quiet sheet"


def what_tag_says(tag: Tag, species: Mapping[str, Species]) -> str:
    """Say what a tag says: species, how many, where, which tray, how sure."""
    parts = [name_of(tag.species, species)]
    parts += [str(tag.count)] if tag.count else []
    parts += [str(tag.where).replace("_", " ")] if tag.where else []
    parts += [f"tray {tag.tray}"] if tag.tray else []
    parts += ["" if tag.sure else "not sure", "ruling" if tag.ruling else ""]
    parts += [FROM_SHEET] if tag.origin == SHEET_ORIGIN else []
    parts += [f"“{tag.comment}”"] if tag.comment else []
    return ", ".join(filter(None, parts))


def state_line(answer: Answer) -> str:
    """Say how far people got with a visit, what it waits for, and what to look at."""
    waits = f": {answer.waits_for}" if answer.waits_for else ""
    return "; ".join((f"{answer.state}{waits}", *answer.remarks))


def _when(moment: datetime | None, zone: ZoneInfo) -> str:
    return time_text(moment, zone) or "time not kept"


# --- words of the screens ------------------------------------------------------------------------

MEANS = dictionary.STATUSES
SIGN: Mapping[Status, str] = {
    Status.KEEP: "●",
    Status.CAUTION: "◐",
    Status.NO_GUD: "○",
    Status.DROP: "✕",
    Status.ERROR: "!",
    Status.PENDING: "…",
}
"""A sign beside each status, so that colour is never needed."""

WHERE_WORDS: Mapping[Where, str] = {
    Where.FED: "fed",
    Where.ON_TRAY: "on the tray",
    Where.NEAR: "near it",
}
ANSWER_WORDS: Mapping[str, str] = {
    BLANK: "Blank: nothing there",
    HANDLER: "Handler: our own people",
    UNKNOWN: "Unknown: cannot tell",
}

CAUTIONS: Mapping[str, str] = {
    "Who decides": "This is no safety, legal or medical advice. Your local rules, your employer's "
    "safety office and licensed practice decide. Ask them before the first tray.",
    "Rodent dust": "Used sand, husks and trays are rodent waste and can carry disease. Do not "
    "sweep them dry or vacuum them. Sift outdoors, upwind, away from food; ask a professional "
    "about gloves, masks and disinfection, and read your health authority's current page.",
    "Silica, allergies, lifting": "Dry quartz sand makes fine dust; peanut, millet and sunflower "
    "dust make some people ill; a few trays of sand weigh more than they look. Ask the safety "
    "office.",
    "Permits and ethics": "Work with wild animals usually needs an ethics review, a permit and "
    "the landowner's leave. Feeding wildlife may be banned where you are. Take all food away at "
    "the end.",
    "Site": "Large animals, snakes, ticks, heat, traffic, night work, working alone: follow the "
    "local plan and check in with somebody.",
    "People in pictures": "They have rights. Put up signs where the law asks for them, keep such "
    "photos private, and agree when they are deleted. Places of sensitive species are not for "
    "publishing.",
}


def plain(text: object) -> str:
    """Escape what people wrote, so that a page which reads Markdown shows it as it stands.

    A picture, link, colour or formula written into a name or note is shown as text and fetches
    nothing. Line breaks are kept.
    """
    escaped = re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", str(text))
    return escaped.replace("\n", "  \n")


def moment(when: datetime | None, zone: ZoneInfo) -> str:
    """Write a time as people read it, local to the study: `14 Mar 2026, 18:31:05`."""
    if when is None:
        return "time not known"
    local = when.astimezone(zone)
    return f"{local.day} {_MONTHS[local.month - 1]} {local.year}, {local:%H:%M:%S}"


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def naive(when: datetime, zone: ZoneInfo) -> datetime:
    """Give a time as a clock at the study shows it, no zone attached: for charts."""
    return when.astimezone(zone).replace(tzinfo=None)


def headline(outcome: Outcome) -> str:
    """Say a tray's outcome in one line."""
    owner = f", {outcome.forager}, {density(outcome)}" if outcome.gud is not None else ""
    return f"{outcome.deployment.deployment}: {outcome.status}{owner}: {outcome.reason}"


def result_line(outcome: Outcome) -> dict[str, str]:
    """Give the cells that answer first: which tray, whose density, why."""
    tray = outcome.deployment
    share = outcome.watched_share
    return {
        "deployment": tray.deployment,
        "tray": tray.tray,
        "status": f"{SIGN[outcome.status]} {outcome.status}",
        "forager": outcome.forager,
        "density": density(outcome) if outcome.gud is not None else "",
        "visits": f"{outcome.visits} of {outcome.visits_all}",
        "watched": "" if share is None else f"{share:.0%}",
        "reason": str(outcome.reason),
    }


def ledger_lines(outcomes: Sequence[Outcome]) -> list[dict[str, str | int]]:
    """Give the way from all trays to those with a density; the lines add up to the first."""
    lines: list[dict[str, str | int]] = [
        {"status": "set out", "reason": "study trays in the tray log", "trays": len(outcomes)}
    ]
    for status, reason, count in tables.ledger(outcomes):
        lines.append({"status": f"{SIGN[status]} {status}", "reason": reason, "trays": count})
    kept = sum(one.gud is not None for one in outcomes)
    lines.append({"status": "with a density", "reason": "keep and caution", "trays": kept})
    return lines


def food_lines(reading: Reading, *, counted: bool) -> list[dict[str, str]]:
    """Give the food numbers of a tray, each with where it comes from."""
    unit = "items" if counted else "g"

    def mass(amount: Decimal | None) -> str:
        return "blank" if amount is None else f"{number_text(amount, 4)} {unit}"

    moisture = f"from {_controls(reading.moisture_controls, 'moisture', reading.moisture_sd)}"
    recovery = f"from {_controls(reading.sift_controls, 'sift', reading.recovery_sd)}"
    return [
        {"what": "put in", "number": mass(reading.start), "how": "tray log"},
        {"what": "left, raw", "number": mass(reading.left), "how": "tray log"},
        {"what": "moisture k", "number": number_text(reading.moisture, 5), "how": moisture},
        {"what": "sifting r", "number": number_text(reading.recovery, 5), "how": recovery},
        {"what": "left, corrected", "number": mass(reading.corrected), "how": "raw / k / r"},
        {"what": "gone", "number": mass(reading.eaten), "how": "put in - corrected"},
        {
            "what": "tolerance",
            "number": mass(reading.tolerance),
            "how": f"this or less gone: nobody fed; {reading.tolerance_how}",
        },
        {"what": "food class", "number": reading.kind.value, "how": FOOD_WORDS[reading.kind.value]},
    ]


FOOD_WORDS: Mapping[str, str] = {
    "T0": "untouched",
    "T1": "part eaten",
    "T2": "emptied",
    "T3": "more left than put in",
    "T?": "a number is missing",
}


def _controls(number: int, kind: str, spread: float | None) -> str:
    if number == 0:
        return f"no {kind} control, so 1"
    many = f"{number} {kind} control" + ("s" if number > 1 else "")
    return many if spread is None else f"{many}, SD {number_text(spread, 5)}"


def settings_lines(settings: Settings) -> list[dict[str, str]]:
    """Give the settings that results depend on."""
    tolerance = settings.tolerance
    within = "from controls" if tolerance is None else f"{number_text(tolerance, 4)} g"
    values = (
        ("time zone", settings.timezone.key),
        ("gap between visits", f"{number_text(settings.gap.total_seconds(), 3)} s"),
        ("scale step", f"{number_text(settings.scale_step, 4)} g"),
        ("tolerance", within),
        ("moisture", _switched(on=settings.moisture_corrected, by="moisture controls")),
        ("sifting loss", _switched(on=settings.sifting_corrected, by="sift controls")),
        ("several species", FEEDER_WORDS[settings.feeder]),
        ("taggers needed", str(settings.taggers_needed)),
    )
    return [{"setting": name, "value": value} for name, value in values]


FEEDER_WORDS: Mapping[FeederRule, str] = {
    FeederRule.LAST: "the last that fed owns the density",
    FeederRule.SINGLE: "the tray is dropped",
    FeederRule.TIME: "the one that was on the tray longest owns the density",
}
"""What the study does with a tray that several species were on."""


def _switched(*, on: bool, by: str) -> str:
    return f"corrected by {by}" if on else "not corrected"


def photo_alt(
    photo: Photo, position: int, of: int, trays: Sequence[str], zone: ZoneInfo, *, whole: str
) -> str:
    """Say in words what a picture is, for those who cannot see it."""
    tray = f"tray {' and '.join(trays)}" if trays else "no tray named"
    return (
        f"Photo {position} of {of} of {whole}, {tray}, placement {photo.placement}, "
        f"{moment(photo.true_time, zone)}"
    )


def stretch(start: datetime, end: datetime, zone: ZoneInfo) -> str:
    """Write a stretch of time; its end in full only on another day."""
    first, last = moment(start, zone), moment(end, zone)
    if first == last:
        return first
    day, clock = last.rsplit(", ", 1)
    return f"{first} to {clock if first.startswith(f'{day},') else last}"


def windows_line(out: Sequence[TrayDeployment]) -> str:
    """Say into which tray deployments' windows a run of photos falls."""
    if not out:
        return "In no tray's window: it counts for no tray."
    return f"In the window of {'; '.join(f'{o.deployment} (tray {o.tray})' for o in out)}."


@dataclass(frozen=True, slots=True)
class Step:
    """One step from an empty study to results."""

    name: str
    page: str
    """Where it is done."""
    done: bool
    words: str
    """What there is, or what to do."""


def steps(*, species: int, cameras: int, trays: int, cards: int, tagged: bool) -> list[Step]:
    """Say how far a study has come, in the order in which it is easiest."""
    load = "Load it, or begin with the empty file that is offered there."
    return [
        Step("Species list", "Cards", species > 0, _there(species, "species", load)),
        Step("Camera log", "Cards", cameras > 0, _there(cameras, "placements", load)),
        Step("Tray log", "Trays", trays > 0, _there(trays, "tray deployments", load)),
        Step("Cards", "Cards", cards > 0, _there(cards, "cards", "Scan a card's folder.")),
        Step("Tags", "Tag", tagged, "begun" if tagged else "Say of each visit who it was."),
        Step("Results", "Results", trays > 0 and tagged, "Look at one line a tray."),
    ]


def _there(number: int, things: str, todo: str) -> str:
    one = things if things == "species" else things.removesuffix("s")
    return (f"1 {one}" if number == 1 else f"{number} {things}") if number else todo


def next_step(found: Sequence[Step]) -> Step | None:
    """Give the first step that is not done; None when all are."""
    return next((step for step in found if not step.done), None)
