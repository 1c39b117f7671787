"""What the viewer is told: which runs there are, all that is shown of each, and nothing more."""

import json
from pathlib import Path
from typing import Any

import pytest
from asking import Page, tags_by
from builders import write_burst, write_photo
from test_cli import DAY

from app.demo import SOURCE
from app.review import Show
from core.clockfaults import applying
from core.errors import ClockError
from core.logs import LogKind
from core.store import Raises
from core.store.tables import SCORES
from core.workspace import Workspace

# --- the queue ---------------------------------------------------------------------------------


def test_the_queue_names_runs_by_their_ends(thandi: Page, demo: Workspace) -> None:
    """Each of the six visits of SK-OPEN (tags.csv) with its ends and how many photos it has."""
    queue = thandi.queue()
    visits = [one.visit.photos for one in demo.view("SK-OPEN").visits]
    assert queue.pop("runs") == [[v[0].id, v[-1].id, len(v), 0, None] for v in visits]
    assert len(visits) == 6
    assert queue == {
        "placement": "SK-OPEN",
        "show": "not tagged by me",
        "order": "time",
        "version": demo.version(),
        "visits": 6,
        "tagged": 0,
        "unscored": 6,
        "louder": 0,
        "clock_fault": "",
        "outlines": [],
    }


@pytest.mark.parametrize(
    ("show", "mine", "nomsas"),
    [
        ("not tagged by me", 6, 0),
        ("tagged by me", 0, 10),
        ("all visits", 6, 6),
        ("unanswered", 1, 1),
        ("unsure", 0, 0),
        ("handler and time-lapse photos", 4, 4),
        ("photos without a time", 0, 0),
        ("species:m", 0, 3),
        ("species:handler", 0, 4),
    ],
)
def test_what_each_list_holds(thandi: Page, nomsa: Page, show: str, mine: int, nomsas: int) -> None:
    """Nomsa has tagged six visits and four handler runs of SK-OPEN, a mouse thrice (tags.csv)."""
    assert (len(thandi.ends(show)), len(nomsa.ends(show))) == (mine, nomsas)
    assert thandi.queue(show)["show"] == show


def test_each_tag_takes_its_run_off_the_list(thandi: Page) -> None:
    """What is tagged is counted, and comes under what Thandi tagged."""
    first, second, *others = thandi.ends()
    thandi.keep(thandi.tag(first), thandi.tag(second, "blank"))
    queue = thandi.queue()
    assert (queue["visits"], queue["tagged"]) == (6, 2)
    assert thandi.ends() == others
    assert thandi.ends("tagged by me") == [first, second]


