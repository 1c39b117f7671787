"""Decide whether a camera stopped taking photos because its card was full."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import PurePosixPath

import numpy as np

from core.coverage.rows import Confidence, Suspicion, Why
from core.coverage.watching import EDGE
from core.coverage.words import length
from core.model import ALSO_ON, Photo, PhotoKind, Placement, Span, true_time
from core.visits import in_order, seconds_of

FULL = 0.95
"""A card with this part of its size in files is full (a judgement: a card formats to a little
less than is printed on it, and files waste part of their last block)."""
BURSTS_NEEDED, BURST_S = 10, 10
"""So many bursts, with no more than so long [s] between their photos, show how many photos a
trigger takes (a judgement)."""
WHOLE_BURSTS = 0.98
"""At least this part of them must be whole before a broken one means anything (a judgement)."""
BUSY_PHOTOS, BUSY_LAST, BUSY_TIME, BUSY_FACTOR = 100, 10, timedelta(minutes=10), 3
"""A busy end: this many photos, so many of them in the last ten minutes, and then a silence over
three times as long as any before (a judgement)."""
LIKE_A_CUT = 0.5
"""A last file below half the size of every other was cut off (a judgement)."""
_AT_PICKUP = {
    True: "the camera was working at pick-up, yet took no photo of it",
    False: "the camera was not working at pick-up: it may have been the battery",
}


def card_full(
    files: Sequence[Photo],
    placement: Placement,
    *,
    taken_out: datetime | None = None,
    sizes: Mapping[int, int] | None = None,
    card_bytes: int | None = None,
) -> Suspicion | None:
    """Say whether a card may have been full before it was taken out, and why; None: no sign of it.

    There is a suspicion only where no photo was taken within 15 minutes of the end, for people who
    come to a camera set it off, and where the photos broke off in mid-activity: a broken burst, a
    cut last file, the last file number there is, or a busy end with a silence unlike any before.
    With the size of the card it is clear, or ruled out; without, it stays possible.

    Parameters
    ----------
    files
        Every file of one card, in the order of the files, with true times where there are any.
    taken_out
        True time when the card was taken out; None: at the placement's end.
    sizes
        Size of each file by its id [bytes]; None: not known.
    card_bytes
        The size of the card [bytes]; None: not known.
    """
    until = taken_out or placement.end
    ordered = in_order([one for one in files if one.is_photo and one.copy_of is None])
    if until is None or not ordered or true_time(ordered[-1]) >= until - EDGE:
        return None
    last = ordered[-1]
    used = sum((sizes or {}).get(one.id, 0) for one in files)
    filled = used / card_bytes if used and card_bytes else None
    evidence = [
        sign
        for sign in (
            _filled(filled),
            _last_number(last),
            _cut_file(files, last, sizes or {}),
            _broken_burst(ordered),
            _busy_end(ordered, until),
        )
        if sign
    ]
    if not evidence or (filled is not None and filled < FULL):
        return None
    silence = Span(true_time(last), until)
    evidence.insert(
        0, f"no photo in the last {length(silence.end - silence.start)}, nor at the end"
    )
    if placement.working_at_pickup is not None:
        evidence.append(_AT_PICKUP[placement.working_at_pickup])
    sure = Confidence.CLEAR if filled is not None else Confidence.POSSIBLE
    name, signs = placement.placement, tuple(evidence)
    return Suspicion(name, Why.CARD_FULL, silence, sure, signs, (last.id,))


def _filled(part: float | None) -> str:
    return "" if part is None or part < FULL else f"the files take {part:.0%} of the card"


def _last_number(last: Photo) -> str:
    """Say whether the last photo has the last number that cameras write (9999, from memory)."""
    number = re.search(r"(\d+)\D*$", PurePosixPath(last.file).stem)
    if number and number[1].endswith("9999"):
        return f"the last photo is {last.file}, after which many cameras have no number left"
    return ""


def _cut_file(files: Sequence[Photo], last: Photo, sizes: Mapping[int, int]) -> str:
    """Say whether the last photo, or a picture file after it without a time, was cut off."""
    kind = PurePosixPath(last.file).suffix.upper()
    alike = [one for one in files if PurePosixPath(one.file).suffix.upper() == kind]
    place = next(at for at, one in enumerate(alike) if one.id == last.id)
    after = alike[place + 1 :]
    final = after[0] if len(after) == 1 and after[0].true_time is None else last
    others = [one for one in alike if one.id != final.id]
    fault = final.problem and ALSO_ON not in final.problem
    if fault and others and all(one.problem != final.problem for one in others):
        return f"the last file, {final.file}, is at fault: {final.problem}"
    known = [sizes[one.id] for one in others if one.id in sizes]
    if known and final.id in sizes and sizes[final.id] < LIKE_A_CUT * min(known):
        return f"the last file, {final.file}, is less than half as large as any other"
    return ""


def _broken_burst(ordered: Sequence[Photo]) -> str:
    """Say whether the last burst has fewer photos than a trigger takes on this card."""
    taken = [one for one in ordered if one.kind is not PhotoKind.TIMELAPSE]
    if ordered[-1].kind is PhotoKind.TIMELAPSE:
        return ""
    parts = np.flatnonzero(np.diff(seconds_of(taken)) > BURST_S)
    sizes = np.diff(np.concatenate(([-1], parts, [len(taken) - 1])))
    before, last = sizes[:-1], int(sizes[-1])
    if len(before) < BURSTS_NEEDED:
        return ""
    for photos in range(int(before.max()), 1, -1):
        if np.mean(before % photos == 0) >= WHOLE_BURSTS:
            odd = last % photos
            return f"the last burst broke off after {odd} of {photos} photos" if odd else ""
    return ""


def _busy_end(ordered: Sequence[Photo], until: datetime) -> str:
    """Say whether a card that was busy to the end fell silent for longer than ever before."""
    seconds = seconds_of(ordered)
    late = int((seconds >= seconds[-1] - BUSY_TIME.total_seconds()).sum())
    if len(ordered) < BUSY_PHOTOS or late < BUSY_LAST:
        return ""
    silence = until - true_time(ordered[-1])
    longest = timedelta(seconds=int(np.diff(seconds).max()))
    if silence <= BUSY_FACTOR * longest:
        return ""
    return (
        f"{late} photos in the last {length(BUSY_TIME)}, then silence; "
        f"the longest before was {length(longest)}"
    )
