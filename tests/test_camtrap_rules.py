"""What our check asks of our own packages, and what of those of others that are to be loaded."""

import json
import os
import re
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from packages import OWLMOUSE, Cells, Package, event, large

from core.camtrap import geometry
from core.camtrap.faultlist import MOST_OF_A_KIND, Fault
from core.camtrap.rules import check

Change = Callable[[Package], object]


def faults(package: Package, folder: Path, *, strict: bool = True) -> list[Fault]:
    return check(package.write(folder), strict=strict)


def places(found: list[Fault]) -> set[tuple[str, int | None, str]]:
    return {(one.table, one.line, one.column) for one in found}


def observed(folder: Path, *rows: Cells) -> list[Fault]:
    """Check a package with further observations, from line 9 on."""
    package = Package()
    package.tables["observations"] += rows
    return faults(package, folder)


def test_a_sound_package_has_no_fault(tmp_path: Path) -> None:
    """Neither strictly nor loosely is anything wrong with it."""
    assert faults(Package(), tmp_path) == []
    assert check(tmp_path, strict=False) == []


# --- packages of others ------------------------------------------------------------------------


def all_times(change: Callable[[str], str]) -> Change:
    def apply(package: Package) -> None:
        for table in ("deployments", "media", "observations"):
            for row in package.tables[table]:
                row |= {
                    name: change(text)
                    for name, text in row.items()
                    if text.startswith("2026-") and "T" in text
                }

    return apply


def all_columns(change: Callable[[list[str]], list[str]]) -> Change:
    def apply(package: Package) -> None:
        package.columns = {name: change(columns) for name, columns in package.columns.items()}

    return apply


def all_bytes(change: Callable[[str], bytes]) -> Change:
    return lambda package: package.texts.update(dict.fromkeys(package.tables, change))


def bare(package: Package) -> None:
    package.descriptor = {
        "resources": [
            {"name": name, "path": [f"{name}.csv"]}
            for name in ("observations", "media", "deployments")
        ]
    }


def sparse(columns: list[str]) -> list[str]:
    """Leave out columns that no package has to have."""
    kept = {"ID", "Start", "End", "timestamp", "file", "tude", "Level", "Type", "Name"}
    return [name for name in columns if any(part in name for part in kept)]


LOOSE: dict[str, Change] = {
    "a byte order mark": all_bytes(lambda text: text.encode("utf-8-sig")),
    "line ends of one character": all_bytes(lambda text: text.replace("\r\n", "\n").encode()),
    "an offset in four digits": all_times(lambda text: text.replace("+02:00", "+0200")),
    "months of one digit": all_times(lambda text: text.replace("-05-", "-5-")),
    "columns in another order": all_columns(lambda names: names[::-1]),
    "blanks around the names of columns": all_columns(lambda names: [*names, "note", "note"]),
    "optional columns left out": all_columns(sparse),
    "rows that end with their last word": all_bytes(
        lambda text: re.sub(",+\r\n", "\r\n", text).encode()
    ),
    "a descriptor of paths alone": bare,
    "no certain count": lambda package: package.row("observations", "O1").update(count="0"),
    "people named by their species": lambda package: package.row("observations", "O3").update(
        scientificName="Homo sapiens"
    ),
    "a further table full of faults": lambda package: package.tables["tray_weights"].append(
        {"deploymentID": "nope"}
    ),
}


@pytest.mark.parametrize("change", LOOSE.values(), ids=LOOSE)
def test_what_others_write_differently_can_be_loaded(change: Change, tmp_path: Path) -> None:
    """What leaves no doubt is no fault of a package that is only to be read."""
    package = Package()
    change(package)
    assert faults(package, tmp_path, strict=False) == []


def cell(table: str, key: str, column: str, text: str) -> Change:
    return lambda package: package.row(table, key).update({column: text})


