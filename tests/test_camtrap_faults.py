"""Each known way to break a package, one by one: found by our own check, or truly no fault."""

import csv
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from packages import GLASS_HARE, NEEDS_SHARED, OWLMOUSE, Package, standards, validated

from core.camtrap.fields import ADDRESS, VERSION
from core.camtrap.rules import check

Change = Callable[[Package], object]
DEP, MED, OBS, DES = "deployments.csv", "media.csv", "observations.csv", "datapackage.json"


@dataclass(frozen=True)
class Case:
    """One change of a sound package."""

    name: str
    mark: str
    """Part of what the published list of variants calls it, at the same place of the list."""
    change: Change
    found: tuple[str, ...] = ()
    """File and column of all faults; none: the change is no fault."""


def cell(table: str, key: str, column: str, text: str) -> Change:
    return lambda package: package.row(table, key).update({column: text})


def media(column: str, text: str) -> Change:
    return cell("media", "P1/1", column, text)


def place(column: str, text: str) -> Change:
    return cell("deployments", "P1", column, text)


def seen(key: str, **cells: str) -> Change:
    return lambda package: package.row("observations", key).update(cells)


def swapped_places(package: Package) -> None:
    for row in package.tables["deployments"]:
        row["latitude"], row["longitude"] = row["longitude"], row["latitude"]


def columns(change: Callable[[list[str]], object]) -> Change:
    return lambda package: change(package.columns["media"])


def tray_column(package: Package) -> None:
    package.columns["media"].append("trayID")
    for row in package.tables["media"]:
        row["trayID"] = "T1"


def renamed_place(name: str) -> Change:
    def change(package: Package) -> None:
        for rows in package.tables.values():
            for row in rows:
                if row.get("deploymentID") == "P1":
                    row["deploymentID"] = name

    return change


def as_bytes(change: Callable[[str], bytes]) -> Change:
    return lambda package: package.texts.update({"media": change})


def western(package: Package) -> None:
    media("mediaComments", "café")(package)
    as_bytes(lambda text: text.encode("cp1252"))(package)


def top(**values: Any) -> Change:
    return lambda package: package.descriptor.update(values)


def without(*way: str) -> Change:
    def change(package: Package) -> None:
        told: Any = package.descriptor
        for name in way[:-1]:
            told = told[int(name)] if name.isdigit() else told[name]
        del told[way[-1]]

    return change


def of_media(change: Callable[[dict[str, Any]], object]) -> Change:
    return lambda package: change(package.resource("media"))


def as_second_version(resource: dict[str, Any]) -> None:
    del resource["profile"]
    resource["type"] = "table"


def role(package: Package) -> None:
    package.descriptor["contributors"][0]["role"] = "author"


def open_ring(package: Package) -> None:
    del package.descriptor["spatial"]["coordinates"][0][-1]


def no_names(package: Package) -> None:
    package.descriptor["taxonomic"] = []
    for row in package.tables["observations"]:
        if row["observationType"] == "animal":
            row |= {"observationType": "unknown", "scientificName": ""}


def short_language(package: Package) -> None:
    package.descriptor["taxonomic"][0]["vernacularNames"] = {"en": "owlmouse"}


def project(**values: Any) -> Change:
    return lambda package: package.descriptor["project"].update(values)


def no_further_table(package: Package) -> None:
    package.without("tray_weights")


def nothing(_package: Package) -> None:
    pass


TIME = (f"{MED} timestamp",)
FILE = (f"{MED} filePath",)
UNCERTAIN = (f"{DEP} coordinateUncertainty",)
HEADER = (f"{MED} ",)
BLANK_KEY = tuple(
    f"{file} deploymentID" for file in (DEP, MED, OBS, "tray_weights.csv")
)  # fmt: skip
TWO_DATA = [{"name": "CC0-1.0", "scope": "data"}, {"name": "CC-BY-4.0", "scope": "data"}]

