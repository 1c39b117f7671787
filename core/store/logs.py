"""Decide how the logs are held: each row once, in the log's order, a newer row in its place.

What makes a row right is decided where the logs are read.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, Connection, Table, bindparam, select

from core.model import ClockCheck, Placement, Species, TrayDeployment
from core.store.tables import CLOCK_CHECKS, PLACEMENTS, SPECIES, TRAY_DEPLOYMENTS

Row = TypeVar("Row", Species, Placement, ClockCheck, TrayDeployment)


@dataclass(frozen=True, slots=True)
class Counts:
    """How many rows of a log were new, changed something, or were there as they are."""

    new: int = 0
    changed: int = 0
    same: int = 0


@dataclass(frozen=True, slots=True)
class _Log(Generic[Row]):
    table: Table
    row: type[Row]
    key: Callable[[Row], Hashable]
    """What two rows about the same thing have in common."""


def _clock_check_key(check: ClockCheck) -> Hashable:
    if check.camera_showed is not None:
        return check.placement, check.camera_showed
    rest = tuple(sorted(check.extra.items()))
    return check.placement, None, check.true_time, check.photo, rest


_SPECIES = _Log(SPECIES, Species, lambda row: row.key)
_PLACEMENTS = _Log(PLACEMENTS, Placement, lambda row: row.placement)
_CLOCK_CHECKS = _Log(CLOCK_CHECKS, ClockCheck, _clock_check_key)
_TRAY_DEPLOYMENTS = _Log(TRAY_DEPLOYMENTS, TrayDeployment, lambda row: row.deployment)


def species(connection: Connection) -> list[Species]:
    """Fetch the species list in its order."""
    return [row for _, row in _fetch(connection, _SPECIES)]


def put_species(connection: Connection, rows: Sequence[Species]) -> Counts:
    """Add species; one whose key is known takes the place of the older row."""
    return _put(connection, _SPECIES, rows)


def remove_species(connection: Connection, key: str) -> bool:
    """Remove a species from the list; False where it was not on it."""
    return _remove(connection, SPECIES, SPECIES.c.key == key)


def placements(connection: Connection) -> list[Placement]:
    """Fetch the placements in the camera log's order."""
    return [row for _, row in _fetch(connection, _PLACEMENTS)]


def put_placements(connection: Connection, rows: Sequence[Placement]) -> Counts:
    """Add placements; one that is known takes the place of the older row."""
    return _put(connection, _PLACEMENTS, rows)


def remove_placement(connection: Connection, placement: str) -> bool:
    """Remove a placement from the log, not its cards; False where it was not in it."""
    return _remove(connection, PLACEMENTS, PLACEMENTS.c.placement == placement)


def clock_checks(connection: Connection) -> list[ClockCheck]:
    """Fetch the clock checks in the clock log's order."""
    return [row for _, row in _fetch(connection, _CLOCK_CHECKS)]


def put_clock_checks(connection: Connection, rows: Sequence[ClockCheck]) -> Counts:
    """Add clock checks; one of the same placement and time shown takes the older row's place.

    A row that does not say what the camera showed is added unless the very same is there.
    """
    return _put(connection, _CLOCK_CHECKS, rows)


def remove_clock_check(
    connection: Connection, placement: str, camera_showed: datetime | None
) -> bool:
    """Remove a clock check, or with None those without a time shown; False where none was."""
    shown = CLOCK_CHECKS.c.camera_showed
    same_time = shown.is_(None) if camera_showed is None else shown == camera_showed
    return _remove(connection, CLOCK_CHECKS, (CLOCK_CHECKS.c.placement == placement) & same_time)


def tray_deployments(connection: Connection) -> list[TrayDeployment]:
    """Fetch the tray deployments in the tray log's order."""
    return [row for _, row in _fetch(connection, _TRAY_DEPLOYMENTS)]


def put_tray_deployments(connection: Connection, rows: Sequence[TrayDeployment]) -> Counts:
    """Add tray deployments; one that is known takes the place of the older row."""
    return _put(connection, _TRAY_DEPLOYMENTS, rows)


def remove_tray_deployment(connection: Connection, deployment: str) -> bool:
    """Remove a tray deployment from the log; False where it was not in it."""
    table = TRAY_DEPLOYMENTS
    return _remove(connection, table, table.c.deployment == deployment)


def _fetch(connection: Connection, log: _Log[Row]) -> list[tuple[int, Row]]:
    """Fetch (position, row) of a log; the columns after the position are the row's fields."""
    names = [column.name for column in log.table.c][1:]
    found = connection.execute(select(log.table).order_by(log.table.c.position))
    return [(cells[0], log.row(**dict(zip(names, cells[1:], strict=True)))) for cells in found]


def _put(connection: Connection, log: _Log[Row], rows: Sequence[Row]) -> Counts:
    known = {log.key(row): (position, row) for position, row in _fetch(connection, log)}
    given = {log.key(row): row for row in rows}
    new = [row for key, row in given.items() if key not in known]
    both = [(known[key], row) for key, row in given.items() if key in known]
    changed = [(position, row) for (position, older), row in both if older != row]
    if new:
        connection.execute(log.table.insert(), [_cells(log.table, row) for row in new])
    if changed:
        place = log.table.c.position == bindparam("place")
        cells = [{"place": position} | _cells(log.table, row) for position, row in changed]
        connection.execute(log.table.update().where(place), cells)
    return Counts(new=len(new), changed=len(changed), same=len(both) - len(changed))


def _cells(table: Table, row: object) -> dict[str, Any]:
    return {column.name: getattr(row, column.name) for column in list(table.c)[1:]}


def _remove(connection: Connection, table: Table, which: ColumnElement[bool]) -> bool:
    return connection.execute(table.delete().where(which)).rowcount > 0