DEP, MED, OBS, DES = "deployments.csv", "media.csv", "observations.csv", "datapackage.json"
HOPELESS: dict[str, tuple[Change, str, str]] = {
    "a blank that has to be filled": (cell("media", "P1/1", "filePublic", ""), MED, "filePublic"),
    "a key twice": (cell("media", "P1/2", "mediaID", "P1/1"), MED, "mediaID"),
    "a placement nobody has": (cell("media", "P1/3", "deploymentID", "P9"), MED, "deploymentID"),
    "a file nobody has": (cell("observations", "O6", "mediaID", "P9/1"), OBS, "mediaID"),
    "a naive time": (cell("media", "P1/3", "timestamp", "2026-05-29T22:40:00"), MED, "timestamp"),
    "an end before its start": (
        cell("observations", "O5", "eventEnd", "2026-05-28T22:00:00Z"), OBS, "eventEnd"),
    "a level nobody knows": (
        cell("observations", "O5", "observationLevel", "both"), OBS, "observationLevel"),
    "semicolons": (all_bytes(lambda text: text.replace(",", ";").encode()), DEP, ""),
    "another encoding": (all_bytes(lambda text: ("é" + text).encode("latin-1")), DEP, ""),
    "a quote that never ends": (all_bytes(lambda text: (text + '"').encode()), MED, ""),
    "an empty file": (all_bytes(lambda _: b""), OBS, ""),
    "a row that is too long": (
        all_bytes(lambda text: text.replace("\r\n", ",,x\r\n").replace(",,x", "", 1).encode()),
        DEP, ""),
    "a table that is not listed": (lambda package: package.without("media"), DES, "resources"),
}  # fmt: skip


@pytest.mark.parametrize(("change", "table", "column"), HOPELESS.values(), ids=HOPELESS)
def test_what_cannot_be_loaded_is_a_fault_of_others_too(
    change: Change, table: str, column: str, tmp_path: Path
) -> None:
    """What cannot be read, or contradicts itself, is found also without the standard's letter."""
    package = Package()
    change(package)
    found = faults(package, tmp_path, strict=False)
    assert (table, column) in {(one.table, one.column) for one in found}


@pytest.mark.parametrize(
    "path", ["../media.csv", "/etc/hosts", "~/media.csv", r"C:\media.csv", "a/../../media.csv",
             "https://example.org/media.csv", "", "none.csv", ".", ["media.csv", "more.csv"], 7,
             "media\0.csv"],
)  # fmt: skip
@pytest.mark.parametrize("strict", [True, False])
def test_a_table_lies_in_the_folder_of_its_package(
    path: object, strict: bool, tmp_path: Path
) -> None:
    """A path that leads out, is an address, or has no file is told once, and nothing is opened."""
    package = Package()
    package.resource("media")["path"] = path
    (tmp_path / "media.csv").write_text("not this one", encoding="utf-8")
    found = faults(package, tmp_path / "package", strict=strict)
    assert places(found) == {(DES, None, "resources.media.path")}


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_does_not_lead_out_of_the_folder(tmp_path: Path) -> None:
    """A table that is a link to elsewhere is not opened."""
    folder = Package().write(tmp_path / "package")
    (folder / "media.csv").rename(tmp_path / "elsewhere.csv")
    (folder / "media.csv").symlink_to(tmp_path / "elsewhere.csv")
    assert "leads out" in check(folder, strict=False)[0].message


@pytest.mark.parametrize(
    "data", [None, b"", b"{", b"[]", b"\xff\xfe", b"7", b"[" * 100_000, b'{"resources": {}}']
)
def test_a_descriptor_that_is_none_is_one_fault_in_words(
    data: bytes | None, tmp_path: Path
) -> None:
    """A missing or unreadable descriptor is told, and what to do."""
    if data is not None:
        (tmp_path / "datapackage.json").write_bytes(data)
    found = check(tmp_path, strict=False)
    assert {one.table for one in found} == {DES}
    assert all(one.message.endswith(".") for one in found)


# --- rows that contradict each other -----------------------------------------------------------


def test_events_of_one_placement_stand_apart(tmp_path: Path) -> None:
    """One second in common is too much, for a reader takes both bounds as the event's."""
    row = event(9, "P1", "29T22:10:01+02:00", "29T22:40:00+02:00", observationType="unclassified")
    found = observed(tmp_path, row)
    # It begins in E1's last second, and E2 begins in its own last second.
    assert places(found) == {(OBS, 9, "eventID"), (OBS, 4, "eventID")}
    assert all("overlaps" in one.message for one in found)


def test_a_long_event_overlaps_all_that_lie_in_it(tmp_path: Path) -> None:
    """An event is held against the longest before it, not only against its neighbour."""
    row = event(9, "P1", "29T22:00:00+02:00", "30T02:00:00+02:00", observationType="unclassified")
    assert places(observed(tmp_path, row)) == {(OBS, line, "eventID") for line in (2, 4, 5)}


