"""Decide what each column that comes out means, for people, and for programs as Table Schemas.

References
----------
.. [1] Frictionless Data, Data Package and Table Schema, version 1.0.
"""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from core.exports.longtable import BOUND_WORDS, LONG_COLUMNS, VARIABLES
from core.exports.tables import OUTCOME_COLUMNS
from core.model import Censored, PhotoKind, Reason, Status, TimeSource, VisitState, Where

TIME = {"type": "datetime", "format": "%Y-%m-%dT%H:%M:%S%z"}
NUMBER: dict[str, Any] = {"type": "number"}
COUNT = {"type": "integer", "constraints": {"minimum": 0}}
TEXT: dict[str, Any] = {"type": "string"}
IN_R = (
    "as.POSIXct(paste0(substr(x, 1, 22), substr(x, 24, 25)), "
    'format = "%Y-%m-%dT%H:%M:%S%z", tz = "UTC")'
)
"""Reads times in R, whose %z knows no colon before version 4.3; x is a column of them."""
TIMES_READ = (
    "Times are RFC 3339 with the offset of the study's zone. In Python: "
    f"pandas.to_datetime(x, utc=True). In R: {IN_R}"
)
GRAMS = " [g]"
_STATUS = {"type": "string", "constraints": {"required": True, "enum": [str(s) for s in Status]}}

Fields = Mapping[str, tuple[dict[str, Any], str]]
FIELDS: Fields = {
    "deployment": ({"type": "string", "constraints": {"required": True}},
                   "Id of the tray deployment."),
    "tray": (TEXT, "Name of the tray."),
    "site": (TEXT, "As in the tray log."),
    "pair": (TEXT, "As in the tray log."),
    "microhabitat": (TEXT, "As in the tray log."),
    "set_out": (TIME, "Start of the window, with the offset of the study's zone."),
    "picked_up": (TIME, "End of the window, which does not belong to it."),
    "hours_out": (NUMBER, "Length of the window. [h]"),
    "food_start_g": (NUMBER, "Food put in." + GRAMS),
    "food_left_g": (NUMBER, "Food left, as weighed." + GRAMS),
    "food_left_corrected_g": (NUMBER, "Food left, after corrections." + GRAMS),
    "eaten_g": (NUMBER, "Put in minus left, corrected; negative when more was left." + GRAMS),
    "items_start": (COUNT, "Counted food put in. [items]"),
    "items_left": (COUNT, "Counted food left. [items]"),
    "items_left_corrected": (NUMBER, "The same, after the correction for sifting loss. [items]"),
    "items_eaten": (NUMBER, "Put in minus left, corrected, of counted food. [items]"),
    "gud_g": (NUMBER, "Giving-up density; only for keep and caution; see censored." + GRAMS),
    "gud_g_per_l": (NUMBER, "The same for each litre of substrate. [g/L]"),
    "gud_items": (NUMBER, "Giving-up density of counted food. [items]"),
    "proportion_left": (NUMBER, "Left, corrected, over put in; never cut at 1. [1]"),
    "censored": ({"type": "string", "constraints": {"enum": [str(c) for c in Censored]}},
                 "no: a value; below: emptied, the density is below it; at_most: interrupted."),
    "forager": (TEXT, "Name of the species that owns the density."),
    "visits": (COUNT, "Confirmed visits of the forager on the tray."),
    "visits_all": (COUNT, "Visits of all animals on the tray."),
    "minutes_on_tray": (NUMBER, "The forager's. [min]"),
    "first_visit_min": (NUMBER, "From set-out to the first animal on the tray. [min]"),
    "last_fed_at": (TIME, "Last photo on which the forager was seen feeding."),
    "watched_share": (NUMBER, "Part of the window in which a camera was known to work. [1]"),
    "unanswered": (COUNT, "Visits in the window that still wait for people."),
    "status": (_STATUS, "What becomes of the density."),
    "reason": (TEXT, "Why, in one short sentence."),
    "notes": (TEXT, "Special cases that applied, ; between."),
    "variable": (
        {"type": "string", "constraints": {"required": True, "enum": list(VARIABLES)}},
        " ".join(f"{name}: {meaning}" for name, meaning in VARIABLES.items()),
    ),
    "value": ({"type": "number", "constraints": {"required": True}}, "The number, in the unit."),
    "unit": ({"type": "string", "constraints": {"required": True}}, "1 where it has none."),
    "bound": ({"type": "string", "constraints": {"required": True,
                                                 "enum": list(BOUND_WORDS)}},
              "exact: a value; below, at_most, at_least: the number only bounds the density."),
    "species": (TEXT, "Name of the species whose density gud_low and gud_high bound; else empty."),
}  # fmt: skip
"""Type and meaning of each column of the tables of outcomes."""

