"""THE RULE: decide whom a tray's giving-up density belongs to, or why it is set aside.

Food x visits x coverage gives a status and a reason: `TABLE`, the decision table, one line a
row. `decide` runs the checks that come before the table in order, reads the cell, and
lets special cases lower the status, never raise it. The density belongs to the last feeder.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from core.coverage import Cover, union
from core.food import Food
from core.model import (
    UNKNOWN,
    Censored,
    Condition,
    Reason,
    Sighting,
    Span,
    Species,
    SpeciesRole,
    Status,
    Where,
)
from core.settings import FeederRule


class Seen(StrEnum):
    """Who was on the tray inside the window, after review."""

    NOBODY = "V0"
    ONE = "V1"
    SEVERAL = "VN"
    ONLY_UNKNOWN = "VU"
    SOME_UNKNOWN = "VM"
    PERSONS = "VH"
    UNFINISHED = "VP"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A status with its reason."""

    status: Status
    reason: Reason


class Evidence(StrEnum):
    """What a cell may ask of the visits before it gives its milder verdict."""

    LAST_FEEDER_NAMED = "the last feeding visit is identified"
    LAST_FEEDER_SEEN = "the photos show who fed last"
    FED_AFTER_GAP = "feeding was seen after the gap"


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: a verdict, or a milder one when the photos show the evidence it asks for."""

    verdict: Verdict
    asks: Evidence | None = None
    milder: Verdict | None = None


def keep(reason: Reason) -> Cell:
    """Make a cell that keeps the density."""
    return Cell(Verdict(Status.KEEP, reason))


def caution(reason: Reason) -> Cell:
    """Make a cell that keeps the density with a caution."""
    return Cell(Verdict(Status.CAUTION, reason))


def no_gud(reason: Reason) -> Cell:
    """Make a cell without a density: nobody ate, the use of the tray is still reported."""
    return Cell(Verdict(Status.NO_GUD, reason))


def drop(reason: Reason) -> Cell:
    """Make a cell that drops the density."""
    return Cell(Verdict(Status.DROP, reason))


def caution_if(asks: Evidence, reason: Reason, otherwise: Reason) -> Cell:
    """Make a cell that drops the density unless the photos show the evidence."""
    return Cell(Verdict(Status.DROP, otherwise), asks, Verdict(Status.CAUTION, reason))


R = Reason
E = Evidence
PENDING = Cell(Verdict(Status.PENDING, R.UNTAGGED))
MASS_MISSING = Cell(Verdict(Status.PENDING, R.MASS_MISSING))
ERROR = Cell(Verdict(Status.ERROR, R.NOT_COVERED))

# fmt: off
TABLE: Mapping[tuple[Food, Seen], tuple[Cell, Cell, Cell, Cell]] = {
    # food, visits                              C1 whole window, C2 gap before the last visit,
    #                                           C3 gap after it, C0 none
    (Food.PART_EATEN, Seen.NOBODY):        (drop(R.EATER_NOT_SEEN), drop(R.EATER_NOT_SEEN),
                                            drop(R.EATER_NOT_SEEN), drop(R.EATEN_UNWATCHED)),
    (Food.PART_EATEN, Seen.ONE):           (keep(R.CLEAN), caution(R.COUNT_IS_MINIMUM),
                                            drop(R.GAP_AFTER_LAST), ERROR),
    (Food.PART_EATEN, Seen.SEVERAL):       (caution(R.SEVERAL_LAST_FED),
                                            caution(R.SEVERAL_COUNT_IS_MINIMUM),
                                            drop(R.GAP_AFTER_LAST), ERROR),
    (Food.PART_EATEN, Seen.ONLY_UNKNOWN):  (drop(R.ONLY_UNIDENTIFIED), drop(R.ONLY_UNIDENTIFIED),
                                            drop(R.ONLY_UNIDENTIFIED), ERROR),
    (Food.PART_EATEN, Seen.SOME_UNKNOWN):  (caution_if(E.LAST_FEEDER_NAMED,
                                                       R.UNIDENTIFIED_EARLIER, R.LAST_UNIDENTIFIED),
                                            caution_if(E.LAST_FEEDER_NAMED,
                                                       R.UNIDENTIFIED_EARLIER, R.LAST_UNIDENTIFIED),
                                            drop(R.GAP_AFTER_LAST), ERROR),
    (Food.PART_EATEN, Seen.PERSONS):       (drop(R.PERSONS_ONLY), drop(R.PERSONS_ONLY),
                                            drop(R.PERSONS_ONLY), ERROR),

    (Food.EMPTIED, Seen.NOBODY):           (drop(R.EMPTIED_NOT_SEEN), drop(R.EMPTIED_NOT_SEEN),
                                            drop(R.EMPTIED_NOT_SEEN), drop(R.EMPTIED_NOT_SEEN)),
    (Food.EMPTIED, Seen.ONE):              (caution(R.EMPTIED_ONE),
                                            caution_if(E.FED_AFTER_GAP,
                                                       R.EMPTIED_AFTER_GAP, R.EMPTIED_GAP),
                                            drop(R.GAP_AFTER_LAST), ERROR),
    (Food.EMPTIED, Seen.SEVERAL):          (caution_if(E.LAST_FEEDER_SEEN, R.EMPTIED_LAST_SEEN,
                                                       R.EMPTIED_FEEDER_UNKNOWN),
                                            drop(R.EMPTIED_GAP), drop(R.GAP_AFTER_LAST), ERROR),
    (Food.EMPTIED, Seen.ONLY_UNKNOWN):     (drop(R.ONLY_UNIDENTIFIED), drop(R.ONLY_UNIDENTIFIED),
                                            drop(R.ONLY_UNIDENTIFIED), ERROR),
    (Food.EMPTIED, Seen.SOME_UNKNOWN):     (caution_if(E.LAST_FEEDER_SEEN, R.EMPTIED_LAST_SEEN,
                                                       R.EMPTIED_FEEDER_UNKNOWN),
                                            drop(R.EMPTIED_GAP), drop(R.GAP_AFTER_LAST), ERROR),
    (Food.EMPTIED, Seen.PERSONS):          (drop(R.PERSONS_ONLY), drop(R.PERSONS_ONLY),
                                            drop(R.PERSONS_ONLY), ERROR),

    (Food.UNTOUCHED, Seen.NOBODY):         (no_gud(R.UNUSED_SEEN), no_gud(R.UNUSED_BY_MASS),
                                            no_gud(R.UNUSED_BY_MASS), no_gud(R.UNUSED_BY_MASS)),
    (Food.UNTOUCHED, Seen.ONE):            (no_gud(R.VISITED_NOT_EATEN),) * 3 + (ERROR,),
    (Food.UNTOUCHED, Seen.SEVERAL):        (no_gud(R.VISITED_NOT_EATEN),) * 3 + (ERROR,),
    (Food.UNTOUCHED, Seen.ONLY_UNKNOWN):   (no_gud(R.VISITED_BY_UNKNOWN),) * 3 + (ERROR,),
    (Food.UNTOUCHED, Seen.SOME_UNKNOWN):   (no_gud(R.VISITED_NOT_EATEN),) * 3 + (ERROR,),
    (Food.UNTOUCHED, Seen.PERSONS):        (no_gud(R.UNUSED_PERSON),) * 3 + (ERROR,),

    (Food.GAINED, Seen.NOBODY):            (drop(R.GAINED),) * 4,
    **{(Food.GAINED, seen): (drop(R.GAINED),) * 3 + (ERROR,)
       for seen in (Seen.ONE, Seen.SEVERAL, Seen.ONLY_UNKNOWN, Seen.SOME_UNKNOWN, Seen.PERSONS)},

    (Food.MISSING, Seen.NOBODY):           (MASS_MISSING,) * 4,
    **{(Food.MISSING, seen): (MASS_MISSING,) * 3 + (ERROR,)
       for seen in (Seen.ONE, Seen.SEVERAL, Seen.ONLY_UNKNOWN, Seen.SOME_UNKNOWN, Seen.PERSONS)},

    **{(food, Seen.UNFINISHED): (PENDING,) * 4 for food in Food},
}
COLUMNS = (Cover.WHOLE, Cover.GAP_BEFORE, Cover.GAP_AFTER, Cover.NONE)

SPOILT: Mapping[Condition, Reason] = {
    Condition.KNOCKED: R.KNOCKED, Condition.FLOODED: R.FLOODED,
    Condition.SPILLED: R.SPILLED, Condition.ANTS: R.ANTS,
}

WAITING = (R.UNTAGGED, R.MORE_TAGGERS, R.DISPUTED, R.UNSURE, R.SPECIES_UNLISTED, R.WHICH_TRAY)
# fmt: on


@dataclass(frozen=True, slots=True)
class Company:
    """Who was on one tray in one window, as the rule looks at it."""

    seen: Seen
    owner: str | None = None
    """Key of the last feeder (by another rule: of whom it names); None where there is none or it
    is not known."""
    last_feeder_tied: bool = False
    """Whether two kinds of animal ended on the same photo as the last (or were there as long)."""
    feeding_seen: bool = False
    """Whether anybody was seen feeding."""
    came_after: bool = False
    """Whether another animal came onto the tray after the last that was seen feeding."""
    last_fed_at: datetime | None = None
    """True time of the last photo on which feeding was seen."""
    last_on_tray: datetime | None = None
    """True time of the last photo of a possible feeder or a person on the tray."""
    bystanders: bool = False
    """Whether animals that are no foragers were on the tray and not seen feeding."""
    persons: bool = False
    """Whether a person was on the tray."""
    feeders: tuple[str, ...] = ()
    """Keys of all possible feeders, the last standing last."""
    earlier: tuple[str, ...] = ()
    """Those of them, but for the last feeder, that were on the tray before it quit."""
    rule: FeederRule = FeederRule.LAST
    """By which the owner was named."""


@dataclass(frozen=True, slots=True)
class Circumstances:
    """Everything about a tray deployment that the rule asks for."""

    food: Food
    cover: Cover
    company: Company
    missing: tuple[Reason, ...] = ()
    """What the logs lack, in the order of the log."""
    overlaps: bool = False
    condition: Condition = Condition.OK
    moisture_controls: int = 0
    waits_for: tuple[Reason, ...] = ()
    """Why visits of the window are unanswered, one for each."""
    visits_on_tray: int = 0
    outside_placement: bool = False
    mostly_before: bool = False
    cut_at_set_out: bool = False
    running_at_pickup: bool = False
    owner_running: bool = False
    """Whether the last feeder's own visit was running at pick-up."""
    fed_after_gap: bool = False
    quiet_too_long: bool = False
    watch_doubted: bool = False
    """Whether a camera may have seen nothing in a part of the window that no other watched."""
    clock_doubted: bool = False
    nights: int = 0
    """Local midnights inside the window."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What the rule gives."""

    status: Status
    reason: Reason
    cell: str
    owner: str | None = None
    censored: Censored = Censored.NO
    special: tuple[Reason, ...] = ()
    """Every special case that applied."""


