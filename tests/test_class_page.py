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
    assert agreeing.chance(same, 9).startswith("not defined: every answer is one and the same")
    assert agreeing.interval(same) == ""
    assert agreeing.share(share(0, 0)) == ("not defined: there is nothing of which to give a share")
    assert agreeing.percent(Undefined("no visit was read by two")) == (
        "not defined: no visit was read by two"
    )
    perfect = agreement.cohen_kappa(agreement.Table((("g",), ("m",)), ((6, 0), (0, 4))))
    assert agreeing.chance(perfect, 10) == "1.00, almost perfect"
    assert agreeing.interval(perfect).startswith("none: the asymptotic error is zero")


def test_what_does_not_fit_a_cell_stands_under_the_table() -> None:
    """A cell has two words at most beside its number; why one is missing is said once, in full."""
    same = [agreement.ReadVisit("P1", at, _both("g"), (), ("g",), ruled=False) for at in (1, 2, 3)]
    alone = agreement.ReadVisit("P1", 4, _both("m")[:1], (), None, ruled=False)
    [pair] = agreement.pair_agreements([*same, alone])
    line = agreeing.pair_line(pair)
    assert (line["Cohen's kappa"], line["95 % of kappa"], line["left out"]) == (
        "not defined", "", 1,
    )  # fmt: skip
    alike, left_out = agreeing.reasons(pair)
    assert alike.startswith("Cohen's kappa is not defined: every answer is one and the same, so")
    assert left_out == "Left out: 1 not read by Ben."
    groups = [agreement.group_agreement([*same, alone], key) for key in ("", "g")]
    assert all(len(str(cell)) < 30 for cell in agreeing.group_line(groups[0], {}).values())
    told = agreeing.group_reasons(groups, {})
    assert told.count("Left out: 1 one reader only.") == 1
    assert len(told) == 3


def _both(species: str) -> tuple[agreement.Reading, ...]:
    return tuple(
        agreement.Reading(who, (species,), sure=True, runs=((1, 2),)) for who in ("Ann", "Ben")
    )


def test_kappa_is_written_with_its_interval_and_its_word() -> None:
    """[[20, 5], [10, 15]]: kappa 0.40, standard error 0.127 (a published example)."""
    kappa = agreement.cohen_kappa(agreement.Table((("g",), ("m",)), ((20, 5), (10, 15))))
    assert agreeing.chance(kappa, 50) == "0.40, fair"
    assert agreeing.interval(kappa) == "0.15 to 0.65"


def test_over_few_visits_a_kappa_has_no_word() -> None:
    """One visit on which two differ is kappa 0.00, which says nothing of slight or fair."""
    once = agreement.cohen_kappa(agreement.Table((("g",), ("m",)), ((0, 1), (0, 0))))
    assert agreeing.chance(once, 1) == "0.00"
    nine = agreement.cohen_kappa(agreement.Table((("g",), ("m",)), ((5, 0), (0, 4))))
    assert agreeing.chance(nine, 9) == "1.00"


def test_a_student_sees_what_they_mix_up_with_the_frames(demo: Workspace) -> None:
    """Nothing of the disputed visit is on Piet's sheet until it is ruled; then its photos are."""
    before = words(opened("classroom", own_tagger="Piet"))
    assert "Nothing differs from what the class agreed on." in before
    assert "Right: not known yet, no visit of these was ruled." in before
    assert "The same as the class agreed on: 17 of 17." in before
    assert "%" not in before
    rule(demo)
    at = opened("classroom", own_tagger="Piet")
    assert "once: said Four-striped grass mouse, settled as Hairy-footed gerbil" in words(at)
    assert "Right, where an instructor ruled: 0 of 1, 0 % (0 to 79 %)." in words(at)
    assert "The same as the class agreed on: 17 of 17." in words(at)
    assert sum(one.value.count("/photo/strip/") for one in at.html) == 2
    assert not at.tabs
    assert "Nothing was mixed up." in words(opened("classroom", own_tagger="Nomsa"))


def test_the_line_above_the_class_page_is_that_of_whoever_has_ticked(demo: Workspace) -> None:
    """Once Instructor is ticked, nothing says any more that something is left out."""
    at = opened("classroom", own_tagger="Piet")
    assert "Piet, tagger. What others said of a visit is left out" in words(at)
    at.checkbox(key="instructor").set_value(True).run()
    assert "is left out" not in words(at)
    assert any("Krippendorff's alpha" in frame for frame in frames(at))
    assert demo.people.sheets()