def test_photos_without_a_time_for_a_clock_at_fault_are_listed(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clock that cannot be corrected: nothing to tag, the words say why, the photos are shown."""

    def at_fault(*_: object) -> None:
        raise ClockError("The clock checks of 'SK-OPEN' run backwards.")

    monkeypatch.setattr(applying, "clock_of", at_fault)
    page = Page(demo)
    queue = page.queue("photos without a time")
    assert queue["clock_fault"] == "The clock checks of 'SK-OPEN' run backwards."
    assert (queue["visits"], queue["unscored"]) == (0, len(queue["runs"]))
    photos = [photo for photo in demo.view("SK-OPEN").photos if photo.is_photo]
    assert queue["runs"] == [[photo.id, photo.id, 1, 0, None] for photo in photos]
    assert page.queue("photos without a time", "quiet")["runs"] == []


# --- runs --------------------------------------------------------------------------------------


def test_all_that_is_shown_of_a_run(thandi: Page, demo: Workspace) -> None:
    """Its name, when, before which tray, and each photo with its time and its words."""
    [run] = thandi.runs(thandi.ends()[0])
    photos = run.pop("photos")
    visit = demo.view("SK-OPEN").visits[0].visit.photos
    assert run == {
        "first": visit[0].id,
        "last": visit[-1].id,
        "name": "Visit 1",
        "kind": "visit",
        "visit": 1,
        "when": "14 Mar 2026, 08:14:07 to 08:14:44",
        "tray": "In the window of SKO-D1 (tray T1).",
        "in_window": True,
        "trays": [],
        "state": "",
        "learned": "",
        "said": [],
    }
    assert [photo["id"] for photo in photos] == [photo.id for photo in visit]
    edition = demo.previews.editions([visit[4].id])[visit[4].id]
    assert len(edition) > 16
    assert photos[4] == {
        "id": visit[4].id,
        "edition": edition,
        "file": "DCIM/100DUNE/DUNE0008.JPG",
        "alt": "Photo 5 of 6 of visit 1, tray T1, placement SK-OPEN, 14 Mar 2026, 08:14:42",
        "time": "08:14:42",
        "note": "",
        "infrared": None,
        "change": None,
        "outline": [],
        "changed": "",
    }


@pytest.mark.parametrize(
    ("on_tray", "off_tray", "words"),
    [
        (0.4, 0.1, "changed most on the tray"),
        (0.1, 0.4, "changed most beside the tray"),
        (0.04, 0.0, "next to nothing changed"),
        (None, None, ""),
    ],
)
def test_it_is_told_where_a_photo_changed_most(
    thandi: Page, demo: Workspace, on_tray: float | None, off_tray: float | None, words: str
) -> None:
    """On the tray or beside it, where it is known how the tray stands; of a trace it is not."""
    whole = max(on_tray or 0, off_tray or 0)
    ids = scored(demo, {3: whole}, on_tray=on_tray, off_tray=off_tray)
    [run] = thandi.runs(thandi.ends()[0])
    assert {photo["id"]: photo["changed"] for photo in run["photos"]}[ids[3]] == words


def test_runs_come_in_the_order_asked_for(thandi: Page) -> None:
    """Backwards, and one of them twice."""
    ends = thandi.ends()
    asked = [*reversed(ends), ends[0]]
    assert [(run["first"], run["last"]) for run in thandi.runs(*asked)] == asked


def test_a_part_and_a_join_have_names_of_their_own(thandi: Page, demo: Workspace) -> None:
    """A visit's beginning, one photo of it, two visits, five, and two of which one in part."""
    photos = [[photo.id for photo in one.visit.photos] for one in demo.view("SK-OPEN").visits]
    asked = {
        "Visit 1, photos 1 to 3 of 6": (photos[0][0], photos[0][2]),
        "Visit 1, photo 4 of 6": (photos[0][3], photos[0][3]),
        "Visits 1 and 2": (photos[0][0], photos[1][-1]),
        "Visits 1 to 3": (photos[0][0], photos[2][-1]),
        "Visits 1 and 2, in part": (photos[0][1], photos[1][-1]),
    }
    rows = thandi.runs(*asked.values())
    assert [run["name"] for run in rows] == list(asked)
    assert [len(run["photos"]) for run in rows] == [3, 1, 9, 12, 8]
    assert rows[0]["photos"][2]["alt"].startswith("Photo 3 of 3 of visit 1, photos 1 to 3 of 6,")


def test_photos_of_our_staff_are_a_run_of_their_own(thandi: Page) -> None:
    """They make no visit; joined with a visit next to them both are shown."""
    handlers, visits = thandi.ends("handler and time-lapse photos"), thandi.ends()
    [run] = thandi.runs(handlers[0])
    assert (run["name"], run["kind"], run["visit"]) == ("Handler photos", "handler", 0)
    assert len(run["photos"]) == 3
    [both] = thandi.runs((handlers[0][0], visits[0][1]))
    assert (both["name"], both["kind"], len(both["photos"])) == (
        "Visit 1 and handler photos", "visit", 9,
    )  # fmt: skip


def test_a_time_lapse_photo_is_named_so(demo: Workspace) -> None:
    """HR-OPEN took one every two hours; tagged, it is a visit of its own photo."""
    page = Page(demo, placement="HR-OPEN")
    single = [pair for pair in page.ends("handler and time-lapse photos") if pair[0] == pair[1]]
    [run] = page.runs(single[0])
    assert (run["name"], run["kind"]) == ("Time-lapse photo", "timelapse")
    page.keep(page.tag(single[0], "blank"))
    [run] = page.runs(single[0])
    assert run["kind"] == "visit"
    assert [photo["id"] for photo in run["photos"]] == [single[0][0]]


def test_a_run_means_its_photos_whatever_they_have_become(ike: Page) -> None:
    """A visit that is ruled to be our staff while it is on a screen stays the same photos."""
    first = ike.ends("all visits")[0]
    [before] = ike.runs(first)
    ike.keep(ike.tag(first, "handler"))
    [after] = ike.runs(first)
    assert (before["kind"], after["kind"]) == ("visit", "handler")
    assert [one["id"] for one in after["photos"]] == [one["id"] for one in before["photos"]]
    assert first not in ike.ends("all visits")


def test_a_visit_of_which_a_part_became_our_staffs_is_still_shown_whole(ike: Page) -> None:
    """Its beginning was ruled to be our staff: asked for whole, it has all its photos."""
    [visit] = ike.runs(ike.ends("all visits")[0])
    ids = [photo["id"] for photo in visit["photos"]]
    ike.keep(ike.tag((ids[0], ids[2]), "handler"))
    [run] = ike.runs((ids[0], ids[-1]))
    assert [photo["id"] for photo in run["photos"]] == ids
    assert (run["name"], run["kind"]) == ("Visit 1 and handler photos", "visit")


def test_photos_that_make_no_visit_stay_out_of_one(ike: Page) -> None:
    """The middle of a visit was ruled to be our staff: its ends are the visit, without it."""
    [visit] = ike.runs(ike.ends("all visits")[0])
    ids = [photo["id"] for photo in visit["photos"]]
    ike.keep(ike.tag((ids[2], ids[3]), "handler"))
    [run] = ike.runs((ids[0], ids[-1]))
    assert [photo["id"] for photo in run["photos"]] == [*ids[:2], *ids[4:]]


def test_photos_without_a_time_are_shown_and_cannot_be_tagged(
    empty: Workspace, tmp_path: Path
) -> None:
    """An undated photo is a run by itself, in no visit."""
    empty.load(LogKind.SPECIES, SOURCE / "species.csv")
    write_burst(tmp_path / "card", DAY, 2)
    write_photo(tmp_path / "card" / "undated.JPG", None, shade=99)
    empty.scan(tmp_path / "card", "P1")
    page = Page(empty, placement="P1")
    [undated] = page.ends("photos without a time")
    [run] = page.runs(undated)
    assert (run["name"], run["kind"], run["in_window"]) == (
        "Photo without a time", "untimed", False,
    )  # fmt: skip
    assert run["photos"][0]["time"] == ""
    assert run["photos"][0]["note"] == empty.view("P1").untimed[0].problem
    assert "belongs to no visit and cannot be tagged" in page.refused(page.tag(undated))
    assert empty.view("P1").tags == ()


def test_which_tray_is_asked_only_where_several_were_out(demo: Workspace) -> None:
    """A camera that watches two trays that are out asks; a tag that names one keeps it."""
    page = Page(demo)
    rows = demo.log_rows(LogKind.CAMERAS)
    demo.save_rows(LogKind.CAMERAS, [row | {"trays": "T1; T2"} if row["placement"] == "SK-OPEN"
                                     else row for row in rows])  # fmt: skip
    [run] = page.runs(page.ends()[0])
    assert run["trays"] == ["T1", "T2"]
    page.keep(page.tag(page.ends()[0], tray="T2"))
    assert tags_by(demo, "Thandi")[-1].tray == "T2"
    words = page.refused(page.tag(page.ends()[0], tray="T3"))
    assert words.startswith("Tray 'T3' is not watched by placement 'SK-OPEN'. It watches T1, T2.")


def test_a_run_in_no_trays_window_says_so(demo: Workspace) -> None:
    """Where the tray log has another tray alone, every visit counts for no tray."""
    rows = [row for row in demo.log_rows(LogKind.TRAYS) if row["tray"] != "T1"]
    demo.save_rows(LogKind.TRAYS, rows)
    page = Page(demo)
    [run] = page.runs(page.ends()[0])
    assert (run["tray"], run["in_window"]) == ("In no tray's window: it counts for no tray.", False)


def test_copies_are_made_in_the_order_in_which_they_are_looked_at(thandi: Page) -> None:
    """The run on screen first, then how each of the next ones begins, then the rest of them."""
    first, second, third = thandi.ends()[:3]
    runs = [[photo["id"] for photo in run["photos"]] for run in thandi.runs(first, second, third)]
    begin = [*runs[0], runs[1][0], runs[2][0]]
    assert thandi.maker.wanted == [*begin, *runs[1][1:], *runs[2][1:]]


def test_runs_that_are_gone_are_said_to_be(thandi: Page, demo: Workspace) -> None:
    """Photos of another placement, of no study, or in another order: words in their place."""
    other = Page(demo, placement="SK-BUSH").ends()[0]
    mine = thandi.ends()[0]
    asked = [other, (10**6, 10**6 + 1), (mine[1], mine[0]), (mine[0], other[1]), mine]
    *gone, last = thandi.runs(*asked)
    assert [(run["first"], run["last"]) for run in gone] == asked[:4]
    assert ["not on this placement" in run["gone"] for run in gone] == [True, True, False, True]
    assert "the clock was corrected" in gone[2]["gone"]
    assert "gone" not in last


def test_a_card_that_is_forgotten_takes_its_runs_along(thandi: Page, demo: Workspace) -> None:
    """A page that still has them is told so, and its act is refused with words."""
    pair = thandi.ends()[0]
    thandi.runs(pair)
    [card] = [card for card in demo.cards() if card.placement == "SK-OPEN"]
    demo.forget_card(card.id, with_tags=True)
    assert "not on this placement any more" in thandi.runs(pair)[0]["gone"]
    assert "is not on placement 'SK-OPEN' (any more)" in thandi.refused(thandi.tag(pair))


# --- who sees what -----------------------------------------------------------------------------


def test_a_student_is_never_told_what_others_said(thandi: Page, nomsa: Page, ike: Page) -> None:
    """No answer to Thandi names another tagger or has a tag, though every visit is tagged."""
    for show in Show:
        asked = f"{show}:m" if show is Show.SPECIES else str(show)
        pairs = thandi.ends(asked)
        told = json.dumps(thandi.runs(*pairs))
        assert "Nomsa" not in told
        assert "Piet" not in told
        assert '"said": []' in told or not pairs
        assert "State" not in told
    own = nomsa.runs(*nomsa.ends("all visits"))
    assert {said["who"] for run in own for said in run["said"]} == {"Nomsa"}
    seen = ike.runs(*ike.ends("all visits"))
    assert {said["who"] for run in seen for said in run["said"]} == {"Nomsa", "Piet"}
    assert {run["state"] for run in own} == {""}
    assert "disputed: taggers differ on a visit, the instructor has to rule" in {
        run["state"] for run in seen
    }


def test_a_ruled_visit_tells_its_taggers_nothing_more(nomsa: Page, ike: Page) -> None:
    """The ruling is the instructor's to see."""
    [disputed] = ike.ends("unanswered")
    ike.keep(ike.tag(disputed, "g"))
    [seen] = nomsa.runs(disputed)
    assert [said["who"] for said in seen["said"]] == ["Nomsa"]
    assert not seen["said"][0]["ruling"]


def test_what_was_said_names_its_photos(demo: Workspace, ike: Page) -> None:
    """A tag of a part, of one photo, and of a longer run than the one on screen."""
    page = Page(demo)
    [run] = page.runs(page.ends()[0])
    ids = [photo["id"] for photo in run["photos"]]
    page.keep(
        page.tag((ids[0], ids[2])), page.tag((ids[3], ids[3]), "blank"), page.tag((ids[0], ids[-1]))
    )
    [whole] = page.runs((ids[0], ids[-1]))
    assert [said["words"] for said in whole["said"]] == [
        "Four-striped grass mouse, 1, fed, photos 1 to 3",
        "blank, photo 4",
        "Four-striped grass mouse, 1, fed",
    ]
    [part] = page.runs((ids[0], ids[2]))
    assert [said["words"] for said in part["said"]] == [
        "Four-striped grass mouse, 1, fed",
        "Four-striped grass mouse, 1, fed, on a longer run of photos",
    ]
    assert [(said["first"], said["last"], said["species"]) for said in whole["said"]][:2] == [
        (ids[0], ids[2], "m"),
        (ids[3], ids[3], "blank"),
    ]
    [told] = [said for said in whole["said"] if said["species"] == "blank"]
    assert (told["mine"], told["who"], told["ruling"]) == (True, "Thandi", False)
    [seen] = ike.runs((ids[0], ids[-1]))
    assert not any(said["mine"] for said in seen["said"])


# --- scores and outlines -----------------------------------------------------------------------


def scored(
    workspace: Workspace,
    scores: dict[int, float],
    placement: str = "SK-OPEN",
    on_tray: float | None = None,
    off_tray: float | None = None,
) -> list[int]:
    """Score photos by their place in the placement's order; gives the ids of all of them."""
    ids: list[int] = workspace.base(placement).ids.tolist()
    rows = [
        {
            "photo_id": ids[place],
            "method": 1,
            "basis": "copy",
            "infrared": place % 2 == 1,
            "whole": score,
            "on_tray": on_tray,
            "off_tray": off_tray,
            "outline": json.dumps([[[0.1, 0.2], [0.3, 0.2], [0.3, 0.4]]]),
        }
        for place, score in scores.items()
    ]
    with workspace._database.begin(Raises.NOTHING) as connection:
        connection.execute(SCORES.delete())
        connection.execute(SCORES.insert(), rows)
    return ids


def test_runs_come_by_how_much_they_changed(thandi: Page, demo: Workspace) -> None:
    """Photos 3 to 8 are the first visit, 9 to 11 the second; the others are not scored."""
    by_time = thandi.queue()["runs"]
    scores = dict.fromkeys(range(3, 12), 0.1) | {5: 0.4, 10: 0.30004}
    ids = scored(demo, scores)
    found = thandi.queue(order="changed")
    assert found["runs"] == [
        [*by_time[0][:3], ids[5], 0.4],
        [*by_time[1][:3], ids[10], 0.3],
        *by_time[2:],
    ]
    assert found["unscored"] == 4
    quiet = thandi.queue(order="quiet")
    assert quiet["runs"] == [found["runs"][1], found["runs"][0]]
    assert quiet["unscored"] == 4


def test_the_quiet_sheet_ends_where_an_animal_could_be_plain(thandi: Page, demo: Workspace) -> None:
    """A run that changed as much as a small animal does is counted, and looked at alone."""
    scored(demo, dict.fromkeys(range(3, 9), 0.1) | dict.fromkeys(range(9, 12), 0.5))
    quiet = thandi.queue(order="quiet")
    assert [run[4] for run in quiet["runs"]] == [0.1]
    assert quiet["louder"] == 1
    assert thandi.queue(order="changed")["louder"] == 0


def test_the_quiet_sheet_never_offers_an_instructor_to_overrule_an_animal(
    thandi: Page, ike: Page, demo: Workspace
) -> None:
    """Nomsa and Piet named an animal: a tagger may look anew, a ruling needs the run itself."""
    scored(demo, dict.fromkeys(range(3, 12), 0.1))
    first, second = thandi.ends()[:2]
    assert [tuple(run[:2]) for run in thandi.queue(order="quiet")["runs"]] == [first, second]
    said = {tag.species for tag in demo.view("SK-OPEN").tags if tag.first_photo == second[0]}
    assert said == {"blank"}
    assert [tuple(run[:2]) for run in ike.queue(order="quiet")["runs"]] == [second]
    pair = first
    act = ike.tag(pair, "blank") | {"from": "quiet sheet"}
    [words] = ike.send(act)["refused"].values()
    assert words.endswith("of this run. Open it and look before you rule.")
    assert thandi.send(thandi.tag(pair, "blank") | {"from": "quiet sheet"})["refused"] == {}
    assert ike.send(ike.tag(pair, "blank"))["refused"] == {}


def test_a_ruling_of_the_quiet_sheet_does_not_come_back_over_an_animal(
    thandi: Page, ike: Page, demo: Workspace
) -> None:
    """Taken back, then somebody named an animal: done again, it would overrule it unseen."""
    ends = ike.ends()[1]
    ruling = ike.tag(ends, "blank") | {"from": "quiet sheet"}
    ike.keep(ruling)
    ike.keep(ike.turn("take_back", ruling))
    thandi.keep(thandi.tag(ends, "m"))
    assert ike.refused(ike.turn("restore", ruling)).startswith("Thandi said")
    assert [tag.species for tag in tags_by(demo, "Ike")] == []


def test_who_said_blank_from_the_quiet_sheet_is_told_where_visits_are_settled(
    thandi: Page, ike: Page, demo: Workspace
) -> None:
    """Under what several said alike it names those of them who said it from there."""
    waiting = ike.ask("GET", "/tagging/settle").said["visits"]
    visit = next(one for one in waiting if one["placement"] == "SK-OPEN")
    assert [one["origin"] for one in visit["answers"]] == [""] * len(visit["answers"])
    ends = visit["first"], visit["last"]
    sizwe = Page(demo, "Sizwe", placement="SK-OPEN")
    thandi.keep(thandi.tag(ends, "blank") | {"from": "quiet sheet"})
    sizwe.keep(sizwe.tag(ends, "blank"))
    again = ike.ask("GET", "/tagging/settle").said["visits"]
    told = next(one for one in again if one["first"] == visit["first"])["answers"]
    [blank] = [one for one in told if "Thandi" in one["who"]]
    assert "Sizwe" in blank["who"]
    assert blank["origin"] == "Thandi: from the quiet sheet"
    row = ike.runs(ends)[0]["said"]
    assert [one["words"] for one in row if one["who"] == "Thandi"] == [
        "blank, from the quiet sheet"
    ]


def test_handler_photos_are_not_called_blank_by_a_ruling_of_the_sheet(
    thandi: Page, ike: Page, demo: Workspace
) -> None:
    """Whatever stands there and is not blank holds the sheet back, unsure or unknown too."""
    ends = ike.ends()[1]
    scored(demo, dict.fromkeys(range(9, 12), 0.1))
    assert ends in ike.ends(order="quiet")
    for species in ("handler", "unknown"):
        act = thandi.tag(ends, species, sure=False)
        thandi.keep(act)
        assert ends not in ike.ends(order="quiet")
        assert "Open it and look" in ike.refused(ike.tag(ends, "blank") | {"from": "quiet sheet"})
        thandi.keep(thandi.turn("take_back", act))
    assert ends in ike.ends(order="quiet")


def test_scores_made_since_are_seen_at_once(thandi: Page, demo: Workspace) -> None:
    """They raise no counter of the study, and are not kept longer than they hold."""
    version = demo.version()
    assert thandi.queue()["runs"][0][4] is None
    scored(demo, dict.fromkeys(range(3, 9), 0.5))
    assert thandi.queue()["runs"][0][4] == 0.5
    scored(demo, dict.fromkeys(range(3, 9), 0.25))
    assert thandi.queue()["runs"][0][4] == 0.25
    assert demo.version() == version


def test_a_run_with_a_photo_that_is_not_scored_is_not_quiet(thandi: Page, demo: Workspace) -> None:
    """What nobody looked at is never put last."""
    scored(demo, dict.fromkeys(range(3, 8), 0.0))
    assert thandi.queue(order="quiet")["runs"] == []
    assert thandi.queue()["runs"][0][3:] == [0, None]


def test_each_photo_tells_how_much_it_changed_and_where(thandi: Page, demo: Workspace) -> None:
    """Score, light and outline are those of the photo; of others nothing is said."""
    ids = scored(demo, {3: 0.12344, 4: 1.0})
    [run] = thandi.runs(thandi.ends()[0])
    told = [
        (one["id"], one["infrared"], one["change"], one["outline"]) for one in run["photos"][:3]
    ]
    outline = [[[0.1, 0.2], [0.3, 0.2], [0.3, 0.4]]]
    assert told == [
        (ids[3], True, 0.1234, outline),
        (ids[4], False, 1.0, outline),
        (ids[5], None, None, []),
    ]


ROUND = {"placement": "SK-OPEN", "tray": "T1", "cx": 0.5, "cy": 0.4, "rx": 0.2, "ry": 0.1,
         "angle": -10}  # fmt: skip


def test_the_outline_drawn_last_is_the_trays(thandi: Page, nomsa: Page) -> None:
    """It is kept with who drew it, and told with the queue; the angle counts from 0 to 180."""
    drawn = {**ROUND, "angle": 170.0, "by": "Thandi"}
    del drawn["placement"]
    assert thandi.ask("POST", "/tagging/outline", ROUND).said == {"outlines": [drawn]}
    assert nomsa.queue()["outlines"] == [drawn]
    nomsa.ask("POST", "/tagging/outline", ROUND | {"cx": 0.6})
    assert thandi.queue()["outlines"] == [drawn | {"cx": 0.6, "by": "Nomsa"}]
    assert Page(thandi.workspace, placement="SK-BUSH").queue()["outlines"] == []


@pytest.mark.parametrize(
    ("values", "status", "words"),
    [
        ({"tray": "T9"}, 400, "Tray 'T9' is not watched by placement 'SK-OPEN'"),
        ({"cx": 1.1}, 400, "lies outside the picture"),
        ({"ry": 0}, 400, "too small"),
        ({"rx": 3}, 400, "too large"),
        ({"cy": "0.4"}, 400, "`cy` is '0.4', not a number"),
        ({"angle": None}, 400, "`angle` is null, not a number"),
        ({"rx": True}, 400, "`rx` is true, not a number"),
        ({"placement": "nowhere"}, 404, "Placement 'nowhere' is not known"),
    ],
)
def test_an_outline_that_is_none_is_refused(
    thandi: Page, values: dict[str, Any], status: int, words: str
) -> None:
    """Thing, value and way out; nothing is kept."""
    found = thandi.refusal("POST", "/tagging/outline", ROUND | values)
    assert found[0] == status
    assert words in found[1]
    assert thandi.queue()["outlines"] == []


def test_an_outline_has_a_name_under_it(demo: Workspace) -> None:
    """Without one it would look as if the machine had found it."""
    status, words = Page(demo, "").refusal("POST", "/tagging/outline", ROUND)
    assert (status, words) == (400, "The outline has no name under it. Say who you are first.")
