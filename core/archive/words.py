"""Decide in which words an archive says what it is, to somebody without this program."""

import textwrap
from collections.abc import Iterable, Iterator, Mapping

from core.archive import members
from core.exports import dictionary
from core.exports.tables import OUTCOME_COLUMNS
from core.logs import COLUMNS, LogKind

TYPES = {
    "string": "text",
    "number": "number",
    "integer": "whole number",
    "datetime": "time",
    "boolean": "yes or no",
}
"""Types of Table Schema in words."""
OF_A_TAG = {
    "number": ("integer", "Its number, in the order in which tags were made."),
    "made_at": ("datetime", "When it was made, with the offset from UTC."),
    "origin": ("string", "How it came in: a page's name, or the file it was loaded from."),
    "counts": ("boolean", "no: it was taken back, or the same tagger's later tag replaced it."),
    "taken_back_by": ("string", "Who took it back."),
    "taken_back_at": ("datetime", "When it was taken back, with the offset from UTC."),
}
"""Type and meaning of the columns that the history of tags has beside those of the tag log."""
OF_A_FILE = {
    "card": ("integer", "Number of its card: the id in rows/cards.jsonl."),
    "size": ("integer", "Size of the file. [bytes]"),
    "fingerprint": ("string", "Hash of its size and both ends; how it is made stands above."),
    "sha256": ("string", "SHA-256 of the whole file; empty: nobody has read all of it."),
}
"""Type and meaning of the columns that the photos of an archive have beside those of a table."""
ROWS: Mapping[str, str] = {
    "cards": "folders of photos that were read, each of one placement",
    "changes": "counters by which the program sees that something was changed",
    "clock_checks": "the log of clock checks, times in UTC",
    "clock_corrections": "what people decided on clocks: photos first_photo to last_photo (ids; "
    "empty: from the first, to the last) moved by shift_s [s], of the kind of day and month these "
    "exchanged; not where taken_back",
    "code_decisions": "what people answered to what codes in the photos say",
    "codes_read": "codes that were read in photos",
    "forgotten_tags": "tags of cards that were taken out of the study",
    "handouts": "how visits were handed out to taggers",
    "measure_marks": "counters by which the program sees that photos were measured",
    "people": "who takes part, and as what",
    "photos": "every file of the cards; copy_of: the id of the file that it repeats",
    "placements": "the camera log, times in UTC",
    "reference_photos": "photos that show how a species looks",
    "scores": "what the program measured on photos, to sort them; no person said it",
    "shares": "which visits (by their first photo's id) are whose to tag",
    "species": "the species list",
    "stretch_rulings": "what people said of time in which a camera may have seen nothing",
    "tag_events": "when tags were taken back, or put back, and by whom",
    "tags": "every tag; first_photo and last_photo are ids of photos",
    "tray_deployments": "the tray log, times in UTC",
    "tray_outlines": "where trays lie in the pictures, as ellipses in picture widths",
}
"""What the rows of each table are."""
WIDTH = 100


def _tables() -> Iterator[tuple[str, Iterable[tuple[str, str, str]]]]:
    """Give each table of an archive with the name, type and meaning of its columns."""
    for kind, name in members.LOGS.items():
        yield name, [(one.name, one.type, one.meaning) for one in COLUMNS[kind]]
    more = f"{members.HISTORY}, behind the columns of {members.LOGS[LogKind.TAGS]}"
    yield more, [(name, *about) for name, about in OF_A_TAG.items()]
    files = ((name, *about) for name, about in OF_A_FILE.items())
    yield members.PHOTOS, [*_described(dictionary.PHOTO_FIELDS), *files]
    yield members.VISITS, _described(dictionary.VISIT_FIELDS)
    wide = {name: dictionary.FIELDS[name] for name in OUTCOME_COLUMNS}
    yield members.OUTCOMES, _described(wide)


def _described(fields: dictionary.Fields) -> list[tuple[str, str, str]]:
    return [(name, about["type"], meaning) for name, (about, meaning) in fields.items()]


def _listed() -> Iterator[str]:
    """Write what each column means, a table after the other."""
    for file, described in _tables():
        yield f"\n{file}"
        for name, kind, meaning in described:
            yield _hung(f"  {name:<23}{TYPES[kind]:<14}", meaning)


def _hung(head: str, told: str) -> str:
    """Write words behind a head, further lines below their beginning."""
    hang = " " * len(head)
    return textwrap.fill(
        told, WIDTH, initial_indent=head, subsequent_indent=hang, break_on_hyphens=False
    )


def _statuses() -> Iterator[str]:
    for status, reasons in dictionary.reasons().items():
        yield f"\n{status}: {dictionary.STATUSES[status]}"
        yield from (f"  {reason}" for reason in reasons)


def readme(name: str, *, pictures: bool, tables: Iterable[str]) -> str:
    """Give the text that stands first in an archive."""
    photos = (
        "pictures/        the photos, a folder for each card; nothing of them was changed\n"
        if pictures
        else "The photos are not in it: photos.csv has size, fingerprint, checksum of each.\n"
    )
    rows = "\n".join(_hung(f"  {table:<23}", ROWS[table]) for table in tables)
    listed, statuses = "\n".join(_listed()), "\n".join(_statuses())
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
                 ever made, and who took which back and when. A log that has no line is not there
photos.csv       every file of the cards: what the camera showed, the true time, what is wrong
visits.csv       runs of photos of one camera that are no further apart than gap_s, and the answer
outcomes.csv     one row for each tray: its density, its forager, or why it is set aside
{photos}rows/            all rows of the study, one JSON list a line, the columns named first
numbers.json     the last number that each table has given out
versions.json    which program and which form of archive wrote it
checksums.txt    SHA-256 of every other file; check with: sha256sum -c checksums.txt

To read it with the program: lastbite unpack ARCHIVE.zip NEWFOLDER. It checks every file, makes the
study again and says whether the outcomes come out as they are here.

To read it without: outcomes.csv is what counts. Masses are grams, counted food is items, and an
empty cell means: not known, or does not apply. Times have their offset from UTC, but for what a
camera showed, and for the logs: there they are local to the timezone in study.toml, and have the
offset where its clocks show a time twice.

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

Which file is which photo
  The column card of photos.csv names the folder below pictures/, where the photos came along.
  fingerprint is a BLAKE2b hash of 16 bytes, in hex, without key or salt, over three things in
  turn: the size in bytes as 8 bytes, the highest first; the first 65536 bytes of the file; and the
  last 65536 of what is left behind these (all of it where that is less; of a file of up to 65536
  bytes nothing). In Python, data being the bytes of the file:
    import hashlib
    parts = len(data).to_bytes(8, "big") + data[:65536] + data[65536:][-65536:]
    hashlib.blake2b(parts, digest_size=16).hexdigest()
  It tells photos from each other; a change in the middle of a large file it does not show. Behind
  "package:" stands an id in its place: the file was not in the package of others it came with.
  sha256 is of the whole file. It is empty where nobody has read the whole file: a scan reads both
  ends, whoever makes previews reads all, and an archive with pictures has it of each that came
  along. An empty one says nothing against a photo.

What the columns mean (further columns of a log are people's own)
{listed}

What the rows are
{rows}
  numbers.json has the last number that each table gave out, so that none is given twice.

Statuses, and the reasons that each may have, each a sentence as it stands in outcomes.csv
{statuses}
"""
