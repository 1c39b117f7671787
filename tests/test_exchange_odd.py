"""Studies with odd names and tags: what a package tells of them, and that it reads back alike."""

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from giving import EXPORT, described, rows_of, shot
from packages import Package

from core import keeping
from core.camtrap import rules
from core.errors import StudyError
from core.exchange import Wanted
from core.logs import LogKind
from core.model import Where
from core.sheets import safe_cell
from core.taglog import NewTag
from core.workspace import Workspace

ALL = Wanted(pictures=True, tags=True)
PLACE = "-26.123456, 19.654321"
CAMERA = {
    "placement": "P1", "camera": "cam1", "trays": "T1", "start": "2026-05-04 17:45",
    "end": "2026-05-05 06:15", "clock": "+02:00", "latitude": "-26.123456",
    "longitude": "19.654321",
}  # fmt: skip
TRAY = {
    "deployment": "D1", "tray": "T1", "set_out": "2026-05-04 18:00",
    "picked_up": "2026-05-05 06:00", "food_start_g": "10", "food_left_g": "4.2",
}  # fmt: skip
SHOTS = {f"IMG_{n}.JPG": f"2026-05-04 20:00:{n * 10}" for n in range(1, 6)}


def log(rows: Iterable[Mapping[str, str]]) -> bytes:
    """Write rows of the same columns as a log."""
    listed = list(rows)
    lines = [",".join(listed[0]), *(",".join(f'"{one}"' for one in row.values()) for row in listed)]
    return "\n".join(lines).encode()


def tag(first: str, last: str, species: str = "m", tagger: str = "Nomvula", also: str = "") -> Any:
    """Give a line of the tag log."""
    return {"placement": "P1", "first_photo": first, "last_photo": last, "tagger": tagger,
            "species": species, "where": "" if species == "blank" else "fed",
            "also": also}  # fmt: skip


def odd_study(
    folder: Path,
    *,
    camera: Mapping[str, str] | None = None,
    tray: Mapping[str, str] | None = None,
    tags: Iterable[Mapping[str, str]] = (),
    shots: Mapping[str, str] = SHOTS,
    sensitive: bool = False,
    settings: str = EXPORT,
) -> Workspace:
    """Make a study of one placement and one tray; `tray` None: without any."""
    Workspace.create(folder / "study", "Africa/Windhoek", "Night").close()
    file = folder / "study" / "study.toml"
    text = file.read_text(encoding="utf-8").partition("[export]")[0]
    file.write_text(text + settings, encoding="utf-8")
    study = Workspace.open(folder / "study")
    mouse = {"key": "m", "name": "Dune mouse", "scientific_name": "Mus inventus",
             "role": "forager", "sensitive": "yes" * sensitive}  # fmt: skip
    gerbil = mouse | {"key": "g", "name": "Rock gerbil", "scientific_name": "Gerbillus fictus"}
    study.load(LogKind.SPECIES, log([mouse, gerbil | {"sensitive": ""}]), "species")
    study.load(LogKind.CAMERAS, log([{**CAMERA, **(camera or {})}]), "cameras")
    if tray is not None:
        study.load(LogKind.TRAYS, log([{**TRAY, **tray}]), "trays")
    for number, (name, moment) in enumerate(shots.items()):
        shot(folder / "card" / name, moment, number)
    study.scan(folder / "card", (camera or CAMERA).get("placement", "P1"))
    if tags:
        study.load(LogKind.TAGS, log(tags), "tags")
    return study


def told_anywhere(package: Path, words: str) -> list[str]:
    """Give the files of a package in whose name or text some words stand."""
    files = [path for path in package.rglob("*") if path.is_file()]
    held = {str(path.relative_to(package)): path.read_bytes().decode("latin-1") for path in files}
    return [name for name, text in held.items() if words in name or words in text]


def back(folder: Path, wanted: Wanted = ALL) -> tuple[Path, Path]:
    """Export, read back into a new study, export; give both packages."""
    with Workspace.open(folder / "study") as first:
        first.exchange.export(folder / "one", wanted)
    Workspace.create(folder / "back", "Africa/Windhoek", "Night").close()
    (folder / "back" / "study.toml").write_bytes((folder / "study" / "study.toml").read_bytes())
    with Workspace.open(folder / "back") as second:
        second.exchange.load(folder / "one")
        second.exchange.export(folder / "two", wanted)
    return folder / "one", folder / "two"


# --- places ------------------------------------------------------------------------------------


