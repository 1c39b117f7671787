"""Decide what the Settle page is told: which visits wait, who said what, and what hangs on each."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

from app import wording
from app.viewer import bodies
from app.viewer.bodies import BodyError
from core.errors import TagError
from core.exports.tables import name_of
from core.model import ANSWERS_WITHOUT_SPECIES, Outcome, Species, Tag, Where
from core.plural import many
from core.settling import Possible, Ruled, ToSettle, Tray, Under, Weight
from core.tags import Run
from core.workspace import Workspace

MOST = 500
"""So many visits are led through at once; the list is made anew as they are settled."""
MOST_RULINGS = 500
"""So many are listed, the newest."""


def waiting(workspace: Workspace) -> Mapping[str, Any]:
    """Give the visits that wait for the instructor, and the reference photos of the study."""
    found = workspace.people.to_settle()
    species = workspace.species()
    return {
        "visits": [_visit(one, species) for one in found[:MOST]],
        "count": len(found),
        "references": references(workspace),
    }


def made(workspace: Workspace) -> Mapping[str, Any]:
    """Give the rulings that stand, the newest first."""
    found = workspace.people.rulings()
    species = workspace.species()
    return {
        "rulings": [_ruling(one, species, workspace.zone) for one in found[:MOST_RULINGS]],
        "count": len(found),
    }


def _ruling(one: Ruled, species: Mapping[str, Species], zone: ZoneInfo) -> dict[str, Any]:
    tag, visit = one.tag, one.visit
    photos = visit.photos if visit else ()
    said = replace(tag, ruling=False, comment="")
    return {
        "number": tag.number,
        "placement": tag.placement,
        "visit": visit.number if visit else 0,
        "first": photos[0].id if photos else tag.first_photo,
        "last": photos[-1].id if photos else tag.last_photo,
        "at": wording.stretch(visit.start, visit.end, zone) if visit else "in no visit",
        "who": tag.tagger,
        "words": wording.what_tag_says(said, species),
        "reason": tag.comment,
        "when": wording.moment(tag.made_at, zone),
    }


def references(workspace: Workspace) -> dict[str, list[dict[str, Any]]]:
    """Give the photos that show each species well, by its key, the newest first."""
    found = workspace.people.references()
    editions = workspace.previews.editions({one.photo for one in found})
    against = against_words(workspace)
    shown: dict[str, list[dict[str, Any]]] = {}
    for one in found:
        shown.setdefault(one.species, []).append(
            {
                "photo": one.photo,
                "edition": editions.get(one.photo, ""),
                "from": f"{one.placement}, {one.file}",
                "by": one.by,
                "against": against.get((one.photo, one.species), ""),
            }
        )
    return shown


def against_words(workspace: Workspace) -> dict[tuple[int, str], str]:
    """Warn of references, by photo and species, whose visit is settled as something else."""
    species = workspace.species()
    return {
        key: f"Its visit is settled as {' + '.join(name_of(one, species) for one in settled)}."
        for key, settled in workspace.people.against_references().items()
    }


def shown_as(workspace: Workspace, photos: Collection[int]) -> dict[int, list[dict[str, str]]]:
    """Give of some photos what they are references of, with a warning where there is one."""
    found = [one for one in workspace.people.references() if one.photo in photos]
    against = against_words(workspace) if found else {}
    shown: dict[int, list[dict[str, str]]] = {}
    for one in found:
        warning = against.get((one.photo, one.species), "")
        shown.setdefault(one.photo, []).append({"species": one.species, "against": warning})
    return shown


def turn_reference(workspace: Workspace, by: str, said: Mapping[str, Any]) -> Mapping[str, Any]:
    """Make a photo a reference of a species, or no more one; gives all that there are then.

    `is` says which is wanted; without it what is there is turned round.
    """
    photo, species = bodies.whole(said, "photo", 1), bodies.text(said, "species")
    if not species:
        raise BodyError("A reference names no species. Press the key of one.")
    wanted = bodies.flag(said, "is", default=False) if "is" in said else None
    is_one = workspace.people.turn_reference(photo, species, by, wanted=wanted)
    return {"is_reference": is_one, "references": references(workspace)}


def _visit(one: ToSettle, species: Mapping[str, Species]) -> dict[str, Any]:
    visit, tags = one.answered.visit, one.answered.answer.tags
    return {
        "placement": visit.placement,
        "visit": visit.number,
        "first": visit.photos[0].id,
        "last": visit.photos[-1].id,
        "why": str(one.why),
        "weight": int(one.weight),
        "hangs": hangs_line(one),
        "trays": [_tray(tray, species) for tray in sorted(one.trays, key=lambda t: t.weight)],
        "answers": [_answer(answer, species, tags) for answer in one.answers if answer.readers],
        "rulings": [tag.number for tag in tags if tag.ruling],
        "where": _where_said(tags),
        "tray": _most(tag.tray for tag in tags if tag.tray),
    }


def hangs_line(one: ToSettle) -> str:
    """Say in one line what hangs on a visit."""
    named = [tray.now.deployment.deployment for tray in one.trays if tray.weight is one.weight]
    trays = " and ".join(named)
    waits = "waits" if len(named) == 1 else "wait"
    match one.weight:
        case Weight.DECIDES:
            return f"{trays} {waits} for this visit alone, and your answer decides."
        case Weight.CLOSES:
            return f"{trays} {waits} for this visit alone; every answer gives the same."
        case Weight.ONE_OF_SEVERAL:
            left = max(tray.now.unanswered for tray in one.trays)
            return f"{trays} {waits} for {many(left, 'visit')}, this is one of them."
        case Weight.NO_MATTER:
            return f"It lies in the window of {trays}; nothing hangs on it there."
        case Weight.NO_TRAY:
            return "It lies in no tray's window."


def _tray(tray: Tray, species: Mapping[str, Species]) -> dict[str, Any]:
    return {
        "deployment": tray.now.deployment.deployment,
        "now": becomes(tray.now),
        "under": [_under(one, species) for one in tray.under],
    }


def _under(one: Under, species: Mapping[str, Species]) -> dict[str, str]:
    return {
        "answer": said_in_short(one.answer.said, species),
        "status": str(one.outcome.status),
        "sign": wording.SIGN[one.outcome.status],
        "becomes": becomes(one.outcome),
    }


def becomes(outcome: Outcome) -> str:
    """Say what becomes of a tray: its status and whose density, or why there is none."""
    if outcome.gud is None:
        return f"{outcome.status}: {outcome.reason}"
    return f"{outcome.status}: {outcome.forager}, {wording.density(outcome)}"


def said_in_short(tags: Sequence[Tag], species: Mapping[str, Species]) -> str:
    """Say who was there and where: `Gerbil fed + Mouse near`."""
    parts = dict.fromkeys(
        " ".join(filter(None, (name_of(tag.species, species), _where(tag)))) for tag in tags
    )
    return " + ".join(parts)


def _where(tag: Tag) -> str:
    if tag.where is None or tag.species in ANSWERS_WITHOUT_SPECIES:
        return ""
    return wording.WHERE_WORDS[tag.where]


def _answer(
    answer: Possible, species: Mapping[str, Species], tags: Sequence[Tag]
) -> dict[str, Any]:
    return {
        "who": list(answer.readers),
        "ruling": any(tag.ruling for tag in answer.said),
        "words": said_in_short(answer.said, species),
        "sure": all(tag.sure for tag in answer.said),
        "origin": _origin(answer.readers, tags),
        "comments": list(dict.fromkeys(tag.comment for tag in answer.said if tag.comment)),
        "tags": [
            {
                "first": tag.first_photo,
                "last": tag.last_photo,
                "species": tag.species,
                "count": tag.count,
                "where": None if tag.where is None else str(tag.where),
                "tray": tag.tray,
                "also": tag.also,
            }
            for tag in answer.said
        ],
    }


def _origin(readers: Sequence[str], tags: Sequence[Tag]) -> str:
    """Say which of those who said the same said it from the quiet sheet; nothing where nobody."""
    sheet = {tag.tagger for tag in tags if tag.origin == wording.SHEET_ORIGIN}
    names = [name for name in readers if name in sheet]
    if not names:
        return ""
    whose = "" if len(names) == len(readers) else f"{', '.join(names)}: "
    return f"{whose}{wording.FROM_SHEET}"


def _where_said(tags: Sequence[Tag]) -> dict[str, str]:
    """Give where most say that each species was; of two said as often the less."""
    order = [Where.FED, Where.ON_TRAY, Where.NEAR]
    found: dict[str, Counter[Where]] = {}
    for tag in tags:
        if tag.where is not None:
            found.setdefault(tag.species, Counter())[tag.where] += 1
    return {
        key: str(max(counts, key=lambda where: (counts[where], order.index(where))))
        for key, counts in found.items()
    }


def _most(values: Any) -> str:
    counts = Counter(values)
    return max(counts, key=lambda one: (counts[one], one), default="")


# --- two who rule at once ------------------------------------------------------------------------


def refuse_unseen(standing: Sequence[Run], seen: Sequence[int], by: str, words: Any) -> None:
    """Refuse a ruling where somebody else ruled since the page was drawn; TagError says what.

    `standing` are the tags over the run now, `seen` the rulings that the page showed.
    """
    for run in standing:
        tag = run.tag
        if tag.ruling and tag.number not in seen and tag.tagger != by:
            raise TagError(
                f"{tag.tagger} ruled this visit while you looked at it: {words(tag)}. Nothing of "
                "yours was kept. Look at it again, and rule once more if you see it otherwise."
            )
