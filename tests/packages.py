"""A small valid package of invented animals and places for tests, and a second opinion on it."""

import csv
import importlib.util
import io
import json
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from core.camtrap.fields import DESCRIPTOR, PROFILE, TABLES

Cells = dict[str, str]
OWLMOUSE, GLASS_HARE = "Strigomys fictus", "Lepus vitreus"
"""Neither animal exists."""
NEEDS_SHARED = pytest.mark.skipif(
    "LASTBITE_SHARED" not in os.environ,
    reason="LASTBITE_SHARED names no folder with the published standards",
)


def standards() -> Path:
    """Give the folder of published standards; only where `NEEDS_SHARED` lets a test run."""
    return Path(os.environ["LASTBITE_SHARED"]) / "standards"


class Package:
    """A package as plain values, to change and to write."""

    def __init__(self) -> None:
        self.tables: dict[str, list[Cells]] = {
            "deployments": _deployments(),
            "media": _media(),
            "observations": _observations(),
            "tray_weights": [
                {"tray": "T1", "deploymentID": "P1", "left_g": "3.2", "grains": "40",
                 "picked_up": "2026-05-30T09:00:00+02:00", "state": "keep"},
                {"tray": "T2", "deploymentID": "", "left_g": "", "grains": "",
                 "picked_up": "", "state": "drop"},
            ],
        }  # fmt: skip
        self.columns: dict[str, list[str]] = {
            **{table.name: list(table.columns) for table in TABLES},
            "tray_weights": list(self.tables["tray_weights"][0]),
        }
        self.descriptor: dict[str, Any] = _descriptor()
        self.texts: dict[str, Callable[[str], bytes]] = {}
        """How the text of a table becomes bytes; UTF-8 where nothing is said."""

    def row(self, table: str, key: str) -> Cells:
        """Give the row whose first column is `key`."""
        return next(row for row in self.tables[table] if key in row.values())

    def resource(self, name: str) -> dict[str, Any]:
        """Give a resource of the descriptor."""
        listed: list[dict[str, Any]] = self.descriptor["resources"]
        return next(one for one in listed if one["name"] == name)

    def without(self, name: str) -> None:
        """Take a resource out of the descriptor."""
        listed: list[dict[str, Any]] = self.descriptor["resources"]
        self.descriptor["resources"] = [one for one in listed if one["name"] != name]

    def text(self, table: str) -> str:
        """Write a table, with the line ends of the CSV standard."""
        file = io.StringIO()
        writer = csv.DictWriter(file, self.columns[table], restval="", extrasaction="ignore")
        writer.writeheader()
        writer.writerows(self.tables[table])
        return file.getvalue()

    def write(self, folder: Path) -> Path:
        """Write it into a folder and give that."""
        folder.mkdir(parents=True, exist_ok=True)
        for table in self.tables:
            as_bytes = self.texts.get(table, str.encode)
            (folder / f"{table}.csv").write_bytes(as_bytes(self.text(table)))
        text = json.dumps(self.descriptor, ensure_ascii=False, indent=1)
        (folder / DESCRIPTOR).write_text(text, encoding="utf-8")
        return folder


def _deployments() -> list[Cells]:
    shared = {"cameraHeight": "0.80", "cameraTilt": "-15", "baitUse": "true",
              "timestampIssues": "false", "coordinateUncertainty": "187"}  # fmt: skip
    return [
        {"deploymentID": "P1", "locationID": "Fennholt", "latitude": "51.496",
         "longitude": "4.774", "deploymentStart": "2026-05-29T18:00:00+02:00",
         "deploymentEnd": "2026-05-31T09:00:00+02:00", "cameraHeading": "359", **shared},
        {"deploymentID": "P2", "locationID": "Lower Mirrow", "latitude": "51.181",
         "longitude": "5.655", "deploymentStart": "2026-05-29T19:00:00+02:00",
         "deploymentEnd": "2026-05-31T10:00:00+02:00", **shared},
    ]  # fmt: skip