@pytest.mark.parametrize("site", ["202", "media", "human", "event", "Mus", "where", "tray"])
def test_a_site_may_be_called_as_a_word_of_the_standard(tmp_path: Path, site: str) -> None:
    """Its name is hidden in what people wrote, never in a time, a number or a word of a list."""
    with odd_study(
        tmp_path, tray={"site": site, "pair": f"{site}-N1"}, sensitive=True,
        tags=[tag("IMG_1.JPG", "IMG_5.JPG")],
    ) as study:  # fmt: skip
        done = study.exchange.export(tmp_path / "package", ALL)
    assert rules.check(tmp_path / "package") == []
    assert done.counts["pictures"] == len(SHOTS)
    media = rows_of(tmp_path / "package", "media")
    assert all((tmp_path / "package" / row["filePath"]).is_file() for row in media)
    assert site not in rows_of(tmp_path / "package", "tray_log")[0]["pair"]


@pytest.mark.parametrize("site", ["Den: A?", "50% ridge", "Krans..Top"])
def test_a_site_is_hidden_in_paths_before_they_are_made_safe(tmp_path: Path, site: str) -> None:
    """Also one with signs that are written otherwise in a path."""
    name = f"{site} IMG.JPG"
    with odd_study(
        tmp_path, camera={"placement": f"{site}-P1"}, tray={"site": site}, sensitive=True,
        shots={f"{site}/{name}": "2026-05-04 20:00:00"},
    ) as study:  # fmt: skip
        study.exchange.export(tmp_path / "package", ALL)
    for part in (site, *site.split()):
        if len(part) > 3:  # shorter ones stand in other words, too
            assert told_anywhere(tmp_path / "package", part) == []


def test_coordinates_are_held_back_wherever_people_write(tmp_path: Path) -> None:
    """Short texts, the camera's name, folders and files, each listed."""
    words = {name: f"{name} {PLACE}" for name in ("pair", "microhabitat", "food", "target")}
    with odd_study(
        tmp_path, camera={"camera": f"at {PLACE}"}, tray=words,
        shots={f"{PLACE}/{PLACE}.JPG": "2026-05-04 20:00:00"},
        tags=[tag(f"{PLACE}/{PLACE}.JPG", f"{PLACE}/{PLACE}.JPG", "g")],
    ) as study:  # fmt: skip
        done = study.exchange.export(tmp_path / "package", ALL)
    assert {one.thing for one in done.withheld} == {
        *(f"{name} of tray deployment 'D1'" for name in words), "camera of placement 'P1'",
    }  # fmt: skip
    assert told_anywhere(tmp_path / "package", "26.1234") == []
    row = rows_of(tmp_path / "package", "media")[0]
    assert (row["filePublic"], row["filePath"][-4:]) == ("true", ".JPG")


def test_a_title_with_coordinates_is_asked_for_anew(tmp_path: Path) -> None:
    """So are a description, and a tray, whose names stand in several tables."""
    texts = EXPORT.replace("One night at ROOIKRANS", PLACE) + f'description = "by {PLACE}"\n'
    tray = f"T {PLACE.replace(',', '')}"
    with (
        odd_study(tmp_path, tray={"tray": tray}, settings=texts) as study,
        pytest.raises(StudyError) as caught,
    ):
        study.exchange.export(tmp_path / "package", ALL)
    for words in ("title would", "description would", repr(tray)):
        assert words in str(caught.value)


# --- read back -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "tags",
    [
        [tag("IMG_2.JPG", "IMG_3.JPG"), tag("IMG_1.JPG", "IMG_3.JPG", "g", also="yes")],
        [tag("IMG_1.JPG", "IMG_2.JPG"), tag("IMG_3.JPG", "IMG_5.JPG")],
        [tag("IMG_1.JPG", "IMG_5.JPG"), tag("IMG_1.JPG", "IMG_5.JPG", "g", "Ike")],
        [tag("IMG_4.JPG", "IMG_5.JPG"), tag("IMG_1.JPG", "IMG_5.JPG", "g", "Ike")],
    ],
)
def test_tags_come_back_in_their_order_and_with_their_ends(tmp_path: Path, tags: Any) -> None:
    """One beside another, one after the other, of two people: each is the tag that it was."""
    odd_study(tmp_path, tray={}, tags=tags).close()
    one, two = back(tmp_path)
    for table in ("observations", "tray_outcomes"):
        assert rows_of(one, table) == rows_of(two, table)


def test_a_tag_over_two_visits_is_one_tag(tmp_path: Path) -> None:
    """It is not cut where the first visit ends."""
    shots = {**SHOTS, "IMG_9.JPG": "2026-05-04 23:00:00"}
    odd_study(tmp_path, tray={}, shots=shots, tags=[tag("IMG_1.JPG", "IMG_9.JPG")]).close()
    one, two = back(tmp_path)
    assert rows_of(one, "tray_outcomes") == rows_of(two, "tray_outcomes")


