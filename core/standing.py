"""Decide which tags stand where in a placement's order, and keep that up to date by what is new.

What they mean together is decided in tags.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core import tags
from core.model import Tag
from core.tags import Key, Run

MANY = 100
"""From so many changed runs on, everything is gone through once in place of run after run."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The tags of one placement that are in force, at their places, in the order they were made."""

    groups: Mapping[Key, tuple[Tag, ...]]
    """All that were made, those taken back and replaced too."""
    runs: NDArray[np.object_]
    """Shape (m,), of `Run`: those in force on photos that have a place."""
    numbers: NDArray[np.int64]
    firsts: NDArray[np.int64]
    lasts: NDArray[np.int64]
    """Shape (m,): of each run the number of its tag and the places of its ends, both inside."""
    over: NDArray[np.int32]
    """Shape (n,), how many runs lie over each photo."""
    handler: NDArray[np.bool_]
    """Shape (n,), whether `handler` is held of each photo."""

    def between(self, first: int, last: int) -> list[Run]:
        """Give the runs that touch the photos from one place to another, both inside."""
        touching = (self.firsts <= last) & (self.lasts >= first)
        found: list[Run] = self.runs[touching].tolist()
        return found

    def tags(self) -> list[Tag]:
        """Give every tag that was made, in that order."""
        made = (tag for group in self.groups.values() for tag in group)
        return sorted(made, key=lambda tag: tag.number)


def nothing(count: int) -> Standing:
    """Give the standing of `count` photos before anybody said anything."""
    none = np.empty(0, dtype=np.int64)
    return Standing(
        groups={},
        runs=np.empty(0, dtype=np.object_),
        numbers=none,
        firsts=none,
        lasts=none,
        over=np.zeros(count, dtype=np.int32),
        handler=np.zeros(count, dtype=np.bool_),
    )


def renewed(old: Standing, news: Sequence[Tag], place: Mapping[int, int], needed: int) -> Standing:
    """Give what stands after tags were made, taken back or restored.

    Parameters
    ----------
    news
        Each new tag, and each whose standing changed, as it is now.
    place
        Where each photo stands in the order, by id; others have no place.
    needed
        How many taggers have to agree.
    """
    if not news:
        return old
    groups = dict(old.groups)
    changed = _by_key(news)
    before = [tag for key in changed for tag in groups.get(key, ())]
    for key, some in changed.items():
        known = groups.get(key)
        groups[key] = tuple(({tag.number: tag for tag in known} | some if known else some).values())
    after = [tag for key in changed for tag in groups[key]]
    was, now = ({tag.number: tag for tag in tags.in_force(some)} for some in (before, after))
    come = [tag for number, tag in now.items() if number not in was]
    gone = [number for number in was if number not in now]
    placed = tags.runs_at(come, place)
    left = np.isin(old.numbers, np.array(gone, dtype=np.int64))
    spans = [*zip(old.firsts[left].tolist(), old.lasts[left].tolist(), strict=True)]
    spans += [(run.first, run.last) for run in placed]
    return _held_anew(_exchanged(replace(old, groups=groups), left, placed), spans, needed)


def _by_key(news: Iterable[Tag]) -> dict[Key, dict[int, Tag]]:
    """Sort tags by what they replace one another in."""
    found: dict[Key, dict[int, Tag]] = {}
    for tag in sorted(news, key=lambda tag: tag.number):
        found.setdefault(tags.replaces_in(tag), {})[tag.number] = tag
    return found


def _exchanged(old: Standing, left: NDArray[np.bool_], come: Sequence[Run]) -> Standing:
    """Leave runs out and put others in, in the order of their tags' numbers."""
    over = old.over.copy()
    for run in old.runs[left]:
        over[run.first : run.last + 1] -= 1
    for run in come:
        over[run.first : run.last + 1] += 1
    runs = np.empty(len(come), dtype=np.object_)
    runs[:] = come
    numbers = np.array([run.tag.number for run in come], dtype=np.int64)
    firsts = np.array([run.first for run in come], dtype=np.int64)
    lasts = np.array([run.last for run in come], dtype=np.int64)
    order = np.argsort(np.concatenate((old.numbers[~left], numbers)), kind="stable")
    return replace(
        old,
        runs=np.concatenate((old.runs[~left], runs))[order],
        numbers=np.concatenate((old.numbers[~left], numbers))[order],
        firsts=np.concatenate((old.firsts[~left], firsts))[order],
        lasts=np.concatenate((old.lasts[~left], lasts))[order],
        over=over,
    )


def _held_anew(new: Standing, spans: Sequence[tuple[int, int]], needed: int) -> Standing:
    """Say again of the photos in these spans (ends inside) whether `handler` is held of them."""
    if len(spans) > MANY:
        spans = [(0, len(new.over) - 1)]
    handler = new.handler.copy()
    for first, last in spans:
        handler[first : last + 1] = False
        for start, end in tags.handler_stretches(new.between(first, last), needed):
            handler[max(start, first) : min(end, last + 1)] = True
    return replace(new, handler=handler)
