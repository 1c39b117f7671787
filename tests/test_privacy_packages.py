"""What a package tells of people and places in odd spellings, cells and options."""

import json
import unicodedata
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from giving import EXPORT, described, giving_study, rows_of, shot

from app import exchangewords
from core import keeping
from core.camtrap.telling import Telling, Why, called_as
from core.errors import StudyError
from core.exchange import Exported, Wanted
from core.logs import LogKind
from core.model import Species, SpeciesRole, Where
from core.people import Role
from core.taglog import NewTag
from core.workspace import Workspace

ALL = Wanted(pictures=True, tags=True)
TRAYS = "deployment,tray,set_out,picked_up,food_start_g,food_left_g,{more}\n"
TRAY = "{id},{tray},2026-05-04 18:00,2026-05-05 06:00,10.0,4.2,{more}\n"
CAMERAS = "placement,camera,trays,start,end,clock,latitude,longitude,{more}\n"
CAMERA = "{id},{camera},{tray},2026-05-04 17:45,2026-05-05 06:15,+02:00,-26.1,19.6,{more}\n"


def trays(study: Workspace, more: str, *lines: tuple[str, str]) -> None:
    """Load lines of the tray log: ids of deployments, and their cells of the columns `more`."""
    told = (TRAY.format(id=one, tray=f"X{at}", more=cells) for at, (one, cells) in enumerate(lines))
    study.load(LogKind.TRAYS, "".join([TRAYS.format(more=more), *told]).encode(), "trays")


def camera(study: Workspace, placement: str, more: str, cells: str, name: str = "cam9") -> None:
    """Load a line of the camera log."""
    line = CAMERA.format(id=placement, camera=name, tray="X0", more=cells)
    study.load(LogKind.CAMERAS, (CAMERAS.format(more=more) + line).encode(), "cameras")


def tag(study: Workspace, tagger: str, comment: str, species: str = "m") -> None:
    """Load a line of the tag log, of a photo that nobody tagged."""
    study.load(
        LogKind.TAGS,
        "placement,first_photo,last_photo,tagger,species,where,comment\n"
        f"P1,IMG_0014.JPG,IMG_0014.JPG,{tagger},{species},near,{comment}\n".encode(),
        "more tags",
    )


def everything(package: Path) -> str:
    """Give all texts and names of a package, accents stored in one way, in small letters."""
    files = [path for path in package.rglob("*") if path.is_file()]
    inside = (
        json.dumps(json.loads(path.read_text(encoding="utf-8")), ensure_ascii=False)
        if path.suffix == ".json"
        else path.read_bytes().decode("utf-8", "replace")
        for path in files
    )
    named = (str(path.relative_to(package)) for path in files)
    return unicodedata.normalize("NFC", "\n".join([*inside, *named])).casefold()


def held(done: Exported) -> dict[str, tuple[Why, tuple[str, ...]]]:
    """Give what was held back, and why, by the thing."""
    return {one.thing: (one.why, one.pieces) for one in done.withheld}


def telling(
    known: Iterable[str] = (), taggers: Iterable[str] = (), *, names: bool = False
) -> Telling:
    """Give who tells a study of these people, with no sensitive species."""
    species = {"m": Species("m", "Dune mouse", SpeciesRole.FORAGER, "Mus inventus")}
    return Telling(species, b"x", names=names, known=frozenset(known), taggers=frozenset(taggers))


# --- sites ---------------------------------------------------------------------------------------


