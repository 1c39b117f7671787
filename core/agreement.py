"""Decide how far taggers agree: who said what of which visit, and how much of it is chance.

A reader is a tagger; a ruling is none. What a reader says of a visit is the set of species their
tags name there: two readers of whom one names two species and one only one of them differ, and
`unknown` is an answer like any other (a judgement). Where an animal was does not count here.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from core.analysis.intervals import ALPHA, Interval, Share, Undefined, share, wald
from core.model import BLANK, AnsweredVisit, Tag, VisitState

DRAWS, SEED = 2000, 1
"""Of the bootstrap: so many draws of visits, always the same ones."""
BOOTSTRAP = f"bootstrap over visits, {DRAWS:,} draws, seed {SEED}"
ASYMPTOTIC = "asymptotic"
NAMED, NOT_NAMED = ("named",), ("not named",)
"""Answers when only one species is asked for."""
SETTLED = (VisitState.RULED, VisitState.AGREED)
TWO = 2
"""Readers that an agreement needs at least."""

UNREAD = "nobody read it"
UNFINISHED = "tags lie over less than half of its photos"
ONE_READER = "one reader only"
NEITHER = "neither of the two read it"
ANOTHER_NUMBER = "read by another number of readers"
SAME = "every answer is one and the same, so chance alone would agree as well"

Said = tuple[str, ...]
"""The species keys (or `blank`, `unknown`, `handler`) that are named of a visit, sorted."""
Floats = NDArray[np.float64]
Statistic = Callable[[Floats, Floats], Floats]
"""Of counts, shape (visits, answers), and weights of the visits, shape (draws, visits): one
number a draw, NaN where it is not defined."""


# --- what was said -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reading:
    """What one reader says of one visit."""

    tagger: str
    said: Said
    sure: bool
    """Whether no tag of it is unsure."""
    runs: tuple[tuple[int, int], ...]
    """Ids of the first and last photo of each tag inside the visit."""


@dataclass(frozen=True, slots=True)
class ReadVisit:
    """One visit with what its readers say."""

    placement: str
    number: int
    readings: tuple[Reading, ...]
    unfinished: tuple[str, ...]
    """Taggers whose tags lie over less than half of its photos: no readers of it."""
    settled: Said | None
    """What is held of it, where it was ruled or agreed."""
    ruled: bool

    def said_by(self, tagger: str) -> Said | None:
        """Give what a reader says; None where they did not read it."""
        return next((one.said for one in self.readings if one.tagger == tagger), None)


def read_visits(visits: Sequence[AnsweredVisit]) -> list[ReadVisit]:
    """Say of each visit who read it and what they say.

    A tagger has read a visit when their tags lie over at least half of its photos, as for the
    answer. An unsure tag says what it says. Tags taken back, replaced ones and rulings are no
    reading.
    """
    return [_read(one) for one in visits]


def _read(answered: AnsweredVisit) -> ReadVisit:
    visit, answer = answered.visit, answered.answer
    ids = [photo.id for photo in visit.photos]
    own: dict[str, list[Tag]] = defaultdict(list)
    for tag in answer.tags:
        if not tag.ruling:
            own[tag.tagger].append(tag)
    readings, unfinished = [], []
    for tagger, tags in own.items():
        spans = [_span(tag, ids) for tag in tags]
        covered = {at for first, last in spans for at in range(first, last + 1)}
        if len(covered) * 2 < len(ids):
            unfinished.append(tagger)
            continue
        said = _said(tag.species for tag in tags)
        runs = tuple((ids[first], ids[last]) for first, last in spans)
        readings.append(Reading(tagger, said, all(tag.sure for tag in tags), runs))
    settled = answer.held and answer.state in SETTLED
    return ReadVisit(
        visit.placement,
        visit.number,
        tuple(readings),
        tuple(unfinished),
        settled=_said(answer.species) if settled else None,
        ruled=answer.state is VisitState.RULED,
    )


def _span(tag: Tag, ids: Sequence[int]) -> tuple[int, int]:
    """Give the places of a tag's ends in a visit that it touches, cut to the visit."""
    place = {id_: at for at, id_ in enumerate(ids)}
    first, last = place.get(tag.first_photo, 0), place.get(tag.last_photo, len(ids) - 1)
    return min(first, last), max(first, last)


def _said(species: Iterable[str]) -> Said:
    """Give what was named, sorted; `blank` only where nothing else was."""
    named = set(species)
    return tuple(sorted(named - {BLANK} or named))


