"""What a server gives to whom: roles hold in every route and every part of a study."""

import json
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from asking import Page, tags_by
from conftest import CODES

from app import guard
from app.cli import main
from app.review import Order, Show
from app.viewer import tickets
from core import people
from core.errors import LastbiteError, PeopleError
from core.handout import Handout, Unit
from core.logs import LogKind
from core.model import Reason, VisitState, Where
from core.people import Role, SignIn, State, Who
from core.workspace import NewTag, Workspace

SECRET = "zebra finch 77"
"""Said by Nomsa and Piet of visits that are not settled."""


def sits(workspace: Workspace, who: str, *, instructor: bool = False) -> Page:
    """Give the viewer of somebody who has signed in."""
    return Page(workspace, who, instructor, way=workspace.people.way())


def disputed(workspace: Workspace) -> tuple[str, int, int]:
    """Have Nomsa and Piet differ on a visit, in words that can be found; gives its ends."""
    found = next(
        one.visit
        for one in workspace.view("SK-OPEN").visits
        if one.answer.state is VisitState.AGREED
    )
    ends = "SK-OPEN", found.photos[0].id, found.photos[-1].id
    for who, species in (("Nomsa", "g"), ("Piet", "s")):
        workspace.tag(NewTag(*ends, who, species, where=Where.FED, comment=f"{SECRET} {who}"))
    return ends


def everything(page: Page) -> str:
    """Ask for all that a viewer may ask, in every list and order; gives what came back."""
    shows = [str(show) for show in Show if show is not Show.SPECIES]
    shows += [f"{Show.SPECIES}:{key}" for key in page.workspace.species()]
    said: list[Any] = []
    for placement in ("SK-OPEN", "SK-BUSH", "HR-OPEN", "HR-BUSH"):
        here = replace(page, placement=placement)
        for show in shows:
            said += [here.queue(show, order) for order in Order]
        said.append(here.runs(*here.ends(Show.ALL)[:60]))
    return json.dumps(said)


# --- the wire ------------------------------------------------------------------------------------


def test_a_students_browser_never_receives_anothers_unsettled_answer(
    classroom: Workspace,
) -> None:
    """No list, run or act of Thandi's holds what Nomsa or Piet said, nor that they differ."""
    ends = disputed(classroom)
    thandi = sits(classroom, "Thandi")
    wire = everything(thandi)
    wire += json.dumps(thandi.send(thandi.tag(ends[1:], "m")))
    wire += json.dumps(thandi.send(thandi.turn("take_back", numbers=[1, 2, 3])))
    wire += everything(thandi)
    assert SECRET not in wire
    for name in ("Nomsa", "Piet"):
        assert name not in wire
    assert str(Reason.DISPUTED) not in wire
    assert SECRET in everything(sits(classroom, "Ike", instructor=True))


def test_a_student_who_says_that_they_instruct_is_given_nothing_more(classroom: Workspace) -> None:
    """A ticket that claims the role is good for what the study holds of its name: a tagger's."""
    ends = disputed(classroom)
    claims = sits(classroom, "Thandi", instructor=True)
    assert SECRET not in everything(claims)
    claims.keep(claims.tag(ends[1:], "m"))
    [tag] = tags_by(classroom, "Thandi")
    assert not tag.ruling


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("GET", "/tagging/settle", None),
        ("POST", "/tagging/reference", {"photo": 1, "species": "m"}),
    ],
)
def test_what_settles_is_the_instructors_alone(
    classroom: Workspace, method: str, path: str, body: object
) -> None:
    """A student is refused, with words; an instructor is answered."""
    disputed(classroom)
    status, words = sits(classroom, "Thandi").refusal(method, path, body)
    assert (status, words.startswith("Only an instructor may rule")) == (403, True)
    answer = sits(classroom, "Ike", instructor=True).ask(method, path, body)
    assert answer.status == 200
    if path.endswith("settle"):
        assert SECRET in answer.body.decode()


