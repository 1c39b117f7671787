"""Decide which rows of one table of a package are sound: header, cells, keys, and what they name.

A table is read once, row by row; only keys are kept.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from core.camtrap import cells, opening
from core.camtrap.cells import CellError, Value
from core.camtrap.faultlist import Faults
from core.camtrap.fields import MISSING, Field, TableOf

Row = dict[str, Value]
Key = tuple[str, ...]
REMEMBERED = 2048
"""So many texts of a column are known by heart, since most come again."""


@dataclass(frozen=True, slots=True)
class Layout:
    """What a table has to look like."""

    table: TableOf
    file: str
    """As faults name it."""
    keys: tuple[Key, ...] = ()
    """Keys of several columns; one of a single column is told by its field."""
    missing: tuple[str, ...] = MISSING
    """Cells that mean that nothing is there."""


@dataclass(slots=True)
class _Column:
    """A column as it stands in the file."""

    rule: Field
    at: int
    table: str
    """The table that its cells name a row of; empty for none."""
    there: Collection[str] | None
    """The keys of that table; None where there is nothing to check by."""
    known: dict[str, Value] = field(default_factory=dict)


@dataclass(slots=True)
class Reading:
    """One table while it is read."""

    layout: Layout
    faults: Faults
    known: Mapping[str, Collection[str]]
    """Keys of the tables that were read before, by table; one that could not be read is absent."""
    strict: bool
    whole: bool = False
    """Whether every row was read to the end."""

    def rows(self, path: Path) -> Iterator[tuple[int, Row]]:
        """Give each row with its number; a cell at fault, which is told at once, is None.

        Columns are found by their names; one that is not there is None in every row.
        """
        if self.strict and opening.has_bom(path):
            self._add("The file begins with a BOM. Save it as UTF-8 without one.")
        lines = opening.rows(path)
        try:
            header = next(lines, (1, []))[1]
            columns = self._columns(header)
            if columns:
                yield from self._read(lines, columns, len(header))
                self.whole = True
        except opening.PackageError as fault:
            self._add(str(fault))

    def _add(
        self, message: str, line: int | None = None, column: str = "", value: str = ""
    ) -> None:
        self.faults.add(self.layout.file, message, line=line, column=column, value=value)

    def _columns(self, header: Sequence[str]) -> list[_Column]:
        """Find the columns by their names; none where a required one is missing or twice there."""
        wanted = self.layout.table
        if self.strict and tuple(header) != wanted.columns:
            self._add(_difference(header, wanted.columns), 1, value=_odd(header, wanted.columns))
        names = [name.strip() for name in header]
        twice = [one.name for one in wanted.fields if names.count(one.name) > 1]
        missing = [one.name for one in wanted.fields if one.required and one.name not in names]
        if twice:
            self._add("These columns are there twice. Take one out.", 1, value=", ".join(twice))
        if missing:
            self._add(
                "Without these columns the table cannot be read. Add them, with commas between.",
                1, value=", ".join(missing),
            )  # fmt: skip
        if twice or missing:
            return []
        there = [one for one in wanted.fields if one.name in names]
        return [self._column(one, names.index(one.name)) for one in there]

    def _column(self, one: Field, at: int) -> _Column:
        table = self.layout.table.refers.get(one.name, "")
        return _Column(one, at, table, self.known.get(table))

    def _read(
        self, lines: Iterator[tuple[int, list[str]]], columns: Sequence[_Column], width: int
    ) -> Iterator[tuple[int, Row]]:
        absent: Row = dict.fromkeys(self.layout.table.columns)
        seen: dict[Key, set[Value | tuple[Value, ...]]] = {key: set() for key in self._keys()}
        for number, texts in lines:
            if len(texts) != width:
                self._refuse_width(texts, width, number)
                texts.extend([""] * (width - len(texts)))
            row = absent.copy()
            for one in columns:
                text = texts[one.at]
                known = one.known
                row[one.rule.name] = (
                    known[text] if text in known else self._value(one, text, number)
                )
            for key, before in seen.items():
                self._refuse_again(key, row, before, number)
            yield number, row

    def _refuse_width(self, texts: Sequence[str], width: int, number: int) -> None:
        """Refuse a row of another width; leniently only where cells have no column."""
        if self.strict or any(texts[width:]):
            self._add("The row has more or fewer cells than the header. Mend its commas.", number)

    def _value(self, column: _Column, text: str, number: int) -> Value:
        """Read one cell and tell what is wrong with it."""
        try:
            value = cells.read(text, column.rule, strict=self.strict, missing=self.layout.missing)
        except CellError as fault:
            self._add(str(fault), number, column.rule.name, text)
            return None
        if value is not None and column.there is not None and text not in column.there:
            self._add(
                f"There is no such row in {column.table}. Add it there, or mend this.",
                number, column.rule.name, text,
            )  # fmt: skip
            return None
        if len(column.known) >= REMEMBERED:
            column.known.clear()
        column.known[text] = value
        return value

    def _keys(self) -> list[Key]:
        single: list[Key] = [(one.name,) for one in self.layout.table.fields if one.unique]
        return [*single, *self.layout.keys]

    def _refuse_again(
        self, key: Key, row: Row, before: set[Value | tuple[Value, ...]], number: int
    ) -> None:
        value = row[key[0]] if len(key) == 1 else tuple(row[name] for name in key)
        if value is None:
            return
        if value in before:
            self._add(
                "Another row has this already, but only one may. Take one of them out.",
                number, ", ".join(key), str(row[key[0]]),
            )  # fmt: skip
        before.add(value)


def _difference(header: Sequence[str], wanted: Sequence[str]) -> str:
    if sorted(header) == sorted(wanted):
        return "The columns are not in the order asked for. Put them in order."
    return (
        f"The header is not the one asked for: {len(wanted)} columns with commas between, in "
        f"order, none left out or added, from {wanted[0]} to {wanted[-1]}. Write it so."
    )


def _odd(header: Sequence[str], wanted: Sequence[str]) -> str:
    """Name the first column that is not where it should be: as it is, else as it should be."""
    pairs = zip(header, wanted, strict=False)
    longer = header[len(wanted) :] or wanted[len(header) :]
    return next((is_ for is_, should in pairs if is_ != should), next(iter(longer), ""))