def company(
    sightings: Sequence[Sighting],
    species: Mapping[str, Species],
    rule: FeederRule = FeederRule.LAST,
) -> Company:
    """Sort the sightings of one tray in one window into feeders, bystanders and persons.

    A possible feeder is an animal on the tray whose role is forager, or that nobody could name;
    whoever was seen feeding is a feeder whatever its role. The last feeder is the last that was
    seen feeding; where nobody was, the last that was on the tray.
    """
    on_tray = [one for one in sightings if one.where is not Where.NEAR]
    persons = [one for one in on_tray if _role(one, species) is SpeciesRole.PERSON]
    animals = [one for one in on_tray if _role(one, species) is not SpeciesRole.PERSON]
    feeders = [
        one
        for one in animals
        if one.where is Where.FED or _role(one, species) is not SpeciesRole.OTHER
    ]
    feeders.sort(key=lambda one: (one.last_rank, one.species))
    fed = [one for one in feeders if one.where is Where.FED]
    last = (fed or feeders)[-1:]
    tied = {one.species for one in fed or feeders if last and one.last_rank == last[0].last_rank}
    if rule is FeederRule.TIME:
        tied = _longest({one.species for one in fed or feeders}, feeders)
    after = [one for one in feeders if fed and one.last_rank > fed[-1].last_rank]
    named = len(tied) == 1 and UNKNOWN not in tied
    before = {one.species for one in feeders if one.first < last[0].last} - tied
    there = [*feeders, *persons]
    keys = tuple(dict.fromkeys(one.species for one in reversed(feeders)))[::-1]
    return Company(
        seen=_seen({one.species for one in feeders}, bool(persons)),
        owner=min(tied) if named else None,
        last_feeder_tied=len(tied) > 1,
        feeding_seen=bool(fed),
        came_after=any(one.species != fed[-1].species for one in after),
        last_fed_at=fed[-1].last if fed else None,
        last_on_tray=max((one.last for one in there), default=None),
        bystanders=len(animals) > len(feeders),
        persons=bool(persons),
        feeders=keys,
        earlier=tuple(key for key in keys if key in before),
        rule=rule,
    )


