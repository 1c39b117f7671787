"""Decide what the descriptor of a package must say, as our own check of it.

What a number, a date or a list has to look like is the standard's; that dates stand in order, a
ring is closed and licences are of both scopes is what its schemas cannot ask.

References
----------
.. [1] Camtrap DP 1.0.2, package profile.
.. [2] RFC 7946, The GeoJSON Format: section 3.1.
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple

from core.camtrap import geometry
from core.camtrap.fields import (
    CONTRIBUTOR_ROLES,
    MEDIA,
    OBSERVATIONS,
    PROFILE,
    SAMPLING_DESIGNS,
    TABLES,
)

TEXTS = ("id", "title", "description", "version", "homepage", "bibliographicCitation", "image")
SCOPES = ("data", "media")
RANKS = ("kingdom", "phylum", "class", "order", "family", "genus", "species", "subspecies")
TAXON_TEXTS = (
    "scientificName",
    "taxonID",
    "kingdom",
    "phylum",
    "class",
    "order",
    "family",
    "genus",
)
RELATED = ("relationType", "relatedIdentifier", "relatedIdentifierType")
CAPTURE_METHODS = next(one.words for one in MEDIA.fields if one.name == "captureMethod")
LEVELS = next(one.words for one in OBSERVATIONS.fields if one.name == "observationLevel")
_NAME = re.compile(r"[-a-z0-9._/]+")
_LANGUAGE = re.compile(r"[a-z]{3}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_CREATED = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]+)?(?:Z|[+-][0-9]{2}:[0-9]{2})"
)


class Wrong(NamedTuple):
    """Something wrong with a property."""

    place: str
    """The property, with the way to it, as in `project.title`."""
    value: object
    message: str


def of_descriptor(told: Mapping[str, Any]) -> Iterator[Wrong]:
    """Check all that the standard asks of a descriptor [1]_, but not the tables it names."""
    if told.get("profile") != PROFILE:
        yield Wrong("profile", told.get("profile"), f"Write the version's own: {PROFILE}.")
    if "name" in told and not _matches(_NAME, told["name"]):
        yield Wrong("name", told["name"], "Use small letters, digits and . _ - / only.")
    yield from _of_texts(told)
    yield from _of_created(told.get("created"))
    yield from _of_contributors(told.get("contributors"))
    yield from _of_project(told.get("project"))
    yield from (Wrong(*one) for one in geometry.faults_of(told.get("spatial")))
    yield from _of_temporal(told.get("temporal"))
    yield from _of_taxonomic(told.get("taxonomic"))
    if "licenses" in told:
        yield from _of_licences(told["licenses"])
    yield from _of_related(told.get("relatedIdentifiers", []))


def taxa_of(told: Mapping[str, Any]) -> Collection[str] | None:
    """Give the scientific names that a descriptor lists; None where there is no list."""
    listed = told.get("taxonomic")
    if not isinstance(listed, list):
        return None
    names = (one.get("scientificName") for one in listed if isinstance(one, dict))
    return {name for name in names if isinstance(name, str)}


def of_resource(resource: Mapping[str, Any]) -> Iterator[Wrong]:
    """Check how a table is described: the three of the standard by its own schema's address."""
    name = str(resource["name"])
    table = next((one for one in TABLES if one.name == name), None)
    place = f"resources.{name}"
    if not _NAME.fullmatch(name):
        yield Wrong(place, name, "Use small letters, digits and . _ - / only.")
    if str(resource.get("encoding", "utf-8")).casefold() not in {"utf-8", "utf8"}:
        yield Wrong(f"{place}.encoding", resource["encoding"], "Tables are in UTF-8. Write that.")
    if table is None:
        return
    if resource.get("profile") != "tabular-data-resource":
        yield Wrong(
            f"{place}.profile", resource.get("profile"), "Write profile: tabular-data-resource."
        )
    if resource.get("schema") != table.schema:
        schema = resource.get("schema")
        yield Wrong(
            f"{place}.schema", schema if isinstance(schema, str) else type(schema).__name__,
            f"Write the address of the version's schema: {table.schema}.",
        )  # fmt: skip


def _matches(pattern: re.Pattern[str], told: object) -> bool:
    return isinstance(told, str) and pattern.fullmatch(told) is not None


def _is_text(told: object) -> bool:
    return isinstance(told, str) and bool(told.strip())


def _is_list_of(told: object, words: Collection[str], least: int = 0) -> bool:
    return isinstance(told, list) and len(told) >= least and all(
        isinstance(one, str) and one in words for one in told
    )  # fmt: skip


def _of_texts(told: Mapping[str, Any]) -> Iterator[Wrong]:
    for name in TEXTS:
        if name in told and not isinstance(told[name], str):
            yield Wrong(name, told[name], "This has to be a text. Write one, or leave it out.")
    for name in ("keywords", "references"):
        if name in told and not (
            isinstance(told[name], list) and all(map(_is_text, told[name]))
            and (told[name] or name == "references")
        ):  # fmt: skip
            yield Wrong(name, told[name], "This has to be a list of texts. Write one.")
    number = told.get("coordinatePrecision", 0)
    if isinstance(number, bool) or not isinstance(number, int | float) or number < 0:
        yield Wrong("coordinatePrecision", number, "This has to be a number, in degrees.")


