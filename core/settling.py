"""Decide which visits an instructor settles first, and what becomes of a tray under each answer.

What an answer means for a tray is decided in outcomes; here it is only asked, once for each thing
that could be ruled.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum, StrEnum

from core import outcomes, tags
from core.model import (
    BLANK,
    UNKNOWN,
    AnsweredVisit,
    Outcome,
    Reason,
    Species,
    Status,
    Tag,
    TrayDeployment,
    TrayRole,
    Visit,
    VisitState,
    Where,
)
from core.settings import Settings
from core.views import Layout
from core.windows import Record


class Why(StrEnum):
    """Why a visit is to be settled."""

    DISPUTED = "taggers differ"
    UNSURE = "nobody is sure"
    ONE_READER = "one reader only"
    UNFINISHED = "some of its photos are untagged"


WHY: Mapping[Reason, Why] = {
    Reason.DISPUTED: Why.DISPUTED,
    Reason.UNSURE: Why.UNSURE,
    Reason.MORE_TAGGERS: Why.ONE_READER,
    Reason.SPECIES_UNLISTED: Why.DISPUTED,
    Reason.UNTAGGED: Why.UNFINISHED,
}


class Weight(IntEnum):
    """How much hangs on a visit; the smallest comes first."""

    DECIDES = 0
    """A tray waits for it alone, and what becomes of the tray hangs on the answer."""
    CLOSES = 1
    """A tray waits for it alone; whichever the answer is, the same becomes of the tray."""
    ONE_OF_SEVERAL = 2
    """A tray waits for it and for others."""
    NO_MATTER = 3
    """It lies in a tray's window, and the tray does not wait for it."""
    NO_TRAY = 4


@dataclass(frozen=True, slots=True)
class Possible:
    """One thing that could be ruled of a visit."""

    readers: tuple[str, ...]
    """Who said so; empty for what nobody said."""
    said: tuple[Tag, ...]
    """As they said it; one tag for what nobody said."""


@dataclass(frozen=True, slots=True)
class Under:
    """What becomes of a tray under one answer."""

    answer: Possible
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class Tray:
    """What a visit means for one tray deployment."""

    now: Outcome
    weight: Weight
    under: tuple[Under, ...] = ()
    """One for each possible answer, where the tray waits for this visit alone."""


@dataclass(frozen=True, slots=True)
class ToSettle:
    """A visit that waits for the instructor."""

    answered: AnsweredVisit
    why: Why
    trays: tuple[Tray, ...]
    answers: tuple[Possible, ...]

    @property
    def weight(self) -> Weight:
        """Give how much hangs on it."""
        return min((tray.weight for tray in self.trays), default=Weight.NO_TRAY)

    @property
    def finishes(self) -> tuple[int, str]:
        """Give for how many visits the tray waits that it finishes first, and which it is."""
        if self.weight is not Weight.ONE_OF_SEVERAL:
            return 0, ""
        waiting = [one.now for one in self.trays if one.weight is self.weight]
        return min((one.unanswered, one.deployment.deployment) for one in waiting)


@dataclass(frozen=True, slots=True)
class Study:
    """What outcomes are worked out from."""

    deployments: Sequence[TrayDeployment]
    records: Sequence[Record]
    species: Mapping[str, Species]
    settings: Settings


def to_settle(study: Study, now: Sequence[Outcome]) -> list[ToSettle]:
    """List the visits that somebody read and nobody settled, what decides most first.

    `now` are the outcomes of the study as it is. Within one weight taggers who differ come first,
    then the unsure, then single readers; of these a tray that waits for fewest comes first, with
    all its visits together; then the order of time.
    """
    windows: dict[tuple[str, int], list[Outcome]] = {}
    for outcome in now:
        for part in {(p.visit.placement, p.visit.number) for s in outcome.seen for p in s.parts}:
            windows.setdefault(part, []).append(outcome)
    found = []
    for record in study.records:
        for answered in record.visits:
            if is_to_settle(answered):
                touched = windows.get((answered.visit.placement, answered.visit.number), [])
                found.append(_to_settle(study, answered, touched))
    order = list(Why)
    return sorted(
        found,
        key=lambda one: (
            one.weight, order.index(one.why), one.finishes, one.answered.visit.start,
        ),
    )  # fmt: skip


def is_to_settle(answered: AnsweredVisit) -> bool:
    """Say whether somebody has read a visit and its answer does not count yet."""
    return not answered.answer.held and answered.answer.state is not VisitState.UNTAGGED


def _to_settle(study: Study, answered: AnsweredVisit, touched: Sequence[Outcome]) -> ToSettle:
    answers = possible_answers(answered)
    waits_for = answered.answer.waits_for or Reason.UNTAGGED
    trays = tuple(_tray(study, answered, outcome, answers) for outcome in touched)
    return ToSettle(answered, WHY.get(waits_for, Why.UNFINISHED), trays, answers)


