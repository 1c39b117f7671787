"""Decide what one file's header says: its time, where that comes from, and what is wrong."""

import hashlib
import os
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from core.cards.folders import FoundFile
from core.cards.tags import (
    MAKE,
    MODEL,
    NO_PICTURE,
    PICTURE_NAMES,
    TIMES,
    Content,
    Texts,
    is_whole,
    jpeg_parts,
    kind_of,
    tags_of,
)
from core.cards.times import ExifTime, exif_time, offset_of
from core.errors import CardError
from core.model import Header, TimeSource


@dataclass(frozen=True, slots=True)
class ReadFile:
    """A file met on a card, with what its header says."""

    found: FoundFile
    header: Header
    fingerprint: str
    """Of its size, its first and its last 64 KiB; empty where it could not be read."""


_NO_TIME = "no time in the file: scan with --file-times to take the file's own date"
_FILE_TIME = "no time in the file, so this is the file's own date, which copying may have reset"
_CHANGED_TIME = "time is from when the file was last changed"
_HEIC = "this is a HEIC picture, not JPEG: it can be dated but may not be shown"
_CUT_SHORT = "the picture is cut short (a bad copy?)"


def read_file(found: FoundFile, *, file_times: ZoneInfo | None = None) -> ReadFile:
    """Read a file's header and fingerprint; whatever is wrong with it is said in its problem.

    `file_times` is the zone in which the file's own date stands in, flagged, for a time that its
    header does not hold; None: such a photo has no time.
    """
    if found.problem:
        return ReadFile(found, Header(problem=found.problem, is_photo=False), "")
    try:
        with found.path.open("rb") as handle:
            content = Content(handle, found.size)
            return ReadFile(found, _header(found, content, file_times), content.fingerprint())
    except OSError as fault:
        problem = f"cannot be read ({fault.strerror or fault}): copy it from the card again"
        return ReadFile(found, Header(problem=problem, is_photo=_named_so(found)), "")


def _named_so(found: FoundFile) -> bool:
    return os.path.splitext(found.file)[1].lower() in PICTURE_NAMES  # noqa: PTH122  (twice as fast)


def _header(found: FoundFile, content: Content, file_times: ZoneInfo | None) -> Header:
    kind = kind_of(content.head)
    if not content.head:
        return Header(problem="empty file", is_photo=False)
    if kind in NO_PICTURE:
        lost = "no picture in spite of its name (a bad copy?): copy it from the card again"
        problem = lost if not kind and _named_so(found) else NO_PICTURE[kind]
        return Header(problem=problem, is_photo=False)
    faults = [_HEIC] if kind == "HEIC" else []
    block = None
    if kind == "JPEG":
        block, picture_at = jpeg_parts(content)
        faults += [] if is_whole(content, picture_at) else [_CUT_SHORT]
    texts, fault = tags_of(kind, content, block)
    time, source, time_faults = _chosen_time(texts)
    if time.shown is None:
        time = ExifTime(_file_time(found, file_times))
        source = TimeSource.FILE if time.shown else TimeSource.NONE
        time_faults.append(_FILE_TIME if time.shown else _NO_TIME)
    make, model = (_printable(texts.get(tag, "")) for tag in (MAKE, MODEL))
    problem = "; ".join(filter(None, [*faults, fault, *time_faults]))
    return Header(time.shown, time.subsec, time.offset, source, make, model, problem)


def _chosen_time(texts: Texts) -> tuple[ExifTime, TimeSource, list[str]]:
    """Take the first tag that holds a time; digits and offset are those that belong to it."""
    faults: dict[str, str] = {}
    for tag, source, name, digits_tag, offset_tag in TIMES:
        if tag not in texts:
            continue
        time = exif_time(texts[tag])
        if time.flag:
            faults.setdefault(time.flag, f"{name}: {time.flag}")
        if time.shown is None:
            continue
        offset, bad_offset = offset_of(texts.get(offset_tag, ""))
        said = [*faults.values(), f"{name}: {bad_offset}" if bad_offset else ""]
        said.append(_CHANGED_TIME if source is TimeSource.CHANGED else "")
        subsec = re.sub("[^0-9]", "", texts.get(digits_tag, "")) or time.subsec
        return ExifTime(time.shown, subsec, offset or time.offset), source, said
    return ExifTime(None), TimeSource.NONE, list(faults.values())


def _file_time(found: FoundFile, zone: ZoneInfo | None) -> datetime | None:
    if zone is None:
        return None
    try:
        changed = datetime.fromtimestamp(0, UTC) + timedelta(seconds=found.changed_ns // 10**9)
        return changed.astimezone(zone).replace(tzinfo=None)
    except OverflowError:
        return None


def _printable(text: str) -> str:
    return (text if text.isprintable() else "".join(filter(str.isprintable, text))).strip()


def content_hash(path: Path) -> str:
    """Give the SHA-256 of a whole file; CardError where it cannot be read."""
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()
    except OSError as fault:
        raise CardError(
            f"{str(path)!r} cannot be read ({fault.strerror or fault}). "
            "Put the card in again, or copy the file from it anew."
        ) from None
