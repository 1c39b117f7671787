"""What odd and hostile packages may not do to a study, and what is told of them."""

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from builders import write_photo
from packages import GLASS_HARE, OWLMOUSE, Package, event

from core.errors import CardError, LogError
from core.logs import LONGEST_QUIET_S, MOST_ANIMALS, LogKind
from core.model import SpeciesRole, Where
from core.sheets import key_cell
from core.taglog import NewTag
from core.tags import in_force
from core.workspace import Workspace

SPECIES = "key,name,scientific_name,role\n"


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    with Workspace.create(tmp_path / "study", "Europe/Brussels") as made:
        yield made


@pytest.fixture
def package() -> Package:
    return Package()


def own(package: Package, *species: dict[str, object]) -> Package:
    """Make a package one that this program has written."""
    package.descriptor["lastbite"] = {"version": "1", "settings": {}, "species": list(species)}
    return package


# --- files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("ours", [False, True])
@pytest.mark.parametrize(
    "path",
    [
        "../secret.JPG",
        "media/../../secret.JPG",
        "{top}/secret.JPG",
        "media/P1/%2E%2E/%2E%2E/%2E%2E/secret.JPG",
        "media/P1/..%2F..%2F..%2Fsecret.JPG",
        "media/P1/{quoted}%2Fsecret.JPG",
        r"..\secret.JPG",
        "media/P1/a%00.JPG",
    ],
)
def test_no_path_shows_a_file_outside_the_package(
    study: Workspace, package: Package, tmp_path: Path, path: str, ours: bool
) -> None:
    """A picture beside the package stays unseen, however its path is written."""
    write_photo(tmp_path / "secret.JPG", datetime(2026, 5, 29, 22, 10))  # noqa: DTZ001
    told = path.format(top=tmp_path, quoted=str(tmp_path).replace("/", "%2F"))
    package.row("media", "P1/1")["filePath"] = told
    study.exchange.load((own(package) if ours else package).write(tmp_path / "package"))
    photos = study.view("P1").photos
    assert len(photos) == 5
    for photo in photos:
        with pytest.raises(CardError, match="not at hand"):
            study.previews.original(photo.id)


def test_an_address_stays_as_it_is(study: Workspace, package: Package, tmp_path: Path) -> None:
    """The standard allows one; the photo has no file here, but its time and its tags."""
    address = "https://example.org/cards/P1/1.JPG"
    package.row("media", "P1/1")["filePath"] = address
    study.exchange.load(package.write(tmp_path / "package"))
    (photo,) = (one for one in study.view("P1").photos if one.file == address)
    assert photo.true_time is not None


