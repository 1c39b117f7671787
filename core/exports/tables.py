"""Decide the columns of the photo, visit and outcome tables, and how each cell is written.

Times are RFC 3339 with the offset of the study's zone; what a camera showed has none.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from itertools import chain
from zoneinfo import ZoneInfo

from core.clockfaults import ClockCorrection
from core.clockfaults.words import proposal
from core.model import (
    AnsweredVisit,
    Outcome,
    Photo,
    Placement,
    Sighting,
    Species,
    Status,
    Where,
)
from core.sheets import safe_cell
from core.units import grams_per_litre

PHOTO_COLUMNS = (
    "placement", "file", "camera_time", "subsec", "offset", "time_source", "true_time", "kind",
    "problem", "correction",
)  # fmt: skip
VISIT_COLUMNS = (
    "placement", "visit", "tray", "start", "end", "photos", "first_photo", "last_photo", "answer",
    "count", "where", "taggers", "state",
)  # fmt: skip
OUTCOME_COLUMNS = (
    "deployment", "tray", "site", "pair", "microhabitat", "set_out", "picked_up", "hours_out",
    "food_start_g", "food_left_g", "food_left_corrected_g", "eaten_g", "items_start", "items_left",
    "items_left_corrected", "items_eaten", "gud_g", "gud_g_per_l", "gud_items", "proportion_left",
    "censored", "forager", "visits", "visits_all", "minutes_on_tray", "first_visit_min",
    "last_fed_at", "watched_share", "unanswered", "status", "reason", "notes",
)  # fmt: skip

Row = dict[str, str]

HUGE = Decimal(10) ** 15
"""Beyond this nothing behind the point can be told."""


def time_text(moment: datetime | None, zone: ZoneInfo) -> str:
    """Write an aware time as RFC 3339, to the second, with the zone's offset."""
    return "" if moment is None else moment.astimezone(zone).isoformat(timespec="seconds")


def number_text(number: Decimal | float | None, digits: int) -> str:
    """Write a number with at most so many digits behind the point, rounded half up."""
    if number is None:
        return ""
    step = Decimal(1).scaleb(-digits)
    exact = Decimal(str(number))
    rounded = exact.quantize(step, ROUND_HALF_UP) if abs(exact) < HUGE else exact
    text = f"{rounded or Decimal(0):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def photo_row(photo: Photo, zone: ZoneInfo, corrections: Sequence[ClockCorrection] = ()) -> Row:
    """Write one file met on a card; `kind` is empty where the file counts nowhere.

    `corrections` are those of its clock that people accepted, in the order made.
    """
    counts = photo.is_photo and photo.copy_of is None and photo.true_time is not None
    problem = "; ".join(filter(None, (photo.problem, str(photo.clock_flag))))
    return {
        "placement": photo.placement,
        "file": photo.file,
        "camera_time": "" if photo.camera_time is None else str(photo.camera_time),
        "subsec": photo.subsec,
        "offset": photo.offset,
        "time_source": str(photo.time_source),
        "true_time": time_text(photo.true_time, zone),
        "kind": str(photo.kind) if counts else "",
        "problem": problem,
        "correction": "; ".join(
            f"{proposal(one.kind, one.shift_s)}, by {one.by}" for one in corrections
        ),
    }


def visit_row(
    answered: AnsweredVisit, placement: Placement, species: Mapping[str, Species], zone: ZoneInfo
) -> Row:
    """Write one visit; `answer` is empty while the visit is unanswered."""
    visit, answer = answered.visit, answered.answer
    return {
        "placement": visit.placement,
        "visit": str(visit.number),
        "tray": tray_of(answered, placement),
        "start": time_text(visit.start, zone),
        "end": time_text(visit.end, zone),
        "photos": str(len(visit.photos)),
        "first_photo": visit.photos[0].file,
        "last_photo": visit.photos[-1].file,
        "answer": answer_text(answered, species),
        "count": _count(answer.sightings),
        "where": _where(answer.sightings),
        "taggers": ";".join(answer.taggers),
        "state": str(answer.state),
    }


def answer_text(answered: AnsweredVisit, species: Mapping[str, Species]) -> str:
    """Write an answer with the names of the species, `+` between."""
    return "+".join(name_of(key, species) for key in answered.answer.species)


def name_of(key: str, species: Mapping[str, Species]) -> str:
    """Give the name of a species key; `blank`, `unknown` and unlisted keys stay as they are."""
    return species[key].name if key in species else key


