"""What the viewer's acts keep: each tag as it was said, once, by whom the ticket names."""

import threading
from dataclasses import replace
from typing import Any

import pytest
from asking import Page, tags_by

from core.model import Status, Tag, Where
from core.workspace import Workspace

# --- tags --------------------------------------------------------------------------------------


def test_a_tag_is_kept_as_it_was_said(thandi: Page, demo: Workspace) -> None:
    """Every field is the tag's own, and the words say it back."""
    pair = thandi.ends()[0]
    comment = "half ![x](http://elsewhere/x.png) dark"
    act = thandi.tag(pair, "unknown", count=3, where="on_tray", sure=False, comment=comment)
    said = thandi.send(act)
    [tag] = tags_by(demo, "Thandi")
    assert said == {
        "done": {
            act["id"]: {
                "numbers": [tag.number],
                "words": f"unknown, 3, on tray, not sure, “{comment}”",
            }
        },
        "refused": {},
        "version": demo.version(),
    }
    assert tag.made_at is not None
    assert replace(tag, made_at=None) == Tag(
        tag.number, "SK-OPEN", *pair, "Thandi", "unknown", 3, Where.ON_TRAY, sure=False,
        comment=comment, origin="Tag page",
    )  # fmt: skip


@pytest.mark.parametrize("species", ["blank", "handler"])
def test_where_nobody_was_no_place_and_number_are_kept(
    thandi: Page, demo: Workspace, species: str
) -> None:
    """Nothing there: one key, whatever place, number and tray were set before."""
    thandi.keep(thandi.tag(thandi.ends()[0], species, where="near", count=4, tray="T1"))
    [tag] = tags_by(demo, "Thandi")
    assert (tag.species, tag.where, tag.count, tag.tray) == (species, None, None, "")


def test_an_act_that_arrives_twice_counts_once(thandi: Page, demo: Workspace) -> None:
    """Sent again, alone or with others, it gives the number that it got first."""
    first, second = thandi.ends()[:2]
    act = thandi.tag(first)
    [number] = thandi.keep(act)
    assert thandi.keep(act) == [number]
    assert thandi.keep(act, thandi.tag(second), act)[0] == number
    assert len(tags_by(demo, "Thandi")) == 2


def test_a_repeated_act_is_told_as_it_was_kept(thandi: Page, demo: Workspace) -> None:
    """The first time counts, whatever the second says."""
    act = thandi.tag(thandi.ends()[0])
    thandi.keep(act)
    again = thandi.send(act | {"species": "blank"})
    assert again["done"][act["id"]]["words"] == "Four-striped grass mouse, 1, fed"
    assert [tag.species for tag in tags_by(demo, "Thandi")] == ["m"]


def test_acts_that_arrive_at_once_count_once(thandi: Page, demo: Workspace) -> None:
    """Two windows send the same waiting acts at the same moment."""
    acts = [thandi.tag(pair, "blank") for pair in thandi.ends()]
    got: list[Any] = []
    sending = [
        threading.Thread(target=lambda: got.append(Page(demo).send(*acts))) for _ in range(4)
    ]
    for one in sending:
        one.start()
    for one in sending:
        one.join()
    assert len(tags_by(demo, "Thandi")) == len(acts)
    assert all(one["done"] == got[0]["done"] and not one["refused"] for one in got)


def test_nobody_gets_anothers_act(thandi: Page, nomsa: Page) -> None:
    """An id that is taken tells nothing of the tag that has it."""
    act = nomsa.tag(nomsa.ends("all visits")[0], "blank", comment="mine")
    nomsa.keep(act)
    assert thandi.refused(act) == "Another tagger's act has this id already. Load the page again."


def test_a_refused_act_stops_nothing(thandi: Page, demo: Workspace) -> None:
    """Those before and after it are kept, each alone, in their order."""
    one, two, three = thandi.ends()[:3]
    bad = thandi.tag(two, "zebra")
    said = thandi.send(thandi.tag(one), bad, thandi.tag(three, "blank"))
    assert list(said["refused"]) == [bad["id"]]
    assert said["refused"][bad["id"]].startswith("Species 'zebra' is not in the species list.")
    assert [tag.species for tag in tags_by(demo, "Thandi")] == ["m", "blank"]


def test_who_and_whether_it_is_a_ruling_come_from_the_ticket(thandi: Page, ike: Page) -> None:
    """What an act says of itself makes no student an instructor, and nobody another."""
    pair = thandi.ends()[0]
    thandi.keep(thandi.tag(pair, ruling=True, tagger="Nomsa", instructor=True))
    ike.keep(ike.tag(pair, ruling=False))
    view = thandi.workspace.view("SK-OPEN")
    assert [(tag.tagger, tag.ruling) for tag in view.tags[-2:]] == [
        ("Thandi", False),
        ("Ike", True),
    ]