def test_numbers_for_files_of_one_path_meet_no_other_file(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """A file may be called as the second of one path would be; loaded twice they are the same."""
    for key, path in (("P1/1", "a.JPG"), ("P1/2", "a.JPG"), ("P1/3", "a.JPG#2")):
        package.row("media", key)["filePath"] = path
    study.exchange.load(package.write(tmp_path / "package"))
    files = {photo.file for photo in study.view("P1").photos}
    assert {"a.JPG", "a.JPG#2", "a.JPG#3"} <= files
    assert study.exchange.load(tmp_path / "package").new["photos"] == 0


# --- species -------------------------------------------------------------------------------------


def test_one_name_for_two_animals_makes_two_species(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """What people call alike are still two; the second goes by its scientific name."""
    package.descriptor["taxonomic"][1]["vernacularNames"] = {"eng": "owlmouse"}
    study.exchange.load(package.write(tmp_path / "package"))
    names = {one.scientific_name: one.name for one in study.species().values()}
    assert names == {OWLMOUSE: "owlmouse", GLASS_HARE: GLASS_HARE}


def test_a_name_of_the_list_is_taken_for_no_other_animal(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """A listed species with a scientific name of its own is not what the package means."""
    study.load(LogKind.SPECIES, f"{SPECIES}x,Owlmouse,Mus alius,forager\n".encode(), "species")
    study.exchange.load(package.write(tmp_path / "package"))
    found = {one.scientific_name: (one.key, one.name) for one in study.species().values()}
    assert found["Mus alius"] == ("x", "Owlmouse")
    assert found[OWLMOUSE] == ("s", OWLMOUSE)


@pytest.mark.parametrize("called", ["blank", "two\nlines", "  "])
def test_new_species_could_stand_in_a_species_list(
    study: Workspace, package: Package, tmp_path: Path, called: str
) -> None:
    """Their keys and names are such as the list takes when it is loaded again."""
    package.descriptor["taxonomic"][0]["vernacularNames"] = {"eng": called}
    own(package, {"key": ".", "name": called, "role": "forager", "scientificName": OWLMOUSE})
    package.descriptor["project"]["observationLevel"] = ["event"]
    study.exchange.load(package.write(tmp_path / "package"))
    rows = [
        f"{one.key},{one.name},{one.scientific_name},{one.role}\n"
        for one in study.species().values()
    ]
    assert all(key_cell(key) == key for key in study.species())
    study.load(LogKind.SPECIES, (SPECIES + "".join(rows)).encode(), "species")
    assert len(study.species()) == 2


@pytest.mark.parametrize(
    "change",
    [
        {"taxonomic": {"a": 1}},
        {"taxonomic": ["x", {"scientificName": 3, "vernacularNames": ["a"]}]},
        {"taxonomic": [{"scientificName": OWLMOUSE, "vernacularNames": {"eng": ["a"]}}]},
        {"lastbite": {"species": [{"name": 3, "scientificName": [1], "role": [1]}], "settings": 1}},
        {"lastbite": [1]},
        {"project": []},
    ],
)
def test_an_odd_descriptor_hinders_nothing(
    study: Workspace, package: Package, tmp_path: Path, change: dict[str, object]
) -> None:
    """What only helps to name things may be of any shape; the tables hold."""
    package.descriptor.update(change)
    study.exchange.load(package.write(tmp_path / "package"))
    assert OWLMOUSE in {one.scientific_name for one in study.species().values()}


def test_people_are_people_where_the_list_has_their_name_otherwise(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Nothing in the list changes its role; cars count as people then. Twice is once."""
    rows = f"{SPECIES}v,vehicle,,other\np,Person,,other\n"
    study.load(LogKind.SPECIES, rows.encode(), "species")
    package.row("observations", "O4").update(observationType="vehicle")
    study.exchange.load(package.write(tmp_path / "package"))
    listed = study.species()
    assert (listed["v"].role, listed["p"].role) == (SpeciesRole.OTHER, SpeciesRole.OTHER)
    (people,) = (one for one in listed.values() if one.role is SpeciesRole.PERSON)
    assert people.key in {tag.species for tag in study.view("P1").tags}
    again = study.exchange.load(tmp_path / "package")
    assert (again.new["species"], again.new["tags"]) == (0, 0)


# --- numbers and times ---------------------------------------------------------------------------


def test_numbers_that_no_log_holds_are_left_out_and_told(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """A rest longer than a day, more animals than a tag takes, a rhythm that no day has."""
    package.row("deployments", "P1").update(
        cameraDelay=str(LONGEST_QUIET_S + 1),
        coordinateUncertainty="9" * 25,
        deploymentTags="timelapse_every_min:0",
    )
    package.row("deployments", "P2").update(
        cameraDelay=str(LONGEST_QUIET_S), deploymentTags=f"timelapse_every_min:{'9' * 30}"
    )
    package.row("observations", "O1")["count"] = str(MOST_ANIMALS + 1)
    package.row("observations", "O1b")["count"] = str(MOST_ANIMALS)
    told = study.exchange.load(package.write(tmp_path / "package"))
    first, second = study.placements()
    assert (first.quiet_s, first.uncertainty_m, first.timelapse_every_min) == (None, None, None)
    assert (second.quiet_s, second.timelapse_every_min) == (LONGEST_QUIET_S, None)
    assert {tag.count for tag in study.view("P1").tags} == {None, MOST_ANIMALS}
    notes = " ".join(told.notes)
    assert f"cameraDelay {LONGEST_QUIET_S + 1} of placement 'P1'" in notes
    assert "1 count of more than 999 animals" in notes


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p.row("deployments", "P1").update(deploymentEnd="9999-12-31T23:59:59Z"),
         "'P1' begins or ends in the year 9999"),
        (lambda p: p.row("deployments", "P1").update(deploymentStart="0001-01-01T00:00:00Z"),
         "'P1' begins or ends in the year 1"),
        (lambda p: p.row("media", "P2/2").update(timestamp="9999-12-31T23:59:59Z"),
         "'P2/2' is of the year 9999"),
        (lambda p: [row.update(timestamp="2026-05-30T02:00:00+23:00")
                    for row in p.tables["media"] if row["deploymentID"] == "P2"],
         "'P2' has photos in the offset"),
        (lambda p: [row.update(deploymentID=" P2") for table in p.tables.values() for row in table
                    if row.get("deploymentID") == "P2"],
         "' P2' has blanks at its ends"),
        (lambda p: [row.update(deploymentID="P\t2") for table in p.tables.values() for row in table
                    if row.get("deploymentID") == "P2"],
         "line break or a control character"),
    ],
)  # fmt: skip
def test_what_no_log_could_hold_is_refused_whole(
    study: Workspace,
    package: Package,
    tmp_path: Path,
    change: Callable[[Package], object],
    words: str,
) -> None:
    """An end in the year 9999 is found in packages for cameras that still stand."""
    change(package)
    before = study.version()
    with pytest.raises(LogError, match=words):
        study.exchange.load(package.write(tmp_path / "package"))
    assert study.version() == before
    assert study.placements() == []


def test_a_moment_that_no_offset_reaches_is_not_held(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Who classified at the end of all time did so when it was loaded; else nothing tells it."""
    package.row("observations", "O5")["classificationTimestamp"] = "9999-12-31T23:59:59Z"
    before = datetime.now(UTC)
    study.exchange.load(package.write(tmp_path / "package"))
    (tag,) = study.view("P2").tags
    assert tag.made_at is not None
    assert before <= tag.made_at <= datetime.now(UTC)


# --- what is told --------------------------------------------------------------------------------


def test_a_machine_makes_no_ruling(study: Workspace, package: Package, tmp_path: Path) -> None:
    """Whatever tags its row has, it settles nothing."""
    package.row("observations", "O5").update(
        classificationMethod="machine", observationTags="ruling:yes | sure:yes"
    )
    study.exchange.load(package.write(tmp_path / "package"))
    (tag,) = study.view("P2").tags
    assert (tag.ruling, tag.sure) == (False, False)
    assert not study.view("P2").visits[0].answer.held


def test_trays_that_a_placement_does_not_watch_are_told(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """The tag stays as it is; only a person knows which of the two is wrong."""
    package.row("deployments", "P1")["deploymentTags"] = "tray:T1"
    package.row("observations", "O1")["observationTags"] = "tray:T9"
    package.row("observations", "O1b")["observationTags"] = "tray:T1"
    told = study.exchange.load(package.write(tmp_path / "package"))
    (note,) = (note for note in told.notes if "do not watch" in note or "does not watch" in note)
    assert "T9 at P1" in note
    assert "T1 at P1" not in note


def test_a_placement_that_is_nearly_one_of_the_study_is_told(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Capitals alone tell two placements apart for the program, hardly for people."""
    log = "placement,camera,trays,start,end\np1,c,T1,2026-05-29 18:00,2026-05-31 09:00\n"
    study.load(LogKind.CAMERAS, log.encode(), "cameras")
    told = study.exchange.load(package.write(tmp_path / "package"))
    (conflict,) = told.conflicts
    assert "'P1' is new, beside 'p1'" in conflict


# --- loaded again --------------------------------------------------------------------------------


def held(study: Workspace, placement: str = "P1") -> list[tuple[str, Where | None]]:
    """Give species and place of the animals that are in force."""
    names = study.species()
    return [
        (names[tag.species].scientific_name, tag.where)
        for tag in in_force(study.view(placement).tags)
        if tag.species in names
    ]


def test_another_place_for_animals_changes_theirs_alone(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Of two species on the same photos one is known to have fed; it stays, there and back."""
    package.tables["observations"] = [
        event(1, "P1", "29T22:10:00+02:00", "29T22:10:01+02:00", scientificName=name,
              observationType="animal", classifiedBy="Ada", behavior=behavior)
        | {"observationID": name}
        for name, behavior in ((GLASS_HARE, ""), (OWLMOUSE, "foraging"))
    ]  # fmt: skip
    folder = package.write(tmp_path / "package")
    for where in (Where.ON_TRAY, Where.NEAR, Where.ON_TRAY):
        study.exchange.load(folder, where)
        assert held(study) == [(GLASS_HARE, where), (OWLMOUSE, Where.FED)]
        assert study.exchange.load(folder, where).new["tags"] == 0


def test_what_a_tagger_mended_since_holds(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Loading again, with another place too, undoes nothing of it; that is told."""
    folder = package.write(tmp_path / "package")
    study.exchange.load(folder)
    (before,) = study.view("P2").tags
    study.tag(
        NewTag("P2", before.first_photo, before.last_photo, before.tagger, before.species,
               count=7, where=Where.FED)
    )  # fmt: skip
    assert study.exchange.load(folder).conflicts == []
    told = study.exchange.load(folder, Where.NEAR)
    assert held(study, "P2") == [(GLASS_HARE, Where.FED)]
    (conflict,) = told.conflicts
    assert conflict.startswith("1 tag of the package")


def test_two_animals_on_one_photo_are_both_kept(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Rows of single photos without an event's row: the second is said beside the first."""
    first = package.row("observations", "O6") | {"eventID": "", "observationID": "a"}
    package.tables["observations"] = [
        first,
        first | {"scientificName": GLASS_HARE, "observationID": "b"},
    ]
    study.exchange.load(package.write(tmp_path / "package"))
    assert [name for name, _ in held(study)] == [OWLMOUSE, GLASS_HARE]


# --- what has no place in a study ----------------------------------------------------------------


def test_columns_without_a_place_are_counted(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Sex, age and individual of observations, comments of media: told, not lost in silence."""
    for row in package.tables["observations"]:
        row.pop("sex", None)
    first, second = package.tables["observations"][:2]
    first |= {"sex": "female", "lifeStage": "adult", "individualID": "F1"}
    second |= {"sex": "male"}
    package.row("media", "P1/1")["mediaComments"] = "fog"
    told = study.exchange.load(package.write(tmp_path / "package"))
    (note,) = (one for one in told.notes if "not taken over" in one)
    listed = note.partition(": ")[2].rstrip(".").split(", ")
    assert sorted(listed) == [
        "individualID (1 row)", "lifeStage (1 row)", "mediaComments (1 row)", "sex (2 rows)",
    ]  # fmt: skip


def test_photos_that_are_only_told_of_are_counted(
    study: Workspace, package: Package, tmp_path: Path
) -> None:
    """Six of seven have no file here; where all are there nothing is said."""
    write_photo(tmp_path / "package" / "media" / "P1" / "1.JPG", datetime(2001, 1, 1))  # noqa: DTZ001
    told = study.exchange.load(package.write(tmp_path / "package"))
    assert any(one.startswith("6 of 7 photos have no file") for one in told.notes)


@pytest.mark.parametrize(("grid", "told"), [(0.1, True), (0.01, True), (0.001, False)])
def test_places_of_a_coarser_package_are_not_claimed_to_be_finer(
    study: Workspace, package: Package, tmp_path: Path, grid: float, told: bool
) -> None:
    """The study's own grid is 0.001: it says what to set before its data go to others."""
    package.descriptor["coordinatePrecision"] = grid
    notes = study.exchange.load(package.write(tmp_path / "package")).notes
    assert any(f"set place_precision_deg = {grid} under" in one for one in notes) is told


def test_a_zip_or_a_table_is_no_package(study: Workspace, package: Package, tmp_path: Path) -> None:
    """Each is named with the way out."""
    folder = package.write(tmp_path / "package")
    whole = shutil.make_archive(str(tmp_path / "whole"), "zip", folder)
    with pytest.raises(LogError, match=r"whole.zip is a file, .* Unzip it first"):
        study.exchange.load(Path(whole))
    with pytest.raises(LogError, match=r"media.csv is a file, .* Give the folder"):
        study.exchange.load(folder / "media.csv")