CASES = (
    Case("nothing changed", "unchanged", nothing),
    Case("a time without its offset", "no offset", media("timestamp", "2026-05-29T22:10:00"), TIME),
    Case("a time with thousandths", "fraction",
         media("timestamp", "2026-05-29T22:10:00.123+02:00"), TIME),
    Case("a blank between day and hour", "space",
         media("timestamp", "2026-05-29 22:10:00+02:00"), TIME),
    Case("an offset in four digits", "+0200", media("timestamp", "2026-05-29T22:10:00+0200"), TIME),
    Case("a time as cameras write it", "Exif", media("timestamp", "2026:05:29 22:10:00"), TIME),
    Case("hours and minutes", "no seconds", media("timestamp", "2026-05-29T22:10+02:00"), TIME),
    Case("midnight as hour 24", "24:00", media("timestamp", "2026-05-29T24:00:00+02:00"), TIME),
    Case("a month of one digit", "padded", media("timestamp", "2026-5-29T22:10:00+02:00"), TIME),
    Case("true with a capital", "True", media("filePublic", "True")),
    Case("yes for true", "yes", media("filePublic", "yes"), (f"{MED} filePublic",)),
    Case("a count with a point", "1.0", seen("O1", count="1.0"), (f"{OBS} count",)),
    Case("a count of none", "count 0", seen("O1", count="0"), (f"{OBS} count",)),
    Case("half metres of uncertainty", "187.5", place("coordinateUncertainty", "187.5"), UNCERTAIN),
    Case("whole metres with a point", "187.0", place("coordinateUncertainty", "187.0"), UNCERTAIN),
    Case("no uncertainty at all", "Uncertainty 0", place("coordinateUncertainty", "0"), UNCERTAIN),
    Case("a decimal comma", "quoted", place("latitude", "51,496"), (f"{DEP} latitude",)),
    Case("north for east", "swapped", swapped_places, (f"{DEP} latitude",)),
    Case("a place kept back", "hidden", place("latitude", ""), (f"{DEP} latitude",)),
    Case("half a degree of heading", "359.5", place("cameraHeading", "359.5"),
         (f"{DEP} cameraHeading",)),
    Case("two columns changed over", "reordered",
         columns(lambda names: names.insert(0, names.pop(1))), HEADER),
    Case("a column in the middle left out", "favorite left out",
         columns(lambda names: names.remove("favorite")), HEADER),
    Case("the last column left out", "last optional",
         columns(lambda names: names.remove("mediaComments")), HEADER),
    Case("a column that is asked for left out", "required column",
         columns(lambda names: names.remove("filePublic")), HEADER),
    Case("a column of our own", "trayID", tray_column, HEADER),
    Case("a path from the root", "/abs", media("filePath", "/cards/1.JPG"), FILE),
    Case("a path that leads up", "../x", media("filePath", "../1.JPG"), FILE),
    Case("a path from here", " ./x", media("filePath", "./1.JPG"), FILE),
    Case("a path on a drive", r"C:\x", media("filePath", r"C:\cards\1.JPG"), FILE),
    Case("two dots in a name", "a..b", media("filePath", "media/a..b.jpg"), FILE),
    Case("an ending for a type", "Mediatype jpg", media("fileMediatype", "jpg"),
         (f"{MED} fileMediatype",)),
    Case("a word of an older standard", "old word", media("captureMethod", "motionDetection"),
         (f"{MED} captureMethod",)),
    Case("a word with a capital", "Animal", seen("O1", observationType="Animal"),
         (f"{OBS} observationType",)),
    Case("a sex nobody could tell", "sex unknown", seen("O1", sex="unknown"), (f"{OBS} sex",)),
    Case("a media row of no file", "without mediaID", seen("O6", mediaID=""), (f"{OBS} mediaID",)),
    Case("an event row of one file", "event obs", seen("O1", mediaID="P1/1"), (f"{OBS} mediaID",)),
    Case("a file nobody has", "mediaID not in", seen("O6", mediaID="nope"), (f"{OBS} mediaID",)),
    Case("a placement nobody has", "deploymentID not in", seen("O1", deploymentID="nope"),
         (f"{OBS} deploymentID",)),
    Case("one file twice", "duplicate", cell("media", "P1/4", "mediaID", "P1/1"),
         (f"{MED} mediaID",)),
    Case("an event that ends first", "eventEnd before",
         seen("O5", eventEnd="2026-05-29T22:00:00+02:00"), (f"{OBS} eventEnd",)),
    Case("a placement that ends first", "deploymentEnd before",
         place("deploymentEnd", "2026-05-28T09:00:00+02:00"),
         (f"{DEP} deploymentEnd", f"{MED} timestamp")),
    Case("a file from before the camera stood", "outside",
         cell("deployments", "P2", "deploymentStart", "2026-05-29T23:00:00+02:00"), TIME),
    Case("a file of another placement", "other deployment", seen("O6", mediaID="P2/1",
         eventStart="2026-05-29T22:10:00+02:00", eventEnd="2026-05-29T22:10:00+02:00"),
         (f"{OBS} mediaID",)),
    Case("an animal nobody named", "animal without", seen("O5", scientificName=""),
         (f"{OBS} scientificName",)),
    Case("nothing, yet named and counted", "blank with",
         seen("O2", scientificName=OWLMOUSE, count="1"), (f"{OBS} scientificName", f"{OBS} count")),
    Case("a name that is not listed", "not in taxonomic", seen("O5", scientificName="Mus absens"),
         (f"{OBS} scientificName",)),
    Case("a person's certainty", "Probability", seen("O5", classificationProbability="0.9"),
         (f"{OBS} classificationProbability",)),
    Case("a placement called NA", "literally NA", renamed_place("NA"), BLANK_KEY),
    Case("a placement called nan", "literally nan", renamed_place("nan"), BLANK_KEY),
    Case("a placement with blanks and umlauts", "unicode", renamed_place("Größe 7 · Süd")),
    Case("a byte order mark", "BOM", as_bytes(lambda text: text.encode("utf-8-sig")), HEADER),
    Case("an encoding of old", "cp1252", western, HEADER),
    Case("semicolons between cells", "semicolon",
         as_bytes(lambda text: text.replace(",", ";").encode()), HEADER),
    Case("line ends of one character", "LF",
         as_bytes(lambda text: text.replace("\r\n", "\n").encode())),
    Case("a profile of an older version", "1.0.1",
         top(profile=f"{ADDRESS}camtrap-dp-profile.json".replace(VERSION, "1.0.1")),
         (f"{DES} profile",)),
    Case("a schema written out", "inline (object)",
         of_media(lambda told: told.update(schema={"fields": [{"name": "mediaID"}]})),
         (f"{DES} resources.media.schema",)),
    Case("a schema as a file beside", "schema relative",
         of_media(lambda told: told.update(schema="schemas/1.0.2/media-table-schema.json")),
         (f"{DES} resources.media.schema",)),
    Case("a table without a profile", "no resource.profile",
         of_media(lambda told: told.pop("profile")), (f"{DES} resources.media.profile",)),
    Case("a table of the newer kind", "type:table", of_media(as_second_version),
         (f"{DES} resources.media.profile",)),
    Case("nobody knows when", "no created", without("created"), (f"{DES} created",)),
    Case("made at no offset", "created without", top(created="2026-06-03T08:00:00"),
         (f"{DES} created",)),
    Case("made on a day", "date only", top(created="2026-06-03"), (f"{DES} created",)),
    Case("nobody named", "no contributors", without("contributors"), (f"{DES} contributors",)),
    Case("an empty list of people", "contributors []", top(contributors=[]),
         (f"{DES} contributors",)),
    Case("somebody without a name", "without title", without("contributors", "0", "title"),
         (f"{DES} contributors.0.title",)),
    Case("a part that is not foreseen", "role author", role, (f"{DES} contributors.0.role",)),
    Case("a licence for tables only", "only one", top(licenses=TWO_DATA[:1]), (f"{DES} licenses",)),
    Case("two licences for tables", "two data", top(licenses=TWO_DATA), (f"{DES} licenses",)),
    Case("no licence", "licenses left out", without("licenses")),
    Case("a stretch with hours", "with datetime",
         top(temporal={"start": "2026-05-29T00:00:00Z", "end": "2026-05-31"}),
         (f"{DES} temporal.start",)),
    Case("no stretch", "temporal missing", without("temporal"), (f"{DES} temporal",)),
    Case("no area", "spatial missing", without("spatial"), (f"{DES} spatial",)),
    Case("a point for an area", "Point",
         top(spatial={"type": "Point", "coordinates": [5.2, 51.3]})),
    Case("a ring left open", "not closed", open_ring, (f"{DES} spatial.coordinates",)),
    Case("an empty area", "spatial {}", top(spatial={}), (f"{DES} spatial.type",)),
    Case("no names, where none is used", "taxonomic []", no_names),
    Case("a language of two letters", "2 letters", short_language,
         (f"{DES} taxonomic.0.vernacularNames",)),
    Case("no design", "samplingDesign", without("project", "samplingDesign"),
         (f"{DES} project.samplingDesign",)),
    Case("no way of capture", "captureMethod []", project(captureMethod=[]),
         (f"{DES} project.captureMethod",)),
    Case("a name with capitals", "Upper Case", top(name="Night Trays"), (f"{DES} name",)),
    Case("no name", "no package name", without("name")),
    Case("no picture of the package", "image", nothing),
    Case("a table of our own with its schema", "extra resource", nothing),
    Case("a property of our own", "extra package", top(trays={"of": "clay"})),
    Case("no table of files", "media resource missing", lambda package: package.without("media"),
         (f"{DES} resources",)),
)  # fmt: skip