def test_a_student_takes_back_nobody_elses_tag(classroom: Workspace) -> None:
    """Nor lets one hold again; the refusal does not say whose or what it is."""
    disputed(classroom)
    theirs = tags_by(classroom, "Nomsa")[-1].number
    thandi = sits(classroom, "Thandi")
    for do in ("take_back", "restore"):
        words = thandi.refused(thandi.turn(do, numbers=[theirs]))
        assert "was made by somebody else" in words
        assert "Nomsa" not in words


# --- tickets -------------------------------------------------------------------------------------


def test_a_ticket_of_a_computer_of_ones_own_is_worth_nothing_on_a_server(
    classroom: Workspace,
) -> None:
    """Anybody could have had one that says instructor before people had to sign in."""
    before = Page(classroom, "Ike", instructor=True)
    assert before.refusal("GET", "/tagging/settle")[0] == 401


def test_another_code_ends_every_sign_in(classroom: Workspace) -> None:
    """After the code was changed a page has to be opened again."""
    thandi = sits(classroom, "Thandi")
    assert thandi.queue()["visits"]
    classroom.people.set_code(Role.TAGGER, "another code now")
    status, words = thandi.refusal("GET", "/tagging/queue", query="placement=SK-OPEN")
    assert (status, "sign-in was changed" in words) == (401, True)


def test_a_sign_in_holds_for_thirty_days(classroom: Workspace) -> None:
    """An older ticket is refused; on a computer of one's own it never ends."""
    way, now = classroom.people.way(), datetime.now(UTC)
    old = tickets.Ticket("Thandi", instructor=False, made_at=now - timedelta(days=31), way=way)
    with pytest.raises(tickets.TicketError, match="too old"):
        guard.who_of(classroom, old)
    assert guard.who_of(classroom, replace(old, made_at=now)).name == "Thandi"


def test_pictures_are_shown_to_who_signed_in(classroom: Workspace, demo: Workspace) -> None:
    """Without a ticket, or with one of somebody who left, no photo is given."""
    secret, way = classroom.ticket_secret(), classroom.people.way()

    def ticket(who: str) -> str:
        return tickets.signed(tickets.ticket_for(who, instructor=False, way=way), secret)

    assert guard.may_look(classroom, ticket("Thandi"))
    assert not guard.may_look(classroom, "")
    assert not guard.may_look(classroom, ticket("Nobody known"))
    classroom.people.change("Thandi", state=State.LEFT)
    assert not guard.may_look(classroom, ticket("Thandi"))
    assert guard.may_look(demo, "")


# --- the study as a screen has it ----------------------------------------------------------------


def as_student(workspace: Workspace) -> Workspace:
    """Give the study as a tagger's page has it."""
    return guard.guarded(workspace, workspace.people.who("Thandi"))


def test_a_tagger_reads_and_changes_nothing(classroom: Workspace) -> None:
    """Logs, clocks, cards, people and tags are closed, each in the same words."""
    theirs = as_student(classroom)
    before = classroom.version()
    writes: list[Any] = [
        lambda: theirs.save_rows(LogKind.TRAYS, []),
        lambda: theirs.load(LogKind.CLOCKS, b"", "clocks.csv"),
        lambda: theirs.move_card(1, "X"),
        lambda: theirs.forget_card(1, with_tags=True),
        lambda: theirs.tag(NewTag("SK-OPEN", 1, 1, "Thandi", "m", ruling=True)),
        lambda: theirs.turn([1], "Thandi", taken_back=True),
        lambda: theirs.people.change("Thandi", role=Role.INSTRUCTOR),
        lambda: theirs.people.set_code(Role.INSTRUCTOR, "mine from now on"),
        lambda: theirs.people.hand_out(Handout(), "Thandi"),
        theirs.people.to_settle,
        theirs.people.agreements,
        theirs.ticket_secret,
        lambda: theirs.layout("SK-OPEN"),
        theirs.as_all_may_see,
        theirs.previews.clear,
        lambda: theirs.codes.survey("SK-OPEN"),
        lambda: theirs.codes.waiting("SK-OPEN"),
        lambda: theirs.codes.take_back(1, "Thandi"),
    ]
    for write in writes:
        with pytest.raises(PeopleError, match="Only an instructor may change clocks, logs"):
            write()
    assert classroom.version() == before
    assert classroom.people.who("Thandi").role is Role.TAGGER
    assert len(theirs.trays()) == len(classroom.trays())


