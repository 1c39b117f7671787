"""Decide how a class is asked for: people, their shares, what is to settle, how far they agree.

The rules are in people, handout, settling and agreement; here their rows are fetched and kept.
"""

import hashlib
import threading
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from sqlalchemy import Connection

from core import agreement, handout, people, settling
from core.clockfaults import ClockCorrection
from core.errors import PeopleError
from core.handout import Handout, Unit
from core.kept import Kept
from core.model import Answer, AnsweredVisit, Outcome, VisitState
from core.people import Attempts, Person, Role, SignIn, State, Who
from core.settings import Settings
from core.settling import Ruled, ToSettle
from core.store import Database, Raises, data_version
from core.store import cards as card_store
from core.store import logs as log_store
from core.store import people as people_store
from core.store import tags as tag_store
from core.store.people import Reference, Share
from core.views import PlacementBase, PlacementView
from core.windows import Record

Visit = tuple[str, int]
"""A visit by its placement and its first photo."""
WRONG = (
    "The name and the code do not belong together. Instructors have a code of their own; ask one "
    "for yours."
)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far somebody is."""

    name: str
    read: int
    """Visits that they have read."""
    given: int
    """Visits that were handed out to them, those to learn from too."""
    left: int
    """Of those, the ones that they have not tagged."""
    training: int


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far the taggers of a study agree."""

    group: agreement.GroupAgreement
    species: tuple[agreement.GroupAgreement, ...]
    pairs: tuple[agreement.PairAgreement, ...]


class AllMaySee(Kept):
    """What was worked out of each placement, as every tagger may see it."""

    def __init__(self, whole: Kept) -> None:
        self.__dict__ |= vars(whole)  # what is kept is kept once
        self._shown: dict[tuple[str, timedelta], tuple[PlacementView, PlacementView]] = {}

    def view(self, placement: str, gap: timedelta) -> PlacementView:
        """Give a placement whose visits are as if nobody had tagged them, until they settle."""
        whole = super().view(placement, gap)
        known = self._shown.get((placement, gap))
        if known is None or known[0] is not whole:
            known = self._shown[placement, gap] = (whole, _as_all_may_see(whole))
        return known[1]

    def supposed(
        self,
        connection: Connection,
        base: PlacementBase,
        corrections: Sequence[ClockCorrection],
        gap: timedelta,
    ) -> PlacementView:
        """Give a placement as it would be, its visits as if nobody had tagged them likewise."""
        return _as_all_may_see(super().supposed(connection, base, corrections, gap))


def _as_all_may_see(whole: PlacementView) -> PlacementView:
    visits = tuple(people.as_all_may_see(one) for one in whole.visits)
    return replace(whole, visits=visits, tags=people.tags_all_may_see(whole.visits))


