"""Decide what of a study is not for the public, and in what form it may be told instead."""

from core.privacy.names import pseudonym
from core.privacy.places import Generalised, Point, bounding_box, cell_m, generalised, statement
from core.privacy.texts import coordinates_in

__all__ = [
    "Generalised",
    "Point",
    "bounding_box",
    "cell_m",
    "coordinates_in",
    "generalised",
    "pseudonym",
    "statement",
]