def test_what_is_new_is_closed_until_it_is_opened(classroom: Workspace) -> None:
    """A part of the study that the list of reads does not name asks for an instructor."""
    theirs = as_student(classroom)
    opened = {name.split(".")[0] for name in guard.READS}
    for name in dir(classroom):
        if name.startswith("_") or not callable(getattr(classroom, name)) or name in opened:
            continue
        with pytest.raises(PeopleError):
            getattr(theirs, name)()


@pytest.mark.parametrize("name", sorted(guard.READS))
def test_what_is_open_is_there(classroom: Workspace, name: str) -> None:
    """Every name in the list of reads is something that a study has."""
    part: Any = classroom
    for step in name.split("."):
        part = getattr(part, step)
    assert callable(part)


def test_what_follows_from_unsettled_answers_is_left_out_everywhere(classroom: Workspace) -> None:
    """Views, visit rows, outcomes and findings of a tagger hold nothing of a disputed visit."""
    ends = disputed(classroom)
    theirs = as_student(classroom)
    said = repr(
        [
            theirs.view("SK-OPEN"),
            list(theirs.visit_rows()),
            theirs.outcomes(),
            list(theirs.outcome_rows()),
            theirs.check(),
        ]
    )
    assert SECRET not in said
    assert str(Reason.DISPUTED) not in said
    assert SECRET in repr(classroom.view("SK-OPEN"))
    classroom.tag(NewTag(*ends, "Ike", "g", where=Where.FED, ruling=True))
    assert SECRET in repr(theirs.view("SK-OPEN"))


def test_an_instructor_has_the_study_whole(classroom: Workspace) -> None:
    """Nothing stands between an instructor and the study."""
    assert guard.guarded(classroom, classroom.people.who("Ike")) is classroom


def test_on_a_computer_of_ones_own_all_may_be_changed(demo: Workspace) -> None:
    """Without a name the study is whole; under one, others' unsettled answers are left out."""
    disputed(demo)
    assert guard.guarded(demo, Who("")) is demo
    named = guard.guarded(demo, demo.people.who("Thandi"))
    assert SECRET not in repr(named.view("SK-OPEN"))
    rows = named.log_rows(LogKind.SPECIES)
    assert named.save_rows(LogKind.SPECIES, rows).same == len(rows)


# --- a tagger who leaves -------------------------------------------------------------------------


def test_who_is_taken_out_in_mid_work_keeps_their_tags_and_is_told(classroom: Workspace) -> None:
    """Their tags stay, their share is handed on, and their open page gets clear words."""
    thandi = sits(classroom, "Thandi")
    ends = thandi.ends()
    thandi.keep(thandi.tag(ends[0]))
    disputed(classroom)
    classroom.people.hand_out(Handout(Unit.VISIT), "Ike")
    classroom.people.change("Thandi", state=State.LEFT)
    words = thandi.refused(thandi.tag(ends[1]))
    assert "does not take part in this study any more" in words
    assert "What was tagged under it is kept" in words
    assert thandi.refusal("GET", "/tagging/queue", query="placement=SK-OPEN")[0] == 403
    assert len(tags_by(classroom, "Thandi")) == 1
    assert classroom.people.shares(tagger="Thandi") == []
    classroom.people.change("Thandi", state=State.ACTIVE)
    thandi.keep(thandi.tag(ends[1]))


