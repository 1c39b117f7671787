"""Decide which visits are whose to tag: evenly, nobody twice, and few change hands.

What was handed out is kept, not worked out from names: a hash of names would be uneven by the root
of what each gets, and what somebody has begun must stay theirs.
"""

import hashlib
from collections import defaultdict
from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

MOST_TRAINING = 0.5
"""No more than half of what somebody tags is there to learn from (a judgement)."""


class Unit(StrEnum):
    """What is handed out in one piece."""

    VISIT = "visit"
    PLACEMENT = "placement"


@dataclass(frozen=True, slots=True)
class Handout:
    """How visits are handed out."""

    unit: Unit = Unit.VISIT
    training: float = 0.0
    """Of what somebody gets, the share that is settled already, to learn from. [0..1]"""


Key = TypeVar("Key", bound=Hashable)
Holders = Mapping[Key, Collection[str]]


def hand_out(
    sizes: Mapping[Key, int],
    people: Sequence[str],
    needed: int,
    *,
    before: Holders[Key],
    done: Holders[Key],
) -> dict[Key, frozenset[str]]:
    """Give each piece to `needed` people, or to all where there are fewer.

    Loads (visits) differ by at most the largest piece, as far as what is done already allows. Who
    comes new is given no more than their even part, from those who have most; of who is gone, all
    is handed on.

    Parameters
    ----------
    sizes
        Visits of each piece, from 1.
    before
        Who was given which piece before; people who are gone count for nothing.
    done
        Who has tagged something of which piece: it stays theirs.
    """
    table = _Table(sizes, people, done)
    for key in sorted(sizes, key=lambda key: (-sizes[key], _mixed(key, ""))):
        stay = [who for who in table.done[key] if who in table.load]
        kept = [who for who in before.get(key, ()) if who in table.load and who not in stay]
        table.give(key, stay)
        table.give(
            key, sorted(kept, key=lambda who: _mixed(key, who))[: max(0, needed - len(stay))]
        )
    for key in sorted(sizes, key=lambda key: (-sizes[key], _mixed(key, ""))):
        table.fill(key, needed)
    table.even_out()
    return {key: frozenset(holders) for key, holders in table.holders.items()}


class _Table(Generic[Key]):
    """Who holds what, while it is handed out."""

    def __init__(self, sizes: Mapping[Key, int], people: Sequence[str], done: Holders[Key]) -> None:
        self.sizes = sizes
        self.load = dict.fromkeys(people, 0)
        self.holders: dict[Key, set[str]] = {key: set() for key in sizes}
        self.of: dict[str, dict[Key, None]] = {who: {} for who in people}
        self.done: dict[Key, frozenset[str]] = defaultdict(frozenset)
        self.done |= {key: frozenset(done[key]) for key in done if key in sizes}

    def give(self, key: Key, people: Sequence[str]) -> None:
        for who in people:
            self.holders[key].add(who)
            self.of[who][key] = None
            self.load[who] += self.sizes[key]

    def take(self, key: Key, who: str) -> None:
        self.holders[key].remove(who)
        del self.of[who][key]
        self.load[who] -= self.sizes[key]

    def fill(self, key: Key, needed: int) -> None:
        """Give a piece to those who have least, until it has holders enough."""
        missing = needed - len(self.holders[key])
        if missing <= 0:
            return
        free = (who for who in self.load if who not in self.holders[key])
        least = sorted(free, key=lambda who: (self.load[who], _mixed(key, who)))
        self.give(key, least[:missing])

    def even_out(self) -> None:
        """Move pieces from those who have most to those who have least, while it helps."""
        bound = max(self.sizes.values(), default=0)
        while move := self._move(bound):
            key, giver, taker = move
            self.take(key, giver)
            self.give(key, [taker])

    def _move(self, bound: int) -> tuple[Key, str, str] | None:
        by_load = sorted(self.load, key=lambda who: (self.load[who], who))
        for giver in reversed(by_load):
            for taker in by_load:
                if self.load[giver] - self.load[taker] <= bound:
                    break
                key = self._to_move(giver, taker)
                if key is not None:
                    return key, giver, taker
        return None

    def _to_move(self, giver: str, taker: str) -> Key | None:
        """Give a piece that one holds, has not begun, and the other does not hold."""
        return next(
            (
                key
                for key in self.of[giver]
                if taker not in self.holders[key]
                and taker not in self.done[key]
                and giver not in self.done[key]
            ),
            None,
        )


def training_of(
    who: str, own: int, known: Sequence[Key], read: Collection[Key], share: float
) -> list[Key]:
    """Give settled visits for somebody to learn from, among `own` others: the same each time.

    `known` are the visits that the instructor has ruled, `read` those that they have tagged. The
    share is of all that they get; fewer where there are not so many.
    """
    share = min(max(share, 0.0), MOST_TRAINING)
    wanted = round(own * share / (1 - share))
    left = [key for key in known if key not in read]
    return sorted(left, key=lambda key: _mixed(key, who))[:wanted]


def _mixed(key: Hashable, who: str) -> bytes:
    """Give an order that mixes, the same in every run."""
    return hashlib.blake2b(f"{key!r}\n{who}".encode(), digest_size=8).digest()
