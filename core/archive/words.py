"""Decide in which words an archive says what it is, to somebody without this program."""

from collections.abc import Iterable

from core.model import Reason, Status


def readme(name: str, *, pictures: bool, tables: Iterable[str]) -> str:
    """Give the text that stands first in an archive."""
    photos = (
        "pictures/        the photos, a folder for each card; nothing of them was changed\n"
        if pictures
        else "The photos are not in it: photos.csv names each by its size and checksums.\n"
    )
    listed = ", ".join(tables)
    statuses = "\n".join(f"  {status}" for status in Status)
    reasons = "\n".join(f"  {reason}" for reason in Reason)
    return f"""\
{name}

This is an archive of a study of giving-up densities. Trays with weighed food were set out for
animals and picked up again; a camera watched each. The photos were grouped into visits, people
said which animal each visit shows, and the food that was left is the giving-up density of the
animal that fed last. Everything here is plain text in UTF-8, so that it can be read without the
program (Lastbite) that wrote it.

It names people and places, and is for keeping, not for publishing.
What the program signs with (its secret, also of sign-in) is not in it.

study.toml       the settings: zone of the logs, gap between visits, scale, rules
logs/            what people wrote: species, cameras, clock checks, trays, and the tags that count
                 (tags.csv), each as the program reads it; tag_history.csv has every tag that was
                 ever made, and who took which back and when
photos.csv       every file of the cards: what the camera showed, the true time, what is wrong
visits.csv       runs of photos of one camera that are no further apart than gap_s, and the answer
outcomes.csv     one row for each tray: its density, its forager, or why it is set aside
{photos}rows/            all rows of the study, one JSON list a line, the columns named first:
                 {listed}
numbers.json     the last number that each table has given out
versions.json    which program and which form of archive wrote it
checksums.txt    SHA-256 of every other file; check with: sha256sum -c checksums.txt

To read it with the program: lastbite unpack ARCHIVE.zip NEWFOLDER. It checks every file, makes the
study again and says whether the outcomes come out as they are here.

To read it without: outcomes.csv is what counts. A tray's window goes from set_out to picked_up, the
end not included. A visit counts for a tray where it lies in its window and the camera watched that
tray. A tag counts where as many people agree as study.toml asks for (taggers_needed), or where an
instructor ruled. Of several species the last that fed owns the density. It is kept only where the
camera watched, the food was eaten, and that species is known.

Statuses:
{statuses}

Reasons:
{reasons}
"""
