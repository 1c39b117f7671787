"""What of a study goes into a package for others, and what does not."""

import re
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from giving import EXPORT, SECRET_WORDS, by, described, giving_study, rows_of
from packages import NEEDS_SHARED, validated
from stores import ON_SERVER, empty_schema

from app import exchangewords
from core import keeping
from core.camtrap.fields import TABLES
from core.camtrap.telling import Why, Withheld
from core.camtrap.trays import TRAY_LOG, TRAY_OUTCOMES
from core.errors import StudyError
from core.exchange import Exported, Wanted
from core.logs import LogKind
from core.model import Where
from core.taglog import NewTag
from core.workspace import Workspace

ALL = Wanted(pictures=True, tags=True)
TABLES_ALL = (*(table.name for table in TABLES), TRAY_LOG, TRAY_OUTCOMES)


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    with giving_study(tmp_path_factory.mktemp("open")) as made:
        yield made


@pytest.fixture(scope="module")
def hidden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    """The same study, with a sensitive species in its list."""
    with giving_study(tmp_path_factory.mktemp("hidden"), sensitive=True) as made:
        yield made


@pytest.fixture(scope="module")
def done(study: Workspace, tmp_path_factory: pytest.TempPathFactory) -> Exported:
    return study.exchange.export(tmp_path_factory.mktemp("package"), ALL)


@pytest.fixture(scope="module")
def kept_back(hidden: Workspace, tmp_path_factory: pytest.TempPathFactory) -> Exported:
    return hidden.exchange.export(tmp_path_factory.mktemp("package"), ALL)


def test_the_columns_are_the_standards_in_its_order(done: Exported) -> None:
    """Camtrap DP 1.0.2 maps columns by position: all of them stand in the files, in order."""
    for table in TABLES:
        first = (done.folder / table.file).read_text(encoding="utf-8").splitlines()[0]
        assert tuple(first.split(",")) == table.columns


def test_each_visit_is_an_event(done: Exported) -> None:
    """An answered visit is told by species, an unanswered one as unclassified, a blank as blank."""
    events = [row for row in rows_of(done.folder, "observations") if row["mediaID"] == ""]
    told = [
        (row["eventID"][-12:-4], row["observationType"], row["scientificName"], row["count"])
        for row in events
    ]
    assert told == [
        ("IMG_0003", "animal", "Mus inventus", "1"),
        ("IMG_0006", "human", "", "2"),
        ("IMG_0008", "animal", "Gerbillus fictus", "1"),
        ("IMG_0008", "animal", "Mus inventus", "2"),
        ("IMG_0012", "unknown", "", ""),
        ("IMG_0013", "blank", "", ""),
        ("IMG_0014", "unclassified", "", ""),
        ("IMG_0001", "unclassified", "", ""),
        ("IMG_0018", "vehicle", "", "1"),
        ("IMG_0002", "human", "", ""),
        ("IMG_0015", "human", "", ""),
        ("CARD_001", "animal", "Mus inventus", "1"),
    ]
    setups = [row["eventID"][-12:-4] for row in events if row["cameraSetupType"] == "setup"]
    assert setups == ["IMG_0002", "IMG_0015"]


def test_what_the_standard_has_no_column_for_is_told_as_tags(done: Exported) -> None:
    """Where an animal was, and which part of the visit it was there."""
    by_id = by(rows_of(done.folder, "observations"), "observationID")
    mouse = by_id["P1/DCIM/IMG_0008.JPG/visit/2"]
    assert mouse["observationTags"] == (
        "where:fed | from:2026-05-04T22:00:20+02:00 | to:2026-05-04T22:00:30+02:00"
    )
    assert mouse["behavior"] == "foraging"
    assert by_id["P1/DCIM/IMG_0008.JPG/visit/1"]["observationTags"] == "where:on_tray"
    tags = rows_of(done.folder, "deployments")[0]["deploymentTags"]
    assert tags == "tray:T1 | working_at_pickup:yes"