def test_no_spelling_of_a_site_stands_in_a_sensitive_package(tmp_path: Path) -> None:
    """Neither in ids, pairs and paths, nor as the camera log calls the place."""
    apart = unicodedata.normalize("NFD", "Müller Höhle")
    with giving_study(
        tmp_path, sensitive=True, settings=EXPORT.replace("ROOIKRANS", apart)
    ) as study:
        trays(
            study, "site,pair,microhabitat",
            ("GrosseHöhle-2", "Grosse Höhle,grosse-höhle-1,GROSSE HOEHLE"),
            ("muellerhoehle_1", f"Müller Höhle,P1,{apart}"),
        )  # fmt: skip
        camera(study, "MH-1", "locationID,locationName", "MH-1,Kloofs End", name="cam KloofsEnd")
        for number, name in enumerate((f"{apart}/IMG_1.JPG", "mh_1/kloofs-end 2.JPG")):
            shot(tmp_path / "fourth" / name, f"2026-05-04 20:00:0{number}", 95 + number)
        study.scan(tmp_path / "fourth", "MH-1")
        study.exchange.export(tmp_path / "package", ALL)
    whole = everything(tmp_path / "package")
    secret = ("höhle", "hoehle", "mh-1", "mh_1", "mh%", "kloof", "müller", "mueller")
    assert [word for word in secret if word in whole] == []
    ids = {row["deployment"] for row in rows_of(tmp_path / "package", "tray_log")}
    assert len(ids) == 4


def test_two_ids_of_one_site_stay_two() -> None:
    """`GrosseHöhle-1` and `grosse-höhle-1` may be two trays, so each spelling has its own."""
    mouse = Species("m", "Dune mouse", SpeciesRole.FORAGER, sensitive=True)
    told = Telling({"m": mouse}, b"x", sites=frozenset({"Grosse Höhle"}))
    ids = ["GrosseHöhle-1", "grosse-höhle-1", "grosse höhle-1", "grosse höhle1"]
    assert len({told.without_names(one) for one in ids}) == len(ids)


# --- people --------------------------------------------------------------------------------------


@pytest.mark.parametrize("sensitive", [False, True])
def test_people_are_held_back_in_short_texts(tmp_path: Path, sensitive: bool) -> None:
    """Food, microhabitat and the camera's name, and named; paths lose the name alone."""
    with giving_study(tmp_path, sensitive=sensitive) as study:
        tag(study, "Thandi Mokoena", "")
        trays(
            study, "microhabitat,food,pair",
            ("D7", "below Mokoena's hut,Hirse von Thandi Mokoena,thandi-N1"),
        )  # fmt: skip
        camera(study, "Thandi-P9", "habitat", "", name="cam of Thandi")
        shot(
            tmp_path / "fourth" / "ThandiMokoena card" / "mokoena_1.JPG", "2026-05-04 20:00:00", 99
        )
        study.scan(tmp_path / "fourth", "Thandi-P9")
        done = study.exchange.export(tmp_path / "package", ALL)
    told = held(done)
    assert told["food of tray deployment 'D7'"] == (Why.NAME, ("Thandi Mokoena",))
    assert told["microhabitat of tray deployment 'D7'"] == (Why.NAME, ("Mokoena's",))
    assert told["pair of tray deployment 'D7'"] == (Why.NAME, ("thandi",))
    assert told["camera of placement 'Thandi-P9'"] == (Why.NAME, ("Thandi",))
    whole = everything(tmp_path / "package")
    assert [word for word in ("thandi", "mokoena") if word in whole] == []
    media = rows_of(tmp_path / "package", "media")
    assert sum(row["filePath"].endswith("_1.JPG") for row in media) == 1


def test_everybody_whom_the_study_knows_is_looked_for(tmp_path: Path) -> None:
    """Handlers in one cell, who set cameras up, the class list, its instructors, and deciders."""
    notes = ("Maas was late", "with Sizwe", "ask Ms Botha", "as Farai said", "Anna dug")
    giving_study(tmp_path).close()
    file = tmp_path / "study" / "study.toml"
    text = file.read_text(encoding="utf-8")
    people = '[people]\ninstructors = ["Anna Nel"]\n'
    file.write_text(text.replace("[people]\n", people), encoding="utf-8")
    with Workspace.open(tmp_path / "study") as study:
        study.people.add("Prof. M. Botha", Role.INSTRUCTOR)
        study.people.turn_reference(study.view("P2").ordered[0].id, "m", "Farai")
        camera(study, "P9", "setupBy", "Sizwe Dube")
        lines = [(f"N{at}", f"Jo Kim und Piet Maas,{note}") for at, note in enumerate(notes)]
        trays(study, "handler,notes", *lines)
        done = study.exchange.export(tmp_path / "package", Wanted())
    pieces = {thing[-3:-1]: pieces for thing, (_, pieces) in held(done).items() if "'N" in thing}
    assert pieces == {"N0": ("Maas",), "N1": ("Sizwe",), "N2": ("Botha",), "N3": ("Farai",),
                      "N4": ("Anna",)}  # fmt: skip