def test_rows_of_one_event_have_one_start_and_end(tmp_path: Path) -> None:
    """A second species of an event does not stretch it."""
    row = event(1, "P1", "29T22:10:00+02:00", "29T22:12:00+02:00", observationType="unclassified")
    found = observed(tmp_path, row | {"observationID": "O9"})
    assert [(one.line, one.column, one.value) for one in found] == [(9, "eventID", "E1")]
    assert "other bounds" in found[0].message


def test_an_event_holds_a_file_of_its_placement(tmp_path: Path) -> None:
    """Bounds between two files, or with another placement's file only, are a fault."""
    between = event(8, "P1", "30T00:00:00+02:00", "30T00:59:59+02:00", observationType="blank")
    others = event(9, "P2", "30T01:00:00+02:00", "30T01:00:00+02:00", observationType="blank")
    found = observed(tmp_path, between, others)
    assert places(found) == {(OBS, 9, "eventStart"), (OBS, 10, "eventStart")}


def test_bounds_of_a_media_row_are_its_files_time(tmp_path: Path) -> None:
    """A media row that is a second off is told at the bound that is off."""
    package = Package()
    package.row("observations", "O6")["eventEnd"] = "2026-05-29T22:10:02+02:00"
    assert places(faults(package, tmp_path)) == {(OBS, 8, "eventEnd")}


@pytest.mark.parametrize("kind", ["human", "vehicle", "unknown", "unclassified", "blank"])
def test_only_animals_have_a_scientific_name(kind: str, tmp_path: Path) -> None:
    """People, cars and what nobody knows carry no name, even one that is listed."""
    row = event(5, "P2", "29T22:10:00+02:00", "29T22:10:00+02:00", observationType=kind)
    found = observed(tmp_path, row | {"observationID": "O9", "scientificName": OWLMOUSE})
    assert places(found) == {(OBS, 9, "scientificName")}


def test_a_machine_may_say_how_sure_it_is(tmp_path: Path) -> None:
    """A probability is right on a row that a machine classified."""
    row = event(5, "P2", "29T22:10:00+02:00", "29T22:10:00+02:00", observationType="unknown")
    machine = {"classificationMethod": "machine", "classificationProbability": "0.75"}
    assert observed(tmp_path, row | {"observationID": "O9"} | machine) == []


def test_swapped_coordinates_are_told_as_that(tmp_path: Path) -> None:
    """A place outside the area is told; one that would lie in it swapped is told so."""
    package = Package()
    package.row("deployments", "P1").update(latitude="4.774", longitude="51.496")
    package.row("deployments", "P2").update(latitude="52.0")
    found = faults(package, tmp_path)
    assert places(found) == {(DEP, 2, "latitude"), (DEP, 3, "latitude")}
    assert "swapped" in found[0].message
    assert "outside" in found[1].message


def test_near_a_point_is_near_enough(tmp_path: Path) -> None:
    """Where only a point is told, a place within a degree is right, one far off is not."""
    package = Package()
    package.descriptor["spatial"] = {"type": "Point", "coordinates": [5.2, 51.3]}
    package.row("deployments", "P2")["longitude"] = "6.3"
    assert places(faults(package, tmp_path)) == {(DEP, 3, "latitude")}


def test_a_camera_is_above_or_below(tmp_path: Path) -> None:
    """Height and depth exclude each other."""
    package = Package()
    package.row("deployments", "P1")["cameraDepth"] = "0.2"
    assert places(faults(package, tmp_path)) == {(DEP, 2, "cameraDepth")}


@pytest.mark.parametrize(
    "path", ["media\\1.JPG", "media/../1.JPG", "~quill/1.JPG", "file:///1.JPG", ".hidden/1.JPG"]
)
def test_a_files_path_leads_nowhere_else(path: str, tmp_path: Path) -> None:
    """A path of one computer, one that leads up or a hidden one is a fault; an address is none."""
    package = Package()
    package.row("media", "P1/1")["filePath"] = path
    package.row("media", "P1/2")["filePath"] = "https://example.org/media/2.JPG"
    assert places(faults(package, tmp_path)) == {(MED, 2, "filePath")}


def test_bounds_belong_to_a_placement(tmp_path: Path) -> None:
    """A file of the very second in which a placement begins or ends is inside."""
    package = Package()
    package.row("deployments", "P2").update(
        deploymentStart="2026-05-29T22:10:00+02:00", deploymentEnd="2026-05-30T00:00:00Z"
    )
    assert faults(package, tmp_path) == []


