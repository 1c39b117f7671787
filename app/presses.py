"""Decide what a press on the Tag page does: the tag it keeps, and how it is undone and redone.

A press means the photos that were on screen when its button was drawn, whatever came since.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from app import session
from app.review import Turn
from core.errors import LastbiteError, TagError
from core.model import BLANK, HANDLER, Photo, Tag, Where
from core.workspace import NewTag, Workspace

ORIGIN = "Tag page"
"""What these tags say of how they came in."""


@dataclass(frozen=True, slots=True)
class Press:
    """What a button on screen stands for: it never means the photos of another turn."""

    turn: Turn
    controls: str
    """Name of the controls that say where, how many and so on."""
    action: str
    after: tuple[str, int | None]
    """Placement and first photo to be shown next."""
    tagger: str
    ruling: bool


def controls_of(turn: Turn) -> str:
    """Name the controls of a run: another run, or another turn, has controls of its own."""
    return f"{turn.photos[0].id}-{turn.photos[-1].id}-{session.turn()}"


def many_key(turn: Turn) -> str:
    """Name the control that says that more than one species is in a run."""
    return f"many-{turn.placement}-{turn.key}"


def name_of_run(turn: Turn) -> str:
    """Say what a run of photos is called."""
    if turn.answered is not None:
        return f"visit {turn.answered.visit.number}"
    return f"{turn.photos[0].kind} photos" if turn.timed else "photos without a time"


# --- keeping ---------------------------------------------------------------------------------


def keep_tag(workspace: Workspace, press: Press, species: str) -> None:
    """Keep a tag for the run that was on screen when the button was drawn."""
    turn = press.turn
    try:
        new = _new_tag(press, species)
        number = workspace.tag(new, ORIGIN)
    except LastbiteError as fault:
        session.say("bad", str(fault))
        return
    words = f"{species} on {name_of_run(turn)} of {turn.placement}"
    session.did(session.Deed((number,), turn.placement, turn.key, words))
    whole = (new.first_photo, new.last_photo) == (turn.photos[0].id, turn.photos[-1].id)
    session.go(*((turn.placement, turn.key) if new.also or not whole else press.after))


def _new_tag(press: Press, species: str) -> NewTag:
    name, turn = press.controls, press.turn
    nobody = species in {BLANK, HANDLER}
    where = session.widget(f"where-{name}")
    if not nobody and where is None:
        raise TagError("Say first where it was: fed, on the tray or near it. Nothing was kept.")
    count = session.widget(f"count-{name}")
    first, last = _run(session.widget(f"part-{name}"), turn.photos)
    return NewTag(
        placement=turn.placement,
        first_photo=first,
        last_photo=last,
        tagger=press.tagger,
        species=species,
        count=int(count) if isinstance(count, int | float) and not nobody else None,
        where=None if nobody else Where(str(where)),
        sure=not session.widget(f"unsure-{name}"),
        tray="" if nobody else str(session.widget(f"tray-{name}") or ""),
        ruling=press.ruling,
        also=bool(session.widget(many_key(turn))),
        comment=str(session.widget(f"comment-{name}") or ""),
        action=press.action,
    )


def _run(part: object, photos: Sequence[Photo]) -> tuple[int, int]:
    """Give the ids of the first and last photo that a tag is about."""
    if isinstance(part, tuple | list) and len(part) == 2:  # noqa: PLR2004
        return photos[part[0] - 1].id, photos[part[1] - 1].id
    return photos[0].id, photos[-1].id


def undo(workspace: Workspace, tagger: str, deed: session.Deed | None) -> None:
    """Take back a deed and show its photos."""
    _turn_over(workspace.take_back, tagger, deed, session.done(), session.undone())


def redo(workspace: Workspace, tagger: str, deed: session.Deed | None) -> None:
    """Let a deed hold again and show its photos."""
    _turn_over(workspace.restore, tagger, deed, session.undone(), session.done())


def _turn_over(
    act: Callable[[int, str], None],
    tagger: str,
    deed: session.Deed | None,
    here: list[session.Deed],
    there: list[session.Deed],
) -> None:
    """Do it to every tag of a deed and move it over; a deed that failed stays where it was."""
    if deed is None or deed not in here:
        return
    try:
        for number in deed.numbers:
            act(number, tagger)
    except LastbiteError as fault:
        session.say("bad", str(fault))
        return
    here.remove(deed)
    there.append(deed)
    session.go(deed.placement, deed.photo)


def take_back_one(workspace: Workspace, tag: Tag, tagger: str) -> None:
    """Take back one of the tagger's own tags; redo lets it hold again."""
    mine = next((one for one in session.done() if tag.number in one.numbers), None)
    deed = mine or session.Deed(
        (tag.number,), tag.placement, tag.first_photo, f"{tag.species} on {tag.placement}"
    )
    if mine is None:
        session.done().append(deed)
    undo(workspace, tagger, deed)
