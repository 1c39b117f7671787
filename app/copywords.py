"""Decide in which words back-ups, moves and merges of a study are told."""

from collections.abc import Sequence

from core.copies import Backup, Merged, Moved
from core.keeping import Packed, Unpacked

MOST_NAMED = 20
"""So many trays are named."""


def backup(file: str, made: Backup) -> str:
    """Say what a back-up holds."""
    return f"Wrote {file}: {_holds(made)}. Read again and compared, row by row."


def restored(file: str, folder: str, made: Backup) -> list[str]:
    """Say what came out of a back-up."""
    when = made.made_at.strftime("%Y-%m-%d %H:%M UTC")
    return [
        f"Made the study {folder} from {file} of {when}: {_holds(made)}.",
        "Photos are not in a back-up: cards that lie elsewhere now are scanned from there once.",
    ]


def moved(done: Moved) -> list[str]:
    """Say where a study is now, and where it was."""
    now = f"The study is at {done.target} now: {done.rows} rows in {done.tables} tables, compared."
    before = f"Before, it was at {done.source}; that is as it was."
    return [now, f"{before} Put it aside, so that nobody goes on with it."]


def merged(done: Merged) -> list[str]:
    """Say what came in, what was there already, and every conflict."""
    would = "Would bring in" if done.only_looked else "Brought in"
    lines = ", ".join(f"{many} {log}" for log, many in done.lines.items() if many) or "none"
    files = f"{_many(done.photos, 'file')} on {_many(done.cards, 'new card')}"
    tags = f"{_many(done.tags, 'tag')} ({done.tags_same} were here)"
    told = [f"{would}: {files} ({done.photos_same} were here), {tags}."]
    undone = f"Undos of tags that were here: {done.undone}."
    told.append(f"Log lines: {lines}. Clock corrections: {done.corrections}. {undone}")
    if done.outlines or done.stretches:
        said = f"words on suspected time: {done.stretches}"
        told.append(f"Outlines of trays: {done.outlines}; {said}.")
    if done.tags_said_here:
        told.append(
            f"{_many(done.tags_said_here, 'tag')} came not in: the same tagger says the same here."
        )
    if done.taggers_in_both:
        names = ", ".join(done.taggers_in_both)
        told.append(f"Tagged here and there: {names}. Are two people of one name among them?")
    if done.rulings_by:
        told.append(f"Rulings came in, by {', '.join(done.rulings_by)}.")
    if done.conflicts:
        told.append(f"{_many(len(done.conflicts), 'conflict')}, nothing of it was changed here:")
        told += [f"! {words}" for words in done.conflicts]
    if done.left_there:
        told.append(f"Left there, since a merge never brings it in: {'; '.join(done.left_there)}.")
    if done.only_looked:
        told.append("Nothing was stored.")
    return told


def packed(file: str, made: Packed) -> list[str]:
    """Say what an archive holds."""
    copies = f", {_many(made.pictures, 'copy', 'copies')} of photos" if made.pictures else ""
    lines = [
        f"Wrote {file}: {_many(made.files, 'file')} about {_many(made.photos, 'photo')}{copies}.",
        "It names people and places: keep it, and give a package of 'lastbite export' away.",
    ]
    if made.missing:
        lines.append(f"! {_many(made.missing, 'photo')} not at hand, so not in it.")
    return lines


def unpacked(file: str, made: Unpacked, differing: Sequence[str]) -> list[str]:
    """Say what came out of an archive, and whether its outcomes are the same."""
    lines = [
        f"Made the study {made.folder} from {file}.",
        f"{_many(made.files, 'file')} checked: all as Lastbite {made.program} packed them.",
    ]
    if differing:
        named = ", ".join(differing[:MOST_NAMED])
        more = len(differing) - MOST_NAMED
        rest = f" and {more} more" if more > 0 else ""
        lines.append(
            f"! {_many(len(differing), 'outcome')} come out otherwise with this version: {named}"
            f"{rest}. outcomes.csv of the archive has them as they were."
        )
    else:
        lines.append("The outcomes come out the same.")
    if made.away:
        lines.append(f"{_many(made.away, 'card')} not at hand: scan their folders to see photos.")
    return lines


def _holds(made: Backup) -> str:
    photos, tags = made.rows.get("photos", 0), made.rows.get("tags", 0)
    rows = sum(made.rows.values())
    return f"{_many(photos, 'file')} of cards, {_many(tags, 'tag')}, {rows} rows in all"


def _many(number: int, what: str, several: str = "") -> str:
    return f"1 {what}" if number == 1 else f"{number} {several or what + 's'}"