def _longest(names: Collection[str], feeders: Sequence[Sighting]) -> set[str]:
    """Give those of the names that were on the tray longest, from first to last photo of a run."""
    total = {}
    for name in names:
        own = union(Span(one.first, one.last) for one in feeders if one.species == name)
        total[name] = sum((span.end - span.start for span in own), timedelta(0))
    return {name for name in names if total[name] == max(total.values())}


def _role(sighting: Sighting, species: Mapping[str, Species]) -> SpeciesRole:
    """Give a species' role; an animal that nobody could name may be a forager."""
    known = species.get(sighting.species)
    return known.role if known else SpeciesRole.FORAGER


def _seen(feeders: set[str], persons: bool) -> Seen:
    named = feeders - {UNKNOWN}
    if not feeders:
        return Seen.PERSONS if persons else Seen.NOBODY
    if UNKNOWN in feeders:
        return Seen.SOME_UNKNOWN if named else Seen.ONLY_UNKNOWN
    return Seen.ONE if len(named) == 1 else Seen.SEVERAL


def decide(case: Circumstances) -> Decision:
    """Give a tray deployment its status, reason and owner; the first check that matches wins."""
    early = _before_the_table(case)
    if early:
        return early
    cell = TABLE[case.food, case.company.seen][COLUMNS.index(case.cover)]
    verdict = _read(cell, case)
    special = special_cases(case)
    status, reason = verdict.status, verdict.reason
    if status in {Status.KEEP, Status.CAUTION} and case.company.last_feeder_tied:
        status, reason = Status.DROP, Reason.LAST_FEEDER_UNKNOWN
    status, reason = by_the_rule(case.company, status, reason)
    if status is Status.KEEP and special:
        status, reason = Status.CAUTION, special[0]
    if status is Status.CAUTION and Reason.FEEDING_NOT_SEEN in special:
        reason = Reason.FEEDING_NOT_SEEN if case.food is Food.PART_EATEN else reason
    if not case.company.feeders and case.company.bystanders:
        reason = _bystander_reason(status, reason)
    where = f"{case.food} {case.company.seen} {case.cover}"
    if status not in {Status.KEEP, Status.CAUTION}:
        return Decision(status, reason, where, special=special)
    return Decision(status, reason, where, case.company.owner, _censored(case), special)


