"""The Class and Settle pages: who takes part, agreement, sheets, shares, and whose ruling is."""

from pathlib import Path

import pytest
from asking import Page
from click.testing import CliRunner, Result
from pages import frames, opened, press, signed_in, told, words
from streamlit.testing.v1 import AppTest

from app import agreeing, cli
from app.review import Show
from core import agreement
from core.analysis.intervals import Undefined, share
from core.handout import Handout, Unit
from core.model import VisitState, Where
from core.people import Role, State
from core.workspace import NewTag, Workspace


def at_tab(name: str) -> AppTest:
    """Open a tab of the Class page as the instructor of a computer of one's own."""
    return opened("classroom", own_tagger="Dr Botha", own_instructor="yes", **{"class-tabs": name})


def rule(workspace: Workspace, who: str = "Dr Botha") -> None:
    """Rule the one disputed visit of the demo: it was a gerbil, as Nomsa said and Piet did not."""
    [visit] = [
        one.visit
        for one in workspace.view("SK-OPEN").visits
        if one.answer.state is VisitState.DISPUTED
    ]
    ends = visit.photos[0].id, visit.photos[-1].id
    workspace.tag(NewTag("SK-OPEN", *ends, who, "g", where=Where.FED, ruling=True))


# --- agreement and sheets ------------------------------------------------------------------------


def test_agreement_stands_with_its_share_table_and_intervals(demo: Workspace) -> None:
    """The demo's two taggers read 18 visits and differ on one: 17 of 18 are the same."""
    at = at_tab("Agreement")
    [group] = [frame for frame in frames(at) if "Krippendorff's alpha" in frame]
    assert group["species"].tolist()[0] == "whole answers"
    assert group["visits"].tolist()[0] == 18
    assert group["same answer"].tolist()[0] == "94 %"
    assert "almost perfect" in group["Fleiss' kappa"].tolist()[0]
    assert group["readers a visit"].tolist()[0] == 2
    [pairs] = [frame for frame in frames(at) if "readers" in frame]
    assert pairs["readers"].tolist() == ["Nomsa and Piet"]
    assert pairs["same answer"].tolist()[0].startswith("17 of 18, 94 % (")
    [cross] = [frame for frame in frames(at) if "Nomsa ↓ Piet →" in frame]
    assert int(cross.drop(columns="Nomsa ↓ Piet →").to_numpy().sum()) == 18
    assert "A rare species makes a kappa low" in words(at)
    assert demo.people.agreements().pairs[0].n == 18


def test_what_cannot_be_told_is_said_in_words() -> None:
    """No number stands where there is none; the reason does."""
    same = agreement.cohen_kappa(agreement.Table((("g",),), ((9,),)))
    assert agreeing.chance(same).startswith("not defined: every answer is one and the same")
    assert agreeing.interval(same) == ""
    assert agreeing.share(share(0, 0)) == ("not defined: there is nothing of which to give a share")
    assert agreeing.of_ruled(share(0, 0)) == "none of these was ruled yet"
    assert agreeing.percent(Undefined("no visit was read by two")) == (
        "not defined: no visit was read by two"
    )
    perfect = agreement.cohen_kappa(agreement.Table((("g",), ("m",)), ((5, 0), (0, 4))))
    assert agreeing.chance(perfect) == "1.00, almost perfect"
    assert agreeing.interval(perfect).startswith("none: the asymptotic error is zero")


def test_kappa_is_written_with_its_interval_and_its_word() -> None:
    """[[20, 5], [10, 15]]: kappa 0.40, standard error 0.127 (a published example)."""
    kappa = agreement.cohen_kappa(agreement.Table((("g",), ("m",)), ((20, 5), (10, 15))))
    assert agreeing.chance(kappa) == "0.40, fair"
    assert agreeing.interval(kappa) == "0.15 to 0.65"


def test_a_student_sees_what_they_mix_up_with_the_frames(demo: Workspace) -> None:
    """Nothing of the disputed visit is on Piet's sheet until it is ruled; then its photos are."""
    before = words(opened("classroom", own_tagger="Piet"))
    assert "Nothing was mixed up." in before
    assert "Right: 17 of 17" in before
    assert "Where an instructor ruled: none of these was ruled yet" in before
    rule(demo)
    at = opened("classroom", own_tagger="Piet")
    assert "once: said Four-striped grass mouse, settled as Hairy-footed gerbil" in words(at)
    assert "Right: 17 of 18" in words(at)
    assert sum(one.value.count("/photo/strip/") for one in at.html) == 2
    assert not at.tabs
    assert "Nothing was mixed up." in words(opened("classroom", own_tagger="Nomsa"))


