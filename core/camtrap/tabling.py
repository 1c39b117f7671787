"""Decide which rows of one table of a package are sound: header, cells, keys, and what they name.

A table is read once, row by row; only keys are kept.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from core.camtrap import cells, opening
from core.camtrap.cells import CellError, Value
from core.camtrap.faultlist import Faults
from core.camtrap.fields import Field, Kind, TableOf

Row = dict[str, Value]
REMEMBERED = 2048
"""So many texts of a column are known by heart, since most come again."""


@dataclass(frozen=True, slots=True)
class Layout:
    """What a table has to look like."""

    table: TableOf
    file: str
    """As faults name it."""
    keys: tuple[tuple[str, ...], ...] = ()
    """Keys of several columns; those of one are told by its field."""


@dataclass(slots=True)
class Reading:
    """One table while it is read."""

    layout: Layout
    faults: Faults
    known: Mapping[str, Collection[str]]
    """Keys of the tables that were read before, by table; one that could not be read is absent."""
    strict: bool
    whole: bool = True
    """Whether every row could be read."""
    _seen: dict[tuple[str, ...], set[Value | tuple[Value, ...]]] = field(default_factory=dict)

    def rows(self, path: Path) -> Iterator[tuple[int, Row]]:
        """Give each row with its number; a cell at fault, told already, is None."""
        if self.strict and opening.has_bom(path):
            self._add("The file begins with a BOM. Save it as UTF-8 without one.")
        lines = opening.rows(path)
        try:
            columns = self._columns(next(lines, (1, []))[1])
            if not columns:
                self.whole = False
                return
            width = max(column.at for column in columns) + 1
            header = self._header
            for number, texts in lines:
                if self.strict and len(texts) != header:
                    self._add("The row has more or fewer cells than the header. Mend it.", number)
                padded = texts if len(texts) >= width else texts + [""] * (width - len(texts))
                row = {one.field.name: self._value(one, padded[one.at], number) for one in columns}
                self._refuse_again(row, number)
                yield number, row
        except opening.PackageError as fault:
            self.whole = False
            self._add(str(fault))

    _header: int = 0

    def _add(self, message: str, line: int | None = None, column: str = "", value: str = "") -> None:
        self.faults.add(self.layout.file, message, line=line, column=column, value=value)

    def _columns(self, header: Sequence[str]) -> list["_Column"]:
        """Find the columns by their names; none where a required one is missing or twice there."""
        self._header = len(header)
        wanted = self.layout.table
        if self.strict and tuple(header) != wanted.columns:
            self._add(_difference(header, wanted.columns), 1, value=_first_odd(header, wanted))
        names = [name if self.strict else name.strip() for name in header]
        twice = [one.name for one in wanted.fields if names.count(one.name) > 1]
        missing = [one.name for one in wanted.fields if one.required and one.name not in names]
        for name in twice:
            self._add("The column is there twice. Take one of them out.", 1, name)
        for name in missing:
            self._add(
                "The column is missing, so the table cannot be read. Add it; cells are to be "
                "separated by commas.", 1, name,
            )  # fmt: skip
        if twice or missing:
            return []
        present = [one for one in wanted.fields if one.name in names]
        return [_Column(one, names.index(one.name), wanted.refers.get(one.name)) for one in present]

    def _value(self, column: "_Column", text: str, number: int) -> Value:
        """Read one cell and tell what is wrong with it."""
        known = column.known
        if text in known:
            return known[text]
        try:
            value = cells.read(text, column.field, strict=self.strict)
        except CellError as fault:
            self._add(str(fault), number, column.field.name, text)
            return None
        if value is not None and column.refers in self.known and text not in self.known[column.refers]:
            self._add(
                f"There is no such row in {column.refers}. Add it there, or mend this.",
                number, column.field.name, text,
            )  # fmt: skip
            return None
        if not column.field.unique:
            if len(known) >= REMEMBERED:
                known.clear()
            known[text] = value
        return value

    def _refuse_again(self, row: Row, number: int) -> None:
        for key in self._keys():
            value = row.get(key[0]) if len(key) == 1 else tuple(row.get(name) for name in key)
            seen = self._seen.setdefault(key, set())
            if value is not None and value in seen:
                self._add(
                    "Another row has this already, but it has to be the only one. Take one out.",
                    number, ", ".join(key), str(row.get(key[0])),
                )  # fmt: skip
            seen.add(value)

    def _keys(self) -> Sequence[tuple[str, ...]]:
        single = [(one.name,) for one in self.layout.table.fields if one.unique]
        return [*single, *self.layout.keys]


@dataclass(slots=True)
class _Column:
    """A column as it stands in the file."""

    field: Field
    at: int
    refers: str | None
    known: dict[str, Value] = field(default_factory=dict)


def _difference(header: Sequence[str], wanted: Sequence[str]) -> str:
    if sorted(header) == sorted(wanted):
        return "The columns are not in the standard's order. Put them in order."
    return (
        f"The header is not that of the standard, which has {len(wanted)} columns, none of them "
        f"left out or added: {', '.join(wanted[:3])}, ... Write it so."
    )


def _first_odd(header: Sequence[str], wanted: TableOf) -> str:
    pairs = zip(header, wanted.columns, strict=False)
    odd = next((is_ for is_, should in pairs if is_ != should), None)
    if odd is not None:
        return odd
    return next(iter(header[len(wanted.columns) :]), wanted.columns[-1] if header else "")


# --- tables of others --------------------------------------------------------------------------

KINDS = {str(one): one for one in Kind}


def layout_of(name: str, schema: Mapping[str, object], tables: Collection[TableOf]) -> Layout | None:
    """Read the Table Schema of a further resource; None where it says nothing to check by.

    Types other than the standard's five, and times in a format of their own, count as text.
    """
    told = schema.get("fields")
    fields = [one for one in told if _is_field(one)] if isinstance(told, list) else []
    if not fields or len(fields) != len(told or ()):  # type: ignore[arg-type]
        return None
    single = _names(schema.get("primaryKey"))
    table = TableOf(
        name,
        tuple(_field(one, only=len(single) == 1 and one["name"] == single[0]) for one in fields),
        _references(schema.get("foreignKeys"), tables),
    )
    return Layout(table, f"{name}.csv", (tuple(single),) if len(single) > 1 else ())
