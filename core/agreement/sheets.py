"""Decide what one reader can learn: what they mix up, against what was settled."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from core.agreement.readings import Reading, ReadVisit, Said, readers_of
from core.analysis.intervals import Share, Undefined, share


@dataclass(frozen=True, slots=True)
class MixUp:
    """What a reader said where something else was settled."""

    said: Said
    settled: Said
    visits: int
    runs: tuple[tuple[str, int, int], ...]
    """Placement, first and last photo (ids) of each run that they tagged so."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """How one reader fares against what was settled, to learn from."""

    tagger: str
    right: Share | Undefined
    """Of the settled visits that they read. They are one of those who settle an agreed visit."""
    right_where_ruled: Share | Undefined
    """Of those that the instructor ruled."""
    by_answer: tuple[tuple[Said, int, int], ...]
    """What was settled, how often they said so, and how many visits it was."""
    mix_ups: tuple[MixUp, ...]
    """Those with most visits first."""
    unsettled: int
    """Visits that they read and that nobody has settled yet; left out."""


Own = Sequence[tuple[ReadVisit, Reading]]
"""The visits that one reader read, with what they say."""


def sheets(visits: Sequence[ReadVisit]) -> list[Sheet]:
    """Give every reader their sheet, those with most visits first."""
    own = _by_reader(visits)
    return [_sheet(tagger, own[tagger]) for tagger in readers_of(visits)]


def sheet_of(visits: Sequence[ReadVisit], tagger: str) -> Sheet:
    """Say what one reader mixes up: said X where Y was settled, with the photos to look at."""
    return _sheet(tagger, _by_reader(visits).get(tagger, []))


def _by_reader(visits: Sequence[ReadVisit]) -> dict[str, list[tuple[ReadVisit, Reading]]]:
    own: dict[str, list[tuple[ReadVisit, Reading]]] = defaultdict(list)
    for visit in visits:
        for reading in visit.readings:
            own[reading.tagger].append((visit, reading))
    return own


def _sheet(tagger: str, own: Own) -> Sheet:
    mixed: dict[tuple[Said, Said], list[tuple[ReadVisit, Reading]]] = defaultdict(list)
    by_answer: dict[Said, list[bool]] = defaultdict(list)
    ruled: list[bool] = []
    for visit, reading in own:
        if visit.settled is None:
            continue
        right = reading.said == visit.settled
        by_answer[visit.settled].append(right)
        ruled += [right] if visit.ruled else []
        if not right:
            mixed[reading.said, visit.settled].append((visit, reading))
    rights = [right for row in by_answer.values() for right in row]
    return Sheet(
        tagger=tagger,
        right=share(sum(rights), len(rights)),
        right_where_ruled=share(sum(ruled), len(ruled)),
        by_answer=tuple((said, sum(row), len(row)) for said, row in sorted(by_answer.items())),
        mix_ups=tuple(
            _mix_up(*both, found)
            for both, found in sorted(mixed.items(), key=lambda item: (-len(item[1]), item[0]))
        ),
        unsettled=len(own) - len(rights),
    )


def _mix_up(said: Said, settled: Said, found: Own) -> MixUp:
    runs = tuple((visit.placement, *run) for visit, reading in found for run in reading.runs)
    return MixUp(said, settled, len(found), runs)