def test_files_need_not_stand_in_order(tmp_path: Path) -> None:
    """An event finds its file also where the media are listed backwards."""
    package = Package()
    package.tables["media"].reverse()
    assert faults(package, tmp_path) == []


def test_a_temporal_that_ends_first_is_told(tmp_path: Path) -> None:
    """Days have to exist and to stand in order."""
    package = Package()
    package.descriptor["temporal"] = {"start": "2026-05-31", "end": "2026-05-29"}
    assert places(faults(package, tmp_path)) == {(DES, None, "temporal.end")}
    package.descriptor["temporal"] = {"start": "2026-02-30", "end": "2026-05-29"}
    assert places(faults(package, tmp_path)) == {(DES, None, "temporal.start")}


# --- further tables ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("column", "text"),
    [("tray", ""), ("tray", "T2"), ("deploymentID", "P9"), ("left_g", "INF"), ("left_g", "-1"),
     ("left_g", "1001"), ("grains", "4.0"), ("picked_up", "2026-05-30T09:00:00"),
     ("state", "lost"), ("deploymentID", "NA")],
)  # fmt: skip
def test_a_further_table_is_held_to_its_schema(column: str, text: str, tmp_path: Path) -> None:
    """Types, limits, words, keys and the key to the placements count as its own schema says."""
    package = Package()
    package.tables["tray_weights"][0][column] = text
    found = faults(package, tmp_path)
    assert [(one.table, one.column) for one in found] == [("tray_weights.csv", column)]


def test_a_key_of_several_columns_is_one_key(tmp_path: Path) -> None:
    """Each column may come again, both together not."""
    package = Package()
    schema = package.resource("tray_weights")["schema"]
    schema["primaryKey"] = ["tray", "state"]
    del schema["fields"][0]["constraints"]
    package.tables["tray_weights"][1]["tray"] = "T1"
    assert faults(package, tmp_path) == []
    package.tables["tray_weights"][1]["state"] = "keep"
    assert places(faults(package, tmp_path)) == {("tray_weights.csv", 3, "tray, state")}
    package.tables["tray_weights"][1]["state"] = ""
    assert places(faults(package, tmp_path)) == {("tray_weights.csv", 3, "state")}


def test_a_pattern_is_of_the_whole_cell(tmp_path: Path) -> None:
    """A pattern counts from the first character to the last, as Table Schema has it."""
    package = Package()
    field = package.resource("tray_weights")["schema"]["fields"][0]
    field["constraints"]["pattern"] = "T[0-9]"
    assert faults(package, tmp_path) == []
    package.tables["tray_weights"][1]["tray"] = "T22"
    assert places(faults(package, tmp_path)) == {("tray_weights.csv", 3, "tray")}


def test_a_further_table_without_its_file_is_told(tmp_path: Path) -> None:
    """What is listed has to be there."""
    folder = Package().write(tmp_path)
    (folder / "tray_weights.csv").unlink()
    assert places(check(folder)) == {(DES, None, "resources.tray_weights.path")}


def test_further_resources_of_other_kinds_are_let_be(tmp_path: Path) -> None:
    """Data in the descriptor, or a file with no schema, are not looked into."""
    package = Package()
    listed: list[dict[str, Any]] = package.descriptor["resources"]
    listed += [{"name": "animals", "data": [{"id": 1}]}, {"name": "notes", "path": "media.csv"}]
    assert faults(package, tmp_path) == []


def test_names_of_tables_are_not_given_twice(tmp_path: Path) -> None:
    """Of two tables with one name nobody knows which is meant."""
    package = Package()
    package.descriptor["resources"].append(package.resource("media"))
    assert places(faults(package, tmp_path)) == {(DES, None, "resources")}


# --- how it is told ----------------------------------------------------------------------------


def test_of_many_alike_some_are_shown_and_all_are_counted(tmp_path: Path) -> None:
    """Nothing is dropped in silence: the rest of a kind is a number."""
    package = Package()
    row = package.row("media", "P2/2")
    package.tables["media"] += [
        row | {"mediaID": f"X{number}", "filePublic": "perhaps"} for number in range(40)
    ]
    found = faults(package, tmp_path)
    assert len(found) == MOST_OF_A_KIND + 1
    assert f"and {40 - MOST_OF_A_KIND} more" in found[-1].message
    assert str(found[0]) == (
        "media.csv line 9, filePublic 'perhaps': This is neither true nor false. Write one of the "
        "two."
    )


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(
        ["type", "name", "path", "title", "role", "start", "coordinates", "fields", "schema",
         "scientificName", "vernacularNames", "scope", "geometry", "features"]), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=100)
