"""Decide which columns the tables of a Camtrap DP package have, and what a cell of each may hold.

The names, their order and their limits are the standard's [1]_; no column may be left out, for a
reader maps them by position.

References
----------
.. [1] Camtrap DP 1.0.2, table schemas of deployments, media and observations.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from core.settings import CONTRIBUTOR_ROLES, SAMPLING_DESIGNS

__all__ = [
    "ADDRESS", "CONTRIBUTOR_ROLES", "DEPLOYMENTS", "DESCRIPTOR", "FEATURES", "FILE_PATH", "MEDIA",
    "MISSING", "OBSERVATIONS", "OBSERVATION_TYPES", "PROFILE", "SAMPLING_DESIGNS", "TABLES",
    "VERSION", "Field", "Kind", "TableOf",
]  # fmt: skip

VERSION = "1.0.2"
ADDRESS = f"https://raw.githubusercontent.com/tdwg/camtrap-dp/{VERSION}/"
PROFILE = ADDRESS + "camtrap-dp-profile.json"
DESCRIPTOR = "datapackage.json"
MISSING = ("", "NA", "NaN", "nan")
"""Cells that mean nothing is there; a name among them would break the package."""
FILE_PATH = re.compile(r"^(?=^[^./~])(^((?!\.{2}).)*$).*$")


class Kind(StrEnum):
    """What a cell is read as."""

    TEXT = "string"
    NUMBER = "number"
    WHOLE = "integer"
    YES_NO = "boolean"
    TIME = "datetime"


@dataclass(frozen=True, slots=True)
class Field:
    """One column."""

    name: str
    kind: Kind = Kind.TEXT
    required: bool = False
    least: float | None = None
    most: float | None = None
    words: tuple[str, ...] = ()
    pattern: str = ""
    unique: bool = False


@dataclass(frozen=True, slots=True)
class TableOf:
    """One table of the package."""

    name: str
    fields: tuple[Field, ...]
    refers: Mapping[str, str]
    """Columns that name a row of another table: column to `table`; both have the same name."""

    @property
    def columns(self) -> tuple[str, ...]:
        """Give the names of its columns, in order."""
        return tuple(field.name for field in self.fields)

    @property
    def file(self) -> str:
        """Give the name of its file in the package."""
        return f"{self.name}.csv"

    @property
    def schema(self) -> str:
        """Give the address of its schema."""
        return f"{ADDRESS}{self.name}-table-schema.json"


FEATURES = (
    "roadPaved", "roadDirt", "trailHiking", "trailGame", "roadUnderpass", "roadOverpass",
    "roadBridge", "culvert", "burrow", "nestSite", "carcass", "waterSource", "fruitingTree",
)  # fmt: skip
OBSERVATION_TYPES = ("animal", "human", "vehicle", "blank", "unknown", "unclassified")

DEPLOYMENTS = TableOf("deployments", (
    Field("deploymentID", required=True, unique=True),
    Field("locationID"),
    Field("locationName"),
    Field("latitude", Kind.NUMBER, required=True, least=-90, most=90),
    Field("longitude", Kind.NUMBER, required=True, least=-180, most=180),
    Field("coordinateUncertainty", Kind.WHOLE, least=1),
    Field("deploymentStart", Kind.TIME, required=True),
    Field("deploymentEnd", Kind.TIME, required=True),
    Field("setupBy"),
    Field("cameraID"),
    Field("cameraModel"),
    Field("cameraDelay", Kind.WHOLE, least=0),
    Field("cameraHeight", Kind.NUMBER, least=0),
    Field("cameraDepth", Kind.NUMBER, least=0),
    Field("cameraTilt", Kind.WHOLE, least=-90, most=90),
    Field("cameraHeading", Kind.WHOLE, least=0, most=360),
    Field("detectionDistance", Kind.NUMBER, least=0),
    Field("timestampIssues", Kind.YES_NO),
    Field("baitUse", Kind.YES_NO),
    Field("featureType", words=FEATURES),
    Field("habitat"),
    Field("deploymentGroups"),
    Field("deploymentTags"),
    Field("deploymentComments"),
), {})  # fmt: skip

MEDIA = TableOf("media", (
    Field("mediaID", required=True, unique=True),
    Field("deploymentID", required=True),
    Field("captureMethod", words=("activityDetection", "timeLapse")),
    Field("timestamp", Kind.TIME, required=True),
    Field("filePath", required=True, pattern=FILE_PATH.pattern),
    Field("filePublic", Kind.YES_NO, required=True),
    Field("fileName"),
    Field("fileMediatype", required=True, pattern="^(image|video|audio)/.*$"),
    Field("exifData"),
    Field("favorite", Kind.YES_NO),
    Field("mediaComments"),
), {"deploymentID": "deployments"})  # fmt: skip

OBSERVATIONS = TableOf("observations", (
    Field("observationID", required=True, unique=True),
    Field("deploymentID", required=True),
    Field("mediaID"),
    Field("eventID"),
    Field("eventStart", Kind.TIME, required=True),
    Field("eventEnd", Kind.TIME, required=True),
    Field("observationLevel", required=True, words=("media", "event")),
    Field("observationType", required=True, words=OBSERVATION_TYPES),
    Field("cameraSetupType", words=("setup", "calibration")),
    Field("scientificName"),
    Field("count", Kind.WHOLE, least=1),
    Field("lifeStage", words=("adult", "subadult", "juvenile")),
    Field("sex", words=("female", "male")),
    Field("behavior"),
    Field("individualID"),
    Field("individualPositionRadius", Kind.NUMBER, least=0),
    Field("individualPositionAngle", Kind.NUMBER, least=-90, most=90),
    Field("individualSpeed", Kind.NUMBER, least=0),
    Field("bboxX", Kind.NUMBER, least=0, most=1),
    Field("bboxY", Kind.NUMBER, least=0, most=1),
    Field("bboxWidth", Kind.NUMBER, least=1e-15, most=1),
    Field("bboxHeight", Kind.NUMBER, least=1e-15, most=1),
    Field("classificationMethod", words=("human", "machine")),
    Field("classifiedBy"),
    Field("classificationTimestamp", Kind.TIME),
    Field("classificationProbability", Kind.NUMBER, least=0, most=1),
    Field("observationTags"),
    Field("observationComments"),
), {"deploymentID": "deployments", "mediaID": "media"})  # fmt: skip

TABLES = (DEPLOYMENTS, MEDIA, OBSERVATIONS)
