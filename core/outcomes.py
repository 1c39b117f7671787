"""Decide what of each visit counts for a tray, and lay out one outcome a tray deployment.

Visits come answered, placements with their watched stretches; the verdict itself is forager's.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from core import coverage, food, forager
from core.model import (
    UNKNOWN,
    AnsweredVisit,
    Censored,
    ClockFlag,
    Outcome,
    Placement,
    Reason,
    SeenVisit,
    Sighting,
    Span,
    Species,
    SpeciesRole,
    Status,
    TimeSource,
    TrayDeployment,
    TrayRole,
    VisitState,
    Where,
    true_time,
)
from core.settings import Settings
from core.units import hours, minutes
from core.visits import rank
from core.windows import EXPOSED, Record, Run, overlapping, runs_in_windows, window_of


def outcomes(
    deployments: Sequence[TrayDeployment],
    records: Sequence[Record],
    species: Mapping[str, Species],
    settings: Settings,
    trays_of: Collection[str] | None = None,
) -> list[Outcome]:
    """Give one outcome for each `study` tray deployment, in the log's order.

    Parameters
    ----------
    deployments
        The whole tray log, control and pre-bait trays too.
    records
        Every placement of the camera log, with or without photos.
    species
        The study's species by key.
    trays_of
        Names of trays: only the outcomes of these are given. None: of all.
    """
    study = [
        one
        for one in deployments
        if one.role is TrayRole.STUDY and (trays_of is None or one.tray in trays_of)
    ]
    by_tray: dict[str, list[Record]] = defaultdict(list)
    for record in records:
        for tray in record.placement.trays:
            by_tray[tray].append(record)
    trays = _Trays(deployments, settings)
    runs = runs_in_windows(study, by_tray, trays.overlapping, settings.gap)
    return [
        _Tray(one, by_tray.get(one.tray, []), runs[at], trays, species, settings).outcome()
        for at, one in enumerate(study)
    ]


class _Trays:
    """What one deployment has to know of all the others."""

    def __init__(self, deployments: Sequence[TrayDeployment], settings: Settings) -> None:
        self.overlapping = overlapping(deployments)
        self.controls = food.controls_of(deployments, settings.timezone)
        self.windows: dict[str, list[Span]] = defaultdict(list)
        self.named = {one.tray for one in deployments}
        self.untimed = {one.tray for one in deployments if not window_of(one)}
        for one in deployments:
            window = window_of(one)
            if window and one.role in EXPOSED:
                self.windows[one.tray].append(window)

    def could_be_out(self, tray: str, moment: datetime) -> bool:
        """Say whether a tray was out, as far as the log tells.

        A tray that is not logged, or logged without its times, may have been; a control never is.
        """
        windows = self.windows.get(tray, [])
        unclear = tray not in self.named or tray in self.untimed
        return unclear or any(window.start <= moment < window.end for window in windows)


@dataclass(frozen=True, slots=True)
class _Tray:
    """One tray deployment with everything its outcome is made of."""

    deployment: TrayDeployment
    records: Sequence[Record]
    runs: Sequence[Run]
    trays: _Trays
    species: Mapping[str, Species]
    settings: Settings

    def outcome(self) -> Outcome:
        one, window = self.deployment, window_of(self.deployment)
        reading = food.read_food(one, self.trays.controls, self.settings)
        seen = self._seen(window) if window else []
        spans = self._watched(window) if window else []
        held = [sighting for visit in seen if _counts(visit) for sighting in visit.sightings]
        company = forager.company(held, self.species, self.settings.feeder)
        case = self._circumstances(reading, window, seen, spans, company)
        decision = forager.decide(case)
        valued = decision.status in {Status.KEEP, Status.CAUTION}
        owned = _of_species(seen, decision.owner)
        animals = [visit for visit in seen if _counts(visit) and self._animals(visit)]
        return Outcome(
            deployment=one,
            status=decision.status,
            reason=decision.reason,
            cell=decision.cell,
            hours_out=hours(window.end - window.start) if window else None,
            corrected=reading.corrected,
            eaten=reading.eaten,
            gud=density_of(reading) if valued else None,
            proportion_left=reading.proportion_left,
            censored=decision.censored if valued else Censored.NO,
            forager=self._name(decision.owner) if decision.owner else "",
            visits=len(owned),
            visits_all=len(animals),
            minutes_on_tray=_minutes(owned, decision.owner) if decision.owner else None,
            first_visit_min=_first_visit(animals, window, self.species),
            last_fed_at=_last_fed(owned, decision.owner),
            watched_share=coverage.share(window, spans) if window else None,
            unanswered=sum(not _counts(visit) for visit in seen),
            notes=self._notes(decision, reading, seen, company),
            watched=tuple(spans),
            seen=tuple(seen),
        )

    def _circumstances(
        self,
        reading: food.Reading,
        window: Span | None,
        seen: Sequence[SeenVisit],
        spans: Sequence[Span],
        company: forager.Company,
    ) -> forager.Circumstances:
        on_tray = [visit for visit in seen if _counts(visit) and _on_tray(visit)]
        running = [visit for visit in on_tray if visit.running_at_pickup and self._animals(visit)]
        gaps = coverage.gaps(window, spans) if window else []
        gap_end = gaps[-1].end if gaps else None
        fed_at = company.last_fed_at
        return forager.Circumstances(
            food=reading.kind,
            cover=(
                coverage.cover(window, spans, company.last_on_tray)
                if window
                else coverage.Cover.NONE
            ),
            company=company,
            missing=self._missing(),
            overlaps=self.deployment.deployment in self.trays.overlapping,
            condition=self.deployment.condition,
            moisture_controls=reading.moisture_controls,
            waits_for=tuple(reason for visit in seen if (reason := _waits_for(visit))),
            visits_on_tray=len(on_tray),
            outside_placement=any(visit.outside_placement for visit in on_tray),
            mostly_before=any(visit.mostly_before for visit in on_tray),
            cut_at_set_out=any(visit.cut_at_set_out for visit in on_tray),
            running_at_pickup=bool(running),
            owner_running=any(
                one.species == company.owner and one.where is not Where.NEAR
                for visit in running
                for one in visit.sightings
            ),
            fed_after_gap=fed_at is not None and (gap_end is None or fed_at >= gap_end),
            quiet_too_long=any(
                one.quiet_s is not None and timedelta(seconds=one.quiet_s) > self.settings.gap
                for one in self._cameras()
            ),
            watch_doubted=self._doubted(window),
            clock_doubted=any(
                one.clock_doubted for one in self.records if was_there(one.placement, window)
            ),
            nights=_nights(window, self.settings.timezone) if window else 0,
        )

    def _missing(self) -> tuple[Reason, ...]:
        """Name what the logs lack for this tray, masses and times first."""
        blank = set(self.deployment.missing)
        reasons = []
        if blank & {"food_start_g", "food_left_g", "items_start", "items_left"}:
            reasons.append(Reason.MASS_MISSING)
        if blank & {"set_out", "picked_up"}:
            reasons.append(Reason.TIME_MISSING)
        if "tray" in blank:
            reasons.append(Reason.TRAY_MISSING)
        if any(one.missing for one in self._cameras()):
            reasons.append(Reason.PLACEMENT_INCOMPLETE)
        return tuple(reasons)

    def _cameras(self) -> list[Placement]:
        """Give the placements that may have stood at this tray in its window."""
        window = window_of(self.deployment)
        return [one.placement for one in self.records if was_there(one.placement, window)]

    def _watched(self, window: Span) -> list[Span]:
        spans = [span for record in self.records for span in record.watched]
        inside = coverage.clip(coverage.union(spans), window)
        # A stretch that begins as the tray is picked up watches nothing of a half-open window.
        return [span for span in inside if span.start < window.end]

    def _doubted(self, window: Span | None) -> bool:
        """Say whether a part of the window is in doubt that no camera surely watched."""
        if window is None:
            return False
        doubted = [span for record in self.records for span in record.doubted]
        sure = [
            part
            for record in self.records
            for span in record.watched
            for part in coverage.without(span, record.doubted)
        ]
        inside = [span for span in coverage.clip(doubted, window) if span.start < span.end]
        return any(coverage.without(span, sure) for span in inside)

    def _seen(self, window: Span) -> list[SeenVisit]:
        visits = [self._cut(run, window) for run in self.runs]
        return sorted((one for one in visits if one), key=lambda visit: visit.start)

    def _cut(self, run: Run, window: Span) -> SeenVisit | None:
        """Cut a run to the window; None when no photo of it lies inside."""
        ends = [
            (part, place, inside)
            for part, place in run.parts
            if (inside := _ends_inside(part, window))
        ]
        if not ends:
            return None
        there = [(part, place) for part, place, _ in ends]
        sightings = [one for part, place in there for one in self._mine(part, place, window)]
        parts = tuple(part for part, place in there if self._concerns(part, place, window))
        return SeenVisit(
            parts=parts or tuple(part for part, _ in there),
            start=min(first for _, _, (first, _) in ends),
            end=max(last for _, _, (_, last) in ends),
            sightings=tuple(sightings),
            held=all(part.answer.held for part in parts),
            cut_at_set_out=run.start < window.start,
            mostly_before=self._mostly_before(run, window),
            running_at_pickup=run.end >= window.end,
            outside_placement=any(_outside(inside, place) for _, place, inside in ends),
            which_tray=any(self._unclear(part, place, window) for part, place in there),
        )

    def _mine(self, part: AnsweredVisit, placement: Placement, window: Span) -> list[Sighting]:
        """Give the sightings of this tray, each cut to the window."""
        mine = [
            one
            for one in part.answer.sightings
            if one.tray == self.deployment.tray
            or (not one.tray and not self._several_out(part, placement, window))
        ]
        return [cut for one in mine if (cut := _clip(one, part, window))]

    def _several_out(self, part: AnsweredVisit, placement: Placement, window: Span) -> bool:
        """Say whether the camera had another tray in view on a photo inside the window."""
        others = [tray for tray in placement.trays if tray != self.deployment.tray]
        return any(
            self.trays.could_be_out(tray, moment)
            for tray in others
            for moment in _moments(part, window)
        )

    def _unclear(self, part: AnsweredVisit, placement: Placement, window: Span) -> bool:
        """Say whether an animal or person was on a tray and nobody said on which of several."""
        return any(
            not one.tray and one.where is not Where.NEAR for one in part.answer.sightings
        ) and self._several_out(part, placement, window)

    def _concerns(self, part: AnsweredVisit, placement: Placement, window: Span) -> bool:
        """Say whether an unanswered visit can touch this tray: not if all name another tray."""
        if part.answer.held or not self._several_out(part, placement, window):
            return True
        if part.answer.waits_for not in {Reason.DISPUTED, Reason.UNSURE}:
            return True
        trays = {tag.tray for tag in part.answer.tags if tag.where is not None}
        return "" in trays or self.deployment.tray in trays

    def _mostly_before(self, run: Run, window: Span) -> bool:
        """Say whether more than half of a visit lies before set-out, when this tray was not out."""
        before = Span(run.start, window.start)
        if before.end <= before.start:
            return False
        earlier = [span for span in self.trays.windows[self.deployment.tray] if span != window]
        out = coverage.clip(coverage.union(earlier), before)
        unseen = sum((gap.end - gap.start for gap in coverage.gaps(before, out)), timedelta(0))
        return unseen * 2 > run.end - run.start

    def _animals(self, visit: SeenVisit) -> bool:
        return any(_is_animal(one, self.species) for one in visit.sightings)

    def _name(self, key: str) -> str:
        if key == UNKNOWN:
            return "an unidentified animal"
        return self.species[key].name if key in self.species else key

    def _notes(
        self,
        decision: forager.Decision,
        reading: food.Reading,
        seen: Sequence[SeenVisit],
        company: forager.Company,
    ) -> tuple[str, ...]:
        notes = [str(reason) for reason in decision.special if reason is not decision.reason]
        notes += reading.notes
        notes += self._visit_notes(seen, company)
        owned = decision.owner is not None
        if owned:
            notes += [
                f"earlier feeder {self._name(key)}: left {_plain(reading.corrected)} "
                f"<= theirs <= start {_plain(reading.start)}"
                for key in company.earlier
            ]
        target = self.deployment.target.strip()
        if owned and target and not self._is_target(decision.owner or "", target):
            notes.append(f"the last feeder is not the target {target}")
        if decision.reason is Reason.CONDITION_OTHER and self.deployment.notes:
            notes.append(self.deployment.notes)
        return tuple(dict.fromkeys(notes))

    def _is_target(self, owner: str, target: str) -> bool:
        known = self.species.get(owner)
        names = {owner, known.name, known.scientific_name} if known else {owner}
        return target.casefold() in {name.casefold() for name in names if name}

    def _visit_notes(self, seen: Sequence[SeenVisit], company: forager.Company) -> list[str]:
        notes = []
        answers = [part.answer for visit in seen for part in visit.parts]
        photos = [photo for visit in seen for part in visit.parts for photo in part.visit.photos]
        ruled = sum(answer.state is VisitState.RULED for answer in answers)
        if ruled:
            notes.append(f"ruled by the instructor: {ruled} of {len(answers)} visits")
        if company.bystanders:
            notes.append("an animal that is no forager was on the tray and not seen feeding")
        near = {one.species for v in seen for one in v.sightings if one.where is Where.NEAR}
        if near and not company.feeders:
            notes.append("near the tray: " + ", ".join(sorted(self._name(key) for key in near)))
        notes += [remark for answer in answers for remark in answer.remarks]
        if any(photo.clock_flag is ClockFlag.BEYOND_CHECKS for photo in photos):
            notes.append("visit times lie more than a day beyond the clock checks")
        if any(photo.clock_flag in {ClockFlag.TWICE, ClockFlag.NEVER} for photo in photos):
            notes.append("visit times are not sure, the clock was changed that night")
        if any(photo.time_source in {TimeSource.CHANGED, TimeSource.FILE} for photo in photos):
            notes.append("visit times are from when a file was changed, not from when it was taken")
        if any(len({part.visit.placement for part in visit.parts}) > 1 for visit in seen):
            notes.append("visits of several cameras were merged")
        return notes


def _plain(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount.quantize(Decimal('0.01')).normalize():f}"


def _counts(visit: SeenVisit) -> bool:
    return visit.held and not visit.which_tray


def _waits_for(visit: SeenVisit) -> Reason | None:
    """Give why a visit is unanswered; None when it counts."""
    waiting = set() if visit.held else {part.answer.waits_for for part in visit.parts}
    for reason in forager.WAITING:
        if reason in waiting:
            return reason
    return Reason.WHICH_TRAY if visit.which_tray else None


def _on_tray(visit: SeenVisit) -> bool:
    return any(one.where is not Where.NEAR for one in visit.sightings)


def _is_animal(sighting: Sighting, species: Mapping[str, Species]) -> bool:
    known = species.get(sighting.species)
    person = known is not None and known.role is SpeciesRole.PERSON
    return sighting.where is not Where.NEAR and not person


def _moments(part: AnsweredVisit, window: Span) -> list[datetime]:
    """Give the true times of a visit's photos inside a window [start, end)."""
    moments = map(true_time, part.visit.photos)
    return [moment for moment in moments if window.start <= moment < window.end]