def _of_created(told: object) -> Iterator[Wrong]:
    if _matches(_CREATED, told):
        try:
            datetime.fromisoformat(str(told))
        except ValueError:
            pass
        else:
            return
    yield Wrong("created", told, "Write when it was made, as 2026-05-30T04:57:37Z.")


def _of_contributors(told: object) -> Iterator[Wrong]:
    if not isinstance(told, list) or not told:
        yield Wrong("contributors", told, "Name at least one, each with a title.")
        return
    for at, one in enumerate(told):
        person = one if isinstance(one, dict) else {}
        if not _is_text(person.get("title")):
            yield Wrong(f"contributors.{at}.title", person.get("title"), "Write the name.")
        if "role" in person and person["role"] not in CONTRIBUTOR_ROLES:
            yield Wrong(
                f"contributors.{at}.role", person["role"],
                f"Write one of {', '.join(CONTRIBUTOR_ROLES)}, or leave it out.",
            )  # fmt: skip


def _of_project(told: object) -> Iterator[Wrong]:
    if not isinstance(told, dict):
        yield Wrong("project", told, "Tell the project: title, samplingDesign and the rest.")
        return
    checks = (
        ("title", _is_text(told.get("title")), "Write the project's title."),
        ("samplingDesign", told.get("samplingDesign") in SAMPLING_DESIGNS,
         f"Write one of {', '.join(SAMPLING_DESIGNS)}."),
        ("captureMethod",
         _is_list_of(told.get("captureMethod"), CAPTURE_METHODS, 1)
         and len(set(told["captureMethod"])) == len(told["captureMethod"]),
         f"List one or more of {', '.join(CAPTURE_METHODS)}, each once."),
        ("individualAnimals", isinstance(told.get("individualAnimals"), bool),
         "Say true or false: whether animals were told apart."),
        ("observationLevel", _is_list_of(told.get("observationLevel"), LEVELS),
         f"List which of {', '.join(LEVELS)} the observations are of."),
    )  # fmt: skip
    for name, right, message in checks:
        if not right:
            yield Wrong(f"project.{name}", told.get(name), message)


def _of_temporal(told: object) -> Iterator[Wrong]:
    if not isinstance(told, dict):
        yield Wrong("temporal", told, "Write start and end, as 2026-05-30.")
        return
    days = {name: _day(told.get(name)) for name in ("start", "end")}
    for name, day in days.items():
        if day is None:
            yield Wrong(f"temporal.{name}", told.get(name), "Write a day alone, as 2026-05-30.")
    start, end = days.values()
    if start and end and end < start:
        yield Wrong("temporal.end", told["end"], "It ended before its start. Mend one of the two.")


def _day(told: object) -> date | None:
    if not _matches(_DAY, told):
        return None
    try:
        return date.fromisoformat(str(told))
    except ValueError:
        return None


def _of_taxonomic(told: object) -> Iterator[Wrong]:
    if not isinstance(told, list):
        yield Wrong("taxonomic", told, "List each scientific name that the observations use.")
        return
    for at, one in enumerate(told):
        yield from _of_taxon(one, f"taxonomic.{at}")


def _of_taxon(told: object, place: str) -> Iterator[Wrong]:
    if not isinstance(told, dict) or not _is_text(told.get("scientificName")):
        yield Wrong(f"{place}.scientificName", told, "Write the scientific name.")
        return
    for name in TAXON_TEXTS:
        if name in told and not isinstance(told[name], str):
            yield Wrong(f"{place}.{name}", told[name], "This has to be a text. Write one.")
    if "taxonRank" in told and told["taxonRank"] not in RANKS:
        yield Wrong(f"{place}.taxonRank", told["taxonRank"], f"Write one of {', '.join(RANKS)}.")
    names = told.get("vernacularNames", {})
    if not isinstance(names, dict):
        yield Wrong(f"{place}.vernacularNames", names, "Write names by language, as {eng: ...}.")
        return
    for language, name in names.items():
        if not _LANGUAGE.fullmatch(language) or not isinstance(name, str):
            yield Wrong(
                f"{place}.vernacularNames", language,
                "Write a language as three small letters, as eng, with a text.",
            )  # fmt: skip


def _of_licences(told: object) -> Iterator[Wrong]:
    licences: Sequence[object] = told if isinstance(told, list) else ()
    for at, one in enumerate(licences):
        if not isinstance(one, dict) or not (
            _is_text(one.get("name")) or _is_text(one.get("path"))
        ):
            yield Wrong(f"licenses.{at}", one, "Give its name, as CC0-1.0, or its address as path.")
        elif one.get("scope") not in SCOPES:
            yield Wrong(f"licenses.{at}.scope", one.get("scope"), "Say data or media.")
    scopes = {str(one.get("scope")) for one in licences if isinstance(one, dict)}
    lacking = [scope for scope in SCOPES if scope not in scopes]
    if lacking:
        yield Wrong(
            "licenses", "", f"None is of scope {' or '.join(lacking)}. Give one, or none at all."
        )


def _of_related(told: object) -> Iterator[Wrong]:
    if not isinstance(told, list):
        yield Wrong(
            "relatedIdentifiers", told, "This has to be a list. Write one, or leave it out."
        )
        return
    for at, one in enumerate(told):
        for name in RELATED:
            if not isinstance(one, dict) or not _is_text(one.get(name)):
                yield Wrong(f"relatedIdentifiers.{at}.{name}", "", "It is missing. Write it.")