def readers_of(visits: Sequence[ReadVisit]) -> list[str]:
    """Name the readers, those with most visits first."""
    counts = Counter(one.tagger for visit in visits for one in visit.readings)
    return sorted(counts, key=lambda tagger: (-counts[tagger], tagger))


def species_said(visits: Sequence[ReadVisit]) -> list[str]:
    """List everything that a reader named, but for `blank`."""
    named = {key for visit in visits for one in visit.readings for key in one.said}
    return sorted(named - {BLANK})


def _answer(said: Said, species: str) -> Said:
    """Give an answer as it is compared: whole, or whether one species is in it."""
    if not species:
        return said
    return NAMED if species in said else NOT_NAMED


# --- two readers -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Table:
    """How often the second reader said what (columns) when the first said what (rows)."""

    answers: tuple[Said, ...]
    """Of rows and columns, in their order."""
    counts: tuple[tuple[int, ...], ...]

    @property
    def n(self) -> int:
        """Count the visits."""
        return sum(map(sum, self.counts))

    @property
    def agreeing(self) -> int:
        """Count the visits on which both say the same."""
        return sum(row[at] for at, row in enumerate(self.counts))


@dataclass(frozen=True, slots=True)
class Kappa:
    """Cohen's kappa."""

    value: float
    error: float
    """Standard error."""
    error_if_chance: float
    """Standard error if only chance agreed; value / this is z."""
    interval: Interval | Undefined


@dataclass(frozen=True, slots=True)
class PairAgreement:
    """How far two readers agree."""

    first: str
    second: str
    species: str
    """The key of the only species that is asked for; empty: whole answers."""
    table: Table
    agreement: Share | Undefined
    """Share of visits on which both say the same."""
    kappa: Kappa | Undefined
    left_out: tuple[tuple[str, int], ...]
    """Visits that do not count, by reason."""

    @property
    def n(self) -> int:
        """Count the visits that both read."""
        return self.table.n


def pair_agreements(visits: Sequence[ReadVisit], species: str = "") -> list[PairAgreement]:
    """Compare every two readers, those with most visits first."""
    pairs = combinations(readers_of(visits), TWO)
    return [pair_agreement(visits, one, other, species) for one, other in pairs]


def pair_agreement(
    visits: Sequence[ReadVisit], first: str, second: str, species: str = ""
) -> PairAgreement:
    """Compare two readers over the visits that both read."""
    both: Counter[tuple[Said, Said]] = Counter()
    left_out: Counter[str] = Counter()
    for visit in visits:
        one, other = visit.said_by(first), visit.said_by(second)
        if one is not None and other is not None:
            both[_answer(one, species), _answer(other, species)] += 1
        else:
            left_out[_why_not_both(visit, first, second)] += 1
    table = _table(both)
    return PairAgreement(
        first,
        second,
        species,
        table,
        share(table.agreeing, table.n),
        cohen_kappa(table),
        tuple(left_out.most_common()),
    )


def _why_not_both(visit: ReadVisit, first: str, second: str) -> str:
    missing = [one for one in (first, second) if visit.said_by(one) is None]
    if set(missing) & set(visit.unfinished):
        return UNFINISHED
    return NEITHER if len(missing) == TWO else f"not read by {missing[0]}"


def _table(both: Mapping[tuple[Said, Said], int]) -> Table:
    answers = sorted({answer for pair in both for answer in pair})
    counts = tuple(tuple(both.get((row, column), 0) for column in answers) for row in answers)
    return Table(tuple(answers), counts)


def cohen_kappa(table: Table) -> Kappa | Undefined:
    """Give Cohen's kappa of two readers, with asymptotic errors, by statsmodels.

    Undefined where both read no visit, or where both say one and the same throughout: then
    agreement by chance is whole, and neither 1 nor 0 would be right.

    References
    ----------
    .. [1] Cohen 1960, Educ Psychol Meas 20:37-46, doi:10.1177/001316446002000104
    .. [2] Fleiss, Cohen & Everitt 1969, Psychol Bull 72:323-327, doi:10.1037/h0028106
    """
    from statsmodels.stats.inter_rater import cohens_kappa  # noqa: PLC0415

    if not table.n:
        return Undefined("the two read no visit in common")
    if len(table.answers) == 1:
        return Undefined(SAME, table.n)
    found = cohens_kappa(np.array(table.counts))
    value, error = float(found.kappa), float(np.sqrt(max(found.var_kappa, 0.0)))
    interval: Interval | Undefined = Undefined(
        "the asymptotic error is zero, take the interval of the share that agrees", table.n
    )
    if error > 0:
        around = wald(value, error, ASYMPTOTIC)
        interval = Interval(max(around.low, -1.0), min(around.high, 1.0), ASYMPTOTIC)
    return Kappa(value, error, float(found.std_kappa0), interval)


