"""Decide what a density says of a forager's harvest rate and time, by the disc equation.

With a the search rate [1/min], h the handling time [min/g] and N the food there [g], the harvest
rate is a N / (1 + a h N); run down from N0 to Nf it takes ln(N0/Nf)/a + h (N0 - Nf). Other units
do as well, if all are of one kind. The time is the time of foraging in the tray: neither the
window nor last photo minus first.

References
----------
.. [1] Holling 1959, Can Entomol 91:385-398, doi:10.4039/Ent91385-7
.. [2] Brown 1988, Behav Ecol Sociobiol 22:37-47, doi:10.1007/BF00395696
"""

from math import isfinite, log

from core.errors import AnalysisError


def harvest_rate(search: float, handling: float, food: float) -> float:
    """Give the harvest rate at so much food [g/min]; at a GUD it is the quitting harvest rate."""
    _refuse_constants(search, handling)
    if not isfinite(food) or food < 0:
        raise AnalysisError(f"{food:g} of food cannot be there. Give an amount from zero on.")
    return search * food / (1 + search * handling * food)


def density_at(search: float, handling: float, rate: float) -> float:
    """Give the food at which the harvest rate is `rate` [g]: the GUD of that quitting rate.

    AnalysisError at or above 1/h, which no amount of food reaches.
    """
    _refuse_constants(search, handling)
    if not isfinite(rate) or rate < 0:
        raise AnalysisError(f"A harvest rate of {rate:g} cannot be. Give one from zero on.")
    if rate * handling >= 1:
        raise AnalysisError(
            f"No amount of food gives a harvest rate of {rate:g}: handling alone allows less than "
            f"{1 / handling:g}. Give a lower rate or a shorter handling time."
        )
    return rate / (search * (1 - handling * rate))


def time_in_tray(search: float, handling: float, start: float, left: float) -> float:
    """Give the foraging time from `start` down to `left` food. [min]

    AnalysisError for nothing left (it would take for ever) and for more left than put in.
    """
    _refuse_constants(search, handling)
    if not isfinite(left) or left <= 0:
        raise AnalysisError(
            f"{left:g} left gives no time in the tray: to take the last of it would take for "
            "ever. An emptied tray is only bounded; use its bound and say so."
        )
    if not isfinite(start) or start < left:
        raise AnalysisError(
            f"{left:g} left of {start:g} gives no time in the tray. Check the two amounts."
        )
    return log(start / left) / search + handling * (start - left)


def _refuse_constants(search: float, handling: float) -> None:
    if not isfinite(search) or search <= 0:
        raise AnalysisError(f"A search rate of {search:g} cannot be. Give one above zero.")
    if not isfinite(handling) or handling < 0:
        raise AnalysisError(f"A handling time of {handling:g} cannot be. Give one from zero on.")