def _media() -> list[Cells]:
    times = {
        "P1": ("2026-05-29T22:10:00", "2026-05-29T22:10:01", "2026-05-29T22:40:00",
               "2026-05-30T01:00:00", "2026-05-30T04:57:37"),
        "P2": ("2026-05-29T22:10:00", "2026-05-30T02:00:00"),
    }  # fmt: skip
    return [
        {"mediaID": f"{place}/{number}", "deploymentID": place,
         "captureMethod": "activityDetection", "timestamp": f"{time}+02:00",
         "filePath": f"media/{place}/{number}.JPG", "filePublic": "true",
         "fileName": f"{number}.JPG", "fileMediatype": "image/jpeg"}
        for place, taken in times.items()
        for number, time in enumerate(taken, 1)
    ]  # fmt: skip


def event(number: int, place: str, start: str, end: str, **cells: str) -> Cells:
    """Give an observation of an event, on 29 and 30 May 2026."""
    return {"observationID": f"O{number}", "deploymentID": place, "eventID": f"E{number}",
            "eventStart": f"2026-05-{start}", "eventEnd": f"2026-05-{end}",
            "observationLevel": "event", **cells}  # fmt: skip


def _observations() -> list[Cells]:
    human = {"classificationMethod": "human", "classifiedBy": "anonymized:0a1b2c3",
             "classificationTimestamp": "2026-06-02T10:00:00Z"}  # fmt: skip
    owlmouse = {"observationType": "animal", "scientificName": OWLMOUSE, **human}
    hare = {"observationType": "animal", "scientificName": GLASS_HARE, "sex": "female", **human}
    return [
        event(1, "P1", "29T22:10:00+02:00", "29T22:10:01+02:00", count="2",
              behavior="foraging", **owlmouse),
        # The same moments in another offset: instants are compared, never texts.
        event(1, "P1", "29T20:10:00Z", "29T20:10:01Z", count="1", **hare)
        | {"observationID": "O1b"},
        event(2, "P1", "29T22:40:00+02:00", "29T22:40:00+02:00", observationType="blank", **human),
        event(3, "P1", "30T01:00:00+02:00", "30T01:00:00+02:00", observationType="human",
              cameraSetupType="setup", **human),
        event(4, "P1", "30T04:57:37+02:00", "30T04:57:37+02:00", observationType="unclassified"),
        event(5, "P2", "29T22:10:00+02:00", "29T22:10:00+02:00", **hare),
        {"observationID": "O6", "deploymentID": "P1", "mediaID": "P1/2", "eventID": "E1",
         "eventStart": "2026-05-29T22:10:01+02:00", "eventEnd": "2026-05-29T22:10:01+02:00",
         "observationLevel": "media", **owlmouse},
    ]  # fmt: skip


def _resource(name: str, schema: Any) -> dict[str, Any]:
    return {"name": name, "path": f"{name}.csv", "profile": "tabular-data-resource",
            "format": "csv", "mediatype": "text/csv", "encoding": "utf-8",
            "schema": schema}  # fmt: skip


def _weights() -> dict[str, Any]:
    """Describe a table of our own, whose rows name the placement that watched the tray."""
    return {
        "fields": [
            {"name": "tray", "type": "string", "constraints": {"required": True, "unique": True}},
            {"name": "deploymentID", "type": "string"},
            {"name": "left_g", "type": "number", "constraints": {"minimum": 0, "maximum": 1000}},
            {"name": "grains", "type": "integer", "constraints": {"minimum": 0}},
            {"name": "picked_up", "type": "datetime", "format": "%Y-%m-%dT%H:%M:%S%z"},
            {"name": "state", "type": "string", "constraints": {"enum": ["keep", "drop"]}},
        ],
        "missingValues": [""],
        "primaryKey": "tray",
        "foreignKeys": [
            {"fields": "deploymentID",
             "reference": {"resource": "deployments", "fields": "deploymentID"}},
        ],
    }  # fmt: skip


