"""Decide what one reader can learn: what they mix up, against what was settled.

Right is only what an instructor ruled, visits to learn from among them. Of an agreed visit the
readers settled it themselves, so that they agree with it says nothing of who is right.
"""

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
class Answered:
    """How one reader fares over the visits that were settled as one thing."""

    settled: Said
    right: int
    ruled: int
    """So many an instructor ruled; of these they said so `right` times."""
    same: int
    agreed: int
    """So many the class agreed on; of these they said so `same` times."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """How one reader fares against what was settled, to learn from."""

    tagger: str
    right: Share | Undefined
    """Of the visits that they read and an instructor ruled."""
    same: int
    agreed: int
    """Of so many visits that the class agreed on they said `same` times what was agreed."""
    by_answer: tuple[Answered, ...]
    """By what was settled."""
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
    settled = [(visit, reading) for visit, reading in own if visit.settled is not None]
    by_answer: dict[Said, list[tuple[bool, bool]]] = defaultdict(list)
    mixed: dict[tuple[Said, Said], list[tuple[ReadVisit, Reading]]] = defaultdict(list)
    for visit, reading in settled:
        answer = visit.settled or ()
        by_answer[answer].append((visit.ruled, reading.said == answer))
        if reading.said != answer:
            mixed[reading.said, answer].append((visit, reading))
    answered = tuple(_answered(said, rows) for said, rows in sorted(by_answer.items()))
    return Sheet(
        tagger=tagger,
        right=share(sum(one.right for one in answered), sum(one.ruled for one in answered)),
        same=sum(one.same for one in answered),
        agreed=sum(one.agreed for one in answered),
        by_answer=answered,
        mix_ups=tuple(
            _mix_up(*both, found)
            for both, found in sorted(mixed.items(), key=lambda item: (-len(item[1]), item[0]))
        ),
        unsettled=len(own) - len(settled),
    )


def _answered(settled: Said, rows: Sequence[tuple[bool, bool]]) -> Answered:
    """Count over visits, each whether it was ruled, and whether the reader said so."""
    ruled = [said_so for is_ruled, said_so in rows if is_ruled]
    agreed = [said_so for is_ruled, said_so in rows if not is_ruled]
    return Answered(settled, sum(ruled), len(ruled), sum(agreed), len(agreed))


def _mix_up(said: Said, settled: Said, found: Own) -> MixUp:
    runs = tuple((visit.placement, *run) for visit, reading in found for run in reading.runs)
    return MixUp(said, settled, len(found), runs)
