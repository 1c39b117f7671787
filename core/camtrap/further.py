"""Decide what a further table of a package has to look like, by the schema that comes with it.

References
----------
.. [1] Frictionless Data, Table Schema, version 1.0: field descriptors, keys.
"""

import re
from collections.abc import Iterable, Mapping
from typing import Any

from core.camtrap.fields import TABLES, Field, Kind, TableOf
from core.camtrap.tabling import Layout

KINDS = {str(kind): kind for kind in Kind}
TIME_FORMATS = {"default", "%Y-%m-%dT%H:%M:%S%z"}


def layout_of(name: str, file: str, schema: Mapping[str, Any]) -> Layout | None:
    """Read a Table Schema [1]_; None where its fields cannot be made out.

    Types other than text, numbers, whole numbers, true or false and times count as text, times
    in a format of their own too. Keys to other tables count where they are to a standard one's.
    """
    fields = schema.get("fields")
    if not isinstance(fields, list) or not fields or not all(map(_is_field, fields)):
        return None
    key = _names(schema.get("primaryKey"))
    table = TableOf(
        name,
        tuple(_field(one, only=key == [one["name"]], always=one["name"] in key) for one in fields),
        dict(_references(schema.get("foreignKeys"))),
    )
    several = len(key) > 1 and set(table.columns).issuperset(key)
    missing = tuple(_names(schema.get("missingValues", [""])))
    return Layout(table, file, (tuple(key),) if several else (), missing)


def _is_field(one: object) -> bool:
    return isinstance(one, dict) and isinstance(one.get("name"), str)


def _names(told: object) -> list[str]:
    if isinstance(told, str):
        return [told]
    return [one for one in told if isinstance(one, str)] if isinstance(told, list) else []


def _field(told: Mapping[str, Any], *, only: bool, always: bool) -> Field:
    """Read a column; `only` and `always`: no value comes twice, or is left out, as a key's."""
    limits = told.get("constraints")
    limits = limits if isinstance(limits, dict) else {}
    kind = KINDS.get(str(told.get("type", "string")), Kind.TEXT)
    if kind is Kind.TIME and told.get("format", "default") not in TIME_FORMATS:
        kind = Kind.TEXT
    words = limits.get("enum")
    listed = words if isinstance(words, list) and kind is Kind.TEXT else ()
    return Field(
        told["name"],
        kind,
        required=always or limits.get("required") is True,
        least=_number(limits.get("minimum")),
        most=_number(limits.get("maximum")),
        words=tuple(one for one in listed if isinstance(one, str)),
        pattern=_pattern(limits.get("pattern")),
        unique=only or limits.get("unique") is True,
    )


def _number(told: object) -> float | None:
    return told if isinstance(told, int | float) and not isinstance(told, bool) else None


def _pattern(told: object) -> str:
    """Give a pattern for whole cells; none where it cannot be read."""
    if not isinstance(told, str):
        return ""
    try:
        re.compile(told)
    except re.error:
        return ""
    return f"^(?:{told})$"


def _references(told: object) -> Iterable[tuple[str, str]]:
    """Give column and table of each key to a standard table's own key."""
    for one in told if isinstance(told, list) else ():
        reference = one.get("reference") if isinstance(one, dict) else None
        if not isinstance(reference, dict):
            continue
        here, there = _names(one.get("fields")), _names(reference.get("fields"))
        for table in TABLES:
            if reference.get("resource") == table.name and there == [table.columns[0]] and here:
                yield here[0], table.name
