"""Decide which lines of the tray log are tray deployments, and what is wrong with the others.

What a deployment's food and window mean is decided in `food` and `forager`.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from functools import partial
from zoneinfo import ZoneInfo

from core.errors import Problem
from core.model import Condition, TrayDeployment, TrayRole
from core.sheets import (
    Column,
    RowReader,
    Sheet,
    accepted,
    choice_cell,
    local_text,
    mass_cell,
    name_cell,
    plain_text,
    positive_cell,
    read_rows,
    repeated,
    time_cell,
    whole_cell,
)

MOST_ITEMS = 1_000_000
MOST_SUBSTRATE_L = 1_000
"""Larger numbers are slips of the pen (ours). [items], [L]"""

COLUMNS = (
    Column("deployment", True, "id of the tray deployment, different in every row"),
    Column("tray", True, "the tray, as the camera log names it"),
    Column("set_out", True, "when the tray was set out: YYYY-MM-DD HH:MM", "datetime"),
    Column("picked_up", True, "when it was picked up: YYYY-MM-DD HH:MM", "datetime"),
    Column("food_start_g", True, "food put in [g] (or items_start)", "number"),
    Column("food_left_g", True, "food left at pick-up [g] (or items_left)", "number"),
    Column("items_start", False, "food put in, counted [items]", "integer"),
    Column("items_left", False, "food left at pick-up, counted [items]", "integer"),
    Column("site", False, "where the tray stood; trays of a site share moisture controls"),
    Column("pair", False, "what trays compared with each other have in common"),
    Column("microhabitat", False, "such as bush or open"),
    Column("substrate_l", False, "sand or other substrate in the tray [L]", "number"),
    Column("food", False, "what the food was, such as millet"),
    Column("role", False, f"{', '.join(TrayRole)}; blank: {TrayRole.STUDY}"),
    Column("condition", False, f"{', '.join(Condition)}; blank: {Condition.OK}"),
    Column("target", False, "the species that the tray was meant for"),
    Column("handler", False, "who set it out and picked it up"),
    Column("notes", False, "anything else"),
)
_NAMES = tuple(column.name for column in COLUMNS)
_ALWAYS = ("deployment", "tray", "set_out", "picked_up")
_WEIGHED, _COUNTED = ("food_start_g", "food_left_g"), ("items_start", "items_left")
_TEXTS = ("site", "pair", "microhabitat", "food", "target", "handler")


def read_trays(sheet: Sheet, zone: ZoneInfo) -> list[TrayDeployment]:
    """Read every tray deployment of the log, in its order.

    Times without an offset are local to `zone`. A blank required cell loads, but for the id. More
    food left than put in is no fault: people weigh what they find.

    Raises
    ------
    LogError
        With every fault of the log and its line.
    """
    rows, problems = read_rows(sheet, _required(sheet), COLUMNS, partial(_deployment, zone=zone))
    ids = [(number, row.deployment) for number, row in rows if row.deployment]
    problems += repeated("deployment", ids)
    return accepted(sheet, rows, problems)


def tray_cells(deployment: TrayDeployment, zone: ZoneInfo) -> dict[str, str]:
    """Write a tray deployment as cells that read back the same, times local to `zone`."""
    values = {name: getattr(deployment, name) for name in _NAMES}
    return {name: _text(value, zone) for name, value in values.items()} | dict(deployment.extra)


def _required(sheet: Sheet) -> tuple[str, ...]:
    """Name the columns that must be there: weighed food, or counted where only that is there."""
    there = {column.lower() for column in sheet.columns}
    only_counted = there.intersection(_COUNTED) and not there.intersection(_WEIGHED)
    both_counted = there.issuperset(_COUNTED) and not there.issuperset(_WEIGHED)
    return _ALWAYS + (_COUNTED if only_counted or both_counted else _WEIGHED)


def _deployment(row: RowReader, zone: ZoneInfo) -> TrayDeployment:
    row.need("deployment", "Give every row its own id.")
    mass = partial(mass_cell, delimiter=row.sheet.delimiter)
    litres = partial(positive_cell, high=MOST_SUBSTRATE_L, delimiter=row.sheet.delimiter)
    items = partial(
        whole_cell, low=0, high=MOST_ITEMS, what="the items", delimiter=row.sheet.delimiter
    )
    texts = {column: row.cell(column, name_cell, "") for column in _TEXTS}
    read = TrayDeployment(
        deployment=row.cell("deployment", name_cell, ""),
        tray=row.cell("tray", _one_tray, ""),
        set_out=row.cell("set_out", partial(time_cell, zone=zone), None),
        picked_up=row.cell("picked_up", partial(time_cell, zone=zone), None),
        food_start_g=row.cell("food_start_g", mass, None),
        food_left_g=row.cell("food_left_g", mass, None),
        items_start=row.cell("items_start", items, None),
        items_left=row.cell("items_left", items, None),
        substrate_l=row.cell("substrate_l", litres, None),
        role=row.cell("role", partial(choice_cell, choices=TrayRole), TrayRole.STUDY),
        condition=row.cell("condition", partial(choice_cell, choices=Condition), Condition.OK),
        notes=row.text("notes"),
        extra=row.rest(_NAMES),
        **texts,
    )
    for fault in _contradictions(read, zone):
        row.refuse(fault)
    return read


def _one_tray(text: str) -> str | Problem:
    if ";" in text:
        return Problem("names several trays. Give each its own row.")
    return name_cell(text)


def _contradictions(row: TrayDeployment, zone: ZoneInfo) -> Iterator[str]:
    """Say what cells that are right alone cannot mean together."""
    if row.set_out and row.picked_up and row.set_out >= row.picked_up:
        yield (
            f"Deployment {row.deployment!r} is set out at {local_text(row.set_out, zone)}, not "
            f"before it is picked up at {local_text(row.picked_up, zone)}. Mend or swap the times."
        )
    starts: Sequence[tuple[str, Decimal | int | None]] = (
        ("food_start_g", row.food_start_g),
        ("items_start", row.items_start),
    )
    for column, start in starts:
        if start is not None and start == 0:
            yield (
                f"{column} is 0: deployment {row.deployment!r} is a tray without food. Write what "
                "was put in, or leave the cell blank if it is not known."
            )


def _text(value: object, zone: ZoneInfo) -> str:
    if isinstance(value, datetime):
        return local_text(value, zone)
    if isinstance(value, Decimal):
        return plain_text(value)
    return "" if value is None else str(value)