def by_the_rule(company: Company, status: Status, reason: Reason) -> tuple[Status, Reason]:
    """Say what another rule than the last feeder makes of a tray of several species."""
    several = company.seen in {Seen.SEVERAL, Seen.SOME_UNKNOWN}
    if not several or status is not Status.CAUTION:
        return status, reason
    if company.rule is FeederRule.SINGLE:
        return Status.DROP, Reason.SEVERAL_FED
    told = {Reason.SEVERAL_LAST_FED, Reason.UNIDENTIFIED_EARLIER}
    by_time = company.rule is FeederRule.TIME and reason in told
    return status, Reason.SEVERAL_MOST_TIME if by_time else reason


def _before_the_table(case: Circumstances) -> Decision | None:
    """Run the checks before the table in their order."""
    spoilt = SPOILT.get(case.condition)
    if case.condition is Condition.WET and not case.moisture_controls:
        spoilt = Reason.WET_UNCORRECTED
    waiting = [reason for reason in WAITING if reason in case.waits_for]
    uncovered = case.cover is Cover.NONE and case.visits_on_tray > 0
    checks: tuple[tuple[object, Status, Reason | None, str], ...] = (
        (case.missing, Status.PENDING, _first(case.missing), "check 1: something is missing"),
        (case.overlaps, Status.ERROR, Reason.WINDOWS_OVERLAP, "check 2: windows overlap"),
        (spoilt, Status.DROP, spoilt, "check 3: the tray was spoilt"),
        (waiting, Status.PENDING, _first(waiting), "check 4: review unfinished"),
        (case.outside_placement, Status.ERROR, Reason.OUTSIDE_PLACEMENT, "check 5: coverage"),
        (uncovered, Status.ERROR, Reason.NOT_COVERED, "check 5: coverage"),
        (case.mostly_before, Status.ERROR, Reason.BEFORE_SET_OUT, "check 5: coverage"),
        (case.food is Food.GAINED, Status.DROP, Reason.GAINED, "check 6: more left than put in"),
    )
    for matches, status, reason, name in checks:
        if matches and reason is not None:
            return Decision(status, reason, name, special=special_cases(case))
    return None


