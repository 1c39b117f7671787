"""Decide how far two readers agree: the table of what each said, the share, Cohen's kappa."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from core.agreement.readings import UNFINISHED, ReadVisit, Said, answer_of, readers_of
from core.analysis.intervals import Interval, Share, Undefined, share, wald

ASYMPTOTIC = "asymptotic"
NEITHER = "neither of the two read it"
NO_ERROR = 1e-7
"""An asymptotic error below this is rounding."""
NO_SPREAD = "the asymptotic error is zero, take the interval of the share that agrees"
CONSTANT = "one of the two says the same of every visit: kappa is 0 whatever the other says"
SAME = "every answer is one and the same, so chance alone would agree as well"


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
    def one_sided(self) -> bool:
        """Say whether one of the two says the same of every visit."""
        rows, columns = (
            [sum(one) for one in side] for side in (self.counts, zip(*self.counts, strict=True))
        )
        return self.n in rows or self.n in columns

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


@dataclass(frozen=True, slots=True)
class _Index:
    """Visits by reader."""

    visits: int
    said: Mapping[str, Mapping[int, Said]]
    """Of each reader, what they say of which visit."""
    unfinished: Mapping[str, frozenset[int]]


def pair_agreements(visits: Sequence[ReadVisit], species: str = "") -> list[PairAgreement]:
    """Compare every two readers who read a visit in common, those with most visits first."""
    index = _index(visits)
    return [
        _compare(index, one, other, species)
        for one, other in combinations(readers_of(visits), 2)
        if index.said[one].keys() & index.said[other].keys()
    ]


def pair_agreement(
    visits: Sequence[ReadVisit], first: str, second: str, species: str = ""
) -> PairAgreement:
    """Compare two readers over the visits that both read."""
    return _compare(_index(visits), first, second, species)


def _index(visits: Sequence[ReadVisit]) -> _Index:
    said: dict[str, dict[int, Said]] = defaultdict(dict)
    unfinished: dict[str, set[int]] = defaultdict(set)
    for at, visit in enumerate(visits):
        for one in visit.readings:
            said[one.tagger][at] = one.said
        for tagger in visit.unfinished:
            unfinished[tagger].add(at)
    return _Index(len(visits), said, {who: frozenset(found) for who, found in unfinished.items()})


def _compare(index: _Index, first: str, second: str, species: str) -> PairAgreement:
    one, other = (index.said.get(who, {}) for who in (first, second))
    begun = [index.unfinished.get(who, frozenset()) for who in (first, second)]
    both = Counter(
        (answer_of(one[at], species), answer_of(other[at], species))
        for at in one.keys() & other.keys()
    )
    table = _table(both)
    left_out = {
        UNFINISHED: len(begun[0] | begun[1]),
        f"not read by {second}": len(one.keys() - other.keys() - begun[1]),
        f"not read by {first}": len(other.keys() - one.keys() - begun[0]),
    }
    left_out[NEITHER] = index.visits - table.n - sum(left_out.values())
    return PairAgreement(
        first,
        second,
        species,
        table,
        share(table.agreeing, table.n),
        cohen_kappa(table),
        tuple((why, count) for why, count in left_out.items() if count),
    )


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
    with np.errstate(invalid="ignore", divide="ignore"):  # errors of zero, told below
        found = cohens_kappa(np.array(table.counts))
        errors = np.sqrt(np.maximum([found.var_kappa, found.var_kappa0], 0.0))
    value, (error, error_if_chance) = float(found.kappa), errors.tolist()
    if table.one_sided:
        return Kappa(0.0, 0.0, 0.0, Undefined(CONSTANT, table.n))
    if error < NO_ERROR:
        return Kappa(value, 0.0, error_if_chance, Undefined(NO_SPREAD, table.n))
    around = wald(value, error, ASYMPTOTIC)
    interval = Interval(max(around.low, -1.0), min(around.high, 1.0), ASYMPTOTIC)
    return Kappa(value, error, error_if_chance, interval)


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
    return next((word for most, word in BANDS if kappa <= most), BANDS[-1][1])