def tray_of(answered: AnsweredVisit, placement: Placement) -> str:
    """Give the tray of a visit: the only one the camera watches, else those that were named."""
    if len(placement.trays) == 1:
        return placement.trays[0]
    named = dict.fromkeys(one.tray for one in answered.answer.sightings if one.tray)
    return ";".join(named)


def _count(sightings: Iterable[Sighting]) -> str:
    counts = [one.count for one in sightings if one.count is not None]
    return str(max(counts)) if counts else ""


def _where(sightings: Iterable[Sighting]) -> str:
    there = {one.where for one in sightings}
    return next((str(where) for where in Where if where in there), "")


def outcome_row(outcome: Outcome, zone: ZoneInfo) -> Row:
    """Write one outcome; masses to 0.0001 g, items and shares to 0.0001, minutes to 0.01.

    Weighed food stands in columns of grams, counted food in columns of items.
    """
    tray = outcome.deployment
    weighed = not tray.counted
    per_litre = None
    if weighed and outcome.gud is not None:
        per_litre = grams_per_litre(outcome.gud, tray.substrate_l)
    return {
        "deployment": tray.deployment,
        "tray": tray.tray,
        "site": tray.site,
        "pair": tray.pair,
        "microhabitat": tray.microhabitat,
        "set_out": time_text(tray.set_out, zone),
        "picked_up": time_text(tray.picked_up, zone),
        "hours_out": number_text(outcome.hours_out, 4),
        "food_start_g": number_text(tray.food_start_g, 4),
        "food_left_g": number_text(tray.food_left_g, 4),
        "food_left_corrected_g": number_text(outcome.corrected if weighed else None, 4),
        "eaten_g": number_text(outcome.eaten if weighed else None, 4),
        "items_start": "" if weighed else number_text(tray.items_start, 0),
        "items_left": "" if weighed else number_text(tray.items_left, 0),
        "items_left_corrected": "" if weighed else number_text(outcome.corrected, 4),
        "items_eaten": "" if weighed else number_text(outcome.eaten, 4),
        "gud_g": number_text(outcome.gud if weighed else None, 4),
        "gud_g_per_l": number_text(per_litre, 4),
        "gud_items": "" if weighed else number_text(outcome.gud, 4),
        "proportion_left": number_text(outcome.proportion_left, 4),
        "censored": str(outcome.censored),
        "forager": outcome.forager,
        "visits": str(outcome.visits),
        "visits_all": str(outcome.visits_all),
        "minutes_on_tray": number_text(outcome.minutes_on_tray, 2),
        "first_visit_min": number_text(outcome.first_visit_min, 2),
        "last_fed_at": time_text(outcome.last_fed_at, zone),
        "watched_share": number_text(outcome.watched_share, 4),
        "unanswered": str(outcome.unanswered),
        "status": str(outcome.status),
        "reason": str(outcome.reason),
        "notes": "; ".join(outcome.notes),
    }


def csv_text(columns: Iterable[str], rows: Iterable[Row]) -> Iterator[str]:
    """Write a table as lines of CSV (RFC 4180, but ended by a line feed alone).

    A cell that a spreadsheet would run is written so that it does not, see `core.sheets.safe`. An
    absent cell is empty; ValueError for one that no column has.
    """
    names = list(columns)
    buffer = io.StringIO()
    # A lone carriage return is quoted only where lines end with one.
    writer = csv.writer(buffer, lineterminator="\r\n")
    header: Row = dict(zip(names, names, strict=True))
    for row in chain([header], rows):
        if not row.keys() <= header.keys():
            raise ValueError(f"No column for {sorted(row.keys() - header.keys())}.")
        writer.writerow([safe_cell(row.get(name, "")) for name in names])
        yield buffer.getvalue().removesuffix("\r\n") + "\n"
        buffer.seek(0)
        buffer.truncate()


def ledger(outcomes: Iterable[Outcome]) -> list[tuple[Status, str, int]]:
    """Count deployments by status and reason, in the order of the statuses; they add up."""
    counted: dict[tuple[Status, str], int] = {}
    for one in outcomes:
        key = (one.status, str(one.reason))
        counted[key] = counted.get(key, 0) + 1
    places = list(Status)
    ordered = sorted(counted.items(), key=lambda item: (places.index(item[0][0]), -item[1]))
    return [(status, reason, count) for (status, reason), count in ordered]
