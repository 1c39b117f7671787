"""The Tag page without a browser: whom it asks for, and what it tells its viewer."""

import re
from pathlib import Path

import pytest
from pages import opened, tagging, told, words

from app import viewer
from app.demo import SOURCE
from app.review import Show
from app.viewer import tickets
from core.logs import LogKind
from core.workspace import Workspace

WEB = Path(viewer.__file__).with_name("web")


def test_nobody_tags_without_a_name(demo: Workspace) -> None:
    """Without a name the photos are there, and nobody is named; the viewer says what is missing."""
    at = opened("tag", own_placement="SK-OPEN")
    assert told(at)["who"] == ""
    assert tickets.read(told(at)["ticket"], demo.ticket_secret()).who == ""


def test_the_viewer_is_told_who_looks_at_what(demo: Workspace) -> None:
    """Placement, list, order, species with their keys and the places of an animal are told."""
    data = told(tagging())
    assert {name: data[name] for name in ("who", "instructor", "placement", "show", "order")} == {
        "who": "Thandi",
        "instructor": False,
        "placement": "SK-OPEN",
        "show": "not tagged by me",
        "order": "time",
    }
    assert [one["key"] for one in data["species"]] == list(demo.species())
    assert [name for name, _ in data["where"]] == ["fed", "on_tray", "near"]
    assert (data["mode"], data["start"], data["trays"]) == ("one", 0, ["T1"])


def test_a_ticket_is_signed_for_the_name_that_was_typed(demo: Workspace) -> None:
    """What the viewer shows the routes is the study's own, and holds until the name changes."""
    at = tagging()
    first = told(at)["ticket"]
    ticket = tickets.read(first, demo.ticket_secret())
    assert (ticket.who, ticket.instructor) == ("Thandi", False)
    assert told(at.run())["ticket"] == first
    at.checkbox(key="instructor").check().run()
    assert tickets.read(told(at)["ticket"], demo.ticket_secret()).instructor


def test_names_that_differ_in_capitals_are_one_tagger(demo: Workspace) -> None:
    """nomsa sits down as Nomsa, who is known."""
    assert told(tagging(own_tagger="nomsa"))["who"] == "Nomsa"
    assert "Nomsa" in demo.taggers()


def test_each_species_is_a_list_of_its_own(demo: Workspace) -> None:
    """The gerbil's list is asked for by its key, and named by its name."""
    at = tagging()
    show = at.selectbox(key="show")
    assert "species: Hairy-footed gerbil" in show.options
    show.set_value("species:g").run()
    assert told(at)["show"] == "species:g"
    assert demo.species()["g"].name == "Hairy-footed gerbil"


def test_the_most_changed_come_first_where_that_is_asked(demo: Workspace) -> None:
    """The order is told by its name in the routes."""
    at = tagging()
    at.selectbox(key="order").set_value("changed").run()
    assert told(at)["order"] == "changed"
    assert demo.placements()


def test_the_quiet_sheet_is_of_what_is_untagged_least_changed_first(demo: Workspace) -> None:
    """List and order are the sheet's own, and what was chosen before comes back after it."""
    at = tagging(own_show=str(Show.ALL))
    at.selectbox(key="mode").set_value("quiet sheet").run()
    data = told(at)
    assert (data["mode"], data["show"], data["order"]) == ("sheet", "not tagged by me", "quiet")
    assert not [one for one in at.selectbox if one.key in {"show", "order"}]
    at.selectbox(key="mode").set_value("one by one").run()
    assert (told(at)["show"], told(at)["order"]) == (str(Show.ALL), "time")
    assert demo.cards()


def test_the_trays_page_leads_to_a_visit(demo: Workspace) -> None:
    """Its button opens the Tag page at the visit's first photo, among all, not on the sheet."""
    at = opened("trays", own_mode="quiet sheet")
    at.selectbox(key="deployment-0").set_value("SKO-N1").run()
    photo = demo.outcome("SKO-N1").seen[0].parts[0].visit.photos[0]
    look = next(one for one in at.button if str(one.key).startswith("look-"))
    data = told(look.click().run())
    assert (data["placement"], data["start"]) == (photo.placement, photo.id)
    assert (data["show"], data["mode"]) == (str(Show.ALL), "one")


@pytest.mark.parametrize("kept", ["no such list", "species:q"])
def test_a_list_that_is_not_there_any_more_gives_way(demo: Workspace, kept: str) -> None:
    """An old address, or a species that left the list: the untagged visits are shown."""
    assert told(tagging(own_show=kept))["show"] == "not tagged by me"
    assert "q" not in demo.species()


def test_a_study_without_species_says_where_to_load_them(empty: Workspace) -> None:
    """Photos are there, and the page says what comes next."""
    empty.scan(SOURCE / "cards" / "SK-OPEN", "SK-OPEN")
    said = words(tagging())
    assert "The species list is empty." in said
    assert "Next: Species list" in said


def test_names_that_people_wrote_are_told_as_they_stand(empty: Workspace) -> None:
    """The viewer writes names as text: nothing in them is escaped, and nothing is fetched."""
    name = "![x](http://elsewhere/x.png)"
    empty.load(LogKind.SPECIES, f"key,name,role\nm,{name},forager\n".encode(), "species.csv")
    empty.scan(SOURCE / "cards" / "SK-OPEN", "SK-OPEN")
    at = tagging()
    assert [one["name"] for one in told(at)["species"]] == [name]
    assert name not in "".join(str(one.value) for one in at.markdown)


# --- the viewer's files ----------------------------------------------------------------------


def test_every_file_of_the_viewer_is_in_its_script_and_says_what_it_decides() -> None:
    """No file is left out, each begins with its sentence, none is over 500 lines."""
    files = {path.stem: path.read_text(encoding="utf-8") for path in WEB.glob("*.js")}
    assert {*viewer.SCRIPTS, *viewer.SETTLE_SCRIPTS} == set(files)
    assert [name for name, text in files.items() if not text.startswith("// Decides ")] == []
    assert [name for name, text in files.items() if text.count("\n") > 500] == []
    whole = viewer.script() + viewer.script(viewer.SETTLE_SCRIPTS)
    assert all(text.strip() in whole for text in files.values())


def test_the_viewer_asks_this_computer_alone_and_writes_no_html() -> None:
    """No address of another place stands in it, and no text of people is read as HTML."""
    script = viewer.script() + viewer.script(viewer.SETTLE_SCRIPTS)
    assert set(re.findall(r"https?://[^\"']+", script)) == {"http://www.w3.org/2000/svg"}
    assert (
        re.findall(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\(", script) == []
    )