def _first(reasons: Sequence[Reason]) -> Reason | None:
    return reasons[0] if reasons else None


def _read(cell: Cell, case: Circumstances) -> Verdict:
    """Read one cell: the milder verdict where the photos show what it asks for."""
    shown = {
        Evidence.LAST_FEEDER_NAMED: case.company.owner is not None,
        Evidence.LAST_FEEDER_SEEN: case.company.owner is not None and case.company.feeding_seen,
        Evidence.FED_AFTER_GAP: case.fed_after_gap,
    }
    return cell.milder if cell.asks and cell.milder and shown[cell.asks] else cell.verdict


def special_cases(case: Circumstances) -> tuple[Reason, ...]:
    """Name the special cases that apply; each lowers `keep` to `caution`."""
    company = case.company
    eaten = case.food in {Food.PART_EATEN, Food.EMPTIED}
    applies = (
        (Reason.CUT_AT_SET_OUT, case.cut_at_set_out),
        (Reason.RUNNING_AT_PICKUP, case.running_at_pickup),
        (Reason.FEEDING_NOT_SEEN, eaten and bool(company.feeders) and not company.feeding_seen),
        (Reason.FEEDING_UNCERTAIN, eaten and company.came_after),
        (Reason.PERSON_ON_TRAY, company.persons and bool(company.feeders)),
        (Reason.WET_CORRECTED, case.condition is Condition.WET and case.moisture_controls > 0),
        (Reason.CONDITION_OTHER, case.condition is Condition.OTHER),
        (Reason.CLOCK_IN_DOUBT, case.clock_doubted),
        (Reason.WATCH_IN_DOUBT, case.watch_doubted),
        (Reason.SHORT_VISITS_MISSED, case.quiet_too_long),
        (Reason.BLEND_OF_NIGHTS, case.nights > 1),
    )
    return tuple(reason for reason, holds in applies if holds)


def _bystander_reason(status: Status, reason: Reason) -> Reason:
    """Say it when the only animals on the tray were no foragers and none was seen feeding."""
    if status is Status.DROP and reason in {Reason.EATER_NOT_SEEN, Reason.EMPTIED_NOT_SEEN}:
        return Reason.NOT_A_FORAGER
    return Reason.VISITED_NOT_EATEN if status is Status.NO_GUD else reason


def _censored(case: Circumstances) -> Censored:
    if case.food is Food.EMPTIED:
        return Censored.BELOW
    return Censored.AT_MOST if case.owner_running else Censored.NO
