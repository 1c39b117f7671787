"""Decide in which words back-ups, moves and merges of a study are told."""

from collections.abc import Sequence

from core.copies import Backup, Merged, Moved
from core.keeping import Packed, Unpacked
from core.plural import many

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
    held = f"{many(done.rows, 'row')} in {many(done.tables, 'table')}"
    now = f"The study is at {done.target} now: {held}, compared."
    before = f"Before, it was at {done.source}; that is as it was."
    return [now, f"{before} Put it aside, so that nobody goes on with it."]


def merged(done: Merged) -> list[str]:
    """Say what came in, what was there already, and every conflict."""
    would = "Would bring in" if done.only_looked else "Brought in"
    lines = ", ".join(f"{n} {log}" for log, n in done.lines.items() if n) or "none"
    files = f"{many(done.photos, 'file')} on {many(done.cards, 'new card')}"
    same = [many(one, "was here", "were here") for one in (done.photos_same, done.tags_same)]
    told = [f"{would}: {files} ({same[0]}), {many(done.tags, 'tag')} ({same[1]})."]
    undone = f"Undos of tags that were here: {done.undone}."
    told.append(f"Log lines: {lines}. Clock corrections: {done.corrections}. {undone}")
    if done.outlines or done.stretches:
        said = f"words on suspected time: {done.stretches}"
        told.append(f"Outlines of trays: {done.outlines}; {said}.")
    if done.tags_said_here:
        told.append(
            f"{many(done.tags_said_here, 'tag')} came not in: the same tagger says the same here."
        )
    if done.taggers_in_both:
        names = ", ".join(done.taggers_in_both)
        told.append(f"Tagged here and there: {names}. Are two people of one name among them?")
    if done.rulings_by:
        told.append(f"Rulings came in, by {', '.join(done.rulings_by)}.")
    if done.conflicts:
        told.append(f"{many(len(done.conflicts), 'conflict')}, nothing of it was changed here:")
        told += [f"! {words}" for words in done.conflicts]
    if done.left_there:
        told.append(f"Left there, since a merge never brings it in: {'; '.join(done.left_there)}.")
    if done.only_looked:
        told.append("Nothing was stored.")
    return told


def in_conflict(done: Merged) -> str:
    """Say how much a person has to look at after a merge, and what became of the rest."""
    waits = many(len(done.conflicts), "conflict has", "conflicts have")
    rest = "Nothing was stored" if done.only_looked else "The rest is in the study"
    return f"{waits} to be looked at (marked !). {rest}."


def otherwise(differing: Sequence[str]) -> str:
    """Say which outcomes of an archive come out otherwise now."""
    named = ", ".join(differing[:MOST_NAMED])
    more = len(differing) - MOST_NAMED
    rest = f" and {more} more" if more > 0 else ""
    return (
        f"{many(len(differing), 'outcome comes', 'outcomes come')} out otherwise with this "
        f"version: {named}{rest}. outcomes.csv of the archive has them as they were."
    )


def packed(file: str, made: Packed) -> list[str]:
    """Say what an archive holds."""
    copies = f", {many(made.pictures, 'copy', 'copies')} of photos" if made.pictures else ""
    lines = [
        f"Wrote {file}: {many(made.files, 'file')} about {many(made.photos, 'photo')}{copies}.",
        "It names people and places: keep it, and give a package of 'lastbite export' away.",
    ]
    if made.missing:
        lines.append(f"! {many(made.missing, 'photo')} not at hand, so not in it.")
    if made.unhashed:
        lines.append(
            f"{many(made.unhashed, 'photo has', 'photos have')} no checksum of the whole file "
            "(sha256 in photos.csv), only the fingerprint of its size and both ends. 'lastbite "
            "previews' reads every photo that counts, and --pictures every file."
        )
    return lines


def unpacked(file: str, made: Unpacked) -> list[str]:
    """Say what came out of an archive."""
    lines = [
        f"Made the study {made.folder} from {file}.",
        f"{many(made.files, 'file')} checked: all as Lastbite {made.program} packed them.",
    ]
    if made.otherwise:
        lines.append(
            "! The zip around them is not as Lastbite writes it: the first difference is at "
            f"{made.otherwise}. Another program zipped the files again, or the zip was changed "
            "there. What the files hold is proved; keep another copy, or pack this study again."
        )
    else:
        lines.append("So is the zip around them, byte for byte.")
    if made.away:
        lines.append(
            f"{many(made.away, 'card')} not at hand: scan "
            f"{'its folder' if made.away == 1 else 'their folders'} to see photos. Where an "
            "archive says that they lie is not looked at."
        )
    return lines


def _holds(made: Backup) -> str:
    photos, tags = made.rows.get("photos", 0), made.rows.get("tags", 0)
    rows = sum(made.rows.values())
    return f"{many(photos, 'file')} of cards, {many(tags, 'tag')}, {many(rows, 'row')} in all"
