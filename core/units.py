"""Decide how units are turned into each other; everything else holds grams, seconds and litres."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.datetime64]
"""True times [s], UTC, no zone attached: the array form of aware datetimes."""

NO_TIME = np.datetime64("NaT", "s")
EPOCH, SECOND = datetime(1970, 1, 1, tzinfo=UTC), timedelta(seconds=1)


def minutes(span: timedelta) -> float:
    """Give a span in minutes. [min]"""
    return span.total_seconds() / 60


def hours(span: timedelta) -> float:
    """Give a span in hours. [h]"""
    return span.total_seconds() / 3600


def to_seconds(moment: datetime) -> int:
    """Turn an aware time into seconds since 1970 UTC (a fraction is cut). [s]"""
    if moment.tzinfo is None:
        raise ValueError(f"Expected a time with a zone, got {moment.isoformat()}.")
    return (moment - EPOCH) // SECOND


def to_array_time(moment: datetime) -> np.datetime64:
    """Turn an aware time into the array form, UTC to the second (a fraction is cut)."""
    return np.datetime64(to_seconds(moment), "s")


def grams_per_litre(grams: Decimal, litres: Decimal | None) -> Decimal | None:
    """Give a mass as a density of its substrate [g/L]; None where the volume is not known."""
    return None if litres is None or litres <= 0 else grams / litres