SAME = [
    {"key": "m", "name": "Grown mouse", "scientific_name": "Mus inventus", "role": "forager"},
    {"key": "|", "name": "Young mouse", "scientific_name": "mus inventus", "role": "other"},
    {"key": "p", "name": "Hiker", "scientific_name": "", "role": "person"},
    {"key": "f", "name": "Farmer", "scientific_name": "", "role": "person"},
    {"key": "d", "name": "Dog walker", "scientific_name": "", "role": "person"},
]  # fmt: skip
"""Species of which rows of a package say the same; nobody tagged the last."""


@pytest.mark.parametrize("wanted", [ALL, Wanted()])
def test_two_species_of_one_scientific_name_stay_two(tmp_path: Path, wanted: Wanted) -> None:
    """So do people of two kinds, of which the standard tells no name at all."""
    tags = [
        tag("IMG_1.JPG", "IMG_2.JPG", "m"), tag("IMG_1.JPG", "IMG_2.JPG", "|", also="yes"),
        tag("IMG_3.JPG", "IMG_4.JPG", "p"), tag("IMG_5.JPG", "IMG_5.JPG", "f"),
    ]  # fmt: skip
    with odd_study(tmp_path, tray={}) as study:
        study.load(LogKind.SPECIES, log(SAME), "species")
        study.load(LogKind.TAGS, log(tags), "tags")
        before = study.species()
    one, two = back(tmp_path, wanted)
    told = [row["observationTags"].partition(" ")[0] for row in rows_of(one, "observations")]
    assert set(told) == {"species:m", "species:%7C", "species:p", "species:f"}
    for table in ("observations", "media", "tray_outcomes"):
        assert rows_of(one, table) == rows_of(two, table)
    with Workspace.open(tmp_path / "back") as second:
        back_again = {key: second.species()[key] for key in "m|pfd"}
        people = {"p": "person", "f": "person (f)", "d": "person (d)"}  # never by their names
        assert back_again == {key: before[key] for key in "m|"} | {
            key: replace(before[key], name=name) for key, name in people.items()
        }
        again = second.exchange.load(one)
        assert (again.new["species"], again.new["tags"], again.conflicts) == (0, 0, [])


def test_species_of_one_name_are_told_apart_in_another_study(tmp_path: Path) -> None:
    """By what its list calls them; one that it has not is new, under a key that is free."""
    tags = [tag("IMG_1.JPG", "IMG_5.JPG"), tag("IMG_1.JPG", "IMG_5.JPG", "y", also="yes")]
    listed = [SAME[0], SAME[1] | {"key": "y"}]
    with odd_study(tmp_path) as study:
        study.load(LogKind.SPECIES, log(listed), "species")
        study.load(LogKind.TAGS, log(tags), "tags")
        study.exchange.export(tmp_path / "package", ALL)
    with Workspace.create(tmp_path / "other", "Africa/Windhoek") as other:
        mine = [listed[0] | {"key": "y"}, SAME[2] | {"key": "m", "name": "Young mouse"}]
        other.load(LogKind.SPECIES, log(mine), "species")
        for new in (1, 0):
            assert other.exchange.load(tmp_path / "package").new["species"] == new
        names = {one.key: one.name for one in other.species().values()}
        said = [names[one.species] for one in other.view("P1").tags]
    assert said == ["Grown mouse", "mus inventus (y)"]


@pytest.mark.parametrize("words", ["NA", "'NA", "nan", "'", "two  blanks\nand a line", "=1+1"])
def test_texts_of_ours_come_back_as_they_were(tmp_path: Path, words: str) -> None:
    """Also those that the standard takes for nothing; other readers find a quote in front."""
    cell = safe_cell(words)
    texts = {"camera": " ".join(cell.split()), "habitat": cell, "deploymentComments": cell}
    tags = [tag("IMG_1.JPG", "IMG_5.JPG") | {"comment": cell}]
    with odd_study(tmp_path, tray={"notes": cell}, camera=texts, tags=tags) as study:
        assert study.placements()[0].extra["habitat"] == words
        before = study.placements()[0], study.trays()[0].notes, study.view("P1").tags[0].comment
    one, two = back(tmp_path)
    with Workspace.open(tmp_path / "back") as second:
        tag_back = second.view("P1").tags[0]
        assert (second.trays()[0].notes, tag_back.comment) == before[1:]
        camera = second.placements()[0]
        assert (camera.camera, camera.extra["habitat"]) == (before[0].camera, words)
        assert camera.extra["deploymentComments"] == before[0].extra["deploymentComments"]
    for table in ("deployments", "observations", "tray_log", "tray_outcomes"):
        assert rows_of(one, table) == rows_of(two, table)
    written = {row["observationComments"] for row in rows_of(one, "observations")}
    assert "NA" not in written
    assert "nan" not in written