def _ends_inside(part: AnsweredVisit, window: Span) -> tuple[datetime, datetime] | None:
    """Give the first and last of those times; None when there is none."""
    start, end = part.visit.start, part.visit.end
    if window.start <= start and end < window.end:
        return start, end  # most visits: its photos stand in the order of time
    inside = _moments(part, window)
    return (inside[0], inside[-1]) if inside else None


def _outside(inside: tuple[datetime, datetime], placement: Placement) -> bool:
    """Say whether photos inside the window, by their ends, lie outside their camera's time."""
    early = placement.start is not None and inside[0] < placement.start
    return early or (placement.end is not None and inside[1] > placement.end)


def was_there(placement: Placement, window: Span | None) -> bool:
    """Say whether a camera may have stood at the tray in the window; a blank time leaves it open.

    Cameras of another season on the same tray say nothing of this one.
    """
    if window is None:
        return True
    came_late = placement.start is not None and placement.start >= window.end
    left_early = placement.end is not None and placement.end < window.start
    return not came_late and not left_early


def _clip(sighting: Sighting, part: AnsweredVisit, window: Span) -> Sighting | None:
    """Cut a sighting to the photos of its run inside the window; None when there is none."""
    if window.start <= sighting.first and sighting.last < window.end:
        return sighting
    inside = [
        photo
        for photo in part.visit.photos
        if sighting.first <= rank(photo)[0]
        and rank(photo) <= sighting.last_rank
        and window.start <= rank(photo)[0] < window.end
    ]
    if not inside:
        return None
    first, last = rank(inside[0]), rank(inside[-1])
    return replace(sighting, first=first[0], last=last[0], last_rank=last)


