"""Decide how far taggers agree: who said what of which visit, and how much of it is chance.

`read_visits` says what was read; the rest compares. What cannot be told is `Undefined`, with the
reason in words. Numbers come with their table or their n, since a rare species makes a kappa low
however well two readers agree.
"""

from core.agreement.many import (
    Chance,
    GroupAgreement,
    fleiss_kappa,
    group_agreement,
    krippendorff_alpha,
    species_agreements,
)
from core.agreement.readings import (
    Reading,
    ReadVisit,
    Said,
    read_visits,
    readers_of,
    species_said,
)
from core.agreement.sheets import Answered, MixUp, Sheet, sheet_of, sheets
from core.agreement.two import (
    Kappa,
    PairAgreement,
    Table,
    cohen_kappa,
    landis_koch,
    pair_agreement,
    pair_agreements,
)

__all__ = [
    "Answered",
    "Chance",
    "GroupAgreement",
    "Kappa",
    "MixUp",
    "PairAgreement",
    "ReadVisit",
    "Reading",
    "Said",
    "Sheet",
    "Table",
    "cohen_kappa",
    "fleiss_kappa",
    "group_agreement",
    "krippendorff_alpha",
    "landis_koch",
    "pair_agreement",
    "pair_agreements",
    "read_visits",
    "readers_of",
    "sheet_of",
    "sheets",
    "species_agreements",
    "species_said",
]