@pytest.mark.skipif(os.sep == "\\", reason="no file can be called so")
@pytest.mark.parametrize("sign", [*'%:?"|*<>\\\t#é', "..", "%3A", "%2e", "%252E"])
def test_pictures_of_any_name_are_found_again(tmp_path: Path, sign: str) -> None:
    """Whatever the package calls the file, so does the study that reads it; twice is once."""
    names = [f"a{sign}b/IMG{sign}{n}.JPG" for n in (1, 2)] + ["a%3Ab/IMG%3A1.JPG"]
    shots = {name: f"2026-05-04 20:00:{at}0" for at, name in enumerate(names, 1)}
    with odd_study(tmp_path, tray={}, shots=shots) as study:
        ids = [photo.id for photo in study.view("P1").ordered]
        study.tag(NewTag("P1", ids[0], ids[-1], "Nomvula", "m", where=Where.FED))
    one, two = back(tmp_path)
    for table in ("media", "observations", "tray_outcomes"):
        assert rows_of(one, table) == rows_of(two, table)
    given = {path.relative_to(one): path.read_bytes() for path in one.rglob("*.JPG")}
    assert given == {path.relative_to(two): path.read_bytes() for path in two.rglob("*.JPG")}
    assert len(given) == len(shots)
    with Workspace.open(tmp_path / "back") as second:
        photos = second.view("P1").photos
        found = [second.previews.original(photo.id).path.read_bytes() for photo in photos]
        assert sorted(found) == sorted(given.values())
        assert second.exchange.load(one).new["photos"] == 0
    with Workspace.open(tmp_path / "study") as first:
        assert first.exchange.load(one).new["photos"] == 0


def test_a_study_without_trays_comes_back(tmp_path: Path) -> None:
    """Its tray log has no rows, which is no fault."""
    odd_study(tmp_path, tags=[tag("IMG_1.JPG", "IMG_5.JPG")]).close()
    one, two = back(tmp_path)
    assert rows_of(one, "tray_log") == []
    assert rows_of(one, "observations") == rows_of(two, "observations")


def test_nobody_agrees_with_themselves(tmp_path: Path) -> None:
    """A study's own package, loaded again, adds no second tagger under a pseudonym."""
    with odd_study(tmp_path, tray={}, tags=[tag("IMG_1.JPG", "IMG_5.JPG")]) as study:
        study.exchange.export(tmp_path / "package", ALL)
        told = study.exchange.load(tmp_path / "package")
        assert told.new["tags"] == 0
        assert [one.answer.taggers for one in study.view("P1").visits] == [("Nomvula",)]


def test_a_machine_stays_one(tmp_path: Path) -> None:
    """What a program said is not given on as a person's word."""
    package = Package()
    for row in package.tables["observations"]:
        row |= {"classificationMethod": "machine", "classifiedBy": "Net 1"}
    with odd_study(tmp_path, camera={"placement": "P9"}) as study:
        study.exchange.load(package.write(tmp_path / "others"))
        study.exchange.export(tmp_path / "package", ALL)
    rows = [row for row in rows_of(tmp_path / "package", "observations") if row["mediaID"]]
    assert {(row["classificationMethod"], row["classifiedBy"]) for row in rows} == {
        ("machine", "Net 1")
    }


# --- what others may send ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("taxonomic", 5),
        ("taxonomic", [5, {"vernacularNames": 5}]),
        ("lastbite", "x"),
        ("lastbite", {"species": 5}),
        ("lastbite", {"species": None, "settings": []}),
        ("project", {"observationLevel": 5}),
    ],
)
def test_a_descriptor_of_nonsense_is_read_as_far_as_it_goes(
    tmp_path: Path, name: str, value: object
) -> None:
    """What is of another type than it should be says nothing."""
    package = Package()
    package.descriptor[name] = value
    with odd_study(tmp_path, camera={"placement": "P9"}) as study:
        assert study.exchange.load(package.write(tmp_path / "others")).new["photos"] > 0


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no pipes")
@pytest.mark.parametrize("kind", ["pipe", "device", "outside"])
def test_a_package_cannot_make_an_archive_take_other_files(tmp_path: Path, kind: str) -> None:
    """Neither a pipe, which would never end, nor what a link beside the pictures leads to."""
    package = Package().write(tmp_path / "others")
    file = package / "media" / "P1" / "1.JPG"
    file.parent.mkdir(parents=True)
    if kind == "pipe":
        os.mkfifo(file)
    else:
        (tmp_path / "key.txt").write_text("secret", encoding="utf-8")
        file.symlink_to("/dev/zero" if kind == "device" else tmp_path / "key.txt")
    Workspace.create(tmp_path / "new", "Europe/Brussels").close()
    with Workspace.open(tmp_path / "new") as study:
        study.exchange.load(package)
        done = keeping.pack(study, tmp_path / "all.zip", pictures=True)
    assert (done.pictures, done.missing) == (0, done.photos)