def _of_species(seen: Sequence[SeenVisit], owner: str | None) -> list[SeenVisit]:
    return [
        visit
        for visit in seen
        if owner is not None
        and _counts(visit)
        and any(one.species == owner and one.where is not Where.NEAR for one in visit.sightings)
    ]


def density_of(reading: food.Reading) -> Decimal | None:
    """Give the density: what is left, or for an emptied tray the smallest measurable."""
    return reading.smallest if reading.kind is food.Food.EMPTIED else reading.corrected


def _minutes(visits: Sequence[SeenVisit], owner: str | None) -> float:
    """Give the owner's time on the tray, from first to last photo of each run. [min]"""
    total = 0.0
    for visit in visits:
        own = [
            Span(one.first, one.last)
            for one in visit.sightings
            if one.species == owner and one.where is not Where.NEAR
        ]
        total += sum(minutes(span.end - span.start) for span in coverage.union(own))
    return total


def _first_visit(
    visits: Sequence[SeenVisit], window: Span | None, species: Mapping[str, Species]
) -> float | None:
    """Give the wait from set-out to the first animal on the tray. [min]"""
    firsts = [one.first for visit in visits for one in visit.sightings if _is_animal(one, species)]
    return minutes(min(firsts) - window.start) if firsts and window else None


def _last_fed(visits: Sequence[SeenVisit], owner: str | None) -> datetime | None:
    fed = [
        one.last
        for visit in visits
        for one in visit.sightings
        if one.species == owner and one.where is Where.FED
    ]
    return max(fed, default=None)


def _nights(window: Span, zone: ZoneInfo) -> int:
    """Count the local midnights inside a window."""
    first, last = window.start.astimezone(zone).date(), window.end.astimezone(zone).date()
    return (last - first).days
