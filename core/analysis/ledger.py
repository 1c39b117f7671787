"""Decide how the tray deployments add up: set out, by status and reason, to what is analysed."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from core.analysis.choice import Choice
from core.analysis.told import Tells, Told
from core.model import Reason, Status


@dataclass(frozen=True, slots=True)
class Line:
    """Tray deployments of one status and reason that tell the same."""

    status: Status
    reason: Reason
    tells: Tells
    deployments: tuple[str, ...]

    @property
    def count(self) -> int:
        """Count them."""
        return len(self.deployments)


@dataclass(frozen=True, slots=True)
class Ledger:
    """Every study tray deployment once, in lines that add up to `n`."""

    n: int
    lines: tuple[Line, ...]
    """In the order of the statuses, reasons and what they tell."""
    choice: Choice

    def by_status(self) -> dict[Status, int]:
        """Count each status, those with none too."""
        return {one: sum(line.count for line in self.lines if line.status is one) for one in Status}

    def by_reason(self) -> dict[tuple[Status, Reason], int]:
        """Count each status and reason that occurs."""
        found: Counter[tuple[Status, Reason]] = Counter()
        for line in self.lines:
            found[line.status, line.reason] += line.count
        return dict(found)

    def by_tells(self) -> dict[Tells, int]:
        """Count what the trays tell, those with none too."""
        return {one: sum(line.count for line in self.lines if line.tells is one) for one in Tells}

    @property
    def analysed(self) -> int:
        """Count the trays with a value."""
        return self.by_tells()[Tells.VALUE]


def ledger(told: Sequence[Told], choice: Choice) -> Ledger:
    """Lay out every tray deployment once."""
    lines: dict[tuple[Status, Reason, Tells], list[str]] = {}
    for one in told:
        key = (one.outcome.status, one.outcome.reason, one.tells)
        lines.setdefault(key, []).append(one.name)
    status, reason, tells = list(Status), list(Reason), list(Tells)
    keys = sorted(
        lines, key=lambda key: (status.index(key[0]), reason.index(key[1]), tells.index(key[2]))
    )
    return Ledger(len(told), tuple(Line(*key, tuple(lines[key])) for key in keys), choice)