@pytest.mark.parametrize("name", ["nomsa", " NOMSA  ", "Nomsa"])
def test_nomsa_is_one_tagger_however_she_writes(demo: Workspace, name: str) -> None:
    """Her tags, her queue and her undo are one."""
    page = Page(demo, name)
    assert page.ends() == []
    [number] = page.keep(page.tag(page.ends("all visits")[0], "blank"))
    assert tags_by(demo, "Nomsa")[-1].number == number
    page.keep(page.turn("take_back", numbers=[number]))


def test_nobody_tags_without_a_name(demo: Workspace) -> None:
    """They may look; an act is refused, and says what is missing."""
    page = Page(demo, "  ")
    assert "Say who you are first" in page.refused(page.tag(page.ends()[0]))


def test_the_instructor_rules_the_disputed_visit_and_its_tray_gets_a_density(
    demo: Workspace, ike: Page
) -> None:
    """The one unanswered visit of the demo is ruled: pending turns into a density."""
    assert demo.outcome("SKO-D2").status is Status.PENDING
    [disputed] = ike.ends("unanswered")
    ike.keep(ike.tag(disputed, "g"))
    after = demo.outcome("SKO-D2")
    assert (after.status, after.forager) == (Status.KEEP, "Hairy-footed gerbil")
    assert ike.ends("unanswered") == []


def test_two_species_in_one_visit_are_said_of_parts_of_it(thandi: Page) -> None:
    """The first photos are one animal's, the last another's; both parts come back as such."""
    [run] = thandi.runs(thandi.ends()[0])
    ids = [photo["id"] for photo in run["photos"]]
    parts = [(ids[0], ids[3]), (ids[4], ids[5])]
    thandi.keep(thandi.tag(parts[0], "m"))
    assert thandi.ends()[0] == parts[1]
    assert thandi.queue()["tagged"] == 0
    thandi.keep(thandi.tag(parts[1], "g"))
    assert thandi.ends("tagged by me") == parts
    assert thandi.queue()["tagged"] == 1


def test_another_species_in_the_same_photos_does_not_replace_the_first(
    thandi: Page, demo: Workspace
) -> None:
    """Two species at once: both tags hold; a tag without `also` replaces both."""
    pair = thandi.ends()[0]
    thandi.keep(thandi.tag(pair, "m"), thandi.tag(pair, "g", also=True))

    def held() -> list[str]:
        answer = demo.view("SK-OPEN").visits[0].answer
        return [tag.species for tag in answer.tags if tag.tagger == "Thandi"]

    assert held() == ["m", "g"]
    thandi.keep(thandi.tag(pair, "blank"))
    assert held() == ["blank"]


def test_visits_tagged_as_one_come_back_as_one(thandi: Page, demo: Workspace) -> None:
    """One tag over two visits: one run for who made it, two visits for everybody else."""
    one, two, *others = thandi.ends()
    joined = (one[0], two[1])
    thandi.keep(thandi.tag(joined))
    assert thandi.ends("tagged by me") == [joined]
    assert thandi.ends() == others
    assert thandi.queue()["tagged"] == 2
    assert Page(demo, "Piet").ends("all visits")[:2] == [one, two]


def test_the_quiet_sheet_says_blank_and_nothing_else(thandi: Page, demo: Workspace) -> None:
    """Its tags say where they were made; an animal has to be looked at."""
    one, two = thandi.ends()[:2]
    from_sheet = {"from": "quiet sheet"}
    thandi.keep(thandi.tag(one, "blank", **from_sheet), thandi.tag(two, "blank"))
    assert [tag.origin for tag in tags_by(demo, "Thandi")] == ["Quiet sheet", "Tag page"]
    words = thandi.refused(thandi.tag(two, "m", **from_sheet))
    assert words.startswith("On the quiet sheet only blank can be said.")


# --- undo and redo -----------------------------------------------------------------------------


def test_a_tag_is_taken_back_and_restored(thandi: Page, demo: Workspace) -> None:
    """By the act that made it or by its number; it is kept all the while."""
    pair = thandi.ends()[0]
    act = thandi.tag(pair)
    [number] = thandi.keep(act)
    for undo in (thandi.turn("take_back", act), thandi.turn("take_back", numbers=[number])):
        assert thandi.keep(undo) == [number]
        assert tags_by(demo, "Thandi") == []
        assert thandi.ends()[0] == pair
        assert thandi.keep(thandi.turn("restore", act)) == [number]
        assert [tag.number for tag in tags_by(demo, "Thandi")] == [number]


def test_taking_back_twice_is_taking_back_once(thandi: Page, demo: Workspace) -> None:
    """Done over again by another act, it stays taken back, and one restore is enough."""
    act = thandi.tag(thandi.ends()[0])
    thandi.keep(act, thandi.turn("take_back", act), thandi.turn("take_back", act))
    assert tags_by(demo, "Thandi") == []
    thandi.keep(thandi.turn("restore", act))
    assert len(tags_by(demo, "Thandi")) == 1


