"""What a package of others becomes in a study, and that ours come back as they went."""

import shutil
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from builders import write_photo
from giving import giving_study, rows_of
from packages import GLASS_HARE, NEEDS_SHARED, OWLMOUSE, Package, event, standards

from core.camtrap.incoming import Loaded
from core.camtrap.trays import TRAY_LOG, TRAY_OUTCOMES
from core.errors import LogError, StudyError
from core.exchange import Wanted
from core.logs import LogKind
from core.model import Tag, TimeSource, Where
from core.workspace import Workspace

TABLES = ("deployments", "media", "observations", TRAY_LOG, TRAY_OUTCOMES)


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    with Workspace.create(tmp_path / "study", "Europe/Brussels") as made:
        yield made


@pytest.fixture
def package() -> Package:
    return Package()


def load(study: Workspace, package: Package, folder: Path, where: Where = Where.ON_TRAY) -> Loaded:
    """Write a package and bring it in."""
    return study.exchange.load(package.write(folder), where)


def tags(study: Workspace, placement: str = "P1") -> list[Tag]:
    """Give the tags of a placement."""
    return list(study.view(placement).tags)


def said(study: Workspace, placement: str = "P1") -> list[tuple[str, str, str, str | None]]:
    """Give of each tag its species' name, the files of its run, and where."""
    view = study.view(placement)
    files = {photo.id: photo.file for photo in view.photos}
    names = {key: one.name for key, one in study.species().items()}
    return [
        (names.get(tag.species, tag.species), files[tag.first_photo], files[tag.last_photo],
         tag.where)
        for tag in view.tags
    ]  # fmt: skip


# --- the standard's own example ------------------------------------------------------------------


@NEEDS_SHARED
def test_the_standards_example_reads_in_with_its_visits(study: Workspace) -> None:
    """Camtrap DP 1.0.2, example: 420 triggered photos in 31 events, three time-lapse in none.

    The numbers at other gaps were counted from the example's media table.
    """
    study.exchange.load(standards() / "camtrap-dp-1.0.2" / "example")
    assert sum(len(study.view(one.placement).visits) for one in study.placements()) == 31
    lines = [row for row in study.photo_rows() if row["kind"] == "timelapse"]
    assert len(lines) == 3
    counted = {5: 36, 30: 32, 33: 31, 400: 31, 600: 29, 1800: 28}
    for gap, visits in counted.items():
        views = (study.view(one.placement, timedelta(seconds=gap)) for one in study.placements())
        assert sum(len(view.visits) for view in views) == visits


@NEEDS_SHARED
def test_a_time_lapse_photo_within_the_gap_joins_two_visits(study: Workspace) -> None:
    """Triggers alone give 28 visits at an hour, as counted from the example's media table.

    There a time-lapse photo lies 3522 s after one trigger and 1996 s before the next, and by our
    rule of visits only one that stands alone is no part of a visit: so it is one visit less.
    """
    study.exchange.load(standards() / "camtrap-dp-1.0.2" / "example")
    counts = {
        gap: len(study.view("577b543a", timedelta(seconds=gap)).visits)
        for gap in (1800, 3521, 3522, 3600)
    }
    assert counts == {1800: 5, 3521: 5, 3522: 4, 3600: 4}


@NEEDS_SHARED
def test_the_standards_example_keeps_its_instants_and_its_names(study: Workspace) -> None:
    """One deployment stood at +01:00 through the change to summer time; its photos keep that."""
    example = standards() / "camtrap-dp-1.0.2" / "example"
    study.exchange.load(example)
    written = {
        (row["deploymentID"], row["filePath"]): datetime.fromisoformat(row["timestamp"])
        for row in rows_of(example, "media")
    }
    held = {
        (photo.placement, photo.file): photo.true_time
        for one in study.placements()
        for photo in study.view(one.placement).photos
    }
    assert held == written
    names = {one.scientific_name for one in study.species().values()} - {""}
    told = rows_of(example, "observations")
    assert names == {row["scientificName"] for row in told if row["observationLevel"] == "event"
                     or row["scientificName"] in names} - {""}  # fmt: skip


# --- what our own packages say comes back --------------------------------------------------------


