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

To read it without: outcomes.csv is what counts. Masses are grams, counted food is items, times
have their offset from UTC, and an empty cell means: not known, or does not apply.

How an outcome comes about, in short:
  Visits. Photos of one camera that are no more than gap_s seconds apart are one visit. Photos on
  which the study's own people are (handler), and time-lapse photos, are none. True time is what the
  camera showed, put right by the clock checks (a line between two, a shift by one) and by the
  corrections in rows/clock_corrections.jsonl that nobody took back.
  Answers. A visit is answered by an instructor's ruling, or where taggers_needed people who are
  sure say the same; otherwise it waits, and so does its tray. fed: seen feeding; on_tray: on the
  tray; near: in view only.
  Food. Food left is divided by k, the mean of left over put in of moisture_control trays of the
  same site and pick-up day (else of that day), and by r, the same of all sift_control trays. Within
  the tolerance of what was put in nobody fed: tolerance_g, or the mean loss and twice the standard
  deviation of at least three sift controls, or two scale steps. At or below the scale step a tray
  is emptied: its density is below that (censored: below). More left than put in is dropped.
  Watched. A camera watched from its first to its last photo, to its end where working_at_pickup is
  yes. A window runs from set_out to picked_up, the end not included; watched_share is the part of
  it in which some camera of the tray watched.
  Whose. The last species that fed owns the density; where nobody was seen feeding, the last on the
  tray, which is at best a caution (feeder = last; study.toml may ask for another rule). It is kept
  where the whole window was watched and one species came; with a caution where something is less
  certain, told in the reason; dropped where it is not known who fed last.

In photos.csv the column card names the folder below pictures/.

Statuses:
{statuses}

Reasons:
{reasons}
"""