class Classroom:
    """The people of a study and what they do together."""

    def __init__(
        self,
        database: Database,
        kept: Kept,
        own: Settings,
        outcomes: Callable[[], list[Outcome]],
        records: Callable[[], list[Record]],
    ) -> None:
        self._database = database
        self._kept = kept
        self._settings = own
        self._outcomes = outcomes
        self._records = records
        self._attempts = Attempts()
        self._lock = threading.Lock()
        self._read: tuple[int, list[agreement.ReadVisit]] | None = None
        self._agreed: tuple[list[agreement.ReadVisit], Agreement] | None = None

    # --- people ----------------------------------------------------------------------------

    def all(self) -> list[Person]:
        """List everybody, and after them who has tags and was never put on the list.

        Of these, whoever has only ruled is an instructor.
        """
        with self._database.read() as connection:
            listed = people_store.people(connection)
            tagged = tag_store.names_of_taggers(connection)
            readers = people_store.readers(connection)
        others = [name for name in tagged if people.known_as(name, listed) is None]
        roles = {True: Role.TAGGER, False: Role.INSTRUCTOR}
        return [*listed, *(Person(name, roles[name in readers]) for name in others)]

    def who(self, name: str, *, says_instructor: bool = False) -> Who:
        """Give who somebody is whose name was proved as the study's sign-in asks."""
        with self._database.read() as connection:
            known = people_store.person(connection, name) if name else None
        return people.who_is(name, known, self._settings.sign_in, says_instructor=says_instructor)

    def is_alone(self, name: str) -> bool:
        """Say whether nobody but this person has tagged anything."""
        with self._database.read() as connection:
            return not people_store.others_tag(connection, name)

    def add(self, name: str, role: Role = Role.TAGGER, account: str = "") -> Person:
        """Put somebody new on the list; PeopleError where the name is taken."""
        with self._database.begin(Raises.NOTHING) as connection:
            listed = people_store.people(connection)
            new = Person(people.new_name(name, listed), role, State.ACTIVE, account.strip())
            people_store.add_person(connection, new, datetime.now(UTC))
        return new

    def change(self, name: str, *, role: Role | None = None, state: State | None = None) -> None:
        """Give somebody another role, let them in, or take them out; their tags stay.

        The work of who left is handed on. PeopleError where no instructor would be left to sign in.
        """
        with self._database.begin(Raises.NOTHING) as connection:
            listed = people_store.people(connection)
            if people.known_as(name, listed) is None:
                spelt = people.bare(name)
                if spelt not in tag_store.names_of_taggers(connection):
                    raise PeopleError(f"Nobody in the study is called {spelt!r}. Mend the name.")
                people_store.add_person(connection, Person(spelt), datetime.now(UTC))
            self._refuse_no_instructor(listed, name, role, state)
            people_store.change_person(connection, name, role=role, state=state)
        if state is State.LEFT or (state is State.ACTIVE and self.how_handed_out()):
            self.hand_on()

    def _refuse_no_instructor(
        self, listed: Sequence[Person], name: str, role: Role | None, state: State | None
    ) -> None:
        if self._settings.sign_in is SignIn.NAME:
            return
        left = [
            one
            for one in listed
            if one.role is Role.INSTRUCTOR and one.state is State.ACTIVE
            and not people.is_same(one.name, name)
        ]  # fmt: skip
        goes = state is State.LEFT or role is Role.TAGGER
        here = people.known_as(name, listed)
        if goes and not left and here is not None and here.role is Role.INSTRUCTOR:
            raise PeopleError(
                f"{here.name} is the last instructor. Make somebody else an instructor first."
            )

    # --- signing in ------------------------------------------------------------------------

    def can_sign_in(self) -> bool:
        """Say whether anybody could sign in: with codes, once both are set."""
        if self._settings.sign_in is not SignIn.CODE:
            return True
        with self._database.read() as connection:
            return all(people_store.code(connection, role) for role in Role)

    def way(self) -> str:
        """Give what a sign-in holds for: the study's way and, where there are codes, which."""
        if self._settings.sign_in is not SignIn.CODE:
            return str(self._settings.sign_in)
        with self._database.read() as connection:
            codes = [people_store.code(connection, role) for role in Role]
        return f"code {hashlib.sha256('|'.join(codes).encode()).hexdigest()[:12]}"

    def set_code(self, role: Role, code: str) -> None:
        """Set another code; everybody has to sign in again. PeopleError for one that is short."""
        hashed = people.hashed_code(code)
        with self._database.begin(Raises.NOTHING) as connection:
            other = Role.TAGGER if role is Role.INSTRUCTOR else Role.INSTRUCTOR
            known = people_store.code(connection, other)
            if known and people.is_code(code, known):
                raise PeopleError("Both codes are the same. Give the instructors another one.")
            people_store.set_code(connection, role, hashed)

    def sign_in_with_code(self, name: str, code: str, now: datetime | None = None) -> Person:
        """Give the person of a name and a code; who is new is put on the list.

        PeopleError, in the same words whichever of the two is wrong, and after too many wrong
        ones without looking.
        """
        now = now or datetime.now(UTC)
        with self._database.read() as connection:
            kept = {role: people_store.code(connection, role) for role in Role}
            known = people_store.person(connection, name)
        if not all(kept.values()):
            raise PeopleError(
                "No codes are set yet. An instructor sets them: lastbite people STUDY --codes"
            )
        instructs = self._is_named_instructor(name) or (
            known is not None and known.role is Role.INSTRUCTOR
        )
        with self._lock:  # one after the other, or many at once would all come before the first
            self._attempts.refuse(now)
            role = next((one for one in Role if people.is_code(code, kept[one])), None)
            if role is None or (instructs and role is Role.TAGGER):
                self._attempts.failed(now)
                raise PeopleError(WRONG)
        return self._come_in(name, role, "", State.ACTIVE)

    def sign_in_with_account(self, account: str, name: str, *, vetted: bool) -> Person:
        """Give the person of an account; who is new waits to be let in, unless a proxy vetted."""
        with self._database.read() as connection:
            known = people_store.person_of(connection, account)
        instructs = self._is_named_instructor(account)
        if known is not None:
            if instructs and known.role is not Role.INSTRUCTOR:
                self.change(known.name, role=Role.INSTRUCTOR, state=State.ACTIVE)
            return known
        state = State.ACTIVE if vetted or instructs else State.WAITING
        with self._database.begin(Raises.NOTHING) as connection:
            known = people_store.person_of(connection, account)
            if known is not None:  # in another of their windows, at the same moment
                return known
            listed = people_store.people(connection)
            called = people.name_of_account(name, account, listed)
            role = Role.INSTRUCTOR if instructs else Role.TAGGER
            new = Person(called, role, state, account)
            people_store.add_person(connection, new, datetime.now(UTC))
        return new

    def _is_named_instructor(self, name: str) -> bool:
        return any(people.is_same(name, one) for one in self._settings.instructors)

    def _come_in(self, name: str, role: Role, account: str, state: State) -> Person:
        with self._database.begin(Raises.NOTHING) as connection:
            known = people_store.person(connection, name)
            if known is None:
                spelt = self._kept.tagger(connection, name)
                new = people.new_name(spelt, people_store.people(connection))
                person = Person(new, role, state, account)
                people_store.add_person(connection, person, datetime.now(UTC))
                return person
            if role is Role.INSTRUCTOR and known.role is not Role.INSTRUCTOR:
                people_store.change_person(connection, known.name, role=role)
            return people_store.person(connection, name) or known

    # --- handing out -----------------------------------------------------------------------

    def how_handed_out(self) -> Handout | None:
        """Give how visits were handed out last; None where they never were."""
        with self._database.read() as connection:
            return people_store.handout(connection)

    def shares(self, placement: str | None = None, tagger: str = "") -> list[Share]:
        """Give who was given which visits."""
        with self._database.read() as connection:
            return people_store.shares(connection, placement, tagger)

    def training(self, placement: str, tagger: str) -> frozenset[int]:
        """Give the photos by which somebody was given visits to learn from."""
        with self._database.read() as connection:
            return people_store.training(connection, placement, tagger)

    def share_of(self, tagger: str) -> Mapping[str, int]:
        """Count the visits that somebody was given, by placement; nothing for nobody."""
        return Counter(one.placement for one in self.shares(None, tagger)) if tagger else {}

    def hand_out(self, how: Handout, by: str) -> int:
        """Hand out every visit that is not settled; gives how many shares there are.

        PeopleError where nobody takes part.
        """
        given = self._handed_out(how)
        with self._database.begin(Raises.NOTHING) as connection:
            people_store.add_handout(connection, how, by, datetime.now(UTC))
            people_store.set_shares(connection, given)
        return len(given)

    def hand_on(self) -> None:
        """Hand out anew after somebody came or left; nothing where it never was handed out."""
        how = self.how_handed_out()
        active = any(self._takers())
        if how is None:
            return
        given = self._handed_out(how) if active else []
        with self._database.begin(Raises.NOTHING) as connection:
            people_store.set_shares(connection, given)

    def _takers(self) -> list[str]:
        return sorted(
            one.name for one in self.all() if one.role is Role.TAGGER and one.state is State.ACTIVE
        )

    def _handed_out(self, how: Handout) -> list[Share]:
        takers = self._takers()
        if not takers:
            raise PeopleError("Nobody takes part yet. Put the taggers on the list first.")
        visits = {_key(one): one for one in self.visits()}
        holds = {(one.visit.placement, p.id): key for key, one in visits.items()
                 for p in one.visit.photos}  # fmt: skip
        before = [(holds.get((s.placement, s.photo)), s) for s in self.shares()]
        kept: dict[Visit, set[str]] = {}
        for key, share in before:
            if key is not None and not share.training:
                kept.setdefault(key, set()).add(share.tagger)
        open_ = [key for key, one in visits.items() if not people.is_settled(one.answer)]
        said = {key: _taggers(one.answer) for key, one in visits.items()}
        needed = self._settings.taggers_needed
        given = _given(how.unit, open_, takers, needed, kept, said)
        shares = [Share(*key, who) for key in open_ for who in sorted(given[key])]
        learned = [s for key, s in before if key and s.training and s.tagger in said[key]]
        known = [key for key, one in visits.items() if one.answer.state is VisitState.RULED
                 and people.is_settled(one.answer)]  # fmt: skip
        for who in takers:
            own = sum(who in given[key] for key in open_)
            read = {key for key in known if who in said[key]}
            chosen = handout.training_of(who, own, known, read, how.training)
            shares += [Share(*key, who, training=True) for key in chosen]
        return [*shares, *learned]

    # --- visits, agreement, settling -------------------------------------------------------

    def visits(self) -> list[AnsweredVisit]:
        """Give all visits of the study with their answers."""
        with self._database.read() as connection:
            names = card_store.placements_with_photos(connection)
        gap = self._settings.gap
        return [visit for name in names for visit in self._kept.view(name, gap).visits]

    def read_visits(self) -> list[agreement.ReadVisit]:
        """Give who read which visit, and what they said of it."""
        with self._database.read() as connection:
            version = data_version(connection)
        if self._read is None or self._read[0] != version:
            self._read = (version, agreement.read_visits(self.visits()))
        return self._read[1]

    def agreements(self) -> Agreement:
        """Give how far taggers agree: all at once, over each species, and two by two."""
        read = self.read_visits()
        if self._agreed is None or self._agreed[0] is not read:
            species = agreement.species_agreements(read)
            found = agreement.group_agreement(read), tuple(species)
            self._agreed = (read, Agreement(*found, tuple(agreement.pair_agreements(read))))
        return self._agreed[1]

    def sheets(self) -> list[agreement.Sheet]:
        """Give every reader's sheet, those who read most first."""
        return agreement.sheets(self.read_visits())

    def sheet(self, tagger: str) -> agreement.Sheet:
        """Give what somebody can learn: what they mix up, over settled visits."""
        return agreement.sheet_of(self.read_visits(), tagger)

    def progress(self) -> list[Progress]:
        """Say of everybody how much they read, were given, and have left."""
        read = Counter(one.tagger for visit in self.read_visits() for one in visit.readings)
        said = {
            (one.visit.placement, photo.id): _taggers(one.answer)
            for one in self.visits()
            for photo in one.visit.photos
        }
        given, left, training = Counter[str](), Counter[str](), Counter[str]()
        for share in self.shares():
            given[share.tagger] += 1
            training[share.tagger] += share.training
            open_ = share.tagger not in said.get((share.placement, share.photo), ())
            left[share.tagger] += open_
        names = dict.fromkeys([one.name for one in self.all()])
        return [Progress(n, read[n], given[n], left[n], training[n]) for n in names]

    def to_settle(self) -> list[ToSettle]:
        """List the visits that wait for an instructor, those that decide most first."""
        return settling.to_settle(self._study(), self._outcomes())

    def rulings(self) -> list[Ruled]:
        """List the rulings that stand, the newest first."""
        with self._database.read() as connection:
            names = card_store.placements_with_photos(connection)
        layouts = (self._kept.layout(name, self._settings.gap)[0] for name in names)
        found = [one for layout in layouts for one in settling.rulings_of(layout)]
        return sorted(found, key=lambda one: -one.tag.number)

    def _study(self) -> settling.Study:
        with self._database.read() as connection:
            trays = log_store.tray_deployments(connection)
            species = self._kept.species(connection)
        return settling.Study(trays, self._records(), species, self._settings)

    # --- reference photos ------------------------------------------------------------------

    def references(self) -> list[Reference]:
        """List the photos that show what a species looks like here, the newest first."""
        with self._database.read() as connection:
            return people_store.references(connection)

    def against_references(self) -> dict[tuple[int, str], tuple[str, ...]]:
        """Give of references, by photo and species, what else their visits are settled as."""
        found = {}
        for one in self.references():
            layout, _ = self._kept.layout(one.placement, self._settings.gap)
            against = settling.speaks_against(layout, one.photo, one.species)
            if against:
                found[one.photo, one.species] = against
        return found

    def turn_reference(
        self, photo: int, species: str, by: str, *, wanted: bool | None = None
    ) -> bool:
        """Make a photo a reference of a species, or no more one; says whether it is one now.

        As `wanted`; None turns it round.
        """
        with self._database.begin(Raises.NOTHING) as connection:
            if species not in self._kept.species(connection):
                raise PeopleError(f"Species {species!r} is not in the species list.")
            now = datetime.now(UTC)
            return people_store.turn_reference(connection, photo, species, by, now, wanted=wanted)


def _key(answered: AnsweredVisit) -> Visit:
    return answered.visit.placement, answered.visit.photos[0].id


def _taggers(answer: Answer) -> frozenset[str]:
    return frozenset(tag.tagger for tag in answer.tags if not tag.ruling)


def _given(
    unit: Unit,
    visits: Sequence[Visit],
    takers: Sequence[str],
    needed: int,
    kept: dict[Visit, set[str]],
    said: dict[Visit, frozenset[str]],
) -> dict[Visit, frozenset[str]]:
    """Hand out visit by visit, or all of a placement to the same people."""
    if unit is Unit.VISIT:
        sizes = dict.fromkeys(visits, 1)
        return handout.hand_out(sizes, takers, needed, before=kept, done=said)
    of: dict[str, list[Visit]] = {}
    for visit in visits:
        of.setdefault(visit[0], []).append(visit)
    found = handout.hand_out(
        {placement: len(some) for placement, some in of.items()},
        takers,
        needed,
        before={p: {w for v in some for w in kept.get(v, ())} for p, some in of.items()},
        done={p: {w for v in some for w in said[v]} for p, some in of.items()},
    )
    return {visit: found[visit[0]] for visit in visits}
