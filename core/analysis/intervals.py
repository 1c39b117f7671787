"""Decide how an interval is given, and what stands in place of a number that cannot be told."""

from dataclasses import dataclass

LEVEL = 0.95
"""Level of every interval (common practice)."""
ALPHA = 0.05
"""1 - LEVEL."""
Z = 1.959963984540054
"""Quantile of the normal distribution at (1 + LEVEL) / 2."""


@dataclass(frozen=True, slots=True)
class Undefined:
    """A number that cannot be told, and why."""

    why: str
    n: int = 0
    """How many rows there were to tell it from."""


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate's interval."""

    low: float
    high: float
    how: str
    """The method in words."""
    level: float = LEVEL


@dataclass(frozen=True, slots=True)
class Share:
    """A share of a whole with its Wilson interval."""

    part: int
    n: int
    interval: Interval

    @property
    def share(self) -> float:
        """Give the share. [0..1]"""
        return self.part / self.n


def share(part: int, n: int) -> Share | Undefined:
    """Give part / n with its Wilson interval; undefined when there is nothing to share.

    Each of the n is taken as independent of the others.

    References
    ----------
    .. [1] Wilson 1927, J Am Stat Assoc 22:209-212, doi:10.1080/01621459.1927.10502953
    """
    from statsmodels.stats.proportion import proportion_confint  # noqa: PLC0415

    if not n:
        return Undefined("there is nothing of which to give a share")
    low, high = proportion_confint(part, n, ALPHA, method="wilson")
    return Share(part, n, Interval(float(low), float(high), "Wilson"))


def wald(estimate: float, error: float, how: str) -> Interval:
    """Give estimate -/+ z standard errors."""
    return Interval(estimate - Z * error, estimate + Z * error, how)
