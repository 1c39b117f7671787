"""Decide how people, their shares of the work, codes and reference photos are held.

Nobody is ever removed: who left stays, so that a name never comes to mean somebody else.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, select
from sqlalchemy.exc import IntegrityError

from core.errors import PeopleError
from core.handout import Handout
from core.people import Person, Role, State, bare
from core.store.tables import (
    HANDOUTS,
    METADATA,
    PEOPLE,
    PHOTOS,
    REFERENCE_PHOTOS,
    SECRETS,
    SHARES,
    TAGS,
)

_WHO = {"tagger", "done_by", "made_by", "taken_back_by"}
_SIGNED = [
    column for table in METADATA.tables.values() for column in table.columns if column.name in _WHO
]
"""Columns of all tables that say who did something."""
_FIELDS = [PEOPLE.c[name] for name in ("name", "role", "state", "account")]


@dataclass(frozen=True, slots=True)
class Share:
    """A visit that somebody was given to tag, by its first photo when it was given."""

    placement: str
    photo: int
    tagger: str
    training: bool = False
    """Whether it was settled already, and is there to learn from."""


@dataclass(frozen=True, slots=True)
class Reference:
    """A photo that shows what a species looks like in this study."""

    photo: int
    placement: str
    file: str
    species: str
    by: str


# --- people --------------------------------------------------------------------------------------


def people(connection: Connection) -> list[Person]:
    """Fetch everybody, in the order in which they came."""
    asked = select(*_FIELDS).order_by(PEOPLE.c.number)
    return [Person(*cells) for cells in connection.execute(asked)]


def person(connection: Connection, name: str) -> Person | None:
    """Fetch one person by a name that is alike but for case and blanks."""
    cells = connection.execute(select(*_FIELDS).where(PEOPLE.c.same == _same(name))).first()
    return None if cells is None else Person(*cells)


def everybody(connection: Connection) -> list[str]:
    """Name all whom the study knows, sorted: its people, their accounts, who tagged and decided."""
    columns = (PEOPLE.c.name, PEOPLE.c.account, *_SIGNED)
    found = {name for one in columns for name in connection.scalars(select(one).distinct())}
    return sorted(filter(None, found))


def person_of(connection: Connection, account: str) -> Person | None:
    """Fetch the person who signs in with an account."""
    asked = select(*_FIELDS).where(PEOPLE.c.account == account).order_by(PEOPLE.c.number)
    cells = connection.execute(asked).first()
    return None if cells is None else Person(*cells)


def add_person(connection: Connection, new: Person, at: datetime) -> None:
    """Hold somebody new, whose name nobody has; PeopleError where it was taken this moment."""
    row = {
        "name": new.name,
        "same": _same(new.name),
        "role": new.role,
        "state": new.state,
        "account": new.account,
        "since": at,
    }
    try:
        connection.execute(PEOPLE.insert(), row)
    except IntegrityError:
        raise PeopleError(f"{new.name!r} was put on the list this moment. Try again.") from None


def change_person(
    connection: Connection, name: str, *, role: Role | None = None, state: State | None = None
) -> None:
    """Hold another role or state of somebody; PeopleError where there is nobody of that name."""
    values = {k: v for k, v in (("role", role), ("state", state)) if v is not None}
    changed = connection.execute(PEOPLE.update().where(PEOPLE.c.same == _same(name)), values)
    if changed.rowcount == 0:
        raise PeopleError(f"There is nobody called {name!r} in the study. Choose a name listed.")


def _same(name: str) -> str:
    return bare(name).casefold()


# --- codes ---------------------------------------------------------------------------------------


def code(connection: Connection, role: Role) -> str:
    """Fetch what is kept of the code of a role; empty where none was set."""
    asked = select(SECRETS.c.value).where(SECRETS.c.name == _code_name(role))
    return connection.execute(asked).scalar() or ""


def set_code(connection: Connection, role: Role, hashed: str) -> None:
    """Hold another code; who signed in with the one before has to sign in again."""
    connection.execute(delete(SECRETS).where(SECRETS.c.name == _code_name(role)))
    connection.execute(SECRETS.insert(), {"name": _code_name(role), "value": hashed})


def _code_name(role: Role) -> str:
    return f"code of {role}s"


# --- shares --------------------------------------------------------------------------------------


def shares(connection: Connection, placement: str | None = None, tagger: str = "") -> list[Share]:
    """Fetch who was given what: of a placement or of all, of one person or of everybody."""
    asked = select(SHARES.c.placement, SHARES.c.photo_id, SHARES.c.tagger, SHARES.c.training)
    if placement is not None:
        asked = asked.where(SHARES.c.placement == placement)
    if tagger:
        asked = asked.where(SHARES.c.tagger == tagger)
    return [Share(*cells) for cells in connection.execute(asked.order_by(SHARES.c.number))]


def training(connection: Connection, placement: str, tagger: str) -> frozenset[int]:
    """Fetch the photos by which somebody was given visits to learn from."""
    whose = (SHARES.c.placement == placement) & (SHARES.c.tagger == tagger) & SHARES.c.training
    return frozenset(connection.scalars(select(SHARES.c.photo_id).where(whose)))


def set_shares(connection: Connection, given: Sequence[Share]) -> None:
    """Hold these shares in place of all that were held."""
    connection.execute(delete(SHARES))
    rows = [
        {
            "placement": one.placement,
            "photo_id": one.photo,
            "tagger": one.tagger,
            "training": one.training,
        }
        for one in given
    ]
    if rows:
        connection.execute(SHARES.insert(), rows)


def handout(connection: Connection) -> Handout | None:
    """Fetch how it was handed out last; None where it never was."""
    asked = select(HANDOUTS.c.unit, HANDOUTS.c.training).order_by(HANDOUTS.c.number.desc())
    cells = connection.execute(asked.limit(1)).first()
    return None if cells is None else Handout(*cells)


def add_handout(connection: Connection, how: Handout, by: str, at: datetime) -> None:
    """Hold how it is handed out from now on."""
    row = {"unit": how.unit, "training": how.training, "made_by": by, "made_at": at}
    connection.execute(HANDOUTS.insert(), row)


# --- reference photos ----------------------------------------------------------------------------


def references(connection: Connection) -> list[Reference]:
    """Fetch the reference photos that are on a card still, the newest first."""
    asked = (
        select(
            REFERENCE_PHOTOS.c.photo_id,
            PHOTOS.c.placement,
            PHOTOS.c.file,
            REFERENCE_PHOTOS.c.species,
            REFERENCE_PHOTOS.c.made_by,
        )
        .join(PHOTOS, PHOTOS.c.id == REFERENCE_PHOTOS.c.photo_id)
        .order_by(REFERENCE_PHOTOS.c.number.desc())
    )
    return [Reference(*cells) for cells in connection.execute(asked)]


def turn_reference(
    connection: Connection,
    photo: int,
    species: str,
    by: str,
    at: datetime,
    *,
    wanted: bool | None = None,
) -> bool:
    """Make a photo a reference of a species, or no more one; says whether it is one now.

    As `wanted`, which may be so already; None turns it round.
    """
    here = (REFERENCE_PHOTOS.c.photo_id == photo) & (REFERENCE_PHOTOS.c.species == species)
    is_one = connection.execute(select(REFERENCE_PHOTOS.c.photo_id).where(here)).first() is not None
    if is_one and not wanted:
        connection.execute(delete(REFERENCE_PHOTOS).where(here))
        return False
    if is_one or wanted is False:
        return is_one
    if connection.execute(select(PHOTOS.c.id).where(PHOTOS.c.id == photo)).first() is None:
        raise PeopleError(f"Photo {photo} is on no card of the study. Load the page again.")
    row = {"photo_id": photo, "species": species, "made_by": by, "made_at": at}
    connection.execute(REFERENCE_PHOTOS.insert(), row)
    return True


# --- what people tagged --------------------------------------------------------------------------


def readers(connection: Connection) -> frozenset[str]:
    """Name everybody who has a tag that is no ruling."""
    asked = select(TAGS.c.tagger).where(~TAGS.c.ruling).distinct()
    return frozenset(connection.scalars(asked))


def others_tag(connection: Connection, name: str) -> bool:
    """Say whether anybody but this person has a tag in the study."""
    asked = select(TAGS.c.number).where(TAGS.c.tagger != name).limit(1)
    return connection.execute(asked).first() is not None
