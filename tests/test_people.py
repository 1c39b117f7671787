"""Who may see and do what, which names mean one person, and what a code proves."""

from datetime import UTC, datetime, timedelta

import pytest
from builders import Night, stay
from hypothesis import given
from hypothesis import strategies as st

from core import people
from core.errors import PeopleError
from core.model import AnsweredVisit, Reason, VisitState
from core.people import Act, Attempts, Person, Role, SignIn, State, Who

NOW = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
SERVERS = [SignIn.CODE, SignIn.OIDC, SignIn.HEADER]


# --- who may do what ---------------------------------------------------------------------------


@pytest.mark.parametrize("sign_in", SERVERS)
def test_on_a_server_a_tagger_looks_and_tags_and_no_more(sign_in: SignIn) -> None:
    """Ruling, changing and seeing what others said is an instructor's alone."""
    tagger, instructor = (
        Who("Thandi", sign_in=sign_in),
        Who("Ike", Role.INSTRUCTOR, sign_in=sign_in),
    )
    assert [act for act in Act if people.may(tagger, act)] == [Act.LOOK, Act.TAG]
    assert [act for act in Act if people.may(instructor, act)] == list(Act)
    assert [act for act in Act if people.may(Who("", sign_in=sign_in), act)] == []


@pytest.mark.parametrize("state", [State.LEFT, State.WAITING])
@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("sign_in", list(SignIn))
def test_who_takes_no_part_may_do_nothing(sign_in: SignIn, role: Role, state: State) -> None:
    """Whoever left, or waits to be let in, is told so, whatever their role was."""
    who = Who("Nomsa", role, state, sign_in)
    assert not any(people.may(who, act) for act in Act)
    words = "was tagged under it is kept" if state is State.LEFT else "waits to be let in"
    with pytest.raises(PeopleError, match=words):
        people.refuse(who, Act.LOOK)


def test_on_a_computer_of_ones_own_only_what_others_said_is_kept_back() -> None:
    """Whoever chose a name sees others' answers when nobody else tagged; anybody may change."""
    owner, named, alone = Who(""), Who("Thandi"), Who("Thandi", alone=True)
    assert all(people.may(one, Act.CHANGE) for one in (owner, named, alone))
    assert [people.may(one, Act.SEE_ALL) for one in (owner, named, alone)] == [True, False, True]
    assert people.may(Who("Ike", Role.INSTRUCTOR), Act.RULE)
    assert not people.may(named, Act.RULE)


@pytest.mark.parametrize(
    ("who", "act", "words"),
    [
        (Who("Thandi"), Act.RULE, "Only an instructor may rule. Thandi is a tagger"),
        (Who(""), Act.TAG, "Say who you are first"),
        (Who("T", sign_in=SignIn.CODE), Act.CHANGE, "Only an instructor may change clocks, logs"),
    ],
)
def test_a_refusal_says_who_may(who: Who, act: Act, words: str) -> None:
    """The words name what is asked for and who may do it."""
    with pytest.raises(PeopleError, match=words):
        people.refuse(who, act)


def test_a_role_is_what_the_study_holds_not_what_somebody_says() -> None:
    """On a server the tick of a page means nothing; on one's own computer it is all there is."""
    thandi = Person("Thandi")
    assert people.who_is("Thandi", thandi, SignIn.CODE, says_instructor=True).role is Role.TAGGER
    assert people.who_is("X", None, SignIn.CODE, says_instructor=True).name == ""
    here = people.who_is("Thandi", thandi, SignIn.NAME, says_instructor=True)
    assert here.role is Role.INSTRUCTOR


# --- what may be seen --------------------------------------------------------------------------


def visits(*species: str, needed: int = 2) -> list[AnsweredVisit]:
    """Give the visits of a night on which each of these was said by a tagger of its own."""
    stays = [stay("20:00-20:02", one, tagger=f"t{at}") for at, one in enumerate(species)]
    outcome = Night(stays, settings={"taggers_needed": needed}).outcome()
    return [part for seen in outcome.seen for part in seen.parts]