BANDS = (
    (0.20, "slight"),
    (0.40, "fair"),
    (0.60, "moderate"),
    (0.80, "substantial"),
    (1.00, "almost perfect"),
)


def landis_koch(kappa: float) -> str:
    """Give the word of Landis & Koch for a kappa; other schemes use other words.

    References
    ----------
    .. [1] Landis & Koch 1977, Biometrics 33:159-174, doi:10.2307/2529310
    """
    if kappa < 0:
        return "poor"
    return next(word for most, word in BANDS if kappa <= most)


# --- more readers ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Chance:
    """An agreement beyond chance: Fleiss' kappa or Krippendorff's alpha."""

    n: int
    """Visits."""
    readings: int
    value: float
    interval: Interval | Undefined


@dataclass(frozen=True, slots=True)
class GroupAgreement:
    """How far all readers agree, over the visits that at least two read."""

    species: str
    """The key of the only species that is asked for; empty: whole answers."""
    readers: tuple[str, ...]
    n: int
    """Visits."""
    agreement: float | Undefined
    """Chance that two readers of a visit say the same, the mean over visits."""
    together: float | Undefined
    """Chance that one who read with a reader who named the species named it too; undefined for
    whole answers, and where nobody named it."""
    alpha: Chance | Undefined
    """Krippendorff's, for any number of readers a visit."""
    kappa: Chance | Undefined
    """Fleiss', over the visits with one number of readers."""
    readers_each: int
    """That number: the one with most visits, the larger of two."""
    left_out: tuple[tuple[str, int], ...]
    """Visits that count for nothing here, by reason."""
    left_out_of_kappa: tuple[tuple[str, int], ...]
    """Visits that do not count for Fleiss' kappa besides, by reason."""


def group_agreement(visits: Sequence[ReadVisit], species: str = "") -> GroupAgreement:
    """Compare all readers at once."""
    read = [visit for visit in visits if len(visit.readings) >= TWO]
    left_out = Counter(_why_not_read(visit) for visit in visits if len(visit.readings) < TWO)
    sizes = Counter(len(visit.readings) for visit in read)
    each = max(sizes, key=lambda size: (sizes[size], size), default=0)
    others = len(read) - sizes[each]
    counts = answer_counts(read, species)
    of_each = counts[counts.sum(axis=1) == each]
    return GroupAgreement(
        species=species,
        readers=tuple(readers_of(read)),
        n=len(read),
        agreement=_pairwise(counts),
        together=_together(read, species),
        alpha=krippendorff_alpha(counts),
        kappa=fleiss_kappa(of_each),
        readers_each=each,
        left_out=tuple(left_out.most_common()),
        left_out_of_kappa=((ANOTHER_NUMBER, others),) if others else (),
    )


def species_agreements(visits: Sequence[ReadVisit]) -> list[GroupAgreement]:
    """Compare all readers over each species by itself: named, or not named."""
    return [group_agreement(visits, key) for key in species_said(visits)]


def _why_not_read(visit: ReadVisit) -> str:
    if visit.readings:
        return ONE_READER
    return UNFINISHED if visit.unfinished else UNREAD


def answer_counts(visits: Sequence[ReadVisit], species: str = "") -> Floats:
    """Count, for each visit, how many readers gave each answer."""
    answers = [[_answer(one.said, species) for one in visit.readings] for visit in visits]
    place = {answer: at for at, answer in enumerate(sorted({a for row in answers for a in row}))}
    counts = np.zeros((len(answers), len(place)))
    for at, row in enumerate(answers):
        for answer in row:
            counts[at, place[answer]] += 1
    return counts


def _pairwise(counts: Floats) -> float | Undefined:
    if not len(counts):
        return Undefined("no visit was read by two")
    readers = counts.sum(axis=1)
    return float((((counts**2).sum(axis=1) - readers) / (readers * (readers - 1))).mean())


def _together(visits: Sequence[ReadVisit], species: str) -> float | Undefined:
    if not species:
        return Undefined("whole answers are compared, not one species")
    sizes = [
        (sum(species in one.said for one in visit.readings), len(visit.readings))
        for visit in visits
    ]
    beside = sum(named * (readers - 1) for named, readers in sizes)
    if not beside:
        return Undefined("nobody named it in a visit that two read", len(visits))
    return sum(named * (named - 1) for named, _ in sizes) / beside


