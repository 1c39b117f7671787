"""Decide how the tables of outcomes are described to programs: a data package of Table Schemas.

References
----------
.. [1] Frictionless Data, Data Package and Table Schema, version 1.0.
"""

import json
from collections.abc import Sequence
from typing import Any

from core.exports.longtable import BOUNDS, LONG_COLUMNS, VARIABLES
from core.exports.tables import OUTCOME_COLUMNS
from core.model import Censored, Status

TIME = {"type": "datetime", "format": "%Y-%m-%dT%H:%M:%S%z"}
NUMBER: dict[str, Any] = {"type": "number"}
COUNT = {"type": "integer", "constraints": {"minimum": 0}}
TEXT: dict[str, Any] = {"type": "string"}
GRAMS = " [g]"
_STATUS = {"type": "string", "constraints": {"required": True, "enum": [str(s) for s in Status]}}

FIELDS: dict[str, tuple[dict[str, Any], str]] = {
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
                                                 "enum": list(BOUNDS.values())}},
              "exact: a value; below, at_most: the density is only bounded by the number."),
}  # fmt: skip
"""Type and meaning of each column."""


def schema(columns: Sequence[str], key: Sequence[str]) -> dict[str, Any]:
    """Give the Table Schema of columns; an empty cell is a missing value."""
    fields = [{"name": name, **FIELDS[name][0], "description": FIELDS[name][1]} for name in columns]
    return {"fields": fields, "missingValues": [""], "primaryKey": list(key)}


def data_package(outcomes: str = "outcomes.csv", long: str = "outcomes-long.csv") -> str:
    """Give the descriptor of both tables as JSON, given the names of their files [1]_."""
    tables = (
        ("outcomes", outcomes, OUTCOME_COLUMNS, ("deployment",)),
        ("outcomes-long", long, LONG_COLUMNS, ("deployment", "variable")),
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
    package = {"name": "outcomes", "profile": "tabular-data-package", "resources": resources}
    return json.dumps(package, indent=2, ensure_ascii=False) + "\n"
