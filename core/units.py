"""Decide how units are turned into each other; everything else holds grams, seconds and litres."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.datetime64]
"""True times [s], UTC, no zone attached: the array form of aware datetimes."""

NO_TIME = np.datetime64("NaT", "s")


def minutes(span: timedelta) -> float:
    """Give a span in minutes. [min]"""
    return span.total_seconds() / 60


def hours(span: timedelta) -> float:
    """Give a span in hours. [h]"""
    return span.total_seconds() / 3600


def to_array_time(moment: datetime) -> np.datetime64:
    """Turn an aware time into the array form, UTC to the second (a fraction is cut)."""
    if moment.tzinfo is None:
        raise ValueError(f"Expected a time with a zone, got {moment.isoformat()}.")
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "s")


def grams_per_litre(grams: Decimal, litres: Decimal | None) -> Decimal | None:
    """Give a mass as a density of its substrate [g/L]; None where the volume is not known."""
    return None if litres is None or litres <= 0 else grams / litres
