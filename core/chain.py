"""Decide what of a study is worked out again when a setting changes, and what is shared.

Gap, taggers, clock corrections and checks make the records of a placement; tolerance and feeder
rule only touch trays whose food class or owner they change. The result is that of `outcomes`
throughout.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal

import numpy as np

from core import coverage, food, forager, standing, views, visits
from core.clocks import Timed
from core.coverage import Stretch
from core.forager import Company, Seen
from core.model import (
    Answer,
    AnsweredVisit,
    Censored,
    Outcome,
    Photo,
    Reason,
    Species,
    Status,
    Tag,
    TrayDeployment,
    TrayRole,
)
from core.outcomes import outcomes
from core.settings import FeederRule, Settings
from core.tags import Run
from core.views import Layout, PlacementBase
from core.visits import rank
from core.windows import Record

SEVERAL = (Seen.SEVERAL, Seen.SOME_UNKNOWN)
NOBODY = Company(Seen.NOBODY)


@dataclass(frozen=True, slots=True)
class PlacementGround:
    """What of a placement no setting changes."""

    base: PlacementBase
    uncorrected: PlacementBase
    """Without the corrections and checks of its clock; the same object where there are none."""
    tags: tuple[Tag, ...]
    stretches: tuple[Stretch, ...] = ()
    """Its time as the study accounts for it: what is suspected, and what people said of that."""
    clock_doubted: bool = False


@dataclass(frozen=True, slots=True)
class Study:
    """What outcomes are worked out from."""

    deployments: Sequence[TrayDeployment]
    """The whole tray log."""
    species: Mapping[str, Species]
    settings: Settings
    placements: Sequence[PlacementGround]
    """Those of the camera log."""

    @property
    def corrected(self) -> bool:
        """Say whether any clock was corrected or checked."""
        return any(one.base is not one.uncorrected for one in self.placements)

    @property
    def weighed(self) -> bool:
        """Say whether the food of any study tray was weighed."""
        return any(not one.counted for one in self.deployments if one.role is TrayRole.STUDY)


class Chain:
    """The outcomes of one study under one setting after another."""

    def __init__(self, study: Study) -> None:
        self._study = study
        self._places = [_Place(one) for one in study.placements]
        self._trays = [one for one in study.deployments if one.role is TrayRole.STUDY]
        self._others = [replace(one, role=TrayRole.PREBAIT) for one in self._trays]
        self._controls = food.controls_of(study.deployments, study.settings.timezone)
        self._kinds: dict[Decimal | None, list[food.Food]] = {}
        self._known: dict[tuple[object, ...], Outcome] = {}
        # By the identity of outcomes, which are all held in `_known`.
        self._by_rule: dict[tuple[int, FeederRule], Outcome] = {}
        self._other_owner: dict[int, bool] = {}

    def outcomes(self, settings: Settings, *, clocks: bool = True) -> list[Outcome]:
        """Give the outcomes as the settings would have them; equal ones are one object.

        Without its corrections the clock of a placement that has some counts as doubted: somebody
        found that something speaks against it. One that was only checked does not: without its
        checks it would be as if nobody had looked. Notes of visits are left out.
        """
        records = [one.record(settings, clocks=clocks) for one in self._places]
        last = replace(settings, tolerance=self._study.settings.tolerance, feeder=FeederRule.LAST)
        keys = self._keys(records, settings.gap)
        dull = self._all(keys, records, last)
        found = self._with(settings, keys, dull, records)
        if settings.feeder is FeederRule.LAST:
            return found
        return [self._ruled(one, settings.feeder) for one in found]

    def _with(
        self,
        settings: Settings,
        keys: Sequence[tuple[object, ...]],
        dull: Sequence[Outcome],
        records: Sequence[Record],
    ) -> list[Outcome]:
        """Give outcomes by the tolerance, and by the feeder rule where it changes an owner."""
        kinds, own = self._food(settings.tolerance), self._food(self._study.settings.tolerance)
        by_time = settings.feeder is FeederRule.TIME
        rule = FeederRule.TIME if by_time else FeederRule.LAST
        touched = {
            at: (*key, kinds[at], rule)
            for at, key in enumerate(keys)
            if kinds[at] is not own[at] or (by_time and self._another_owner(dull[at]))
        }
        self._work_out(touched, dull, records, replace(settings, feeder=rule))
        return [self._known[touched[at]] if at in touched else dull[at] for at in range(len(dull))]

    def _all(
        self, keys: Sequence[tuple[object, ...]], records: Sequence[Record], settings: Settings
    ) -> list[Outcome]:
        self._work_out(dict(enumerate(keys)), None, records, settings)
        return [self._known[key] for key in keys]

    def _work_out(
        self,
        wanted: Mapping[int, tuple[object, ...]],
        dull: Sequence[Outcome] | None,
        records: Sequence[Record],
        settings: Settings,
    ) -> None:
        """Work out the outcomes, by their places in the log, that are not known yet.

        All other study trays count as pre-bait trays meanwhile: their windows stay known.
        """
        missing = {at: key for at, key in wanted.items() if key not in self._known}
        if not missing:
            return
        log = [one for one in self._study.deployments if one.role is not TrayRole.STUDY]
        log += [t if at in missing else self._others[at] for at, t in enumerate(self._trays)]
        trays = {self._trays[at].tray for at in missing}
        there = [one for one in records if trays & set(one.placement.trays)]
        if dull is not None:
            there = _narrowed(there, [dull[at] for at in missing])
        found = outcomes(log, there, self._study.species, settings)
        for key, outcome in zip(missing.values(), found, strict=True):
            self._known[key] = outcome

    def _keys(self, records: Sequence[Record], gap: timedelta) -> list[tuple[object, ...]]:
        """Give for each tray what its outcome is made of: its place in the log and its records."""
        at_tray: dict[str, list[Record]] = defaultdict(list)
        for record in records:
            for tray in record.placement.trays:
                at_tray[tray].append(record)
        keys: list[tuple[object, ...]] = []
        for at, one in enumerate(self._trays):
            mine = at_tray.get(one.tray, [])
            asks_gap = len(mine) > 1 or any(record.placement.quiet_s for record in mine)
            keys.append((at, *map(id, mine), gap if asks_gap else None))
        return keys

    def _food(self, tolerance: Decimal | None) -> list[food.Food]:
        """Give the food class of each tray at a tolerance."""
        if tolerance not in self._kinds:
            settings = replace(self._study.settings, tolerance=tolerance)
            self._kinds[tolerance] = [
                food.read_food(one, self._controls, settings).kind for one in self._trays
            ]
        return self._kinds[tolerance]

    def _another_owner(self, outcome: Outcome) -> bool:
        """Say whether the one longest on the tray is another than the last that fed."""
        if id(outcome) not in self._other_owner:
            last = self._company(outcome, FeederRule.LAST)
            several = last.seen in SEVERAL
            self._other_owner[id(outcome)] = (
                several and self._company(outcome, FeederRule.TIME).owner != last.owner
            )
        return self._other_owner[id(outcome)]

    def _company(self, outcome: Outcome, rule: FeederRule) -> Company:
        held = [
            one
            for visit in outcome.seen
            if visit.held and not visit.which_tray
            for one in visit.sightings
        ]
        return forager.company(held, self._study.species, rule)

    def _ruled(self, outcome: Outcome, rule: FeederRule) -> Outcome:
        """Give the outcome by another rule that leaves the owner, or takes it from the tray."""
        key = (id(outcome), rule)
        if key not in self._by_rule:
            company = self._company(outcome, rule) if outcome.status is Status.CAUTION else NOBODY
            status, reason = forager.by_the_rule(company, outcome.status, outcome.reason)
            if status is not outcome.status:
                self._by_rule[key] = _dropped(outcome, status, reason)
            else:
                same = reason is outcome.reason
                self._by_rule[key] = outcome if same else replace(outcome, reason=reason)
        return self._by_rule[key]


def _dropped(outcome: Outcome, status: Status, reason: Reason) -> Outcome:
    return replace(
        outcome,
        status=status,
        reason=reason,
        gud=None,
        censored=Censored.NO,
        forager="",
        visits=0,
        minutes_on_tray=None,
        last_fed_at=None,
    )


def _narrowed(records: Sequence[Record], near: Sequence[Outcome]) -> list[Record]:
    """Leave out visits that touch no window of these trays, where no cameras are merged."""
    wanted = {id(part) for one in near for visit in one.seen for part in visit.parts}
    cameras: dict[str, int] = defaultdict(int)
    for record in records:
        for tray in record.placement.trays:
            cameras[tray] += 1
    found = []
    for record in records:
        if all(cameras[tray] == 1 for tray in record.placement.trays):
            visits_near = tuple(one for one in record.visits if id(one) in wanted)
            found.append(replace(record, visits=visits_near))
        else:
            found.append(record)
    return found


def _same_times(ground: PlacementGround) -> bool:
    """Say whether corrections and checks left every photo where the camera's own clock has it."""
    one, other = ground.base, ground.uncorrected
    if one is other:
        return True
    unmoved = np.array_equal(one.ids, other.ids) and np.array_equal(one.seconds, other.seconds)
    return unmoved and not one.corrections