_SHOWN = {"type": "datetime", "format": "%Y-%m-%d %H:%M:%S"}
PHOTO_FIELDS: Fields = {
    "placement": (TEXT, "The placement whose camera took it, as in the camera log."),
    "file": (TEXT, "Its path below the folder of its card."),
    "camera_time": (_SHOWN, "What the camera's clock showed, which has no offset."),
    "subsec": (TEXT, "Digits of the second behind the point, as the file has them."),
    "offset": (
        TEXT,
        "Offset from UTC that the file has; where the camera log says another, that holds.",
    ),
    "time_source": (
        TEXT,
        (
            f"{', '.join(TimeSource)}: where camera_time was read; the first three are "
            "Exif's, the one called package is the true time that a package told."
        ),
    ),
    "true_time": (TIME, "True time: camera_time, put right by corrections and clock checks."),
    "kind": (TEXT, f"{', '.join(PhotoKind)}; empty where the file counts nowhere."),
    "problem": (TEXT, "What is wrong or strange with the file, ; between."),
    "correction": (TEXT, "What people accepted to put its clock right, and who."),
}
"""Type and meaning of each column of the photos."""
VISIT_FIELDS: Fields = {
    "placement": (TEXT, "The placement whose camera saw it."),
    "visit": (COUNT, "Its number there, from 1."),
    "tray": (TEXT, "The only tray that the camera watches, or those that were named, ; between."),
    "start": (TIME, "True time of its first photo."),
    "end": (TIME, "True time of its last photo."),
    "photos": (COUNT, "How many photos it has."),
    "first_photo": (TEXT, "The first, by its path below its card."),
    "last_photo": (TEXT, "The last, by its path below its card."),
    "answer": (
        TEXT,
        "Species that are held true, + between, or blank, or unknown; empty while unanswered.",
    ),
    "count": (COUNT, "Most animals at once that were counted."),
    "where": (TEXT, f"{', '.join(Where)}: the nearest to the food that was said."),
    "taggers": (TEXT, "Who tagged it, ; between."),
    "state": (TEXT, f"How far people got: {', '.join(VisitState)}."),
}
"""Type and meaning of each column of the visits."""

STATUSES: Mapping[Status, str] = {
    Status.KEEP: "a density with its owner, use it",
    Status.CAUTION: "a density with its owner, and something to know about them",
    Status.NO_GUD: "nobody fed, so there is no density; the tray counts as offered",
    Status.DROP: "no animal can be named, or the mass means nothing",
    Status.ERROR: "records contradict each other, put them right",
    Status.PENDING: "something is still missing, fill it in",
}
"""What becomes of the density, and what to do."""
_FIRST = {
    Reason.CLEAN: Status.KEEP,
    Reason.COUNT_IS_MINIMUM: Status.CAUTION,
    Reason.UNUSED_SEEN: Status.NO_GUD,
    Reason.EATER_NOT_SEEN: Status.DROP,
    Reason.WINDOWS_OVERLAP: Status.ERROR,
    Reason.MASS_MISSING: Status.PENDING,
}
"""With these the reasons of another status begin."""


def reasons() -> dict[Status, list[Reason]]:
    """Give the reasons that each status may have; each is a sentence that says what it means."""
    found: dict[Status, list[Reason]] = {}
    status = Status.KEEP
    for reason in Reason:
        status = _FIRST.get(reason, status)
        found.setdefault(status, []).append(reason)
    return found


def schema(columns: Sequence[str], key: Sequence[str]) -> dict[str, Any]:
    """Give the Table Schema of columns; an empty cell is a missing value."""
    fields = [{"name": name, **FIELDS[name][0], "description": FIELDS[name][1]} for name in columns]
    return {"fields": fields, "missingValues": [""], "primaryKey": list(key)}


def data_package(outcomes: str = "outcomes.csv", long: str = "outcomes-long.csv") -> str:
    """Give the descriptor of both tables as JSON, given the names of their files [1]_."""
    tables = (
        ("outcomes", outcomes, OUTCOME_COLUMNS, ("deployment",)),
        ("outcomes-long", long, LONG_COLUMNS, ("deployment", "variable", "species")),
    )
    resources = [
        {
            "name": name,
            "path": path,
            "profile": "tabular-data-resource",
            "format": "csv",
            "encoding": "utf-8",
            "schema": schema(columns, key),
        }
        for name, path, columns, key in tables
    ]
    package = {
        "name": "outcomes",
        "description": TIMES_READ,
        "profile": "tabular-data-package",
        "resources": resources,
    }
    return json.dumps(package, indent=2, ensure_ascii=False) + "\n"
