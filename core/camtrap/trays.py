"""Decide how the tray log and the outcomes stand in a package, beside the standard's own tables.

Each row names the placement that watched its tray, as a foreign key; who handled the trays is
not told.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from core import traylog
from core.camtrap.fields import DEPLOYMENTS
from core.camtrap.telling import Telling
from core.exports import dictionary, tables
from core.model import Outcome, Placement, TrayDeployment

Row = dict[str, str]
PLACEMENT = "deploymentID"
OTHERS = "otherDeployments"
HANDLER = "handler"
TRAY_LOG = "tray_log"
TRAY_OUTCOMES = "tray_outcomes"
LOG_COLUMNS = (
    "deployment", PLACEMENT, OTHERS,
    *(column.name for column in traylog.COLUMNS if column.name not in {"deployment", HANDLER}),
)  # fmt: skip
OUTCOME_COLUMNS = ("deployment", PLACEMENT, OTHERS, *tables.OUTCOME_COLUMNS[1:])
WORDS = ("pair", "microhabitat", "food", "target")
"""Short texts of the tray log; others are ids, numbers or words from a list."""
MOST = 1_000_000
"""Larger masses and counts are slips of the pen (ours); a reader takes INF for a number."""


def watching(tray: TrayDeployment, placements: Iterable[Placement]) -> list[str]:
    """Name the placements that watched a tray while it was out, in the camera log's order."""
    return [
        one.placement
        for one in placements
        if tray.tray
        and tray.tray in one.trays
        and (tray.picked_up is None or one.start is None or one.start < tray.picked_up)
        and (tray.set_out is None or one.end is None or one.end >= tray.set_out)
    ]


def told_texts(tray: TrayDeployment, telling: Telling) -> Row:
    """Give what people wrote of a tray, as it may be told."""
    of = f"of tray deployment {tray.deployment!r}"
    words = {name: telling.word(f"{name} {of}", getattr(tray, name)) for name in WORDS}
    return words | {
        "deployment": telling.without_names(tray.deployment),
        "tray": telling.without_names(tray.tray),
        "site": telling.site(tray.site),
        "notes": telling.text(f"notes {of}", tray.notes),
    }


def log_rows(
    trays: Iterable[TrayDeployment], seen: Mapping[str, Sequence[str]], telling: Telling,
    zone: ZoneInfo,
) -> Iterator[Row]:  # fmt: skip
    """Tell every line of the tray log, controls too; `seen` are the placements of each."""
    for one in trays:
        cells = traylog.tray_cells(one, zone)
        yield {
            **{name: cells[name] for name in LOG_COLUMNS if name in cells},
            **_seen_by(seen[one.deployment], telling),
            "set_out": tables.time_text(one.set_out, zone),
            "picked_up": tables.time_text(one.picked_up, zone),
            **told_texts(one, telling),
        }


def outcome_rows(
    outcomes: Iterable[Outcome], seen: Mapping[str, Sequence[str]], telling: Telling,
    zone: ZoneInfo,
) -> Iterator[Row]:  # fmt: skip
    """Tell every outcome; what somebody wrote of the tray is told as in the tray log."""
    for one in outcomes:
        tray, texts = one.deployment, told_texts(one.deployment, telling)
        notes = [texts["notes"] if note == tray.notes else telling.note(note) for note in one.notes]
        if texts["target"] != tray.target:
            notes = [note.replace(tray.target, texts["target"]) for note in notes]
        yield {
            **tables.outcome_row(one, zone),
            **{name: text for name, text in texts.items() if name in OUTCOME_COLUMNS},
            **_seen_by(seen[tray.deployment], telling),
            "notes": "; ".join(filter(None, notes)),
        }


def _seen_by(placements: Sequence[str], telling: Telling) -> Row:
    told = [telling.without_names(one) for one in placements]
    return {PLACEMENT: next(iter(told), ""), OTHERS: ";".join(told[1:])}


# --- what the columns mean ---------------------------------------------------------------------

_SEEN = (
    {"name": PLACEMENT, "type": "string",
     "description": "Placement of the first camera that watched the tray; empty: none did."},
    {"name": OTHERS, "type": "string",
     "description": "Placements of further cameras that watched it, ; between."},
)  # fmt: skip
_BOUNDS = {"minimum": 0, "maximum": MOST}
_NUMBERS = {"food_start_g", "food_left_g", "substrate_l"}
_COUNTS = {"items_start", "items_left"}
_TIMES = {"set_out", "picked_up"}


def resources() -> list[dict[str, Any]]:
    """Describe both tables; their keys to the placements are checked by any reader [1]_.

    References
    ----------
    .. [1] Frictionless Data, Table Schema, version 1.0.
    """
    fields = dictionary.schema(tables.OUTCOME_COLUMNS, ("deployment",))["fields"]
    return [
        _resource(TRAY_OUTCOMES, "What became of each tray deployment, and why.",
                  [fields[0], *_SEEN, *fields[1:]]),
        _resource(TRAY_LOG, "Trays set out with weighed or counted food and picked up again.",
                  [_field("deployment"), *_SEEN, *map(_field, LOG_COLUMNS[3:])]),
    ]  # fmt: skip


def _resource(name: str, description: str, fields: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    key = {"fields": PLACEMENT, "reference": {"resource": DEPLOYMENTS.name, "fields": PLACEMENT}}
    return {
        "name": name,
        "path": f"{name}.csv",
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "description": description,
        "schema": {
            "fields": list(fields),
            "missingValues": [""],
            "primaryKey": "deployment",
            "foreignKeys": [key],
        },
    }


def _field(name: str) -> dict[str, Any]:
    meaning = next(column.meaning for column in traylog.COLUMNS if column.name == name)
    field: dict[str, Any] = {"name": name, "type": "string", "description": meaning}
    if name in _TIMES:
        field |= {"type": "datetime", "format": "%Y-%m-%dT%H:%M:%S%z",
                  "description": meaning.partition(":")[0]}  # fmt: skip
    elif name in _NUMBERS:
        field |= {"type": "number", "constraints": _BOUNDS}
    elif name in _COUNTS:
        field |= {"type": "integer", "constraints": _BOUNDS}
    elif name == "deployment":
        field |= {"constraints": {"required": True, "unique": True}}
    return field
