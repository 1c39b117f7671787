"""Decide what belongs to one analysis and in which order it is worked out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from core.analysis.censored import CensoredModel, censored_model
from core.analysis.choice import Choice, remarks
from core.analysis.intervals import Undefined
from core.analysis.ledger import Ledger, ledger
from core.analysis.mixed import MixedModel, mixed_model
from core.analysis.pairs import Pairs, pair_up
from core.analysis.ranks import SignedRank, rank_test
from core.analysis.rates import VisitRates, visit_rates
from core.analysis.told import tell
from core.analysis.used import UsedTrays, used_trays
from core.model import Outcome, Species
from core.settings import Settings


@dataclass(frozen=True, slots=True)
class Analysis:
    """Everything that is said of one choice."""

    choice: Choice
    settings: Settings
    """With which the outcomes were decided."""
    ledger: Ledger
    used: tuple[UsedTrays, ...]
    pairs: Pairs | Undefined
    test: SignedRank | Undefined
    mixed: MixedModel | Undefined
    censored: CensoredModel | Undefined
    rates: VisitRates
    remarks: tuple[str, ...]
    counted: int = 0
    """Trays whose food was counted: a tolerance in grams is none of theirs."""


def analyse(
    outcomes: Sequence[Outcome],
    choice: Choice,
    species: Mapping[str, Species],
    settings: Settings,
) -> Analysis:
    """Work out everything for one choice; parts that cannot be told say why.

    Parameters
    ----------
    outcomes
        One for each study tray deployment that the analysis is of.
    species
        The study's species by key.
    settings
        With which the outcomes were decided.
    """
    told = tell(outcomes, choice, species)
    pairs = pair_up(told, choice)
    return Analysis(
        choice=choice,
        settings=settings,
        ledger=ledger(told, choice),
        used=used_trays(told, choice, species),
        pairs=pairs,
        test=rank_test(pairs),
        mixed=mixed_model(told, choice),
        censored=censored_model(told, choice),
        rates=visit_rates(told, choice),
        remarks=remarks(outcomes, choice),
        counted=sum(one.deployment.counted for one in outcomes),
    )
