"""Decide how faults of a package are told: each with its place, the first few of a kind, a count.

Nothing is dropped in silence: what is not listed of a kind is counted.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

MOST_OF_A_KIND = 10
"""So many faults of one kind are kept."""
LONGEST_VALUE = 80
"""So many characters of a value are shown."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with a package."""

    table: str
    """The file: a table's, or the descriptor's."""
    line: int | None
    """Row of the table as a spreadsheet numbers it, the header being 1; None for the whole."""
    column: str
    """Column, or property of the descriptor; empty for the whole."""
    value: str
    """As it stands there; cut where it is long."""
    message: str
    """What is wrong, and the way out."""

    def __str__(self) -> str:
        """Put the place and the value in front."""
        line = "" if self.line is None else f" line {self.line}"
        column = f", {self.column}" if self.column else ""
        value = f" {self.value!r}" if self.value else ""
        return f"{self.table}{line}{column}{value}: {self.message}"


@dataclass(slots=True)
class _Kind:
    kept: list[Fault] = field(default_factory=list)
    more: int = 0


@dataclass(slots=True)
class Faults:
    """The faults found so far."""

    _kinds: dict[tuple[str, str, str], _Kind] = field(default_factory=dict)

    def add(
        self, table: str, message: str, *, line: int | None = None, column: str = "",
        value: object = "",
    ) -> None:  # fmt: skip
        """Note a fault; those of one table, column and message are of one kind."""
        kind = self._kinds.setdefault((table, column, message), _Kind())
        if len(kind.kept) >= MOST_OF_A_KIND:
            kind.more += 1
            return
        text = value if isinstance(value, str) else repr(value)
        short = text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}..."
        kind.kept.append(Fault(table, line, column, short, message))

    def listed(self) -> list[Fault]:
        """Give them kind by kind, in the order in which kinds were first met."""
        return [fault for key, kind in self._kinds.items() for fault in _of(key, kind)]


def _of(key: tuple[str, str, str], kind: _Kind) -> Iterable[Fault]:
    yield from kind.kept
    if kind.more:
        table, column, message = key
        yield Fault(table, None, column, "", f"and {kind.more} more of this kind: {message}")