def test_on_a_computer_of_ones_own_too_who_left_tags_no_more(demo: Workspace) -> None:
    """The name was taken out, so nothing more comes in under it."""
    nomsa = Page(demo, "Nomsa")
    act = nomsa.tag(nomsa.ends(Show.ALL)[0])
    demo.people.change("Nomsa", state=State.LEFT)
    assert "does not take part" in nomsa.refused(act)


# --- two who rule at once ------------------------------------------------------------------------


def test_of_two_instructors_who_rule_at_once_the_second_is_told(classroom: Workspace) -> None:
    """The first ruling stands; the second is refused with the first in words, then may rule."""
    classroom.people.add("Ada", Role.INSTRUCTOR)
    ends = disputed(classroom)[1:]
    ike, ada = (sits(classroom, who, instructor=True) for who in ("Ike", "Ada"))
    [first] = ike.keep(ike.tag(ends, "g", **{"from": "settle", "knows": []}))
    late = ada.tag(ends, "m", **{"from": "settle", "knows": []})
    words = ada.refused(late)
    assert "Ike ruled this visit while you looked at it: Hairy-footed gerbil" in words
    ada.keep(ada.tag(ends, "m", **{"from": "settle", "knows": [first]}))
    ike.keep(ike.tag(ends, "g", **{"from": "settle", "knows": [first + 1]}))
    rulings = [tag for tag in classroom.view("SK-OPEN").tags if tag.ruling]
    assert [tag.tagger for tag in rulings][-3:] == ["Ike", "Ada", "Ike"]


# --- signing in ----------------------------------------------------------------------------------


def test_a_name_and_the_class_code_sign_somebody_in(classroom: Workspace) -> None:
    """Known or new, as the study spells the name; who is new tags."""
    people = classroom.people
    assert people.sign_in_with_code(" thandi ", CODES[Role.TAGGER]).name == "Thandi"
    new = people.sign_in_with_code("Vusi", CODES[Role.TAGGER])
    assert (new.name, new.role, new.state) == ("Vusi", Role.TAGGER, State.ACTIVE)
    assert people.sign_in_with_code("Ike", CODES[Role.INSTRUCTOR]).role is Role.INSTRUCTOR


@pytest.mark.parametrize(
    ("name", "code"),
    [("Thandi", "dune grass noon"), ("Thandi", ""), ("Ike", CODES[Role.TAGGER])],
)
def test_a_wrong_code_is_refused_in_one_and_the_same_words(
    classroom: Workspace, name: str, code: str
) -> None:
    """A student under an instructor's name is refused like anybody with a wrong code."""
    with pytest.raises(PeopleError, match="The name and the code do not belong together"):
        classroom.people.sign_in_with_code(name, code)


def test_after_ten_wrong_codes_even_the_right_one_waits(classroom: Workspace) -> None:
    """Nobody can try codes by the thousand; a minute later all is as before."""
    now = datetime(2026, 3, 14, tzinfo=UTC)
    for _ in range(10):
        with pytest.raises(PeopleError, match="do not belong together"):
            classroom.people.sign_in_with_code("Thandi", "wrong code", now)
    with pytest.raises(PeopleError, match="Too many wrong codes"):
        classroom.people.sign_in_with_code("Thandi", CODES[Role.TAGGER], now)
    later = now + timedelta(minutes=1)
    assert classroom.people.sign_in_with_code("Thandi", CODES[Role.TAGGER], later).name == "Thandi"


def test_sixty_sign_in_at_once_and_each_is_one_person(classroom: Workspace) -> None:
    """A class comes in: everybody is on the list once, two windows of one name are one person."""
    names = [f"Student {at // 2}" for at in range(60)]
    with ThreadPoolExecutor(60) as pool:
        code = CODES[Role.TAGGER]
        came = list(pool.map(lambda name: classroom.people.sign_in_with_code(name, code), names))
    assert [one.name for one in came] == names
    listed = [one.name for one in classroom.people.all() if one.name.startswith("Student")]
    assert sorted(listed) == sorted(set(names))


