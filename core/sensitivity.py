"""Decide how far the answer of a study hangs on its settings: the whole chain over a grid of them.

What is worked out again under a setting is decided in chain.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from enum import StrEnum
from itertools import product

from core.analysis.choice import Choice
from core.analysis.intervals import ALPHA, Undefined
from core.analysis.pairs import pair_up
from core.analysis.ranks import SignedRank, rank_test
from core.analysis.told import Told, tell
from core.chain import Chain, Study
from core.model import Outcome
from core.settings import FeederRule, Settings

GAPS_S = (30, 60, 120, 300, 600)
"""Gaps that are tried beside the study's own (ours). [s]"""
STEPS = (1, 2, 5)
"""Tolerances that are tried beside the study's own, in steps of the scale (ours)."""
ENOUGH_TAGGERS = (1, 2)


class Axis(StrEnum):
    """A choice that somebody had to make."""

    GAP = "gap between visits"
    TOLERANCE = "tolerance"
    FEEDER = "several species"
    TAGGERS = "taggers needed"
    CLOCKS = "clock corrections and checks"


class Says(StrEnum):
    """What the pairs say."""

    FIRST = "more is left in the first"
    SECOND = "more is left in the second"
    NOTHING = "no difference that can be told from chance"
    TOO_FEW = "too few pairs to say"
    MIXED = "nothing of one forager: some pairs compare different ones, name one"


FEEDERS: Mapping[FeederRule, str] = {
    FeederRule.LAST: "last to feed owns it",
    FeederRule.SINGLE: "one species only",
    FeederRule.TIME: "longest owns it",
}


@dataclass(frozen=True, slots=True)
class Setting:
    """One choice on every axis."""

    gap: timedelta
    tolerance: Decimal | None
    """[g]; None: from the study's controls."""
    feeder: FeederRule
    taggers: int
    clocks: bool
    """Whether the accepted corrections and the checks of clocks hold."""

    def value(self, axis: Axis) -> str:
        """Write what is chosen on an axis."""
        within = "from controls" if self.tolerance is None else f"{self.tolerance.normalize():f} g"
        return {
            Axis.GAP: f"{self.gap.total_seconds():g} s",
            Axis.TOLERANCE: within,
            Axis.FEEDER: FEEDERS[self.feeder],
            Axis.TAGGERS: str(self.taggers),
            Axis.CLOCKS: "made" if self.clocks else "left out",
        }[axis]

    def of(self, settings: Settings) -> Settings:
        """Give the study's settings with this choice in them."""
        return replace(
            settings,
            gap=self.gap,
            tolerance=self.tolerance,
            feeder=self.feeder,
            taggers_needed=self.taggers,
        )


@dataclass(frozen=True, slots=True)
class Grid:
    """What is tried on each axis."""

    own: Setting
    """The study's own; it is in the grid."""
    gaps: tuple[timedelta, ...]
    tolerances: tuple[Decimal | None, ...]
    feeders: tuple[FeederRule, ...]
    taggers: tuple[int, ...]
    clocks: tuple[bool, ...]

    def settings(self) -> list[Setting]:
        """Give every combination."""
        axes = product(self.gaps, self.taggers, self.clocks, self.tolerances, self.feeders)
        return [Setting(gap, within, rule, many, made) for gap, many, made, within, rule in axes]

    def along(self, axis: Axis) -> list[Setting]:
        """Give the settings that differ from the study's own on one axis alone, its own too."""
        own = self.own
        return {
            Axis.GAP: [replace(own, gap=one) for one in self.gaps],
            Axis.TOLERANCE: [replace(own, tolerance=one) for one in self.tolerances],
            Axis.FEEDER: [replace(own, feeder=one) for one in self.feeders],
            Axis.TAGGERS: [replace(own, taggers=one) for one in self.taggers],
            Axis.CLOCKS: [replace(own, clocks=one) for one in self.clocks],
        }[axis]


def grid_of(settings: Settings, *, corrected: bool, weighed: bool = True) -> Grid:
    """Lay out what is tried beside a study's own settings.

    Parameters
    ----------
    corrected
        Whether any clock was corrected or checked; else there is nothing to leave out.
    weighed
        Whether the food of any tray was weighed; a tolerance of counted food is not to be set.
    """
    within = settings.tolerance if weighed else None
    own = Setting(settings.gap, within, settings.feeder, settings.taggers_needed, clocks=True)
    gaps = {own.gap, *(timedelta(seconds=one) for one in GAPS_S)}
    tried = {settings.scale_step * one for one in STEPS if weighed} - {own.tolerance}
    return Grid(
        own=own,
        gaps=tuple(sorted(gaps)),
        tolerances=(own.tolerance, *sorted(tried)),
        feeders=tuple(FeederRule),
        taggers=tuple(sorted({own.taggers, *ENOUGH_TAGGERS})),
        clocks=(True, False) if corrected else (True,),
    )


@dataclass(frozen=True, slots=True)
class Answer:
    """What the trays say under one setting."""

    setting: Setting
    densities: int
    """Trays with a density of whoever is asked for."""
    test: SignedRank | Undefined
    says: Says


