"""Decide in which words back-ups, moves and merges of a study are told."""

from core.copies import Backup, Merged, Moved


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
    if done.only_looked:
        told.append("Nothing was stored.")
    return told


def _holds(made: Backup) -> str:
    photos, tags = made.rows.get("photos", 0), made.rows.get("tags", 0)
    rows = sum(made.rows.values())
    return f"{_many(photos, 'file')} of cards, {_many(tags, 'tag')}, {rows} rows in all"


def _many(number: int, what: str) -> str:
    return f"1 {what}" if number == 1 else f"{number} {what}s"