def write(case: Case, folder: Path) -> Path:
    package = Package()
    case.change(package)
    return package.write(folder)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_each_change_is_found_where_it_was_made_and_nowhere_else(
    case: Case, tmp_path: Path
) -> None:
    """A broken package has faults in the cell or property that was broken; a sound one none."""
    faults = check(write(case, tmp_path))
    assert {f"{fault.table} {fault.column}" for fault in faults} == set(case.found)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_each_fault_tells_its_place_and_a_way_out(case: Case, tmp_path: Path) -> None:
    """Every fault reads as a sentence of what is wrong and one of what to do."""
    for fault in check(write(case, tmp_path)):
        assert str(fault).startswith(fault.table)
        assert fault.message.endswith(".")
        assert (
            fault.table == DES or fault.line or "file" in fault.message or "more" in fault.message
        )


def test_without_names_in_the_list_every_name_used_is_a_fault(tmp_path: Path) -> None:
    """An empty list of names is a fault as soon as an observation names an animal."""
    package = Package()
    package.descriptor["taxonomic"] = []
    faults = check(package.write(tmp_path))
    assert {fault.value for fault in faults} == {OWLMOUSE, GLASS_HARE}


@NEEDS_SHARED
def test_every_variant_of_the_published_list_has_its_case() -> None:
    """The list's 85 variants and the cases above are the same, in the same order."""
    with (standards() / "package-faults.csv").open(encoding="utf-8", newline="") as file:
        listed = [row["mutation"] for row in csv.DictReader(file)]
    assert len(listed) == len(CASES) == 85
    assert [name for name, case in zip(listed, CASES, strict=True) if case.mark not in name] == []
    assert len({case.name for case in CASES}) == len(CASES)