def test_of_forty_wrong_codes_at_once_ten_are_looked_at(
    classroom: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Trying at the same moment gives nobody more tries than trying one after the other."""
    looked: list[str] = []
    is_code = people.is_code

    def noted(code: str, kept: str) -> bool:
        looked.append(code)
        return is_code(code, kept)

    monkeypatch.setattr(people, "is_code", noted)

    def tried(at: int) -> str:
        with pytest.raises(PeopleError) as refused:
            classroom.people.sign_in_with_code(f"Mallory {at}", "wrong code")
        return str(refused.value)[:8]

    with ThreadPoolExecutor(40) as pool:
        said = list(pool.map(tried, range(40)))
    assert (said.count("The name"), said.count("Too many")) == (10, 30)
    assert len(looked) == 20  # of each both codes


def test_the_codes_are_set_and_differ(demo: Workspace, classroom: Workspace) -> None:
    """Without codes nobody signs in; one code for both roles is refused."""
    with pytest.raises(PeopleError, match="No codes are set yet"):
        demo.people.sign_in_with_code("Thandi", "dune grass moon")
    with pytest.raises(PeopleError, match="Both codes are the same"):
        classroom.people.set_code(Role.TAGGER, CODES[Role.INSTRUCTOR])


def test_an_account_waits_to_be_let_in_but_for_a_named_instructor(classroom: Workspace) -> None:
    """With OpenID anybody on earth has an account; a proxy has vetted whom it passes on."""
    people = classroom.people
    people._settings = replace(people._settings, instructors=("botha@x.org",))
    new = people.sign_in_with_account("n@x.org", "Nomsa", vetted=False)
    assert (new.name, new.state) == ("Nomsa (n@x.org)", State.WAITING)
    assert people.sign_in_with_account("n@x.org", "Other", vetted=False) == new
    assert people.sign_in_with_account("v@x.org", "Vusi", vetted=True).state is State.ACTIVE
    botha = people.sign_in_with_account("Botha@x.org", "Dr Botha", vetted=False)
    assert (botha.role, botha.state) == (Role.INSTRUCTOR, State.ACTIVE)


def test_the_last_instructor_stays(classroom: Workspace) -> None:
    """Otherwise nobody could let anybody in."""
    for change in ({"role": Role.TAGGER}, {"state": State.LEFT}):
        with pytest.raises(PeopleError, match="Ike is the last instructor"):
            classroom.people.change("Ike", **change)
    assert classroom.settings.sign_in is SignIn.CODE


@pytest.mark.parametrize("name", ["nomsa", " NOMSA ", "Nomsa"])
def test_two_people_of_one_name_are_not_put_on_the_list(classroom: Workspace, name: str) -> None:
    """Nothing is added, and the words say how to tell them apart."""
    before = classroom.people.all()
    with pytest.raises(LastbiteError, match="Add an initial"):
        classroom.people.add(name)
    assert classroom.people.all() == before


def test_nobody_can_sign_in_before_both_codes_are_set(
    built: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever starts the server is told, and how to set them; the pages start all the same."""
    folder = tmp_path / "codes"
    shutil.copytree(built, folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8").replace('sign_in = "name"', 'sign_in = "code"')
    file.write_text(text, encoding="utf-8")
    monkeypatch.setattr("app.server.serve", lambda *_, **__: None)
    main(["page", str(folder), "--no-browser"])
    assert "lastbite people" in capsys.readouterr().err
    with Workspace.open(folder) as study:
        assert not study.people.can_sign_in()
        for role, code in CODES.items():
            study.people.set_code(role, code)
        assert study.people.can_sign_in()
    main(["page", str(folder), "--no-browser"])
    assert capsys.readouterr().err == ""
