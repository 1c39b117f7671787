"""Decide what an act of the viewer keeps: one tag, or some taken back; once, however often sent."""

import re
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app import wording
from app.viewer import bodies, rulings
from app.viewer.bodies import BodyError
from core import people, taglog
from core.errors import PeopleError, TagError
from core.model import BLANK, HANDLER, Tag, Where
from core.people import Act, Who
from core.views import PlacementBase
from core.workspace import NewTag, Workspace

ID = re.compile("[0-9a-f]{32}")
ORIGINS = {"viewer": "Tag page", "quiet sheet": wording.SHEET_ORIGIN, "settle": "Settle page"}
"""Where in the viewer a tag is made, and what it says of how it came in."""
LONGEST_COMMENT = 500
MOST_ANIMALS = 999
_RULING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Done:
    """What an act did."""

    numbers: tuple[int, ...]
    """Of the tags that it made or turned."""
    words: str


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of some acts, by their ids."""

    done: Mapping[str, Done]
    refused: Mapping[str, str]
    """Why each of the others keeps nothing, in words."""


@dataclass(frozen=True, slots=True)
class Sender:
    """Whose acts they are."""

    workspace: Workspace
    person: Who
    who: str
    """Their name as the study spells it."""
    instructor: bool
    known: Mapping[str, Tag]
    """Tags that these acts have made already, by act."""


def keep(workspace: Workspace, person: Who, acts: Sequence[object]) -> Kept:
    """Do acts in their order, each alone: one that is refused stops nothing.

    BodyError, and nothing done, where one has no id by which it could be answered.
    """
    named = [(_id(act), bodies.as_object(act, "An act")) for act in acts]
    who, known = workspace.tagger(person.name), workspace.tags_of_acts([name for name, _ in named])
    sender = Sender(workspace, person, who, people.may(person, Act.RULE), known)
    done: dict[str, Done] = {}
    refused: dict[str, str] = {}
    for name, act in named:
        try:
            done[name] = _keep_one(sender, name, act)
        except (TagError, BodyError, PeopleError) as fault:
            refused[name] = str(fault)
    return Kept(done, refused)


def _id(act: object) -> str:
    name = bodies.as_object(act, "An act").get("id")
    if not isinstance(name, str) or not ID.fullmatch(name):
        raise BodyError("An act has no id of 32 small hexadecimal digits. Load the page again.")
    return name


def _keep_one(sender: Sender, name: str, act: Mapping[str, Any]) -> Done:
    if not sender.who:
        raise TagError("The tag has no tagger. Say who you are first: type your name above.")
    people.refuse(sender.person, Act.TAG)
    match act.get("do"):
        case "tag":
            return _tag(sender, name, act)
        case "take_back" | "restore":
            return _turn(sender, name, act)
        case _:
            raise BodyError("`do` is none of: tag, take_back, restore. Load the page again.")


# --- tags --------------------------------------------------------------------------------------


def _tag(sender: Sender, name: str, act: Mapping[str, Any]) -> Done:
    workspace, tag = sender.workspace, sender.known.get(name)
    if tag is not None:
        if tag.tagger != sender.who:
            raise TagError("Another tagger's act has this id already. Load the page again.")
        return Done((tag.number,), wording.what_tag_says(tag, workspace.species()))
    new = _new_tag(act, name, sender)
    base = workspace.base(new.placement)
    _refuse_misplaced(base, new)
    origin = _origin(act, new.species)
    if new.ruling and origin == wording.SHEET_ORIGIN:
        _refuse_overruling(sender, new, base)
    if "knows" in act:
        with _RULING:  # two who rule at once come one after the other, and the second is told
            _refuse_unseen(sender, act, new, base)
            number = workspace.tag(new, origin)
    else:
        number = workspace.tag(new, origin)
    return Done((number,), wording.what_tag_says(taglog.tag_of(new, origin), base.species))


def _refuse_overruling(sender: Sender, new: NewTag | Tag, base: PlacementBase) -> None:
    """Refuse a ruling from the quiet sheet over what anybody said is no blank: it was not opened.

    A tagger's blank beside another's animal is an ordinary dispute, which the instructor settles.
    """
    layout, _ = sender.workspace.layout(new.placement)
    over = layout.standing.between(base.place[new.first_photo], base.place[new.last_photo])
    others = [run.tag for run in over if run.tag.species != BLANK]
    if others:
        said = wording.what_tag_says(others[-1], base.species)
        raise TagError(
            f"{others[-1].tagger} said {said} of this run. Open it and look before you rule."
        )


def _refuse_unseen(
    sender: Sender, act: Mapping[str, Any], new: NewTag, base: PlacementBase
) -> None:
    """Refuse a ruling that does not know of another; `knows` has those that the page showed."""
    seen = [bodies.whole({"number": one}, "number", 1) for one in bodies.several(act, "knows")]
    layout, _ = sender.workspace.layout(new.placement)
    places = base.place[new.first_photo], base.place[new.last_photo]
    over = layout.standing.between(*places)
    rulings.refuse_unseen(
        over, seen, sender.who, lambda tag: wording.what_tag_says(tag, base.species)
    )


def _new_tag(act: Mapping[str, Any], name: str, sender: Sender) -> NewTag:
    species = bodies.text(act, "species")
    nobody = species in {BLANK, HANDLER}
    return NewTag(
        placement=bodies.text(act, "placement"),
        first_photo=bodies.whole(act, "first", least=1),
        last_photo=bodies.whole(act, "last", least=1),
        tagger=sender.who,
        species=species,
        count=None if nobody else _count(act),
        where=None if nobody else _where(act),
        sure=bodies.flag(act, "sure", default=True),
        tray="" if nobody else bodies.text(act, "tray"),
        ruling=sender.instructor,
        also=bodies.flag(act, "also", default=False),
        comment=bodies.text(act, "comment", LONGEST_COMMENT),
        action=name,
    )


def _origin(act: Mapping[str, Any], species: str) -> str:
    origin = ORIGINS.get(bodies.text(act, "from"))
    if origin is None:
        raise BodyError(f"`from` is none of: {', '.join(ORIGINS)}. Load the page again.")
    if origin == ORIGINS["quiet sheet"] and species != BLANK:
        raise TagError("On the quiet sheet only blank can be said. Open the run to say who it was.")
    return origin


def _count(act: Mapping[str, Any]) -> int | None:
    if act.get("count") is None:
        return None
    count = bodies.whole(act, "count")
    if not 1 <= count <= MOST_ANIMALS:
        raise TagError(f"A count of {count} makes no sense. Count from 1 to {MOST_ANIMALS}.")
    return count


def _where(act: Mapping[str, Any]) -> Where | None:
    if act.get("where") is None:
        return None
    where = bodies.text(act, "where")
    if where not in set(Where):
        raise BodyError(f"`where` is none of: {', '.join(Where)}. Load the page again.")
    return Where(where)


def _refuse_misplaced(base: PlacementBase, new: NewTag) -> None:
    """Refuse a tag on photos that are in no order of this placement, or not in that order."""
    placement = base.placement
    ends = [base.place.get(photo) for photo in (new.first_photo, new.last_photo)]
    if None in ends:
        untimed = {photo.id for photo in base.untimed}
        if {new.first_photo, new.last_photo} & untimed:
            raise TagError(
                "A photo without a time belongs to no visit and cannot be tagged. "
                "Mend its time, or leave it."
            )
        missing = new.first_photo if ends[0] is None else new.last_photo
        raise TagError(
            f"Photo {missing} is not on placement {placement.placement!r} (any more). "
            "Nothing was kept; load the page again and tag what is there."
        )
    if ends[0] > ends[1]:  # type: ignore[operator]
        raise TagError(
            f"Photo {new.first_photo} comes after photo {new.last_photo}. Nothing was kept; load "
            "the page again: the clock may have been corrected."
        )
    taglog.refuse_tray(new.tray, placement.trays, placement.placement)


# --- taking back and restoring -----------------------------------------------------------------


def _turn(sender: Sender, name: str, act: Mapping[str, Any]) -> Done:
    """Turn the tags that are named by their numbers or by the acts that made them."""
    taken_back = act["do"] == "take_back"
    made = bodies.several(act, "acts")
    if not all(isinstance(one, str) and ID.fullmatch(one) for one in made):
        raise BodyError("`acts` holds something else than ids of acts. Load the page again.")
    known = sender.workspace.tags_of_acts(made)
    if len(known) < len(set(made)):
        raise TagError("What should be undone was never kept, so there is nothing to take back.")
    asked = [bodies.whole({"number": one}, "number", 1) for one in bodies.several(act, "numbers")]
    if not taken_back:
        _refuse_restored(sender, known.values())
    numbers = list(dict.fromkeys([*(known[one].number for one in made), *asked]))
    if not numbers:
        raise BodyError("An act names no tag to take back or restore. Load the page again.")
    sender.workspace.turn(
        numbers, sender.who, taken_back=taken_back, own=not sender.instructor, action=name
    )
    many = "1 tag" if len(numbers) == 1 else f"{len(numbers)} tags"
    return Done(tuple(numbers), f"{many} {'taken back' if taken_back else 'let hold again'}")


def _refuse_restored(sender: Sender, tags: Iterable[Tag]) -> None:
    """Refuse to let rulings of the quiet sheet hold again over what was said since."""
    for tag in tags:
        base = sender.workspace.base(tag.placement)
        there = {tag.first_photo, tag.last_photo} <= base.place.keys()
        if tag.ruling and tag.origin == wording.SHEET_ORIGIN and there:
            _refuse_overruling(sender, tag, base)