def _descriptor() -> dict[str, Any]:
    west, south, east, north = 4.774, 51.181, 5.655, 51.496
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {
        "resources": [
            *(_resource(table.name, table.schema) for table in TABLES),
            _resource("tray_weights", _weights()),
        ],
        "profile": PROFILE,
        "name": "night-trays",
        "created": "2026-06-03T08:00:00Z",
        "title": "Night trays",
        "contributors": [{"title": "Ada Quill", "role": "contact"}],
        "licenses": [
            {"name": "CC0-1.0", "scope": "data"},
            {"path": "https://creativecommons.org/licenses/by/4.0/", "scope": "media"},
        ],
        "project": {
            "title": "Night trays",
            "samplingDesign": "experimental",
            "captureMethod": ["activityDetection"],
            "individualAnimals": False,
            "observationLevel": ["event", "media"],
        },
        "coordinatePrecision": 0.001,
        "spatial": {"type": "Polygon", "coordinates": [ring]},
        "temporal": {"start": "2026-05-29", "end": "2026-05-31"},
        "taxonomic": [
            {"scientificName": OWLMOUSE, "vernacularNames": {"eng": "owlmouse"}},
            {"scientificName": GLASS_HARE, "taxonRank": "species"},
        ],
    }


def large(folder: Path, media: int, observations: int) -> Path:
    """Write a sound package of a season: two files an event, ten placements."""
    package = Package()
    start = "2026-05-29T00:00:00+02:00"
    places = [f"P{number}" for number in range(10)]
    first = package.tables["deployments"][0]
    package.tables["deployments"] = [
        first | {"deploymentID": place, "deploymentStart": start,
                 "deploymentEnd": "2027-05-29T00:00:00+02:00"}
        for place in places
    ]  # fmt: skip
    package.tables["tray_weights"] = []
    package.tables["media"] = list(_many_media(places, media))
    package.tables["observations"] = list(_many_observations(package.tables["media"], observations))
    return package.write(folder)


def _many_media(places: list[str], count: int) -> Iterable[Cells]:
    for number in range(count):
        at = number // len(places)
        # Two files in one second, then nothing until the same second of the next minute.
        minute = at // 2
        days, hour, left = minute // 1440, minute // 60 % 24, minute % 60
        place = places[number % len(places)]
        yield {"mediaID": f"{place}/{at}", "deploymentID": place, "filePublic": "false",
               "timestamp": f"2026-06-{1 + days:02}T{hour:02}:{left:02}:00+02:00",
               "captureMethod": "activityDetection", "filePath": f"media/{place}/{at}.JPG",
               "fileName": f"{at}.JPG", "fileMediatype": "image/jpeg"}  # fmt: skip


def _many_observations(media: list[Cells], count: int) -> Iterable[Cells]:
    """Give a row for each file, and for as many events as there is room for."""
    said = {"observationType": "animal", "scientificName": OWLMOUSE, "count": "1",
            "classificationMethod": "human", "classifiedBy": "anonymized:0a1b2c3",
            "classificationTimestamp": "2026-07-02T10:00:00Z"}  # fmt: skip
    for number in range(count):
        of_file = number < len(media)
        one = media[number % len(media)]
        yield {"observationID": f"O{number}", "deploymentID": one["deploymentID"],
               "mediaID": one["mediaID"] if of_file else "",
               "eventID": f"{one['deploymentID']}/{one['timestamp']}",
               "eventStart": one["timestamp"], "eventEnd": one["timestamp"],
               "observationLevel": "media" if of_file else "event", **said}  # fmt: skip


def validated(folder: Path) -> list[str]:
    """Give what frictionless says is wrong, offline: the schemas come from the standards' folder.

    The script that does so lies beside them; only where `NEEDS_SHARED` lets a test run.
    """
    path = standards() / "check_camtrap_dp.py"
    spec = importlib.util.spec_from_file_location("check_camtrap_dp", path)
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    report = script.check(folder)
    found = [f"package: {fault.message}" for fault in report.errors]
    found += [f"{one.name}: {fault.message}" for one in report.tasks for fault in one.errors]
    assert bool(found) != report.valid
    return found