def test_each_tag_of_each_photo_is_told_where_it_is_asked_for(done: Exported) -> None:
    """A row for each photo of each tag, at the photo's own time, in its visit's event."""
    rows = [row for row in rows_of(done.folder, "observations") if row["mediaID"]]
    on_ten = [row for row in rows if row["mediaID"] == "P1/DCIM/IMG_0010.JPG"]
    assert [row["scientificName"] for row in on_ten] == ["Gerbillus fictus", "Mus inventus"]
    assert {row["eventID"] for row in on_ten} == {"P1/DCIM/IMG_0008.JPG"}
    assert {row["eventStart"] for row in on_ten} == {"2026-05-04T22:00:20+02:00"}
    times = by(rows_of(done.folder, "media"), "mediaID")
    assert all(row["eventStart"] == times[row["mediaID"]]["timestamp"] for row in rows)


def test_files_that_are_left_out_are_counted(done: Exported) -> None:
    """Nothing goes missing in silence: every file of the cards is a row or a reason."""
    assert done.left_out == {
        "files that are no photos": 1,
        "copies of photos of the same placement": 1,
        "photos more than 15 minutes outside their camera's start and end": 1,
        "visits outside their camera's start and end": 1,
        "photos without a time": 1,
    }
    met = 17 + 2 + 1 + 2  # DCIM with its copy and the note, the second card, the third
    files = sum(count for why, count in done.left_out.items() if "visits" not in why)
    assert done.counts["media"] + files == met - 1  # IMG_0001 is on the second card alone
    assert rows_of(done.folder, "deployments")[0]["timestampIssues"] == "true"


def test_two_cards_with_one_path_are_told_apart(done: Exported) -> None:
    """The standard's key of a photo is unique."""
    ids = [row["mediaID"] for row in rows_of(done.folder, "media")]
    assert len(ids) == len(set(ids))
    assert "P1/DCIM/IMG_0001.JPG" in ids


def test_only_what_people_looked_at_is_public(done: Exported) -> None:
    """Neither people, vehicles, handlers, what nobody could name, nor what nobody settled."""
    public = {
        row["fileName"] for row in rows_of(done.folder, "media") if row["filePublic"] == "true"
    }
    animals = {f"IMG_{number:04}.JPG" for number in (3, 4, 5, 8, 9, 10, 11)}
    assert public == animals | {"IMG_0013.JPG", "CARD_001.JPG"}
    given = {path.name for path in (done.folder / "media").rglob("*") if path.is_file()}
    assert given == public
    assert sum(done.private.values()) == done.counts["media"] - len(public)


def test_one_person_who_sees_somebody_keeps_a_photo_back(tmp_path: Path) -> None:
    """Also where the instructor rules otherwise: what may be a person is not published."""
    header = "placement,first_photo,last_photo,tagger,species,where,ruling\n"
    with giving_study(tmp_path) as study:
        study.load(
            LogKind.TAGS,
            f"{header}P1,IMG_0004.JPG,IMG_0004.JPG,Lerato,p,near,\n"
            "P1,IMG_0003.JPG,IMG_0005.JPG,Ike,m,fed,yes\n".encode(),
            "more",
        )
        study.exchange.export(tmp_path / "package", ALL)
    rows = by(rows_of(tmp_path / "package", "media"), "fileName")
    assert [rows[f"IMG_000{n}.JPG"]["filePublic"] for n in (3, 4, 5)] == ["true", "false", "true"]


def test_pictures_carry_no_private_exif(done: Exported) -> None:
    """exiftool, another reader, finds no more than the time, maker, model and orientation."""
    if shutil.which("exiftool") is None:
        pytest.skip("exiftool is not installed")
    told = subprocess.run(
        ["exiftool", "-r", "-G1", "-a", "-s", "-u", str(done.folder / "media")],
        capture_output=True, check=True, text=True,
    ).stdout  # fmt: skip
    found = set(
        re.findall(r"^\[(?!ExifTool|System|File|Composite|JFIF)\w+\]\s+(\w+)", told, re.MULTILINE)
    )
    assert found <= {"DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal", "Make",
                     "Model", "Orientation"}  # fmt: skip
    assert "DateTimeOriginal" in found


def test_without_being_asked_for_no_picture_is_given(study: Workspace, tmp_path: Path) -> None:
    """Then no file is public, and the package says that the pictures are not in it."""
    study.exchange.export(tmp_path / "package", Wanted())
    rows = rows_of(tmp_path / "package", "media")
    assert {row["filePublic"] for row in rows} == {"false"}
    assert not (tmp_path / "package" / "media").exists()
    assert "not in the package" in described(tmp_path / "package")["description"]


# --- others agree that it is sound ---------------------------------------------------------------