def test_an_instructor_sees_every_sheet(demo: Workspace) -> None:
    """Any tagger's sheet can be chosen."""
    rule(demo)
    at = at_tab("Sheets")
    at.selectbox(key="sheet-of").set_value("Piet").run()
    assert "settled as Hairy-footed gerbil" in words(at)


def test_a_study_nobody_tagged_says_what_to_do(empty: Workspace) -> None:
    """Each tab of an empty study has words in place of a table, and no fault."""
    assert "No visit was read by two taggers yet" in words(at_tab("Agreement"))
    assert "Nobody has tagged anything yet" in words(at_tab("Sheets"))
    assert "Type your name to see your sheet" in words(opened("classroom"))
    at = at_tab("Handing out")
    assert "Nobody takes part yet" in words(press(at, "hand-out"))
    assert empty.people.how_handed_out() is None
    nothing = Page(empty, "Ike", instructor=True).ask("GET", "/tagging/settle").said
    assert nothing == {"visits": [], "count": 0, "references": {}}


# --- people --------------------------------------------------------------------------------------


def test_people_are_put_on_the_list_and_taken_out(demo: Workspace) -> None:
    """A name that is taken is refused; who is taken out stays on the list, as left."""
    at = at_tab("People")
    at.text_input(key="new-name").set_value("Vusi")
    at = press(at, "add-person-pressed")
    assert "Vusi is on the list." in words(at)
    at.text_input(key="new-name").set_value(" vusi ")
    at = press(at, "add-person-pressed")
    assert "Add an initial" in words(at)
    at.selectbox(key="person").set_value("Vusi").run()
    at.radio(key="person-deed").set_value(at.radio(key="person-deed").options[1]).run()
    at = press(at, "change-person")
    assert "Vusi: take out. Done." in words(at)
    assert [one.state for one in demo.people.all() if one.name == "Vusi"] == [State.LEFT]


def test_all_who_wait_are_let_in_at_once(classroom: Workspace) -> None:
    """Thirty students signed in with their accounts for the first time: one press."""
    for number in range(30):
        classroom.people.sign_in_with_account(f"s{number}@x.org", f"S {number}", vetted=False)
    at = signed_in("classroom", "Ike", **{"class-tabs": "People"})
    assert "30 people were let in." in words(press(at, "let-in-all"))
    assert not [one for one in classroom.people.all() if one.state is State.WAITING]


def test_an_instructor_sets_another_code(classroom: Workspace) -> None:
    """A short one is refused; a good one is set, and who was signed in has to sign in again."""
    way = classroom.people.way()
    at = signed_in("classroom", "Ike", **{"class-tabs": "People"})
    at.text_input(key="new-code").set_value("short")
    at = press(at, "set-code")
    assert "8 letters or more" in words(at)
    at.text_input(key="new-code").set_value("another code now")
    at = press(at, "set-code")
    assert classroom.people.way() != way
    assert [one.label for one in at.text_input] == ["Your name", "Class code"]


# --- handing out ---------------------------------------------------------------------------------


def test_visits_are_handed_out_by_a_press(classroom: Workspace) -> None:
    """Of the demo one visit is open: it goes to the two who have begun it."""
    at = signed_in("classroom", "Ike", **{"class-tabs": "Handing out"})
    assert "Handed out: 2 shares." in words(press(at, "hand-out"))
    assert {share.tagger for share in classroom.people.shares()} == {"Nomsa", "Piet"}


def fresh(workspace: Workspace) -> None:
    """Take every tag of Piet's back, so that each visit waits for another reader."""
    for placement in ("SK-OPEN", "SK-BUSH", "HR-OPEN", "HR-BUSH"):
        numbers = [tag.number for tag in workspace.view(placement).tags if tag.tagger == "Piet"]
        workspace.turn(numbers, "Piet", taken_back=True)


