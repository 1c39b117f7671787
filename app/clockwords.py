"""Decide in which words clocks, their faults and their corrections are told."""

from collections.abc import Sequence
from datetime import timedelta
from zoneinfo import ZoneInfo

from app import wording
from core.clockfaults import ClockCorrection, ClockFault, ClockFinding, Confidence, Proposal
from core.clockfaults.words import photos, span
from core.exports.tables import time_text
from core.model import ClockCheck, Photo, Placement

RIGHT = "nothing speaks against it"
SURE = {Confidence.CLEAR: "This is clear.", Confidence.POSSIBLE: "This is possible: look first."}


def state(found: Sequence[ClockFinding]) -> str:
    """Say in a few words how a placement's clock stands."""
    if not found:
        return RIGHT
    return "; ".join(dict.fromkeys(str(one.kind) for one in found))


def evidence(proposal: Proposal) -> str:
    """Say what speaks for a proposal."""
    said = []
    if proposal.explains:
        where = "into the camera's stretch" if proposal.explains > 0 else "out of it"
        said.append(f"brings {photos(abs(proposal.explains))} {where}")
    if proposal.edges_all:
        said.append(
            f"puts photos at {proposal.edges} of {proposal.edges_all} logged comings and goings"
        )
    if proposal.low_s is not None and proposal.high_s is not None:
        said.append(
            f"the true shift lies between {signed(proposal.low_s)} and {signed(proposal.high_s)}"
        )
    return "; ".join(said)


def signed(seconds: int) -> str:
    """Say a shift with its sign: `+1 h`."""
    sign = "+" if seconds >= 0 else "\N{MINUS SIGN}"
    return f"{sign}{span(seconds)}"


def correction(one: ClockCorrection, zone: ZoneInfo) -> str:
    """Say who corrected what, when and why, and whether it was taken back."""
    what = (
        "day and month of each photo exchanged"
        if one.kind is ClockFault.DAY_MONTH_EACH
        else signed(one.shift_s)
    )
    piece = "the whole card" if one.first_photo is None else "a piece of the card"
    made = time_text(one.made_at, zone)
    words = f"{what} on {piece}, accepted by {one.by} at {made}"
    if one.why:
        words += f": {one.why}"
    if one.taken_back is not None:
        words += f". Taken back by {one.taken_back_by} at {time_text(one.taken_back, zone)}"
    return words


def behind(
    placement: str, made: Sequence[ClockCorrection], checks: Sequence[ClockCheck], zone: ZoneInfo
) -> list[str]:
    """Say for a walk back what lies between the times shown and the true times, a line each."""
    held = [correction(one, zone) for one in made if one.taken_back is None]
    held += [f"clock check: {check(one, zone)}" for one in checks if one.true_time is not None]
    return [f"clock of {placement}: {words}" for words in held]


def check(one: ClockCheck, zone: ZoneInfo) -> str:
    """Say what a clock check holds."""
    showed = "no time" if one.camera_showed is None else f"{one.camera_showed}"
    photo = f", in {one.photo}" if one.photo else ""
    return f"The camera showed {showed} at {wording.moment(one.true_time, zone)}{photo}"


def moved(photo: Photo, one: ClockCheck, zone: ZoneInfo) -> str:
    """Say how far a check would move the photo that it was read from."""
    if one.true_time is None:
        return ""
    held = wording.moment(photo.true_time, zone)
    new = wording.moment(one.true_time, zone)
    if photo.true_time is None:
        return f"This photo has no true time yet; with this check it was taken at {new}."
    apart = one.true_time - photo.true_time
    if not apart:
        return f"The study holds {held} already: this check confirms it."
    later = "later" if apart > timedelta(0) else "earlier"
    far = span(round(apart.total_seconds()))
    return f"Held until now: {held}. By the watch: {new}, {far} {later}."


def placement_line(place: Placement, found: Sequence[ClockFinding], many: int) -> dict[str, str]:
    """Give a placement as a row of a table."""
    return {
        "placement": place.placement,
        "camera": place.camera,
        "trays": ", ".join(place.trays),
        "photos": str(many),
        "its clock": state(found),
    }