@NEEDS_SHARED
@pytest.mark.parametrize("wanted", [Wanted(), ALL])
def test_the_exported_demo_is_valid(demo: Workspace, tmp_path: Path, wanted: Wanted) -> None:
    """frictionless, with the schemas of Camtrap DP 1.0.2, finds no fault."""
    demo.exchange.export(tmp_path / "package", wanted)
    assert validated(tmp_path / "package") == []


@NEEDS_SHARED
def test_a_package_with_odd_photos_and_places_is_valid(done: Exported, kept_back: Exported) -> None:
    """So are those of a study that leaves out, widens and holds back."""
    assert validated(done.folder) == []
    assert validated(kept_back.folder) == []


# --- people and places -------------------------------------------------------------------------


def test_taggers_have_pseudonyms_unless_asked(
    study: Workspace, done: Exported, tmp_path: Path
) -> None:
    """The same person has the same one; handlers are not told at all."""
    people = {row["classifiedBy"] for row in rows_of(done.folder, "observations")} - {""}
    assert len(people) == 2
    assert all(re.fullmatch("anonymized:[0-9a-f]{7,}", one) for one in people)
    assert "handler" not in rows_of(done.folder, "tray_log")[0]
    study.exchange.export(tmp_path / "named", Wanted(names=True))
    named = {row["classifiedBy"] for row in rows_of(tmp_path / "named", "observations")} - {""}
    assert named == {"Nomvula", "Lerato"}


def test_all_cameras_of_a_place_are_told_alike(done: Exported) -> None:
    """Rounded to 0.001 degree, 30 m where none was written, and the cell added.

    At 26 degrees south a cell of 0.001 has a diagonal of 149 m; two cameras stand 15 m apart, 8 m
    from their middle (worked by hand from 111 km a degree).
    """
    rows = rows_of(done.folder, "deployments")
    assert {(row["latitude"], row["longitude"]) for row in rows} == {("-26.124", "19.654")}
    assert {row["coordinateUncertainty"] for row in rows} == {str(30 + 8 + 149)}
    assert described(done.folder)["coordinatePrecision"] == pytest.approx(0.001)
    assert described(done.folder)["spatial"] == {"type": "Point", "coordinates": [19.654, -26.124]}


def test_texts_that_read_like_coordinates_are_told_before_and_held_back(
    study: Workspace, done: Exported, tmp_path: Path
) -> None:
    """The list comes before the package is there; the texts do not come into it."""
    told: list[Withheld] = []

    def held_back(texts: Sequence[Withheld]) -> None:
        assert not (tmp_path / "package").exists()
        told.extend(texts)

    keeping.export(study, tmp_path / "package", ALL, held_back=held_back)
    assert (tmp_path / "package").exists()
    assert [one.pieces for one in told] == [one.pieces for one in done.withheld]
    things = [one.thing for one in told]
    assert "notes of tray deployment 'D1'" in things
    assert "comment of tag 4" in things
    assert "26.1234" not in everything(done.folder)
    assert {one.why for one in told} == {Why.COORDINATES}
    notes = [row["notes"] for row in rows_of(done.folder, "tray_log")]
    assert notes == ["", "sand was damp"]


def test_whoever_says_no_to_what_is_held_back_leaves_nothing(
    study: Workspace, tmp_path: Path
) -> None:
    """The package was written beside its place, with its pictures; Ctrl-C takes all of it away."""

    def no(texts: Sequence[Withheld]) -> None:
        assert len(list(tmp_path.glob("*/media/**/*.JPG"))) > 0
        assert texts
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        keeping.export(study, tmp_path / "package", ALL, held_back=no)
    assert list(tmp_path.iterdir()) == []


def test_what_is_tagged_during_an_export_is_not_in_it(tmp_path: Path) -> None:
    """A package is of one state: neither half of a change, nor what came later."""
    wanted = Wanted(tags=True)
    with giving_study(tmp_path) as study:
        keeping.export(study, tmp_path / "before", wanted)
        halfway: list[int] = []

        def meanwhile(done: int, total: int) -> None:
            if not halfway:
                for placement in ("P1", "P2"):
                    photo = study.view(placement).ordered[-1].id
                    new = NewTag(placement, photo, photo, "Ike", "g", where=Where.FED)
                    halfway.append(study.tag(new))
                halfway.append(total - done)

        keeping.export(study, tmp_path / "during", wanted, progress=meanwhile)
        keeping.export(study, tmp_path / "after", wanted)
    assert halfway[2] > 0
    for name in TABLES_ALL:
        assert rows_of(tmp_path / "during", name) == rows_of(tmp_path / "before", name)
    later, then = (rows_of(tmp_path / side, "observations") for side in ("after", "during"))
    assert len(later) > len(then)