def test_names_stand_in_the_order_in_which_people_count(demo: Workspace) -> None:
    """S2 comes before S10, in lists and on sheets."""
    for who in ("S10", "S2"):
        demo.people.add(who, Role.TAGGER)
        ends = next(one.visit.photos for one in demo.view("SK-OPEN").visits)
        demo.tag(NewTag("SK-OPEN", ends[0].id, ends[-1].id, who, "g", where=Where.FED))
    at = at_tab("People")
    [listed] = [frame["name"].tolist() for frame in frames(at) if "visits read" in frame]
    assert [one for one in listed if one.startswith("S")] == ["S2", "S10"]
    options = at_tab("Sheets").selectbox(key="sheet-of").options
    assert options == ["Nomsa", "Piet", "S2", "S10"]


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
    classroom.people.sign_in_with_account("late@x.org", "Late", vetted=False)
    at = signed_in("classroom", "Ike", **{"class-tabs": "People"})
    assert "1 person was let in." in words(press(at, "let-in-all"))


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


def test_a_reference_is_taken_off_once_however_often_it_is_asked(demo: Workspace) -> None:
    """Two who take the same photo off at once do not make it one again."""
    ike = Page(demo, "Ike", instructor=True)
    photo = demo.view("SK-OPEN").ordered[0].id
    for wanted in (True, True, False, False):
        body = {"photo": photo, "species": "m", "is": wanted}
        assert ike.ask("POST", "/tagging/reference", body).said["is_reference"] is wanted
    assert demo.people.references() == []
    status, said = ike.refusal(
        "POST", "/tagging/reference", {"photo": photo, "species": "m", "is": "no"}
    )
    assert (status, "not true or false" in said) == (400, True)


def test_a_reference_whose_visit_is_settled_as_another_species_is_warned_of(
    demo: Workspace,
) -> None:
    """A gerbil's reference in the disputed visit is no lie until the visit is ruled a mouse."""
    ike, piet = Page(demo, "Ike", instructor=True), Page(demo, "Piet")
    [visit] = ike.ask("GET", "/tagging/settle").said["visits"]
    ends = visit["first"], visit["last"]
    for key in ("g", "m"):
        ike.ask("POST", "/tagging/reference", {"photo": ends[0], "species": key})
    warned = {
        key: some[0]["against"]
        for key, some in ike.ask("GET", "/tagging/settle").said["references"].items()
    }
    assert warned == {"g": "", "m": ""}
    ike.keep(ike.tag(ends, "m", **{"from": "settle", "knows": []}))
    words = "Its visit is settled as Four-striped grass mouse."
    shown = ike.ask("GET", "/tagging/settle").said["references"]
    assert (shown["g"][0]["against"], shown["m"][0]["against"]) == (words, "")
    [row] = ike.runs(ends)
    assert sorted(row["photos"][0]["references"], key=lambda one: one["species"]) == [
        {"species": "g", "against": words},
        {"species": "m", "against": ""},
    ]
    assert "references" not in row["photos"][1]
    assert "references" not in piet.runs(ends)[0]["photos"][0]


def test_rulings_are_listed_with_who_what_and_why_the_newest_first(demo: Workspace) -> None:
    """Two rulings stand in the list until one is taken back; a tagger is not given it."""
    ike, ada = (Page(demo, who, instructor=True) for who in ("Ike", "Ada"))
    [disputed] = ike.ask("GET", "/tagging/settle").said["visits"]
    other = next(
        one.visit for one in demo.view("SK-OPEN").visits if one.answer.state is VisitState.AGREED
    )
    first = ike.tag(
        (disputed["first"], disputed["last"]), "g", comment="tail tuft",
        **{"from": "settle", "knows": []},
    )  # fmt: skip
    [number] = ike.keep(first)
    ada.keep(ada.tag((other.photos[0].id, other.photos[-1].id), "m"))
    made = ike.ask("GET", "/tagging/rulings").said
    assert [(one["who"], one["reason"]) for one in made["rulings"]] == [
        ("Ada", ""), ("Ike", "tail tuft"),
    ]  # fmt: skip
    own = made["rulings"][1]
    assert (own["number"], own["visit"], own["first"], own["last"]) == (
        number, disputed["visit"], disputed["first"], disputed["last"],
    )  # fmt: skip
    assert own["words"].startswith("Hairy-footed gerbil")
    assert "tail tuft" not in own["words"]
    ike.keep(ike.turn("take_back", numbers=[number]))
    assert [one["who"] for one in ike.ask("GET", "/tagging/rulings").said["rulings"]] == ["Ada"]
    status, said = Page(demo, "Piet").refusal("GET", "/tagging/rulings")
    assert (status, "Only an instructor may rule" in said) == (403, True)


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
