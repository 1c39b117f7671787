"""Decide what `datapackage.json` says of a package: who, where, when, and what was withheld."""

import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from core.camtrap import trays
from core.camtrap.fields import PROFILE, TABLES
from core.camtrap.telling import Telling, called_as, scientific_name_of
from core.model import Species, SpeciesRole
from core.privacy import Generalised, bounding_box
from core.settings import Settings

UNDETERMINED = "und"
"""The language of a species' name in the list: ISO 639-2's code for one that is not known."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of a package once its tables are written."""

    places: Sequence[Generalised]
    first: date
    last: date
    """From the first placement's start to the last one's end, in the study's zone."""
    named: Collection[str]
    """Keys of the species that the observations name."""
    capture_methods: Sequence[str]
    levels: Sequence[str]
    withheld: Sequence[str]
    """Sentences on what is left out or told less closely."""
    version: str
    """Of this program."""
    about: str = ""
    """The study's own description, as it may be told."""


def descriptor(
    settings: Settings, telling: Telling, facts: Facts, created: datetime
) -> dict[str, Any]:
    """Give the descriptor; `created` is aware."""
    sharing = settings.sharing
    species = telling.species
    title = telling.without_sites(sharing.title or settings.name)
    description = " ".join(filter(None, (facts.about, *facts.withheld)))
    coarse = sharing.sensitive_precision if telling.sensitive else sharing.place_precision
    return {
        "resources": [*map(_resource, TABLES), *trays.resources()],
        "profile": PROFILE,
        "name": _name(title),
        "created": created.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "title": title,
        "contributors": [
            {"title": one.name}
            | ({"role": one.role} if one.role else {})
            | ({"email": one.email} if one.email else {})
            for one in sharing.contributors
        ],
        **({"description": description} if description else {}),
        **_licences(settings),
        "project": {
            "title": title,
            "samplingDesign": sharing.sampling_design,
            "captureMethod": list(facts.capture_methods) or ["activityDetection"],
            "individualAnimals": False,
            "observationLevel": list(facts.levels),
        },
        "coordinatePrecision": float(max(coarse, sharing.place_precision)),
        "spatial": bounding_box(facts.places),
        "temporal": {"start": facts.first.isoformat(), "end": facts.last.isoformat()},
        "taxonomic": _taxonomic(species, facts.named),
        "informationWithheld": list(facts.withheld),
        "lastbite": {
            "version": facts.version,
            "settings": settings_told(settings),
            "species": [
                {"key": one.key, "name": called_as(one), "role": str(one.role),
                 "scientificName": scientific_name_of(one), "sensitive": one.sensitive}
                for one in species.values()
            ],
        },
    }  # fmt: skip


def _resource(table: Any) -> dict[str, str]:
    return {
        "name": table.name,
        "path": table.file,
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": table.schema,
    }


def _name(title: str) -> str:
    """Give a name as the standard wants it: small letters, digits, `-`, `.`, `_`."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9._]+", "-", plain).strip("-.") or "trays"


def _licences(settings: Settings) -> dict[str, Any]:
    data, media = settings.sharing.licence_data, settings.sharing.licence_media
    if not data:
        return {}
    pairs = (("data", data), ("media", media))
    return {
        "licenses": [
            {("path" if "://" in licence else "name"): licence, "scope": scope}
            for scope, licence in pairs
        ]
    }


def _taxonomic(species: Mapping[str, Species], named: Collection[str]) -> list[dict[str, Any]]:
    """List each scientific name once, with the name that the study calls it by; no people."""
    found: dict[str, str] = {}
    for key, one in species.items():
        if key in named and one.role is not SpeciesRole.PERSON:
            found.setdefault(one.scientific_name, one.name)
    return [
        {"scientificName": name, "vernacularNames": {UNDETERMINED: called}}
        for name, called in found.items()
    ]


def settings_told(settings: Settings) -> dict[str, Any]:
    """Give the settings that decide an outcome, as `study.toml` names them."""
    tolerance, item = settings.tolerance, settings.item_mass
    return {
        "timezone": str(settings.timezone),
        "gap_s": settings.gap.total_seconds(),
        "scale_step_g": float(settings.scale_step),
        "tolerance_g": None if tolerance is None else float(tolerance),
        "correct_moisture": settings.moisture_corrected,
        "correct_sifting": settings.sifting_corrected,
        "item_mass_g": None if item is None else float(item),
        "feeder": str(settings.feeder),
        "taggers_needed": settings.taggers_needed,
    }