@given(st.sampled_from(sorted(Package().descriptor)), JSON_VALUES, st.booleans())
def test_no_descriptor_breaks_the_check(
    tmp_path: Path, name: str, value: object, strict: bool
) -> None:
    """Whatever stands in a property, faults are told and nothing else is raised."""
    package = Package()
    package.descriptor[name] = value
    (Package().write(tmp_path) / DES).write_text(json.dumps(package.descriptor), encoding="utf-8")
    assert all(str(one) for one in check(tmp_path, strict=strict))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=100)
@given(st.sampled_from(["media", "observations", "tray_weights"]), JSON_VALUES, st.booleans())
def test_no_resource_breaks_the_check(
    tmp_path: Path, name: str, value: object, strict: bool
) -> None:
    """A schema or path of any kind is told, never raised."""
    package = Package()
    package.resource(name).update({"schema": value} if strict else {"path": value})
    assert all(str(one) for one in faults(package, tmp_path))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=100)
@given(st.sampled_from(["deployments", "media", "observations"]), st.binary(max_size=60),
       st.integers(0, 900), st.booleans())  # fmt: skip
def test_no_bytes_break_the_check(
    tmp_path: Path, table: str, data: bytes, at: int, strict: bool
) -> None:
    """Bytes that got into a table are told as faults, or are harmless."""
    path = Package().write(tmp_path) / f"{table}.csv"
    whole = path.read_bytes()
    path.write_bytes(whole[:at] + data + whole[at:])
    assert all(str(one) for one in check(tmp_path, strict=strict))


POINT, OPEN = [5.0, 51.0], [[5.0, 51.0], [6.0, 51.0], [6.0, 52.0], [5.0, 52.0]]
RING = [*OPEN, OPEN[0]]


@pytest.mark.parametrize(
    ("kind", "name", "value", "right"),
    [("Point", "coordinates", POINT, True),
     ("Point", "coordinates", RING, False),
     ("Point", "coordinates", [51.0, 151.0], False),
     ("MultiPoint", "coordinates", OPEN, True),
     ("LineString", "coordinates", OPEN, True),
     ("MultiLineString", "coordinates", [OPEN], True),
     ("Polygon", "coordinates", [RING], True),
     ("Polygon", "coordinates", [OPEN], False),
     ("Polygon", "coordinates", RING, False),
     ("MultiPolygon", "coordinates", [[RING], [RING]], True),
     ("MultiPolygon", "coordinates", [[RING], [OPEN]], False),
     ("Feature", "geometry", {"type": "Point", "coordinates": POINT}, True),
     ("Feature", "geometry", None, False),
     ("GeometryCollection", "geometries", [{"type": "Polygon", "coordinates": [OPEN]}], False),
     ("FeatureCollection", "features", [{"type": "Feature", "geometry": {"type": "Point",
                                         "coordinates": POINT}}], True),
     ("FeatureCollection", "features", 7, False),
     ("Circle", "coordinates", POINT, False),
     (["Point"], "coordinates", POINT, False)],
)  # fmt: skip
def test_a_shape_is_one_of_geojson(kind: object, name: str, value: object, right: bool) -> None:
    """Shapes are nested as RFC 7946 has them, on the earth, and rings are closed."""
    assert (list(geometry.faults_of({"type": kind, name: value})) == []) is right


def test_a_box_holds_all_positions() -> None:
    """The box of a collection is that of all its shapes; there is none without positions."""
    shapes = [{"type": "Point", "coordinates": POINT}, {"type": "LineString", "coordinates": OPEN}]
    assert geometry.box_of({"type": "GeometryCollection", "geometries": shapes}) == (5, 51, 6, 52)
    assert geometry.box_of({"type": "Polygon", "coordinates": []}) is None


def test_a_season_is_checked_in_little_time_and_memory(tmp_path: Path) -> None:
    """20,000 files and 26,000 observations take a few seconds of one core, and keys only.

    The limits are a judgement: about eight times what was measured where this was written.
    """
    folder = large(tmp_path, 20_000, 26_000)
    begun = time.process_time()
    assert check(folder) == []
    assert time.process_time() - begun < 4
    tracemalloc.start()
    check(folder)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 40_000_000