def test_my_share_is_a_list_of_the_tag_page(classroom: Workspace) -> None:
    """It has what was given and is not tagged yet, and grows shorter by tagging."""
    fresh(classroom)
    open_ = [v for v in classroom.people.visits() if not v.answer.held]
    classroom.people.hand_out(Handout(Unit.VISIT), "Ike")
    given = classroom.people.shares("SK-OPEN", "Thandi")
    thandi = Page(classroom, "Thandi", way=classroom.people.way())
    ends = thandi.ends(Show.SHARE)
    assert {first for first, _ in ends} == {one.photo for one in given}
    thandi.keep(thandi.tag(ends[0]))
    assert thandi.ends(Show.SHARE) == ends[1:]
    loads = {one.name: one.given for one in classroom.people.progress() if one.given}
    assert loads["Nomsa"] == len(open_)  # she has read them all
    assert abs(loads["Piet"] - loads["Thandi"]) <= 1
    assert loads["Piet"] + loads["Thandi"] == len(open_)
    at = signed_in("tag", "Thandi")
    assert told(at)["show"] == Show.SHARE
    share = classroom.people.share_of("Thandi")
    [placement] = [one for one in at.selectbox if one.label == "Placement"]
    assert placement.value in share  # there is something to begin with
    for name, many in share.items():
        assert f"{name} ({many} yours)" in placement.options


def test_what_is_there_to_learn_from_looks_like_any_other_until_it_is_tagged(
    classroom: Workspace,
) -> None:
    """Nothing on the wire tells it apart; once tagged, the run says how it was ruled."""
    for one in list(classroom.people.visits()):
        if one.answer.state is VisitState.AGREED and one.answer.species == ("g",):
            ends = one.visit.photos[0].id, one.visit.photos[-1].id
            classroom.tag(
                NewTag(one.visit.placement, *ends, "Ike", "g", where=Where.FED, ruling=True)
            )
    fresh(classroom)
    classroom.people.hand_out(Handout(Unit.VISIT, training=0.5), "Ike")
    shares = classroom.people.shares("SK-OPEN", "Thandi")
    training = next(one for one in shares if one.training)
    thandi = Page(classroom, "Thandi", way=classroom.people.way())
    ends = next(pair for pair in thandi.ends(Show.SHARE) if pair[0] == training.photo)
    [row] = thandi.runs(ends)
    assert (row["learned"], row["state"], row["said"]) == ("", "", [])
    thandi.keep(thandi.tag(ends, "m"))
    [row] = thandi.runs(ends)
    assert row["learned"] == (
        f"You were given visit {row['visit']} to learn from: an instructor ruled "
        "Hairy-footed gerbil."
    )
    classroom.people.hand_out(Handout(Unit.VISIT), "Ike")
    assert thandi.runs(ends)[0]["learned"]


def test_a_placement_goes_to_the_same_people_whole(classroom: Workspace) -> None:
    """Handed out by placement, all open visits of a card have the same holders."""
    fresh(classroom)
    classroom.people.hand_out(Handout(Unit.PLACEMENT), "Ike")
    for placement in ("SK-OPEN", "HR-BUSH"):
        by_visit: dict[int, set[str]] = {}
        for one in classroom.people.shares(placement):
            by_visit.setdefault(one.photo, set()).add(one.tagger)
        assert len({frozenset(holders) for holders in by_visit.values()}) == 1


def test_who_joins_gets_a_share_and_who_comes_back_too(classroom: Workspace) -> None:
    """Let in after the visits were handed out, somebody has work at once."""
    fresh(classroom)
    classroom.people.hand_out(Handout(Unit.VISIT), "Ike")
    classroom.people.sign_in_with_account("v@x.org", "Vusi", vetted=False)
    assert not classroom.people.share_of("Vusi")
    classroom.people.change("Vusi", state=State.ACTIVE)
    assert classroom.people.share_of("Vusi")


# --- settle --------------------------------------------------------------------------------------


def test_settling_is_the_instructors(demo: Workspace, classroom: Workspace) -> None:
    """Without the tick it is said whose it is; with it the list is there. Taggers have no page."""
    assert classroom.people.who("Ike").role is Role.INSTRUCTOR
    at = signed_in("settle", "Ike")
    assert told(at)["who"] == "Ike"
    with pytest.raises(ValueError, match="Could not find a navigation page"):
        signed_in("settle", "Thandi")
    assert demo.settings.taggers_needed == 2


