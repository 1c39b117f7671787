"""Decide who may see and do what in a study, which names mean one person, and what a code proves.

Every role is looked up here and nowhere else; how somebody proves who they are is decided by the
page that signs them in, and what is held of people by the store.
"""

import hashlib
import hmac
import re
import secrets
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum

from core.errors import LastbiteError, PeopleError
from core.model import Answer, AnsweredVisit, Reason, Tag, VisitState


class SignIn(StrEnum):
    """How people say who they are."""

    NAME = "name"
    """They choose a name: a computer of one's own, where nothing can be proved."""
    CODE = "code"
    """A name and the code of the class, or the instructors' code."""
    OIDC = "oidc"
    """An account at an OpenID Connect provider."""
    HEADER = "header"
    """A header that a reverse proxy sets after it has signed them in."""


class Role(StrEnum):
    """What somebody is in a study."""

    TAGGER = "tagger"
    INSTRUCTOR = "instructor"


class State(StrEnum):
    """Whether somebody takes part."""

    ACTIVE = "active"
    WAITING = "waiting"
    """Signed in with an account that no instructor has let in yet."""
    LEFT = "left"
    """Their tags stay; they make no more."""


class Act(StrEnum):
    """What a page may be asked to do, in words that follow 'may'."""

    LOOK = "look at the photos"
    TAG = "tag"
    RULE = "rule"
    CHANGE = "change clocks, logs, cards, people and settings"
    SEE_ALL = "see what others said of a visit before it is settled"


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of a study."""

    name: str
    role: Role = Role.TAGGER
    state: State = State.ACTIVE
    account: str = ""
    """What their sign-in calls them; empty where they have no account."""


@dataclass(frozen=True, slots=True)
class Who:
    """Who sits before a page, as the server knows it."""

    name: str
    """Empty where nobody said."""
    role: Role = Role.TAGGER
    state: State = State.ACTIVE
    sign_in: SignIn = SignIn.NAME
    alone: bool = False
    """Whether nobody else has tagged in the study."""


def in_order(names: Iterable[str]) -> list[str]:
    """Sort names as people count, whatever their case: `P2` before `P10`, `ann` before `Ben`."""
    return sorted(names, key=_counting)


def _counting(name: str) -> tuple[list[tuple[int, str]], str]:
    pieces = re.split(r"([0-9]+)", name.casefold())
    return [(int(one) if one.isdecimal() else 0, one) for one in pieces], name


# --- who may do what ---------------------------------------------------------------------------


def may(who: Who, act: Act) -> bool:
    """Say whether somebody may do something.

    Where people only choose a name, nothing is proved: the computer's owner may change all, and
    sees all as long as no name is chosen, or nobody else has tagged. To rule, they say that they
    are the instructor.
    """
    if who.state is not State.ACTIVE:
        return False
    instructs = who.role is Role.INSTRUCTOR
    trusted = who.sign_in is SignIn.NAME
    match act:
        case Act.LOOK:
            return trusted or bool(who.name)
        case Act.TAG:
            return bool(who.name)
        case Act.RULE:
            return instructs and bool(who.name)
        case Act.CHANGE:
            return instructs or trusted
        case Act.SEE_ALL:
            return instructs or (trusted and (not who.name or who.alone))


def refuse(who: Who, act: Act) -> None:
    """Refuse what somebody may not do; PeopleError in words for them."""
    if may(who, act):
        return
    if who.state is State.LEFT:
        raise PeopleError(
            f"{who.name} does not take part in this study any more: an instructor took the name "
            "out. What was tagged under it is kept. Ask an instructor if that is a mistake."
        )
    if who.state is State.WAITING:
        raise PeopleError(
            f"{who.name} waits to be let in. Ask an instructor: the Class page lists you."
        )
    if not who.name:
        raise PeopleError("Nobody is signed in. Say who you are first.")
    raise PeopleError(f"Only an instructor may {act}. {who.name} is a tagger of this study.")


def who_is(name: str, known: Person | None, sign_in: SignIn, *, says_instructor: bool) -> Who:
    """Give who sits before a page, of a name that was proved as `sign_in` asks.

    On a computer of one's own the role is what they say; elsewhere it is what the study holds,
    and somebody whom it does not hold is nobody.
    """
    if sign_in is SignIn.NAME:
        role = Role.INSTRUCTOR if says_instructor else Role.TAGGER
        left = known is not None and known.state is State.LEFT
        return Who(name, role, State.LEFT if left else State.ACTIVE, sign_in)
    if known is None:
        return Who("", sign_in=sign_in)
    return Who(known.name, known.role, known.state, sign_in)


# --- what may be seen --------------------------------------------------------------------------

HIDDEN = Answer(VisitState.UNTAGGED, Reason.UNTAGGED)
"""What others are told of a visit that is not settled: as if nobody had said anything."""


def is_settled(answer: Answer) -> bool:
    """Say whether a visit is settled: ruled, or agreed by as many taggers as are needed."""
    return answer.held


def as_all_may_see(answered: AnsweredVisit) -> AnsweredVisit:
    """Give a visit as every tagger may see it: nothing of what was said until it is settled."""
    return answered if is_settled(answered.answer) else replace(answered, answer=HIDDEN)


def tags_all_may_see(visits: Iterable[AnsweredVisit]) -> tuple[Tag, ...]:
    """Give the tags over settled visits, but for those that lie over an unsettled one too."""
    shown: dict[int, Tag] = {}
    hidden: set[int] = set()
    for one in visits:
        if is_settled(one.answer):
            shown |= {tag.number: tag for tag in one.answer.tags}
        else:
            hidden |= {tag.number for tag in one.answer.tags}
    return tuple(tag for number, tag in sorted(shown.items()) if number not in hidden)


# --- names -------------------------------------------------------------------------------------

LONGEST_NAME = 80


def bare(name: str) -> str:
    """Give a name with single blanks, and none at its ends."""
    return " ".join(name.split())


def is_same(one: str, other: str) -> bool:
    """Say whether two names mean one person: alike but for case and blanks."""
    return bare(one).casefold() == bare(other).casefold()


def known_as(name: str, people: Iterable[Person]) -> Person | None:
    """Give the person of a name; None where there is none."""
    return next((one for one in people if is_same(one.name, name)), None)


def new_name(name: str, people: Iterable[Person]) -> str:
    """Give the name of somebody new; PeopleError for none, a long one, or one that is taken."""
    name = bare(name)
    if not name:
        raise PeopleError("No name is given. Type a name.")
    if len(name) > LONGEST_NAME:
        raise PeopleError(f"A name of {len(name)} letters is too long. Use at most {LONGEST_NAME}.")
    taken = known_as(name, people)
    if taken is not None:
        raise PeopleError(
            f"There is a {taken.name!r} in the study already ({taken.role}, {taken.state}), and "
            "capital letters and blanks do not tell two people apart. Add an initial or a second "
            "name."
        )
    return name


def name_of_account(name: str, account: str, people: Iterable[Person]) -> str:
    """Give the name of somebody who signs in for the first time: with the account if it is taken.

    Two people of one name stay two: what they say is never mixed.
    """
    people, name = list(people), bare(name)[:LONGEST_NAME] or bare(account)[:LONGEST_NAME]
    return name if known_as(name, people) is None else bare(f"{name} ({account})")


# --- codes of a class --------------------------------------------------------------------------

SHORTEST_CODE = 8
"""Letters; with `MOST_WRONG` a minute, words that nobody guesses (a judgement)."""
MOST_WRONG, WITHIN = 10, timedelta(minutes=1)
"""After so many wrong codes within so long none is looked at until the first is so old."""
_N, _R, _P = 2**14, 8, 1
"""Of scrypt, 16 MB and some 50 ms for each code that is looked at (common practice)."""


def hashed_code(code: str) -> str:
    """Give what is kept of a code: nothing that it can be read from. PeopleError: too short."""
    if len(code.strip()) < SHORTEST_CODE:
        raise PeopleError(
            f"A code needs {SHORTEST_CODE} letters or more: everybody on the network can try. "
            "Use three words that do not belong together."
        )
    salt = secrets.token_bytes(16)
    return f"{salt.hex()}:{_scrypt(code, salt).hex()}"


def is_code(code: str, kept: str) -> bool:
    """Say whether a code is the one that is kept; takes as long whichever letter is wrong."""
    salt, _, value = kept.partition(":")
    return hmac.compare_digest(_scrypt(code, bytes.fromhex(salt)).hex(), value)


def _scrypt(code: str, salt: bytes) -> bytes:
    return hashlib.scrypt(code.strip().encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=2**26)


@dataclass
class Attempts:
    """The wrong codes of the last while; one for a whole server, since names cost nothing."""

    wrong: deque[datetime] = field(default_factory=deque)

    def refuse(self, now: datetime) -> None:
        """Refuse to look at a code after too many wrong ones; PeopleError says for how long."""
        while self.wrong and now - self.wrong[0] >= WITHIN:
            self.wrong.popleft()
        if len(self.wrong) >= MOST_WRONG:
            left = (self.wrong[0] + WITHIN - now).total_seconds()
            raise PeopleError(
                f"Too many wrong codes were tried just now. Try again in {max(1, round(left))} "
                "seconds; who is signed in stays so."
            )

    def failed(self, now: datetime) -> None:
        """Note a wrong code."""
        self.wrong.append(now)


def named(by: str, fault: type[LastbiteError], does: str = "decides this") -> str:
    """Give the name of whoever does something, its blanks made single; the fault without one."""
    who = " ".join(by.split())
    if not who:
        raise fault(f"Nobody is named. Say who {does} first.")
    return who
