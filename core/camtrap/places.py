"""Decide which placements stand at one place, and where each place is told to be.

All placements of one place are told at the same rounded point; each is called by its site.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from core.camtrap import trays as tray_tables
from core.camtrap.telling import Telling
from core.model import Placement, TrayDeployment
from core.privacy import Generalised, Point, generalised

Mark = tuple[object, ...]
"""What placements of one place have in common."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where the placements of one place are told to be."""

    id: str
    name: str
    at: Generalised


def places(
    placements: Sequence[Placement],
    trays: Iterable[TrayDeployment],
    precision_deg: Decimal,
    telling: Telling,
) -> dict[str, Place]:
    """Give the place of each placement, all of which have coordinates."""
    sites = _sites(placements, trays)
    found: dict[str, Place] = {}
    for group in _groups(placements, sites):
        at = generalised([_point(one) for one in group], precision_deg)
        for one in group:
            name = _name(one, sites)
            known = one.extra.get("locationName") or (name if sites[one.placement] else "")
            thing = f"name of place {name!r}"
            told = "" if telling.sensitive else telling.text(thing, known)
            found[one.placement] = Place(telling.site(name), told, at)
    return found


def _point(placement: Placement) -> Point:
    assert placement.latitude is not None
    assert placement.longitude is not None
    return Point(placement.latitude, placement.longitude, placement.uncertainty_m)


def _name(placement: Placement, sites: Mapping[str, list[str]]) -> str:
    """Give what its place is called: its site, else as the camera log has it, else itself."""
    names = [*sites[placement.placement], placement.extra.get("locationID", "")]
    return next(filter(None, names), placement.placement)


def _sites(
    placements: Sequence[Placement], trays: Iterable[TrayDeployment]
) -> dict[str, list[str]]:
    """Give the sites of the trays that each placement watched, in the tray log's order."""
    found: dict[str, list[str]] = {one.placement: [] for one in placements}
    for tray in trays:
        for placement in tray_tables.watching(tray, placements):
            if tray.site and tray.site not in found[placement]:
                found[placement].append(tray.site)
    return found


def _groups(
    placements: Sequence[Placement], sites: Mapping[str, list[str]]
) -> list[list[Placement]]:
    """Put placements together that share a site, an id of their place, or a point."""
    group_of: dict[Mark, list[Placement]] = {}
    for one in placements:
        marks: list[Mark] = [("site", site) for site in sites[one.placement]]
        marks += [("id", one.extra["locationID"])] if one.extra.get("locationID") else []
        marks += [("at", one.latitude, one.longitude)]
        merged = [one]
        for other in {id(group): group for mark in marks if (group := group_of.get(mark))}.values():
            merged = [*other, *merged]
            group_of |= {mark: merged for mark, group in group_of.items() if group is other}
        group_of |= dict.fromkeys(marks, merged)
    order = {one.placement: at for at, one in enumerate(placements)}
    unique = {id(group): group for group in group_of.values()}.values()
    return [sorted(group, key=lambda one: order[one.placement]) for group in unique]