@ON_SERVER
def test_an_export_from_a_server_is_of_one_state_too(tmp_path: Path) -> None:
    """The same tables wherever its rows are held, also while somebody tags there."""
    with giving_study(tmp_path) as study, empty_schema() as address:
        keeping.export(study, tmp_path / "file", ALL)
        study.copies.move(address)
        study.close()
        with Workspace.open(study.folder) as served:
            made: list[int] = []

            def meanwhile(_done: int, _total: int) -> None:
                photo = served.view("P2").ordered[-1].id
                new = NewTag("P2", photo, photo, "Ike", "g", where=Where.FED)
                made.extend([] if made else [served.tag(new)])

            keeping.export(served, tmp_path / "server", ALL, progress=meanwhile)
    assert made
    for name in TABLES_ALL:
        assert rows_of(tmp_path / "server", name) == rows_of(tmp_path / "file", name)


def test_notes_that_name_somebody_are_held_back(tmp_path: Path) -> None:
    """A handler or a tagger, in any letters, as a whole word; handlers also beside names."""
    with giving_study(tmp_path) as study:
        log = (
            "deployment,tray,set_out,picked_up,food_start_g,food_left_g,handler,notes\n"
            "D2,T2,2026-05-04 18:00,2026-05-05 06:00,10.0,9.9,Piet & Ann Lee,ANN LEE was late\n"
            "D3,T3,2026-05-04 18:00,2026-05-05 06:00,10.0,9.9,,nomvulaship is no name\n"
        )
        study.load(LogKind.TRAYS, log.encode(), "trays")
        done = study.exchange.export(tmp_path / "package", Wanted())
        held = {one.thing: one for one in done.withheld}
        note = held["notes of tray deployment 'D2'"]
        assert (note.why, note.pieces) == (Why.NAME, ("ANN LEE",))
        assert "notes of tray deployment 'D3'" not in held
        assert exchangewords.withheld([note]) == [
            "Held back, 1 free text, since it names, or may name, somebody of the study:",
            "! notes of tray deployment 'D2': 'ANN LEE'",
        ]
        named = study.exchange.export(tmp_path / "named", Wanted(names=True))
        assert "notes of tray deployment 'D2'" in {one.thing for one in named.withheld}


def test_pictures_are_to_be_looked_at(done: Exported, kept_back: Exported) -> None:
    """It is said right after what was written, and more with a sensitive species."""
    assert exchangewords.exported(done)[1].startswith("! Look at the")
    assert "one printed name undoes the rest" in exchangewords.exported(kept_back)[1]


def test_a_sensitive_species_has_one_coarse_place_everywhere(kept_back: Exported) -> None:
    """In every table, the descriptor, every text and picture: no site, no people, no place."""
    rows = rows_of(kept_back.folder, "deployments")
    assert {(row["latitude"], row["longitude"]) for row in rows} == {("-26.1", "19.7")}
    assert len({row["locationID"] for row in rows}) == 1
    whole = everything(kept_back.folder)
    assert [word for word in SECRET_WORDS if word.casefold() in whole.casefold()] == []
    assert described(kept_back.folder)["spatial"]["coordinates"] == [19.7, -26.1]
    assert described(kept_back.folder)["coordinatePrecision"] == pytest.approx(0.1)
    assert "0.1 degree" in described(kept_back.folder)["description"]
    assert {row["site"] for row in rows_of(kept_back.folder, "tray_log")} == {rows[0]["locationID"]}


def everything(package: Path) -> str:
    """Give all bytes of a package and its file names, read as text."""
    files = [path for path in package.rglob("*") if path.is_file()]
    inside = (path.read_bytes().decode("latin-1") for path in files)
    return "\n".join([*inside, *map(str, files)])


# --- what a package needs ----------------------------------------------------------------------


