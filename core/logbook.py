"""Decide how a log meets what the study has: rows brought up to date, like names refused."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import fields
from dataclasses import replace as dataclass_replace
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from core import clockfaults, logs, sheets
from core.clockfaults import ClockCorrection
from core.errors import ClockError, LogError, Problem
from core.logs import LogKind
from core.model import ClockCheck, Placement, Species, TrayDeployment
from core.sheets import Sheet
from core.store import Counts, Database, cards, corrections
from core.store import logs as store

Line = TypeVar("Line", Species, Placement, TrayDeployment)
Connection = Any
"""An open connection of the store."""


def put(database: Database, kind: LogKind, sheet: Sheet, zone: ZoneInfo) -> Counts:
    """Keep a log whole or not at all: known rows are brought up to date, none is removed.

    A column that the log does not have says nothing: there a known row stays as it is.

    Raises
    ------
    LogError
        With every fault and its line.
    """
    _refuse_outcomes(kind, sheet)
    with database.begin() as connection:
        return _put(connection, kind, sheet, zone, partly=True)


def replace(
    database: Database, kind: LogKind, rows: Iterable[Mapping[str, object]], zone: ZoneInfo
) -> Counts:
    """Take a log as it was edited: the same checks; rows that were left out are removed."""
    listed = list(rows)
    if not listed:
        raise LogError(str(kind), [Problem("The table is empty. Keep at least one row.")])
    sheet = sheets.sheet_of_rows(str(kind), listed)
    with database.begin() as connection:
        _remove_others(connection, kind, sheet, zone)
        return _put(connection, kind, sheet, zone)


def cells(connection: Connection, kind: LogKind, zone: ZoneInfo) -> list[dict[str, str]]:
    """Give a log as it would stand in a spreadsheet (tags are listed elsewhere)."""
    match kind:
        case LogKind.SPECIES:
            return [logs.species_cells(one) for one in store.species(connection)]
        case LogKind.CAMERAS:
            return [logs.placement_cells(one, zone) for one in store.placements(connection)]
        case LogKind.CLOCKS:
            return [logs.clock_cells(one, zone) for one in store.clock_checks(connection)]
        case _:
            return [logs.tray_cells(one, zone) for one in store.tray_deployments(connection)]


def _put(
    connection: Connection, kind: LogKind, sheet: Sheet, zone: ZoneInfo, *, partly: bool = False
) -> Counts:
    """Put rows into a log; `partly`: columns that it does not have stay as they are."""
    there = {column.lower() for column in sheet.columns}
    match kind:
        case LogKind.SPECIES:
            species = logs.read_species(sheet)
            if partly:
                species = _over(species, store.species(connection), there, lambda one: one.key)
            _refuse_like_names(connection, sheet.name, species)
            return store.put_species(connection, species)
        case LogKind.CAMERAS:
            rows = logs.read_cameras(sheet, zone)
            if partly:
                rows = _over(rows, store.placements(connection), there, lambda one: one.placement)
            counts = store.put_placements(connection, rows)
            _refuse_bad_clocks(connection, sheet.name, zone)
            return counts
        case LogKind.CLOCKS:
            counts = store.put_clock_checks(connection, _read_clocks(connection, sheet, zone))
            _refuse_bad_clocks(connection, sheet.name, zone)
            return counts
        case _:
            trays = logs.read_trays(sheet, zone)
            if partly:
                known = store.tray_deployments(connection)
                trays = _over(trays, known, there, lambda one: one.deployment)
            return store.put_tray_deployments(connection, trays)


def _over(
    rows: Sequence[Line], known: Sequence[Line], there: Collection[str], key: Callable[[Line], str]
) -> list[Line]:
    """Lay rows over those that are known: what their log has no column for stays."""
    older = {key(one): one for one in known}
    return [_onto(older[key(row)], row, there) if key(row) in older else row for row in rows]


def _onto(older: Line, row: Line, there: Collection[str]) -> Line:
    kept = {
        field.name: getattr(older, field.name)
        for field in fields(row)
        if field.name != "extra" and field.name not in there
    }
    extra = {name: text for name, text in older.extra.items() if name.lower() not in there}
    return dataclass_replace(row, **kept, extra=extra | dict(row.extra))


def _refuse_outcomes(kind: LogKind, sheet: Sheet) -> None:
    """Refuse a table that came out of a study: it would write results over what people noted."""
    there = {column.lower() for column in sheet.columns}
    if kind is LogKind.TRAYS and there >= {"status", "reason", "proportion_left"}:
        raise LogError(
            sheet.name,
            [
                Problem(
                    "This is a table of outcomes, with the columns status and reason. Load the "
                    "tray log that people wrote."
                )
            ],
        )


def _remove_others(connection: Connection, kind: LogKind, sheet: Sheet, zone: ZoneInfo) -> None:
    """Remove the rows of a log that a table no longer has."""
    match kind:
        case LogKind.SPECIES:
            keys = {one.key for one in logs.read_species(sheet)}
            for key in {one.key for one in store.species(connection)} - keys:
                store.remove_species(connection, key)
        case LogKind.CAMERAS:
            names = {one.placement for one in logs.read_cameras(sheet, zone)}
            for name in {one.placement for one in store.placements(connection)} - names:
                store.remove_placement(connection, name)
        case LogKind.CLOCKS:
            read = _read_clocks(connection, sheet, zone)
            kept = {(one.placement, one.camera_showed) for one in read}
            known = {(one.placement, one.camera_showed) for one in store.clock_checks(connection)}
            for name, showed in known - kept:
                store.remove_clock_check(connection, name, showed)
        case _:
            ids = {one.deployment for one in logs.read_trays(sheet, zone)}
            for id_ in {one.deployment for one in store.tray_deployments(connection)} - ids:
                store.remove_tray_deployment(connection, id_)


def _refuse_like_names(connection: Connection, log: str, rows: Sequence[Species]) -> None:
    """Refuse a species list that would give one name, or one keystroke, to two species."""
    keys = {row.key for row in rows}
    faults = [
        Problem(
            f"{row.name!r} ({row.key!r}) is too like {other.name!r} ({other.key!r}), which the "
            "study has already. Use its key, or another name."
        )
        for row in rows
        for other in store.species(connection)
        if other.key not in keys and _alike(row, other)
    ]
    if faults:
        raise LogError(log, faults)


def _alike(one: Species, other: Species) -> bool:
    same_name = one.name.casefold() == other.name.casefold()
    return same_name or one.key.casefold() == other.key.casefold()


def _read_clocks(connection: Connection, sheet: Sheet, zone: ZoneInfo) -> list[ClockCheck]:
    """Read clock checks; where a clock was corrected, its pieces have checks of their own."""
    return logs.read_clocks(sheet, zone, {one.placement for one in _corrected(connection)})


def _corrected(connection: Connection) -> list[ClockCorrection]:
    return clockfaults.in_force(corrections.corrections(connection))


def _refuse_bad_clocks(connection: Connection, log: str, zone: ZoneInfo) -> None:
    """Refuse clock checks that run backwards once all of a placement stand together."""
    corrected = _corrected(connection)
    placements = {one.placement: one for one in store.placements(connection)}
    by_placement: dict[str, list[ClockCheck]] = {}
    for check in store.clock_checks(connection):
        by_placement.setdefault(check.placement, []).append(check)
    faults = []
    for name, own in by_placement.items():
        here = [one for one in corrected if one.placement == name]
        photos = cards.photos(connection, name) if here else ()
        try:
            clockfaults.true_times(photos, placements.get(name), own, zone, here)
        except ClockError as fault:
            faults.append(Problem(str(fault)))
    if faults:
        raise LogError(log, faults)