def test_an_undo_that_arrives_late_again_changes_nothing(thandi: Page, demo: Workspace) -> None:
    """An undo, its redo, and the same undo sent once more by another window: the tag holds."""
    act = thandi.tag(thandi.ends()[0])
    undo = thandi.turn("take_back", act)
    thandi.keep(act, undo, thandi.turn("restore", act))
    assert thandi.keep(undo)
    assert len(tags_by(demo, "Thandi")) == 1


def test_a_page_of_blanks_is_taken_back_together(thandi: Page, demo: Workspace) -> None:
    """Several acts, undone and redone as one deed, in the request that made them."""
    acts = [thandi.tag(pair, "blank") for pair in thandi.ends()]
    undo = thandi.turn("take_back", *acts)
    said = thandi.send(*acts, undo)
    assert said["done"][undo["id"]]["words"] == "6 tags taken back"
    assert tags_by(demo, "Thandi") == []
    thandi.keep(thandi.turn("restore", *acts))
    assert len(tags_by(demo, "Thandi")) == 6


def test_only_ones_own_tags_can_be_taken_back(thandi: Page, nomsa: Page, ike: Page) -> None:
    """One that is not among several stops them all; the instructor may take back any."""
    workspace = thandi.workspace
    theirs = tags_by(workspace, "Nomsa")[0].number
    act = thandi.tag(thandi.ends()[0])
    thandi.keep(act)
    words = thandi.refused(thandi.turn("take_back", act, numbers=[theirs]))
    assert words.startswith(f"Tag {theirs} was made by somebody else.")
    assert "Nomsa" not in words
    assert len(tags_by(workspace, "Thandi")) == 1
    ike.keep(ike.turn("take_back", numbers=[theirs]))
    assert theirs not in [tag.number for tag in tags_by(workspace, "Nomsa")]
    assert nomsa.keep(nomsa.turn("restore", numbers=[theirs])) == [theirs]


def test_what_was_never_kept_cannot_be_taken_back(thandi: Page) -> None:
    """The undo of a refused act, and of a tag that the study does not have."""
    act = thandi.tag(thandi.ends()[0], "zebra")
    assert thandi.refused(act)
    assert "was never kept" in thandi.refused(thandi.turn("take_back", act))
    assert "Tag 99999 is not in the study" in thandi.refused(
        thandi.turn("take_back", numbers=[99999])
    )
    assert "names no tag" in thandi.refused(thandi.turn("restore"))


# --- acts that are refused ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"where": None}, "does not say where the animal was"),
        ({"where": "above"}, "`where` is none of: fed, on_tray, near"),
        ({"count": 0}, "A count of 0 makes no sense"),
        ({"count": 1000}, "Count from 1 to 999"),
        ({"count": 1.5}, "`count` is 1.5, not a whole number"),
        ({"count": True}, "`count` is true, not a whole number"),
        ({"species": ""}, "Species '' is not in the species list"),
        ({"species": 7}, "`species` is 7, not a text"),
        ({"sure": "yes"}, "`sure` is 'yes', not true or false"),
        ({"also": None}, "`also` is null, not true or false"),
        ({"comment": "x" * 501}, "`comment` has 501 letters, 500 are possible"),
        ({"comment": "\ud800"}, "not a text"),
        ({"comment": "a\0b"}, "not a text"),
        ({"placement": "nowhere"}, "is not on placement 'nowhere'"),
        ({"placement": ["SK-OPEN"]}, "`placement` is"),
        ({"first": "102"}, "`first` is '102', not a whole number"),
        ({"last": -1}, "`last` is -1, not a whole number"),
        ({"last": 2**63}, "`last` is 9223372036854775808, not a whole number"),
        ({"last": None}, "`last` is null"),
        ({"from": "elsewhere"}, "`from` is none of: viewer, quiet sheet"),
        ({"do": "dance"}, "`do` is none of: tag, take_back, restore"),
        ({"do": None}, "`do` is none of"),
        ({"do": "take_back", "acts": ["x"]}, "`acts` holds something else than ids"),
        ({"do": "take_back", "acts": 5}, "`acts` is 5, not a list"),
        ({"do": "restore", "acts": [], "numbers": ["7"]}, "`number` is '7'"),
    ],
)
def test_an_act_that_makes_no_sense_keeps_nothing(
    thandi: Page, values: dict[str, Any], words: str
) -> None:
    """Thing, value and way out are said, and the study is as it was."""
    workspace = thandi.workspace
    act = thandi.tag(thandi.ends()[0]) | values
    assert words in thandi.refused(act)
    assert tags_by(workspace, "Thandi") == []


def test_photos_of_elsewhere_and_turned_runs_are_refused(thandi: Page, demo: Workspace) -> None:
    """A run of another placement, of none, or whose first photo comes after its last."""
    other = Page(demo, placement="SK-BUSH").ends()[0]
    first, last = thandi.ends()[0]
    for pair in (other, (first, other[1]), (first, 10**9)):
        assert "is not on placement 'SK-OPEN'" in thandi.refused(thandi.tag(pair))
    assert f"Photo {last} comes after photo {first}" in thandi.refused(thandi.tag((last, first)))
    assert tags_by(demo, "Thandi") == []