@pytest.mark.parametrize("sensitive", [False, True])
def test_export_read_back_export_gives_the_same_tables(tmp_path: Path, sensitive: bool) -> None:
    """All five tables byte for byte, places that were rounded and pseudonyms too."""
    wanted = Wanted(tags=True, pictures=True)
    with giving_study(tmp_path, sensitive=sensitive) as first:
        first.exchange.export(tmp_path / "one", wanted)
    Workspace.create(tmp_path / "back", "Africa/Windhoek").close()
    shutil.copy(tmp_path / "study" / "study.toml", tmp_path / "back" / "study.toml")
    with Workspace.open(tmp_path / "back") as second:
        told = second.exchange.load(tmp_path / "one")
        second.exchange.export(tmp_path / "two", wanted)
    assert told.conflicts == []
    for name in TABLES:
        one, two = ((tmp_path / side / f"{name}.csv").read_text("utf-8") for side in ("one", "two"))
        assert one == two, name
    pictures = {path.name for path in (tmp_path / "one" / "media").rglob("*.JPG")}
    assert {path.name for path in (tmp_path / "two" / "media").rglob("*.JPG")} == pictures


def test_the_demo_comes_back_with_its_outcomes(demo: Workspace, tmp_path: Path) -> None:
    """Statuses, foragers and densities are those that were given away."""
    demo.exchange.export(tmp_path / "one", Wanted(tags=True))
    Workspace.create(tmp_path / "back", str(demo.zone)).close()
    shutil.copy(demo.folder / "study.toml", tmp_path / "back" / "study.toml")
    with Workspace.open(tmp_path / "back") as second:
        second.exchange.load(tmp_path / "one")
        assert list(second.outcome_rows()) == list(demo.outcome_rows())


def test_twice_is_the_same_as_once(study: Workspace, package: Package, tmp_path: Path) -> None:
    """Also after somebody took back one of its tags: what people did is not undone."""
    first = load(study, package, tmp_path / "package")
    assert first.new["tags"] > 0
    again = load(study, package, tmp_path / "package")
    assert set(again.new.values()) == {0}
    assert again.same["tags"] == first.new["tags"]
    study.turn([tags(study)[0].number], taken_back=True, by="Ike")
    assert load(study, package, tmp_path / "package").new["tags"] == 0


# --- rows ----------------------------------------------------------------------------------------