def test_a_sensitive_species_stays_one_where_nobody_tagged_it(tmp_path: Path) -> None:
    """Else the study that reads the package would tell its places more closely than they are."""
    odd_study(tmp_path, tray={"site": "Krans"}, sensitive=True).close()
    one, two = back(tmp_path)
    assert rows_of(one, "deployments") == rows_of(two, "deployments")
    assert described(two)["coordinatePrecision"] == described(one)["coordinatePrecision"]


def test_a_species_that_only_the_package_holds_sensitive_is_told(tmp_path: Path) -> None:
    """The list of the study stays as it is, but nobody is to give its places away unwarned."""
    odd_study(tmp_path, tray={}, sensitive=True).close()
    with Workspace.open(tmp_path / "study") as study:
        study.exchange.export(tmp_path / "package", Wanted())
    with odd_study(tmp_path / "other", camera={"placement": "P9"}) as other:
        told = other.exchange.load(tmp_path / "package")
    assert [words.partition(" is")[0] for words in told.conflicts] == ["'Dune mouse'"]


def test_names_that_the_standard_reads_otherwise_are_asked_for(tmp_path: Path) -> None:
    """A tray with the sign that parts lists, and a species whose name means that there is none."""
    with odd_study(
        tmp_path,
        camera={"trays": "T|1"},
        tray={"tray": "T|1"},
        tags=[tag("IMG_1.JPG", "IMG_5.JPG")],
    ) as study:
        mouse = {"key": "m", "name": "Dune mouse", "scientific_name": "NA", "role": "forager"}
        study.load(LogKind.SPECIES, log([mouse]), "species")
        with pytest.raises(StudyError) as caught:
            study.exchange.export(tmp_path / "package", ALL)
    assert "'T|1'" in str(caught.value)
    assert "reads as nothing, in the species list for: 'Dune mouse'" in str(caught.value)


# --- a package of the study that it is loaded into -----------------------------------------------


def test_a_study_knows_its_own_photos_again(demo: Workspace, tmp_path: Path) -> None:
    """With clock checks and summer time too: the package tells true times, cameras others."""
    keeping.export(demo, tmp_path / "package", Wanted(tags=True))
    before = {one.placement: len(demo.view(one.placement).photos) for one in demo.placements()}
    told = demo.exchange.load(tmp_path / "package")
    assert not any(told.new.values())
    assert told.same["photos"] == len(rows_of(tmp_path / "package", "media"))
    assert before == {one: len(demo.view(one).photos) for one in before}


def test_a_clock_that_was_mended_since_hides_no_photo(tmp_path: Path) -> None:
    """Exported with a wrong clock, then checked: name and shown time still find the photos."""
    with odd_study(tmp_path, tray={}) as study:
        keeping.export(study, tmp_path / "package", ALL)
        check = "placement,camera_showed,true_time\nP1,2026-05-04 20:00:00,2026-05-04 20:05:00\n"
        study.load(LogKind.CLOCKS, check.encode(), "clocks")
        told = study.exchange.load(tmp_path / "package")
        assert (told.new["photos"], told.same["photos"]) == (0, len(SHOTS))


# --- who is asked --------------------------------------------------------------------------------


def test_somebody_is_to_be_asked(tmp_path: Path) -> None:
    """A package says that its contact may be asked, so there is one; their address may be told."""
    nobody = EXPORT.replace('role = "contact"', 'role = "publisher"')
    with (
        odd_study(tmp_path / "without", tray={}, settings=nobody) as study,
        pytest.raises(StudyError, match=r'role = "contact"'),
    ):
        study.exchange.export(tmp_path / "package", ALL)
    given = EXPORT.replace('"contact" }', '"contact", email = "a@example.org" }')
    with odd_study(tmp_path / "with", tray={}, settings=given) as study:
        study.exchange.export(tmp_path / "package", ALL)
    assert described(tmp_path / "package")["contributors"] == [
        {"title": "A. Example", "role": "contact", "email": "a@example.org"}
    ]