def test_missing_facts_are_all_asked_for_before_anything_is_written(tmp_path: Path) -> None:
    """One message names them all, each with the way to give it."""
    with giving_study(tmp_path, settings="") as study:
        cameras = "placement,camera,trays,start,end,latitude,longitude\nP2,cam2,T2,,,,\n"
        study.load(LogKind.CAMERAS, cameras.encode(), "cameras")
        species = "key,name,scientific_name,role\nm,Dune mouse,,forager\n"
        study.load(LogKind.SPECIES, species.encode(), "species")
        with pytest.raises(StudyError) as caught:
            study.exchange.export(tmp_path / "package", ALL)
    for fact in ("sampling_design", "contributors", "start", "end", "latitude", "longitude",
                 "'P2'", "'Dune mouse'"):  # fmt: skip
        assert fact in str(caught.value)
    assert not (tmp_path / "package").exists()


def test_a_folder_that_holds_anything_is_refused(study: Workspace, tmp_path: Path) -> None:
    """Nothing is ever written over."""
    (tmp_path / "mine.txt").write_text("kept", encoding="utf-8")
    with pytest.raises(StudyError, match="written over"):
        study.exchange.export(tmp_path, ALL)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize("fault", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_fault_half_way_leaves_nothing(
    study: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: BaseException
) -> None:
    """A full disk is said in words; Ctrl-C leaves no folder either."""

    def full(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr("core.exchange.write_descriptor", full)
    with pytest.raises((StudyError, KeyboardInterrupt)):
        study.exchange.export(tmp_path / "package", ALL)
    assert list(tmp_path.iterdir()) == []


def test_a_placement_that_reads_as_nothing_is_refused(tmp_path: Path) -> None:
    """The standard takes NA for a missing cell, so a camera of that name would be lost."""
    with giving_study(tmp_path) as study:
        cameras = (
            "placement,camera,trays,start,end,latitude,longitude\n"
            "NA,cam9,T9,2026-05-04 17:45,2026-05-05 06:15,-26.1,19.6\n"
        )
        study.load(LogKind.CAMERAS, cameras.encode(), "cameras")
        with pytest.raises(StudyError, match="'NA' as a placement's name"):
            study.exchange.export(tmp_path / "package", ALL)


def test_licences_stand_both_or_not_at_all(tmp_path: Path) -> None:
    """The standard wants one of the data and one of the media."""
    with giving_study(
        tmp_path,
        settings=EXPORT + 'licence_data = "CC0-1.0"\n'
        'licence_media = "https://creativecommons.org/licenses/by/4.0/"\n',
    ) as study:
        study.exchange.export(tmp_path / "package", Wanted())
    assert described(tmp_path / "package")["licenses"] == [
        {"name": "CC0-1.0", "scope": "data"},
        {"path": "https://creativecommons.org/licenses/by/4.0/", "scope": "media"},
    ]


def test_the_study_is_as_it_was(study: Workspace, tmp_path: Path) -> None:
    """An export writes nothing into the study once its pseudonyms are made."""
    before = study.version()
    study.exchange.export(tmp_path / "package", Wanted())
    assert study.version() == before


def test_the_summary_says_what_was_left_out_and_why(study: Workspace, tmp_path: Path) -> None:
    """One line for each reason why a picture is not public, and what of the logs stays."""
    done = study.exchange.export(tmp_path / "package", ALL)
    assert set(done.private) == {
        "of people or vehicles", "of the people at work", "of what nobody could name",
        "not settled, or not tagged yet",
    }  # fmt: skip
    told = exchangewords.exported(done)
    assert "Not public: 2 photos of the people at work." in told
    assert "Not told: who handled trays." in done.statements
    assert described(tmp_path / "package")["informationWithheld"] == list(done.statements)


def test_a_picture_that_cannot_be_copied_is_named(tmp_path: Path) -> None:
    """One file is gone, one is torn: each is told with what is the matter, and neither is given."""
    with giving_study(tmp_path) as study:
        card = tmp_path / "card" / "DCIM"
        (card / "IMG_0003.JPG").unlink()
        (card / "IMG_0004.JPG").write_bytes((card / "IMG_0004.JPG").read_bytes()[:300])
        done = study.exchange.export(tmp_path / "package", ALL)
    gone, torn = (line for line in exchangewords.exported(done) if line.startswith("! Not copied"))
    assert "P1/DCIM/IMG_0003.JPG: " in gone
    assert "not at hand" in gone
    assert "P1/DCIM/IMG_0004.JPG: " in torn
    public = [row for row in rows_of(done.folder, "media") if row["filePublic"] == "true"]
    assert len(public) == done.counts["pictures"] == 7