def fleiss_kappa(counts: Floats) -> Chance | Undefined:
    """Give Fleiss' kappa, with a bootstrap interval; every visit has the same number of readers.

    References
    ----------
    .. [1] Fleiss 1971, Psychol Bull 76:378-382, doi:10.1037/h0031619
    """
    return _beyond_chance(counts, _fleiss)


def krippendorff_alpha(counts: Floats) -> Chance | Undefined:
    """Give Krippendorff's alpha for names, with a bootstrap interval.

    Visits may have any number of readers; those with fewer than two count for nothing.

    References
    ----------
    .. [1] Krippendorff 2004, Content Analysis, 2nd ed., chapter 11
    """
    return _beyond_chance(counts[counts.sum(axis=1) >= TWO], _krippendorff)


def _beyond_chance(counts: Floats, statistic: Statistic) -> Chance | Undefined:
    n = len(counts)
    if not n:
        return Undefined("no visit was read by two")
    value = float(statistic(counts, np.ones((1, n)))[0])
    if np.isnan(value):
        return Undefined(SAME, n)
    return Chance(n, int(counts.sum()), value, _bootstrapped(counts, statistic))


def _bootstrapped(counts: Floats, statistic: Statistic) -> Interval | Undefined:
    """Draw the visits again and again; draws in which the statistic is undefined are left out."""
    patterns, many = np.unique(counts, axis=0, return_counts=True)
    draws = np.random.default_rng(SEED).multinomial(len(counts), many / len(counts), DRAWS)
    values = statistic(patterns, draws.astype(np.float64))
    values = values[~np.isnan(values)]
    if not len(values) or np.ptp(values) == 0:
        return Undefined("every draw of the visits gives the same", len(counts))
    low, high = np.quantile(values, [ALPHA / 2, 1 - ALPHA / 2])
    return Interval(float(low), float(high), BOOTSTRAP)


def _fleiss(counts: Floats, weights: Floats) -> Floats:
    readers = counts.sum(axis=1)[0]
    n = weights.sum(axis=1)
    agreeing = ((counts**2).sum(axis=1) - readers) / (readers * (readers - 1))
    by_chance = ((weights @ counts / (n * readers)[:, None]) ** 2).sum(axis=1)
    return _above(weights @ agreeing / n, by_chance)


def _krippendorff(counts: Floats, weights: Floats) -> Floats:
    readers = counts.sum(axis=1)
    agreeing = ((counts**2).sum(axis=1) - readers) / (readers - 1)
    totals = weights @ counts
    n = totals.sum(axis=1)
    by_chance = ((totals**2).sum(axis=1) - n) / (n * (n - 1))
    return _above(weights @ agreeing / n, by_chance)


def _above(agreeing: Floats, by_chance: Floats) -> Floats:
    """Give (agreeing - by chance) / (1 - by chance); NaN where chance agrees on everything."""
    whole = np.isclose(by_chance, 1.0, rtol=0, atol=1e-12)
    found: Floats = np.where(
        whole, np.nan, (agreeing - by_chance) / np.where(whole, 1, 1 - by_chance)
    )
    return found


# --- one student -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MixUp:
    """What a reader said where something else was settled."""

    said: Said
    settled: Said
    runs: tuple[tuple[str, int, int], ...]
    """Placement, first and last photo of each run of it."""


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


def sheet_of(visits: Sequence[ReadVisit], tagger: str) -> Sheet:
    """Say what one reader mixes up: said X where Y was settled, with the photos to look at."""
    runs: dict[tuple[Said, Said], list[tuple[str, int, int]]] = defaultdict(list)
    by_answer: Counter[tuple[Said, bool]] = Counter()
    ruled: Counter[bool] = Counter()
    unsettled = 0
    for visit in visits:
        reading = next((one for one in visit.readings if one.tagger == tagger), None)
        if reading is None:
            continue
        if visit.settled is None:
            unsettled += 1
            continue
        right = reading.said == visit.settled
        by_answer[visit.settled, right] += 1
        ruled[right] += visit.ruled
        if not right:
            where = [(visit.placement, first, last) for first, last in reading.runs]
            runs[reading.said, visit.settled] += where
    answers = sorted({settled for settled, _ in by_answer})
    mixed = sorted(runs.items(), key=lambda item: (-len(item[1]), item[0]))
    return Sheet(
        tagger,
        share(sum(by_answer[one, True] for one in answers), by_answer.total()),
        share(ruled[True], ruled.total()),
        tuple((o, by_answer[o, True], by_answer[o, True] + by_answer[o, False]) for o in answers),
        tuple(MixUp(said, settled, tuple(where)) for (said, settled), where in mixed),
        unsettled,
    )