def test_common_words_name_nobody() -> None:
    """What people are, and what stands before family names, holds no text back."""
    told = telling(["student 3", "Piet van der Berg", "Field crew", "unnamed", "machine: Ranger"])
    for words in ("students sieved", "sand van der dune", "crew of the field", "unnamed hill"):
        assert told.text("notes", words) == words
    assert told.withheld == {}


def test_names_frees_taggers_alone(tmp_path: Path) -> None:
    """A handler is never told; the summary says whose real names are in the package."""
    with giving_study(tmp_path) as study:
        tag(study, "Thandi Mokoena", "Thandi was not sure")
        trays(
            study, "handler,notes",
            ("D8", "Piet Maas,Piet Maas came late"), ("D9", "Piet Maas,Mokoena came late"),
        )  # fmt: skip
        done = study.exchange.export(tmp_path / "package", replace(ALL, names=True))
        pseudonyms = study.exchange.export(tmp_path / "other", ALL)
    notes = {row["deployment"]: row["notes"] for row in rows_of(tmp_path / "package", "tray_log")}
    assert (notes["D8"], notes["D9"]) == ("", "Mokoena came late")
    assert held(done)["notes of tray deployment 'D8'"] == (Why.NAME, ("Piet Maas",))
    assert "piet" not in everything(tmp_path / "package")
    assert "Thandi was not sure" in {
        row["observationComments"] for row in rows_of(tmp_path / "package", "observations")
    }
    assert exchangewords.NAMES in exchangewords.exported(done)
    assert exchangewords.NAMES not in exchangewords.exported(pseudonyms)


def test_a_tagger_with_an_account_is_freed_with_it() -> None:
    """The address has the same words; it is not told itself."""
    told = telling(
        ["Thandi M", "thandi.m@example.org", "botha@example.org"], ["Thandi M"], names=True
    )
    assert told.text("a", "Thandi was late") == "Thandi was late"
    assert told.text("b", "mail thandi.m@example.org") == ""
    assert told.text("c", "Botha was late") == ""


# --- the descriptor ------------------------------------------------------------------------------


def test_a_description_is_held_back_like_other_texts(tmp_path: Path) -> None:
    """Where it names somebody of the study who is no contributor, and in every sensitive study."""
    about = EXPORT + 'description = "Trays of Nomvula at the den"\n'
    thing = "description of the package"
    with giving_study(tmp_path / "open", settings=about) as study:
        done = study.exchange.export(tmp_path / "one", Wanted())
    assert held(done)[thing] == (Why.NAME, ("Nomvula",))
    assert "Nomvula" not in described(tmp_path / "one")["description"]
    assert f"Texts that are withheld: {len(done.withheld)}." in done.statements
    named = about.replace("A. Example", "Nomvula Dlamini")
    with giving_study(tmp_path / "named", settings=named) as study:
        study.exchange.export(tmp_path / "two", Wanted())
    assert described(tmp_path / "two")["description"].startswith("Trays of Nomvula at the den ")
    plain = EXPORT + 'description = "Pups at the den"\n'
    with giving_study(tmp_path / "hidden", settings=plain, sensitive=True) as study:
        done = study.exchange.export(tmp_path / "three", Wanted())
    assert held(done)[thing] == (Why.SENSITIVE, ())
    assert "Pups" not in described(tmp_path / "three")["description"]


def test_a_title_that_names_somebody_is_asked_for_anew(tmp_path: Path) -> None:
    """A package has to have one, so it cannot be held back; contributors may stand in it."""
    title = EXPORT.replace("One night at ROOIKRANS", "The trays of Lerato")
    with (
        giving_study(tmp_path / "one", settings=title) as study,
        pytest.raises(StudyError, match=r"title would publish .*'Lerato'"),
    ):
        study.exchange.export(tmp_path / "package", Wanted())
    with giving_study(tmp_path / "two", settings=title.replace("A. Example", "Lerato M")) as study:
        study.exchange.export(tmp_path / "package", Wanted())
    assert described(tmp_path / "package")["title"] == "The trays of Lerato"