def _tray(study: Study, answered: AnsweredVisit, now: Outcome, answers: Sequence[Possible]) -> Tray:
    if now.status is not Status.PENDING or now.unanswered == 0:
        return Tray(now, Weight.NO_MATTER)
    if now.unanswered > 1:
        return Tray(now, Weight.ONE_OF_SEVERAL)
    under = tuple(
        Under(one, outcome_if(study, now.deployment, ruled(answered, one.said, study)))
        for one in answers
    )
    if all(one.outcome.status is Status.PENDING for one in under):
        return Tray(now, Weight.ONE_OF_SEVERAL, under)
    verdicts = {(one.outcome.status, one.outcome.forager) for one in under}
    return Tray(now, Weight.DECIDES if len(verdicts) > 1 else Weight.CLOSES, under)


# --- what could be ruled -----------------------------------------------------------------------


def possible_answers(answered: AnsweredVisit) -> tuple[Possible, ...]:
    """Give what each reader said, the same only once, then blank and unknown if nobody said so."""
    said: dict[tuple[object, ...], list[str]] = {}
    tags_of: dict[tuple[object, ...], tuple[Tag, ...]] = {}
    own: dict[str, list[Tag]] = {}
    for tag in answered.answer.tags:
        own.setdefault("" if tag.ruling else tag.tagger, []).append(tag)
    for made in own.values():
        key = tuple(sorted((t.species, t.where or "", t.tray) for t in made))
        said.setdefault(key, []).append(made[0].tagger)
        tags_of.setdefault(key, tuple(made))
    found = [Possible(tuple(who), tags_of[key]) for key, who in said.items()]
    named = {tag.species for one in found for tag in one.said}
    first, last = answered.visit.photos[0].id, answered.visit.photos[-1].id
    for species, where in ((BLANK, None), (UNKNOWN, Where.ON_TRAY)):
        if species not in named:
            tag = Tag(0, answered.visit.placement, first, last, "", species, where=where)
            found.append(Possible((), (tag,)))
    return tuple(found)


def ruled(answered: AnsweredVisit, said: Sequence[Tag], study: Study) -> AnsweredVisit:
    """Give the visit as it would be held if all of it were ruled as some tags say."""
    photos = answered.visit.photos
    place = {photo.id: at for at, photo in enumerate(photos)}
    runs = []
    for tag in said:
        first = place.get(tag.first_photo, 0)
        last = place.get(tag.last_photo, len(photos) - 1)
        ruling = replace(tag, ruling=True, sure=True)
        runs.append(tags.Run(ruling, min(first, last), max(first, last)))
    found = tags.answer(
        answered.visit, range(len(photos)), runs, photos,
        needed=study.settings.taggers_needed, species=study.species,
    )  # fmt: skip
    return replace(answered, answer=found)


def outcome_if(study: Study, deployment: TrayDeployment, instead: AnsweredVisit) -> Outcome:
    """Give what would become of a tray if a visit were held otherwise.

    Other study trays before its cameras are looked at as windows only, as pre-bait is: they are
    out, and nobody asks what becomes of them. Trays that no camera of it sees are left out.
    """
    records = [
        _with(record, instead)
        for record in study.records
        if deployment.tray in record.placement.trays
    ]
    near = {deployment.tray, *(tray for one in records for tray in one.placement.trays)}
    others = [
        _as_window(one, deployment)
        for one in study.deployments
        if one.role is not TrayRole.STUDY or one.tray in near
    ]
    [found] = outcomes.outcomes(others, records, study.species, study.settings)
    return found


def _as_window(one: TrayDeployment, asked: TrayDeployment) -> TrayDeployment:
    other = one.role is TrayRole.STUDY and one.deployment != asked.deployment
    return replace(one, role=TrayRole.PREBAIT) if other else one


def _with(record: Record, instead: AnsweredVisit) -> Record:
    visit = instead.visit
    if record.placement.placement != visit.placement:
        return record
    changed = tuple(instead if one.visit.number == visit.number else one for one in record.visits)
    return replace(record, visits=changed)


# --- what was ruled, and what it says of reference photos -----------------------------------------


@dataclass(frozen=True, slots=True)
class Ruled:
    """A ruling that stands, with the visit that it begins in."""

    tag: Tag
    visit: Visit | None
    """None where its first photo is in no visit (any more)."""


def rulings_of(layout: Layout) -> list[Ruled]:
    """Give the rulings that stand on a placement, in the order made."""
    found = []
    for run in layout.standing.runs.tolist():
        if run.tag.ruling:
            number = int(layout.visit_of[run.first])
            found.append(Ruled(run.tag, layout.visit(number) if number else None))
    return sorted(found, key=lambda one: one.tag.number)


def speaks_against(layout: Layout, photo: int, species: str) -> tuple[str, ...]:
    """Give what the visit of a reference photo was settled as, where that has not its species.

    Nothing where it is not settled, or where the photo is in no visit.
    """
    place = layout.base.place.get(photo)
    number = 0 if place is None else int(layout.visit_of[place])
    answer = layout.answer(number) if number else None
    if answer is None or not answer.held or species in answer.species:
        return ()
    return answer.species
