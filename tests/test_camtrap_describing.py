"""What a descriptor must say: each property that is wrong is told, with the way to it."""

from pathlib import Path
from typing import Any

import pytest
from packages import NEEDS_SHARED, Package, validated

from core.camtrap.rules import check

DESCRIPTOR = "datapackage.json"
CC0 = {"name": "CC0-1.0", "scope": "data"}
PROJECT = Package().descriptor["project"]
RELATED = {"relationType": "IsCitedBy", "relatedIdentifier": "10.5072/x"}

WRONG: tuple[tuple[str, Any, str], ...] = (
    ("title", 7, "title"),
    ("description", ["two"], "description"),
    ("keywords", [], "keywords"),
    ("keywords", [1], "keywords"),
    ("references", "one", "references"),
    ("coordinatePrecision", "0.001", "coordinatePrecision"),
    ("created", None, "created"),
    ("contributors", [7], "contributors.0.title"),
    ("contributors", [{"title": 7}], "contributors.0.title"),
    ("licenses", [CC0, {"scope": "media"}], "licenses.1"),
    ("licenses", [CC0, {"name": "CC-BY-4.0", "scope": "media"}, CC0 | {"scope": "all"}],
     "licenses.2.scope"),
    ("licenses", [], "licenses"),
    ("project", None, "project"),
    ("project", PROJECT | {"title": None}, "project.title"),
    ("project", PROJECT | {"samplingDesign": "haphazard"}, "project.samplingDesign"),
    ("project", PROJECT | {"captureMethod": ["timeLapse", "timeLapse"]}, "project.captureMethod"),
    ("project", PROJECT | {"individualAnimals": "no"}, "project.individualAnimals"),
    ("project", PROJECT | {"observationLevel": ["sequence"]}, "project.observationLevel"),
    ("temporal", ["2026-05-29", "2026-05-31"], "temporal"),
    ("taxonomic", {"scientificName": "Strigomys fictus"}, "taxonomic"),
    ("relatedIdentifiers", RELATED, "relatedIdentifiers"),
    ("relatedIdentifiers", [RELATED], "relatedIdentifiers.0.relatedIdentifierType"),
)  # fmt: skip
IDS = [f"{place}-{number}" for number, (_, _, place) in enumerate(WRONG)]


def changed(name: str, value: object, folder: Path) -> Path:
    package = Package()
    package.descriptor[name] = value
    return package.write(folder)


@pytest.mark.parametrize(("name", "value", "place"), WRONG, ids=IDS)
def test_each_wrong_property_is_told_with_the_way_to_it(
    name: str, value: object, place: str, tmp_path: Path
) -> None:
    """A property of the wrong kind is one fault, at that property."""
    found = [one for one in check(changed(name, value, tmp_path)) if one.table == DESCRIPTOR]
    assert [(one.line, one.column) for one in found] == [(None, place)]
    assert found[0].message.endswith(".")


@pytest.mark.parametrize(("name", "value", "place"), WRONG, ids=IDS)
def test_of_others_only_the_tables_are_looked_at(
    name: str, value: object, place: str, tmp_path: Path
) -> None:
    """None of these hinders anybody from reading the tables."""
    assert check(changed(name, value, tmp_path), strict=False) == [], place


@pytest.mark.parametrize(
    ("key", "value"),
    [("taxonRank", "tribe"), ("family", 7), ("vernacularNames", ["owlmouse"]),
     ("vernacularNames", {"eng": 7}), ("scientificName", "")],
)  # fmt: skip
def test_each_taxon_is_looked_at(key: str, value: object, tmp_path: Path) -> None:
    """Ranks, names and languages of a listed taxon are the standard's."""
    package = Package()
    package.descriptor["taxonomic"].append({"scientificName": "Avis nulla"} | {key: value})
    found = check(package.write(tmp_path))
    assert [one.column for one in found] == [f"taxonomic.2.{key}"]


@pytest.mark.parametrize(
    ("key", "value"),
    [("encoding", "iso-8859-1"), ("profile", "data-resource"),
     ("schema", "https://example.org/1.0.2/media-table-schema.json"), ("schema", None)],
)  # fmt: skip
def test_a_standard_table_is_described_as_the_standard_has_it(
    key: str, value: object, tmp_path: Path
) -> None:
    """Another encoding, profile or schema than the version's own is told."""
    package = Package()
    package.resource("media")[key] = value
    assert [one.column for one in check(package.write(tmp_path))] == [f"resources.media.{key}"]


def test_a_further_table_has_a_plain_name(tmp_path: Path) -> None:
    """A name with capitals or blanks is no name of a resource."""
    package = Package()
    package.resource("tray_weights")["name"] = "Tray weights"
    assert [one.column for one in check(package.write(tmp_path))] == ["resources.Tray weights"]


@NEEDS_SHARED
def test_the_validator_refuses_each_of_them_too(tmp_path: Path) -> None:
    """Frictionless finds none of these descriptors valid: none of the rules is ours alone."""
    passed = [
        label
        for label, (name, value, _) in zip(IDS, WRONG, strict=True)
        if validated(changed(name, value, tmp_path / label)) == []
    ]
    assert passed == []