@dataclass(frozen=True, slots=True)
class Changed:
    """One tray whose outcome is another under another setting."""

    own: Outcome
    other: Outcome

    @property
    def deployment(self) -> str:
        """Give the id of the tray deployment."""
        return self.own.deployment.deployment


@dataclass(frozen=True, slots=True)
class Step:
    """What one other choice on one axis does, all else being the study's own."""

    axis: Axis
    answer: Answer
    is_own: bool
    trays: tuple[Changed, ...]

    @property
    def value(self) -> str:
        """Write the choice."""
        return self.answer.setting.value(self.axis)


@dataclass(frozen=True, slots=True)
class Steadiness:
    """How far one tray hangs on the settings."""

    outcome: Outcome
    """Under the study's own settings."""
    same: int
    """In how many of the settings it has the same status, owner and density."""
    axes: tuple[Axis, ...]
    """Those on which one other choice changes it."""


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """A study over a grid of settings."""

    choice: Choice
    grid: Grid
    own: Answer
    found: tuple[Answer, ...]
    """One for each setting of the grid."""
    steps: tuple[Step, ...]
    """Along each axis that has more than one choice."""
    trays: tuple[Steadiness, ...]
    """In the log's order."""

    @property
    def same(self) -> int:
        """Count the settings under which the pairs say the same as under the study's own."""
        return sum(one.says is self.own.says for one in self.found)

    def at(self, setting: Setting) -> Answer:
        """Give the answer under one setting of the grid."""
        return next(one for one in self.found if one.setting == setting)


def sensitivity(study: Study, grid: Grid, choice: Choice) -> Sensitivity:
    """Work the whole chain out under every setting of a grid, and compare.

    A tray counts as changed where its status, the owner of its density or the density changes.
    The answer is what the signed-rank test of the pairs says: changed where another microhabitat
    has more left, or a difference can no longer (or only then) be told from chance.
    """
    reader = _Reader(Chain(study), choice, study)
    every = [(setting, reader.outcomes(setting)) for setting in grid.settings()]
    own = reader.outcomes(grid.own)
    found = tuple(reader.answer(setting, some) for setting, some in every)
    steps = tuple(_steps(reader, grid, own))
    touched: dict[str, list[Axis]] = {}
    for step in steps:
        for one in step.trays:
            touched.setdefault(one.deployment, []).append(step.axis)
    same = [
        sum(id(some[at]) == id(one) or verdict(some[at]) == verdict(one) for _, some in every)
        for at, one in enumerate(own)
    ]
    return Sensitivity(
        choice=choice,
        grid=grid,
        own=reader.answer(grid.own, own),
        found=found,
        steps=steps,
        trays=tuple(
            Steadiness(one, many, tuple(dict.fromkeys(touched.get(one.deployment.deployment, ()))))
            for one, many in zip(own, same, strict=True)
        ),
    )


def _steps(reader: "_Reader", grid: Grid, own: Sequence[Outcome]) -> Iterable[Step]:
    for axis in Axis:
        settings = grid.along(axis)
        for setting in settings if len(settings) > 1 else ():
            there = reader.outcomes(setting)
            trays = tuple(
                Changed(one, other)
                for one, other in zip(own, there, strict=True)
                if one is not other and verdict(one) != verdict(other)
            )
            yield Step(axis, reader.answer(setting, there), setting == grid.own, trays)


def verdict(outcome: Outcome) -> tuple[object, ...]:
    """Give what of an outcome is compared."""
    return outcome.status, outcome.forager, outcome.gud, outcome.censored


class _Reader:
    """Reads outcomes as a choice asks; what was read once is known."""

    def __init__(self, chain: Chain, choice: Choice, study: Study) -> None:
        self._chain = chain
        self._choice = choice
        self._study = study
        self._outcomes: dict[Setting, list[Outcome]] = {}
        self._told: dict[int, Told] = {}
        self._read: dict[tuple[int, ...], tuple[int, SignedRank | Undefined]] = {}

    def outcomes(self, setting: Setting) -> list[Outcome]:
        if setting not in self._outcomes:
            settings = setting.of(self._study.settings)
            self._outcomes[setting] = self._chain.outcomes(settings, clocks=setting.clocks)
        return self._outcomes[setting]

    def answer(self, setting: Setting, outcomes: Sequence[Outcome]) -> Answer:
        key = tuple(map(id, outcomes))
        if key not in self._read:
            told = [self._tell(one) for one in outcomes]
            test = rank_test(pair_up(told, self._choice))
            self._read[key] = sum(one.value is not None for one in told), test
        densities, test = self._read[key]
        return Answer(setting, densities, test, says(test))

    def _tell(self, outcome: Outcome) -> Told:
        if id(outcome) not in self._told:
            [self._told[id(outcome)]] = tell([outcome], self._choice, self._study.species)
        return self._told[id(outcome)]


def says(test: SignedRank | Undefined) -> Says:
    """Give what a signed-rank test of pairs says at the usual level."""
    if isinstance(test, Undefined) or isinstance(test.p, Undefined):
        return Says.TOO_FEW
    if test.mixed:
        return Says.MIXED
    if test.p.p >= ALPHA or test.estimate == 0:
        return Says.NOTHING
    return Says.FIRST if test.estimate > 0 else Says.SECOND