@pytest.mark.parametrize(
    ("species", "needed", "settled"),
    [
        (["g"], 1, True),
        (["g"], 2, False),
        (["g", "g"], 2, True),
        (["g", "m"], 2, False),
        (["g", "g", "m"], 2, False),
    ],
)
def test_a_visit_settles_when_as_many_as_are_needed_agree(
    species: list[str], needed: int, settled: bool
) -> None:
    """Until then all may see of it what they would if nobody had tagged it."""
    [whole] = visits(*species, needed=needed)
    assert people.is_settled(whole.answer) is settled
    shown = people.as_all_may_see(whole)
    assert (shown == whole) is settled
    if not settled:
        answer = shown.answer
        assert (answer.state, answer.waits_for) == (VisitState.UNTAGGED, Reason.UNTAGGED)
        assert (answer.tags, answer.taggers, answer.sightings, answer.remarks) == ((),) * 4
    assert len(people.tags_all_may_see([whole])) == (len(species) if settled else 0)


def test_a_ruling_settles_a_visit_and_then_all_was_said_is_shown() -> None:
    """Those who were wrong learn from it: their tags are shown beside the ruling."""
    stays = [
        stay("20:00-20:02", "g", tagger="ann"),
        stay("20:00-20:02", "m", tagger="ben"),
        stay("20:00-20:02", "m", tagger="Ike", ruling=True),
    ]
    [seen] = Night(stays, settings={"taggers_needed": 2}).outcome().seen
    shown = people.as_all_may_see(seen.parts[0])
    assert sorted(tag.tagger for tag in shown.answer.tags) == ["Ike", "ann", "ben"]


# --- names -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["Nomsa", "nomsa", " NOMSA ", "Nom sa"])
def test_two_people_cannot_have_one_name(name: str) -> None:
    """Case and blanks do not tell people apart; another blank inside the name does."""
    listed = [Person("Nomsa")]
    if name == "Nom sa":
        assert people.new_name(name, listed) == "Nom sa"
    else:
        with pytest.raises(PeopleError, match=r"There is a 'Nomsa' .* Add an initial"):
            people.new_name(name, listed)


@pytest.mark.parametrize(("name", "words"), [("  ", "Type a name"), ("x" * 81, "at most 80")])
def test_a_name_that_is_none_is_refused(name: str, words: str) -> None:
    """An empty or endless name is refused."""
    with pytest.raises(PeopleError, match=words):
        people.new_name(name, [])


def test_two_accounts_of_one_name_stay_two_people() -> None:
    """The second gets the account behind the name, so that their tags are not mixed."""
    listed = [Person("Nomsa Dlamini", account="n1@x.org")]
    assert (
        people.name_of_account("nomsa  dlamini", "n2@x.org", listed) == "nomsa dlamini (n2@x.org)"
    )
    assert people.name_of_account("Piet", "p@x.org", listed) == "Piet"
    assert people.name_of_account("", "p@x.org", listed) == "p@x.org"


# --- codes -------------------------------------------------------------------------------------


def test_a_code_is_known_again_and_cannot_be_read() -> None:
    """The same code gives another hash each time; only the code itself fits."""
    one, other = people.hashed_code("dune grass moon"), people.hashed_code("dune grass moon")
    assert one != other
    assert "dune" not in one
    assert people.is_code(" dune grass moon ", one)
    assert not people.is_code("dune grass noon", one)
    assert not people.is_code("", one)


def test_a_short_code_is_refused() -> None:
    """Seven letters are too few; eight are enough."""
    with pytest.raises(PeopleError, match="8 letters or more"):
        people.hashed_code("seven77")
    assert people.is_code("eight888", people.hashed_code("eight888"))


@given(st.lists(st.integers(0, 200), max_size=60))
def test_no_more_than_ten_wrong_codes_a_minute_are_looked_at(gaps: list[int]) -> None:
    """However attempts come, in any minute at most ten wrong codes were compared."""
    attempts, now, looked = Attempts(), NOW, []
    for gap in gaps:
        now += timedelta(seconds=gap / 10)
        try:
            attempts.refuse(now)
        except PeopleError:
            continue
        attempts.failed(now)
        looked.append(now)
    for at in looked:
        assert sum(at <= other < at + timedelta(minutes=1) for other in looked) <= 10


def test_the_way_out_of_too_many_wrong_codes_is_said() -> None:
    """The words say for how long; after that a code is looked at again."""
    attempts = Attempts()
    for _ in range(10):
        attempts.failed(NOW)
    with pytest.raises(PeopleError, match="Try again in 45 seconds"):
        attempts.refuse(NOW + timedelta(seconds=15))
    attempts.refuse(NOW + timedelta(seconds=60))
