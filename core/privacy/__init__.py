"""Decide what of a study is not for the public, and in what form it may be told instead."""

from core.privacy.names import pseudonym
from core.privacy.people import has_a_persons_name, looked_for, parts_of, people_of
from core.privacy.pictures import is_private, shows_people
from core.privacy.places import Generalised, Point, bounding_box, cell_m, generalised, statement
from core.privacy.spellings import Finder, people_finder, places_finder
from core.privacy.texts import coordinates_in

__all__ = [
    "Finder",
    "Generalised",
    "Point",
    "bounding_box",
    "cell_m",
    "coordinates_in",
    "generalised",
    "has_a_persons_name",
    "is_private",
    "looked_for",
    "parts_of",
    "people_finder",
    "people_of",
    "places_finder",
    "pseudonym",
    "shows_people",
    "statement",
]