def test_placements_keep_what_the_standard_says(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """What the camera log has no column for stays under the standard's name."""
    row = package.row("deployments", "P1")
    row |= {"cameraID": "cam 7", "cameraDelay": "10", "deploymentTags": "tray:T1 | near water",
            "habitat": "reed"}  # fmt: skip
    load(study, package, tmp_path / "package")
    one = study.placements()[0]
    assert (one.placement, one.camera, one.trays, one.quiet_s) == ("P1", "cam 7", ("T1",), 10)
    assert (one.latitude, one.longitude, one.uncertainty_m) == (51.496, 4.774, 187)
    assert one.clock == "+02:00"
    assert one.extra["habitat"] == "reed"
    assert one.extra["deploymentTags"] == "near water"
    assert one.extra["cameraTilt"] == "-15"


def test_events_become_runs_of_photos(study: Workspace, package: Package, tmp_path: Path) -> None:
    """Single photos tell which part of an event a species was in; a second one is said beside."""
    told = load(study, package, tmp_path / "package")
    assert said(study) == [
        ("owlmouse", "media/P1/2.JPG", "media/P1/2.JPG", "fed"),
        (GLASS_HARE, "media/P1/1.JPG", "media/P1/2.JPG", "on_tray"),
        ("blank", "media/P1/3.JPG", "media/P1/3.JPG", None),
        ("handler", "media/P1/4.JPG", "media/P1/4.JPG", None),
    ]
    assert [tag.also for tag in tags(study)] == [False, True, False, False]
    assert [tag.count for tag in tags(study)][:2] == [2, 1]
    assert told.new["species"] == 2
    assert any("does not say whether they fed" in note for note in told.notes)


def test_where_is_taken_from_who_loads_it(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """What feeds is told by the standard's own word; all else is held as it is asked for."""
    load(study, package, tmp_path / "package", Where.NEAR)
    assert [where for name, _, _, where in said(study) if name == "owlmouse"] == ["fed"]
    assert [where for name, _, _, where in said(study) if name == GLASS_HARE] == ["near"]


def test_a_machine_never_confirms(study: Workspace, package: Package, tmp_path: Path) -> None:
    """Its word is a tag that is not sure, so the visit waits for people."""
    package.row("observations", "O5").update(
        classificationMethod="machine", classifiedBy="net 3", classificationProbability="0.98"
    )
    told = load(study, package, tmp_path / "package")
    (tag,) = tags(study, "P2")
    assert (tag.tagger, tag.sure) == ("machine: net 3", False)
    assert not study.view("P2").visits[0].answer.held
    assert any("machine" in note for note in told.notes)


def test_ages_and_sexes_of_one_species_count_together(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """The standard gives each a row; the tray's visit was one of three animals."""
    hare = {"observationType": "animal", "scientificName": GLASS_HARE,
            "classificationMethod": "human", "classifiedBy": "Ada"}  # fmt: skip
    when = "29T22:10:00+02:00"
    package.tables["observations"] = [
        event(5, "P2", when, when, sex="female", count="1", **hare),
        event(5, "P2", when, when, sex="male", count="2", **hare) | {"observationID": "O5b"},
    ]
    load(study, package, tmp_path / "package")
    (tag,) = tags(study, "P2")
    assert tag.count == 3


def test_people_and_vehicles_are_species_of_people(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Made where the list has none, so that a person on a tray is seen as one."""
    package.row("observations", "O4").update(observationType="human", classifiedBy="Ada")
    package.row("observations", "O5").update(observationType="vehicle", scientificName="")
    package.row("observations", "O5").pop("sex")
    load(study, package, tmp_path / "package")
    people = {one.name for one in study.species().values() if one.role == "person"}
    assert people == {"person", "vehicle"}
    assert [tag.where for tag in tags(study, "P2")] == [Where.NEAR]


def test_the_studys_species_are_used(study: Workspace, package: Package, tmp_path: Path) -> None:
    """By scientific name, else by what they are called; keys of the list stay as they are."""
    species = (
        f"key,name,scientific_name,role\nx,Night mouse,{OWLMOUSE},other\nh,{GLASS_HARE},,forager\n"
    )
    study.load(LogKind.SPECIES, species.encode(), "species")
    told = load(study, package, tmp_path / "package")
    assert told.new["species"] == 0
    assert {tag.species for tag in tags(study)} >= {"x", "h"}


def test_files_that_are_there_are_shown(study: Workspace, package: Package, tmp_path: Path) -> None:
    """A picture of the package is found; the package's time holds, not the file's."""
    write_photo(tmp_path / "package" / "media" / "P1" / "1.JPG", datetime(2001, 1, 1))  # noqa: DTZ001
    load(study, package, tmp_path / "package")
    photos = {photo.file: photo for photo in study.view("P1").photos}
    (name,) = (file for file in photos if file.endswith("1.JPG"))
    assert study.previews.original(photos[name].id).path.is_file()
    assert str(photos[name].camera_time) == "2026-05-29 22:10:00"
    assert photos[name].time_source is TimeSource.PACKAGE


def test_two_files_of_one_path_are_two_photos(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """A study holds a path once, so the second gets a number."""
    package.row("media", "P1/2")["filePath"] = "media/P1/1.JPG"
    load(study, package, tmp_path / "package")
    assert len(study.view("P1").photos) == 5


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("BOM", lambda text: b"\xef\xbb\xbf" + text.encode()),
        ("line feeds", lambda text: text.replace("\r\n", "\n").encode()),
        ("+0200", lambda text: text.replace("+02:00", "+0200").encode()),
        ("unpadded", lambda text: text.replace("T01:00:00", "T1:00:00").encode()),
    ],
)
def test_what_others_write_loosely_is_read(
    study: Workspace, package: Package, tmp_path: Path, name: str, text: Callable[[str], bytes]
) -> None:
    """Validators let these through, so packages have them."""
    for table in ("deployments", "media", "observations"):
        package.texts[table] = text
    load(study, package, tmp_path / "package")
    assert len(study.view("P1").visits) == 3, name


def test_photos_that_were_scanned_get_the_tags(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """A card of the same photos is there: no second row for one, by its name and time."""
    for row in package.tables["media"]:
        if row["deploymentID"] == "P1":
            shown = datetime.fromisoformat(row["timestamp"]).replace(tzinfo=None)
            write_photo(tmp_path / "card" / row["fileName"], shown, shade=int(row["fileName"][0]))
    study.scan(tmp_path / "card", "P1")
    told = load(study, package, tmp_path / "package")
    assert told.new["photos"] == 2
    assert told.same["photos"] == 5
    assert len(study.view("P1").photos) == 5
    assert len(tags(study)) == 4


def test_other_photos_of_a_placement_are_refused(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Which of two cards is right no program can tell; nothing is kept of the package."""
    write_photo(tmp_path / "card" / "9.JPG", datetime(2026, 5, 29, 23))  # noqa: DTZ001
    study.scan(tmp_path / "card", "P1")
    before = study.version()
    with pytest.raises(StudyError, match="already, and none"):
        load(study, package, tmp_path / "package")
    assert study.version() == before
    assert study.species() == {}


def test_what_the_study_has_otherwise_is_told_and_stays(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Nothing is overwritten by somebody else's package."""
    log = "placement,camera,trays,start,end\nP1,mine,T1,2026-05-29 18:00,2026-05-31 09:00\n"
    study.load(LogKind.CAMERAS, log.encode(), "cameras")
    told = load(study, package, tmp_path / "package")
    assert study.placements()[0].camera == "mine"
    (conflict,) = told.conflicts
    assert "'P1' differs in camera, trays" in conflict


# --- bad packages ------------------------------------------------------------------------------


def broken(change: Callable[[Package], None]) -> Package:
    """Give a package with one fault."""
    made = Package()
    change(made)
    return made


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p.row("media", "P1/1").update(deploymentID="P9"), "media.csv line 2"),
        (lambda p: p.row("media", "P1/1").update(timestamp="2026-05-29 22:10"), "timestamp"),
        (lambda p: p.row("media", "P1/2").update(mediaID="P1/1"), "Another row has this"),
        (lambda p: p.row("deployments", "P1").update(latitude=""), "latitude"),
        (lambda p: p.without("media"), "media"),
        (lambda p: p.resource("media").update(path="../media.csv"), "path"),
    ],
)  # fmt: skip
def test_a_package_that_cannot_be_read_is_refused_whole(
    study: Workspace, tmp_path: Path, change: Callable[[Package], None], words: str
) -> None:
    """Every fault with its place; nothing is kept."""
    before = study.version()
    with pytest.raises(LogError, match=words):
        load(study, broken(change), tmp_path / "package")
    assert study.version() == before
    assert study.placements() == []


def test_a_folder_that_is_no_package_is_refused(study: Workspace, tmp_path: Path) -> None:
    """In words, whether there is nothing, no JSON, or something else."""
    with pytest.raises(LogError, match=r"datapackage\.json"):
        study.exchange.load(tmp_path)
    (tmp_path / "datapackage.json").write_text("{not json", encoding="utf-8")
    with pytest.raises(LogError, match="no JSON"):
        study.exchange.load(tmp_path)
    (tmp_path / "datapackage.json").write_text("[1]", encoding="utf-8")
    with pytest.raises(LogError, match="no JSON object"):
        study.exchange.load(tmp_path)


def test_a_column_that_the_standard_would_not_take_is_asked_for(tmp_path: Path) -> None:
    """Before anything is written, with the placement, the column and the value."""
    with giving_study(tmp_path) as study:
        log = (
            "placement,camera,trays,start,end,latitude,longitude,cameraTilt\n"
            "P2,cam2,T2,2026-05-04 17:45,2026-05-05 06:15,-26.1,19.6,steep\n"
        )
        study.load(LogKind.CAMERAS, log.encode(), "cameras")
        with pytest.raises(StudyError, match=r"'P2' in the camera log: .*whole number"):
            study.exchange.export(tmp_path / "package", Wanted())


def test_a_package_without_observations_gives_untagged_visits(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Photos alone are worth having: the students tag them."""
    package.tables["observations"] = []
    load(study, package, tmp_path / "package")
    assert [one.answer.state for one in study.view("P1").visits] == ["untagged"] * 4
