"""Decide on which scale values are compared, and which values have no place on a scale."""

from collections.abc import Sequence
from enum import StrEnum
from math import asin, log, sqrt

from core.errors import AnalysisError


class Scale(StrEnum):
    """A scale on which values are compared."""

    RAW = "as measured"
    LOG = "natural logarithm"
    LOGIT = "logit of the share eaten"
    ARCSINE = "arcsine of the root of the share eaten"


SHARES = (Scale.LOGIT, Scale.ARCSINE)
"""Scales of a share eaten, not of an amount left."""


def on_scale(value: float, scale: Scale) -> float:
    """Put a value on a scale; AnalysisError where it has no place there.

    Parameters
    ----------
    value
        An amount (raw, log) or a share in [0, 1] (logit, arcsine). The logarithm needs an amount
        above zero and the logit a share strictly inside (0, 1): nothing is added to a value to
        make it fit. The arcsine takes a share, never an amount.
    """
    if scale is Scale.LOG and value <= 0:
        raise AnalysisError(
            f"{value:g} has no logarithm. An emptied tray is a bound, not a zero: "
            "leave it to the censored analysis."
        )
    if scale is Scale.LOGIT and not 0 < value < 1:
        raise AnalysisError(
            f"{value:g} has no logit. Give a share strictly between 0 and 1, or use another scale."
        )
    if scale is Scale.ARCSINE and not 0 <= value <= 1:
        raise AnalysisError(
            f"{value:g} has no arcsine of its root. Give a share from 0 to 1, not an amount."
        )
    if scale is Scale.LOG:
        return log(value)
    if scale is Scale.LOGIT:
        return log(value / (1 - value))
    return asin(sqrt(value)) if scale is Scale.ARCSINE else value


def variance_shares(variances: Sequence[float]) -> tuple[float, ...]:
    """Give each variance as a share of their sum; AnalysisError when there is nothing to share."""
    total = sum(variances)
    if total <= 0 or min(variances) < 0:
        raise AnalysisError(
            f"Variances {', '.join(f'{one:g}' for one in variances)} have no shares. "
            "Give variances from zero on, not all zero."
        )
    return tuple(one / total for one in variances)