def test_on_a_computer_of_ones_own_the_tick_makes_the_instructor(demo: Workspace) -> None:
    """A name and the tick open the list."""
    assert "Type your name and tick" in words(opened("settle"))
    at = opened("settle", own_tagger="Dr Botha", own_instructor="yes")
    assert told(at)["who"] == "Dr Botha"
    assert len(demo.people.to_settle()) == 1


@pytest.mark.parametrize("species", ["m", "zz"])
def test_reference_photos_are_chosen_and_taken_back(demo: Workspace, species: str) -> None:
    """Marked twice, a photo is no reference any more; an unlisted species is refused."""
    ike = Page(demo, "Ike", instructor=True)
    photo = demo.view("SK-OPEN").ordered[0].id
    body = {"photo": photo, "species": species}
    if species == "zz":
        status, said = ike.refusal("POST", "/tagging/reference", body)
        assert (status, "is not in the species list" in said) == (403, True)
        return
    first = ike.ask("POST", "/tagging/reference", body).said
    assert first["is_reference"]
    assert [one["photo"] for one in first["references"]["m"]] == [photo]
    assert ike.ask("POST", "/tagging/reference", body).said == {
        "is_reference": False, "references": {},
    }  # fmt: skip
    gone = {"photo": 10**6, "species": species}
    assert "is on no card" in ike.refusal("POST", "/tagging/reference", gone)[1]


def test_what_is_to_settle_leaves_the_list_and_comes_back(demo: Workspace) -> None:
    """A ruling is a tag: kept with its reason, and taken back like any other."""
    ike = Page(demo, "Ike", instructor=True)
    [visit] = ike.ask("GET", "/tagging/settle").said["visits"]
    assert visit["hangs"] == "SKO-D2 waits for this visit alone, and your answer decides."
    act = ike.tag(
        (visit["first"], visit["last"]), "g", comment="tail tuft, photo 2",
        **{"from": "settle", "knows": visit["rulings"]},
    )  # fmt: skip
    [number] = ike.keep(act)
    assert ike.ask("GET", "/tagging/settle").said["visits"] == []
    [ruling] = [tag for tag in demo.view("SK-OPEN").tags if tag.number == number]
    assert (ruling.ruling, ruling.comment, ruling.origin) == (
        True, "tail tuft, photo 2", "Settle page",
    )  # fmt: skip
    ike.keep(ike.turn("take_back", act))
    assert [one["visit"] for one in ike.ask("GET", "/tagging/settle").said["visits"]] == [
        visit["visit"]
    ]


# --- the command ---------------------------------------------------------------------------------


def people(folder: Path, *arguments: str, typed: str = "") -> Result:
    """Run `lastbite people` as somebody at a terminal does."""
    return CliRunner().invoke(cli.commands, ["people", str(folder), *arguments], input=typed)


def test_people_are_listed_and_changed_from_a_terminal(demo: Workspace) -> None:
    """Before anybody can sign in, the one who holds the folder names instructors and codes."""
    done = people(demo.folder, "--tagger", "Vusi", "--instructor", "Dr Botha", "--left", "Piet")
    assert done.exit_code == 0
    lines = [line.split() for line in done.output.splitlines()]
    assert ["Vusi", "tagger", "active"] in lines
    assert ["Dr", "Botha", "instructor", "active"] in lines
    assert ["Piet", "tagger", "left"] in lines
    assert demo.view("SK-OPEN").tags  # Piet's stay
    codes = "dune grass moon\n" * 2 + "owl salt river\n" * 2
    done = people(demo.folder, "--codes", typed=codes)
    assert done.exit_code == 0
    assert "dune" not in done.output
    assert demo.people.sign_in_with_code("Vusi", "dune grass moon").role is Role.TAGGER


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--tagger", "nomsa"], "Add an initial"),
        (["--left", "Nobody"], "Nobody in the study is called 'Nobody'"),
    ],
)
def test_a_name_that_cannot_be_is_refused_at_a_terminal(
    demo: Workspace, arguments: list[str], words: str
) -> None:
    """The words are those of the page."""
    demo.people.change("Nomsa", role=Role.TAGGER)
    done = people(demo.folder, *arguments)
    assert words in str(done.exception)
