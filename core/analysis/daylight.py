"""Decide at what height of the sun animals came to the trays, and what light that was."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from core import sun
from core.analysis.choice import Choice
from core.analysis.told import counts
from core.model import Outcome, Placement, Where
from core.sun import Light
from core.units import to_array_time

Place = tuple[float, float]
"""Latitude and longitude. [degrees]"""


@dataclass(frozen=True, slots=True)
class SunVisit:
    """One animal on a tray in one visit, with the height of the sun as it came."""

    deployment: str
    microhabitat: str
    species: str
    """Its key, or `unknown`."""
    where: Where
    moment: datetime
    """True time of the first photo."""
    height: float
    """Of the sun's centre. [degrees]"""

    @property
    def light(self) -> Light:
        """Give how light it was."""
        return sun.light(self.height)


@dataclass(frozen=True, slots=True)
class Daylight:
    """When animals came, by the sun."""

    visits: tuple[SunVisit, ...]
    n: int
    """Trays that were looked at."""
    without_place: int
    """Trays left out because no camera at them has a place in the camera log."""
    choice: Choice


def places_of(placements: Sequence[Placement]) -> dict[str, Place]:
    """Give each tray the place of the first of its cameras that has one."""
    found: dict[str, Place] = {}
    for one in placements:
        if one.latitude is not None and one.longitude is not None:
            for tray in one.trays:
                found.setdefault(tray, (one.latitude, one.longitude))
    return found


def by_the_sun(
    outcomes: Sequence[Outcome], places: Mapping[str, Place], choice: Choice
) -> Daylight:
    """Give the height of the sun for each stay on a tray whose answer is held.

    Of the forager that is asked for; where none is, of every animal and person. In the log's order.
    """
    wanted = choice.forager.key if choice.forager else None
    with_place = [one for one in outcomes if one.deployment.tray in places]
    stays = [
        (one.deployment, sighting)
        for one in with_place
        for visit in one.seen
        if counts(visit)
        for sighting in visit.sightings
        if sighting.where is not Where.NEAR and wanted in {None, sighting.species}
    ]
    heights = np.zeros(len(stays))
    of_place: dict[Place, list[int]] = {}
    for at, (deployment, _) in enumerate(stays):
        of_place.setdefault(places[deployment.tray], []).append(at)
    for place, here in of_place.items():
        moments = [to_array_time(stays[at][1].first) for at in here]
        heights[here] = sun.height(np.array(moments, dtype="datetime64[s]"), *place)
    visits = tuple(
        SunVisit(
            deployment.deployment, deployment.microhabitat, stay.species, stay.where, stay.first, up
        )
        for (deployment, stay), up in zip(stays, heights.tolist(), strict=True)
    )
    return Daylight(visits, len(outcomes), len(outcomes) - len(with_place), choice)