@NEEDS_SHARED
def test_the_validator_says_of_each_variant_what_the_list_says(tmp_path: Path) -> None:
    """Frictionless agrees with what was measured on the example, and refuses nothing of ours."""
    with (standards() / "package-faults.csv").open(encoding="utf-8", newline="") as file:
        listed = [row["frictionless_5.21"] == "valid" for row in csv.DictReader(file)]
    valid = [
        validated(write(case, tmp_path / str(number))) == [] for number, case in enumerate(CASES)
    ]
    names = [case.name for case in CASES]
    assert dict(zip(names, valid, strict=True)) == dict(zip(names, listed, strict=True))
    refused = {name for name, held in zip(names, valid, strict=True) if not held}
    assert refused <= {case.name for case in CASES if case.found}


ODD_CELLS = (
    "", "NA", "nan", "0", "1", "-1", "1.0", "0.5", "1e-3", "1e3", "+2", ".5", "5.", "007", "1_0",
    "INF", "1,5", "91", "181", "true", "FALSE", "yes", "2026-05-29T22:10:00Z", "2026-05-29", "é",
    "2026-05-29T22:10:00-00:00", "2026-05-29T22:10:60Z", "media", "animal", "image/", "a/b", " 1 ",
    "http://x..y/z", "{}", "[1]", '"', "\n", "٣", "human", "timeLapse", "P1", "P1/1", "E1", "T1",
)  # fmt: skip


@NEEDS_SHARED
def test_whatever_odd_cell_we_let_pass_the_validator_lets_pass(tmp_path: Path) -> None:
    """Of single cells changed at random, none that is sound to us is a fault to frictionless."""
    chance, passed = random.Random(7), 0
    for number in range(120):
        package = Package()
        table = chance.choice(list(package.tables))
        row, column = chance.choice(package.tables[table]), chance.choice(package.columns[table])
        row[column] = chance.choice(ODD_CELLS)
        folder = package.write(tmp_path / str(number))
        if check(folder) == []:
            passed += 1
            assert validated(folder) == [], (table, column, row[column])
    # Free texts and blank optional cells are right whatever they say.
    assert passed > 20


@NEEDS_SHARED
def test_the_standards_own_example_can_be_loaded() -> None:
    """The published example has nothing that hinders loading it, and the validator agrees."""
    folder = standards() / "camtrap-dp-1.0.2" / "example"
    assert check(folder, strict=False) == []
    assert validated(folder) == []


@NEEDS_SHARED
def test_the_example_breaks_one_rule_of_our_own() -> None:
    """Strictly the example differs in one thing only: it names people by their species.

    33 observations of the type human carry `Homo sapiens`, which the standard allows; ours never
    do.
    """
    faults = check(standards() / "camtrap-dp-1.0.2" / "example")
    assert {(one.table, one.column) for one in faults} == {(OBS, "scientificName")}
    assert {one.value for one in faults[:-1]} == {"Homo sapiens"}
    assert len(faults) == 11
    assert "23 more" in faults[-1].message