def test_species_of_people_are_told_as_people(tmp_path: Path) -> None:
    """Whatever the list calls them, in the outcomes, the descriptor and what people wrote."""
    with giving_study(tmp_path) as study:
        listed = (
            "key,name,scientific_name,role\ns,Bauer Schmidt,Schmidtus bauer,person\n"
            "d,Dog walker,,person\n"
        )
        study.load(LogKind.SPECIES, listed.encode(), "species")
        tags = (
            "placement,first_photo,last_photo,tagger,species,where,comment,also\n"
            "P2,CARD_001.JPG,CARD_001.JPG,Lerato,s,near,Bauer Schmidt with dog,\n"
            "P2,CARD_001.JPG,CARD_001.JPG,Lerato,d,near,,yes\n"
            "P2,CARD_001.JPG,CARD_001.JPG,Lerato,m,near,,yes\n"
        )
        study.load(LogKind.TAGS, tags.encode(), "tags")
        assert any("Bauer Schmidt" in note for one in study.outcomes() for note in one.notes)
        study.exchange.export(tmp_path / "package", ALL)
    notes = "".join(row["notes"] for row in rows_of(tmp_path / "package", "tray_outcomes"))
    assert "near the tray: person, Dune mouse" in notes or "Dune mouse, person" in notes
    whole = everything(tmp_path / "package")
    assert [word for word in ("schmidt", "bauer", "hiker", "walker") if word in whole] == []
    told = {
        one["key"]: one["name"] for one in described(tmp_path / "package")["lastbite"]["species"]
    }
    assert told == {"m": "Dune mouse", "g": "Rock gerbil", "p": "person", "v": "Vehicle",
                    "s": "person", "d": "person"}  # fmt: skip


def test_a_note_lists_people_once() -> None:
    """Two species of people beside a tray are people; other notes stay as they are."""
    people = {
        key: Species(key, name, SpeciesRole.PERSON)
        for key, name in (("h", "Hiker"), ("s", "Bauer Schmidt"), ("v", "Vehicle"))
    }
    told = Telling(people, b"x")
    note = "near the tray: Bauer Schmidt, Hiker, Vehicle, Hikers"
    assert told.note(note) == "near the tray: person, Vehicle, Hikers"
    assert told.note("1 of 2, 1 of 2") == "1 of 2, 1 of 2"
    assert called_as(people["v"]) == "Vehicle"


def test_exports_of_one_study_are_alike(tmp_path: Path) -> None:
    """What stands for a name is the same each time, also in ids and paths."""
    with giving_study(tmp_path) as study:
        trays(study, "site,notes", ("Nomvula-1", "Leratos farm,"), ("lerato_2", "Hill,"))
        for name in ("one", "two"):
            keeping.export(study, tmp_path / name, ALL)
    one, two = (rows_of(tmp_path / name, "tray_log") for name in ("one", "two"))
    assert one == two
    ids = [row["deployment"] for row in one]
    assert ids[2].endswith("-1")
    assert ids[3].endswith("_2")
    assert one[2]["site"].startswith("anonymized:")
    assert one[3]["site"] == "Hill"


def test_a_name_that_would_read_as_two_people_is_not_told(tmp_path: Path) -> None:
    """Two who agree settle a visit: one name with a bar would be two when it is read back."""
    with giving_study(tmp_path) as study:
        first = study.view("P1").visits[0].visit.photos[0].id
        study.tag(NewTag("P1", first, first, "Thandi|Mokoena", "m", count=1, where=Where.FED))
        with pytest.raises(StudyError, match=r"'Thandi\|Mokoena'. Leave out --names"):
            study.exchange.export(tmp_path / "package", replace(ALL, names=True))
        study.exchange.export(tmp_path / "package", ALL)