class _Place:
    """The records of one placement, each made once."""

    def __init__(self, ground: PlacementGround) -> None:
        self._ground = ground
        self._corrected = _Timeline(ground.base, ground)
        doubted = ground.clock_doubted or bool(ground.base.corrections)
        self._as_shown = (
            self._corrected
            if _same_times(ground)
            else _Timeline(ground.uncorrected, replace(ground, clock_doubted=doubted))
        )

    def record(self, settings: Settings, *, clocks: bool) -> Record:
        """Give the record under a setting."""
        line = self._corrected if clocks else self._as_shown
        return line.record(settings.gap, settings.taggers_needed)


class _Timeline:
    """A placement with one set of true times."""

    def __init__(self, base: PlacementBase, ground: PlacementGround) -> None:
        self._photos: list[Photo] = list(base.ordered)
        self._base = replace(base, ordered=Timed.of(self._photos))
        self._ground = ground
        self._stands: dict[int, standing.Standing] = {}
        self._records: dict[tuple[timedelta, int], Record] = {}
        self._made: list[Record] = []
        self._answers: dict[tuple[object, ...], Answer] = {}

    def record(self, gap: timedelta, needed: int) -> Record:
        """Give its visits, answers and watched time; one object where all of it is the same."""
        if (gap, needed) not in self._records:
            made = self._record(gap, needed)
            same = next((one for one in self._made if one == made), None)
            if same is None:
                self._made.append(made)
            self._records[gap, needed] = same or made
        return self._records[gap, needed]

    def _record(self, gap: timedelta, needed: int) -> Record:
        if needed not in self._stands:
            bare = standing.nothing(len(self._photos))
            known = standing.renewed(bare, self._ground.tags, self._base.place, needed)
            self._stands[needed] = known
        layout = views.layout_of(self._base, self._stands[needed], needed, gap)
        ordered = visits.of_kinds(self._photos, layout.kinds)
        triggered = [ordered[place] for place in layout.places.tolist()]
        grouped = visits.visits_of(triggered, layout.visit_of[layout.places])
        watched = coverage.watched(ordered, self._base.placement, gap)
        return Record(
            self._base.placement,
            tuple(map(AnsweredVisit, grouped, self._answered(layout))),
            tuple(coverage.without_accepted(watched, self._ground.stretches)),
            tuple(coverage.doubted(self._ground.stretches)),
            self._ground.clock_doubted,
        )

    def _answered(self, layout: Layout) -> list[Answer]:
        """Give what is held of each visit; visits of which the same was said share the work."""
        firsts, lasts = layout.places[layout.edges[:-1]], layout.places[layout.edges[1:] - 1]
        stands = layout.standing
        starts = np.searchsorted(lasts, stands.firsts, side="left").tolist()
        stops = np.searchsorted(firsts, stands.lasts, side="right").tolist()
        over: list[list[Run]] = [[] for _ in range(layout.visits)]
        for run, start, stop in zip(stands.runs, starts, stops, strict=True):
            for at in range(start, stop):
                over[at].append(run)
        ends = zip(firsts.tolist(), lasts.tolist(), strict=True)
        return [
            self._answer(layout, at, first, last, over[at]) if over[at] else views.NOBODY
            for at, (first, last) in enumerate(ends)
        ]

    def _answer(
        self, layout: Layout, at: int, first: int, last: int, runs: Sequence[Run]
    ) -> Answer:
        """Weigh a visit; where every tag is over all of it, only its times differ from others."""
        if any(run.first > first or run.last < last for run in runs):
            return _bare(layout.answer(at + 1))
        key = (layout.needed, *(_says(run.tag) for run in runs))
        if key not in self._answers:
            self._answers[key] = _bare(layout.answer(at + 1))
        like = self._answers[key]
        begin, end = rank(self._photos[first]), rank(self._photos[last])
        moved = tuple(
            replace(one, first=begin[0], last=end[0], last_rank=end) for one in like.sightings
        )
        return replace(like, sightings=moved) if moved else like


def _says(tag: Tag) -> tuple[object, ...]:
    """Give all of a tag that an answer can hang on, but for where it lies."""
    return tag.tagger, tag.species, tag.count, tag.where, tag.sure, tag.tray, tag.ruling, tag.also


def _bare(answer: Answer) -> Answer:
    """Leave out what only notes tell."""
    return replace(answer, remarks=())
