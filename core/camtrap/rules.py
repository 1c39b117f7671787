"""Decide whether a package keeps what the standard asks, and what no schema of it can check.

Tables are read row by row, so that a package of any size is checked in little memory.

References
----------
.. [1] Camtrap DP 1.0.2, profile and table schemas.
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from core.camtrap import describing, further, geometry, logic, opening
from core.camtrap.cells import Value
from core.camtrap.faultlist import Fault, Faults
from core.camtrap.fields import DEPLOYMENTS, DESCRIPTOR, MEDIA, OBSERVATIONS, TABLES, TableOf
from core.camtrap.logic import Known, Wrong
from core.camtrap.opening import PackageError
from core.camtrap.tabling import Layout, Reading

__all__ = ["Fault", "check"]


def check(folder: Path, *, strict: bool = True) -> list[Fault]:
    """Give all faults of a package; none: it is sound.

    Parameters
    ----------
    strict
        What our own packages are held to [1]_: every rule of the standard, and that rows do not
        contradict each other. False for packages of others, which only have to be readable: a
        BOM, times written loosely, columns in another order or left out, licences and the like
        are no faults then, and further tables are not looked at; a blank required cell, a key
        that is there twice, a reference to nothing, an end before its start, or an observation
        of a file of another deployment are.
    """
    faults = Faults()
    try:
        told = opening.descriptor_of(folder)
    except PackageError as fault:
        faults.add(DESCRIPTOR, str(fault))
        return faults.listed()
    resources = opening.resources_of(told)
    if strict:
        _check_descriptor(told, resources, faults)
    known = Known(
        geometry.box_of(told.get("spatial")) if strict else None,
        describing.taxa_of(told) if strict else None,
    )
    read = _Tables(folder, resources, faults, known, strict=strict)
    read.standard()
    if strict:
        read.others()
    return faults.listed()


def _check_descriptor(
    told: Mapping[str, Any], resources: Mapping[str, Mapping[str, Any]], faults: Faults
) -> None:
    for wrong in describing.of_descriptor(told):
        faults.add(DESCRIPTOR, wrong.message, column=wrong.place, value=_text(wrong.value))
    listed = told.get("resources")
    if isinstance(listed, list) and len(listed) > len(resources):
        faults.add(
            DESCRIPTOR, "Two have the same name, or one has none. Give each its own.",
            column="resources",
        )  # fmt: skip
    for resource in resources.values():
        for wrong in describing.of_resource(resource):
            faults.add(DESCRIPTOR, wrong.message, column=wrong.place, value=_text(wrong.value))


def _text(value: object) -> str:
    return "" if value is None else value if isinstance(value, str) else str(value)


class _Tables:
    """The tables of one package, read in the order in which they refer to each other."""

    def __init__(
        self, folder: Path, resources: Mapping[str, Mapping[str, Any]], faults: Faults,
        known: Known, *, strict: bool,
    ) -> None:  # fmt: skip
        self._folder = folder
        self._resources = resources
        self._faults = faults
        self._known = known
        self._strict = strict
        self._keys: dict[str, Collection[str]] = {}

    def standard(self) -> None:
        """Read deployments, media and observations."""
        known, strict = self._known, self._strict
        if reading := self._reading(DEPLOYMENTS):
            for line, row in reading[0].rows(reading[1]):
                self._tell(DEPLOYMENTS, line, logic.of_deployment(row, known, strict=strict))
            if reading[0].whole:
                self._keys[DEPLOYMENTS.name] = known.deployments.keys()
        if reading := self._reading(MEDIA):
            for line, row in reading[0].rows(reading[1]):
                self._tell(MEDIA, line, logic.of_media(row, known, strict=strict))
            if reading[0].whole:
                self._keys[MEDIA.name] = known.media.keys()
                known.media_whole = True
        logic.close_media(known)
        if reading := self._reading(OBSERVATIONS):
            for line, row in reading[0].rows(reading[1]):
                wrong = logic.of_observation(row, known, line, strict=strict)
                self._tell(OBSERVATIONS, line, wrong)
        for line, one in logic.overlaps(known):
            self._tell(OBSERVATIONS, line, [one])

    def others(self) -> None:
        """Read the further tables that bring a schema with them."""
        for name, resource in self._resources.items():
            if name in {one.name for one in TABLES} or "data" in resource:
                continue
            path = self._path(name)
            schema = resource.get("schema")
            if path is None or not isinstance(schema, dict) or path.suffix.casefold() != ".csv":
                continue
            layout = further.layout_of(name, path.name, schema)
            if layout is None:
                self._faults.add(
                    DESCRIPTOR, "Its schema has no fields with names. List them.",
                    column=f"resources.{name}.schema",
                )  # fmt: skip
                continue
            for _ in Reading(layout, self._faults, self._keys, self._strict).rows(path):
                pass

    def _path(self, name: str) -> Path | None:
        resource = self._resources.get(name)
        if resource is None:
            self._faults.add(
                DESCRIPTOR, f"There is no table {name!r}. List it, with its path.",
                column="resources",
            )  # fmt: skip
            return None
        try:
            return opening.path_of(self._folder, resource)
        except PackageError as fault:
            self._faults.add(
                DESCRIPTOR, str(fault),
                column=f"resources.{name}.path", value=_text(resource.get("path")),
            )  # fmt: skip
            return None

    def _reading(self, table: TableOf) -> tuple[Reading, Path] | None:
        path = self._path(table.name)
        if path is None:
            return None
        layout = Layout(table, path.name)
        return Reading(layout, self._faults, self._keys, self._strict), path

    def _tell(self, table: TableOf, line: int, found: Iterable[Wrong]) -> None:
        for wrong in found:
            self._faults.add(
                table.file, wrong.message, line=line, column=wrong.column, value=_shown(wrong.value)
            )


def _shown(value: Value) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    return "" if value is None else str(value)
