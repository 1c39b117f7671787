"""Decide what is proposed from the codes that were read: nothing is changed by a proposal.

A clock check, the tray of a placement, the edges of a window, handler photos; and everything in
which codes and logs contradict each other, in words. People accept a proposal beside its photo.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import groupby, pairwise

from core.codes.texts import ClockCode, Code, TrayCode
from core.model import ClockCheck, Photo, PhotoKind, Placement, TrayDeployment

SLACK = timedelta(seconds=3)
"""How far two codes may differ without any drift: shutter, screen and whole seconds (ours)."""
DRIFT_A_DAY = timedelta(seconds=60)
"""A camera's clock that drifts further than this in a day was set instead (a judgement)."""
TOGETHER = timedelta(hours=1)
"""Codes shown within this time of each other belong to one stay of people (ours)."""


@dataclass(frozen=True, slots=True)
class ClockProposal:
    """A camera showed one time when the true time was another."""

    placement: str
    camera_showed: datetime
    """Naive."""
    true_time: datetime
    """Aware UTC, as the code in the photo says."""
    photo: int
    """Id of the photo that shows it: of those that agree, the one in the middle."""
    file: str
    photos: int
    """How many photos of that stay agree, this one too."""

    def as_check(self) -> ClockCheck:
        """Give the line of the clock log that it would be."""
        return ClockCheck(self.placement, self.camera_showed, self.true_time, self.file)


@dataclass(frozen=True, slots=True)
class TrayProposal:
    """A placement watches the tray whose card it saw."""

    placement: str
    tray: str
    deployment: str
    photo: int
    listed: bool
    """Whether the camera log has it already."""


class Edge(StrEnum):
    """An edge of a tray's window."""

    SET_OUT = "set_out"
    PICKED_UP = "picked_up"


@dataclass(frozen=True, slots=True)
class EdgeProposal:
    """A tray was set out, or picked up, when its card was shown.

    The last photo with its card is taken for set-out, the first one for pick-up, so that the
    handlers themselves stay outside the window.
    """

    deployment: str
    edge: Edge
    at: datetime
    """Aware UTC."""
    logged: datetime | None
    """What the tray log has."""
    photo: int
    by_code: bool
    """Whether `at` comes from a clock code of the same stay; else from the camera's clock."""


@dataclass(frozen=True, slots=True)
class HandlerProposal:
    """People were in view: nobody else holds a code before a camera."""

    placement: str
    first_photo: int
    last_photo: int
    """Ids of the first and last photo with a code in one visit."""
    runs: tuple[tuple[int, int], ...]
    """Ids of the first and last photo of each run of photos with a code that are not held to be
    handler photos yet. What stands between them may hold an animal: it is for somebody to look at.
    """
    photos: int
    """How many photos these runs have."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Codes or logs that cannot all be right."""

    message: str
    photos: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Proposals:
    """Everything that the codes of one placement lead to."""

    clocks: tuple[ClockProposal, ...] = ()
    trays: tuple[TrayProposal, ...] = ()
    edges: tuple[EdgeProposal, ...] = ()
    handlers: tuple[HandlerProposal, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()


@dataclass(frozen=True, slots=True)
class _Shown:
    """A clock code in a photo."""

    photo: Photo
    camera: datetime
    true: datetime

    @property
    def behind(self) -> timedelta:
        """Give how far the camera's clock lags, its zone being left out."""
        return self.true.replace(tzinfo=None) - self.camera


def proposals(
    placement: Placement,
    photos: Sequence[Photo],
    codes: Mapping[int, Sequence[Code]],
    trays: Iterable[TrayDeployment],
    gap: timedelta,
) -> Proposals:
    """Turn the codes read in photos of one placement into proposals.

    Parameters
    ----------
    photos
        The placement's photos, with the true times that the study holds now.
    codes
        What was read, by photo id.
    trays
        The whole tray log.
    gap
        More than this between two photos parts two visits.
    """
    clocks, twofold = _clock_codes(photos, codes)
    stays, jumps = _stays(clocks)
    log = {one.deployment: one for one in trays}
    cards = _cards(photos, codes)
    known = {name: seen for name, seen in cards.items() if name in log}
    edges, unclear = _edges(known, log, clocks)
    return Proposals(
        tuple(_clock_proposal(placement.placement, stay) for stay in stays),
        tuple(_tray_proposals(placement, known, log)),
        tuple(edges),
        tuple(_handlers(placement.placement, photos, codes, gap)),
        (*twofold, *jumps, *_strangers(placement, cards, log), *unclear),
    )


# --- the clock -------------------------------------------------------------------------------


def _clock_codes(
    photos: Sequence[Photo], codes: Mapping[int, Sequence[Code]]
) -> tuple[list[_Shown], list[Contradiction]]:
    """Give the clock codes in the order of their time, without photos that show two times."""
    shown, twofold = [], []
    for photo in photos:
        times = sorted(c.true_time for c in codes.get(photo.id, ()) if isinstance(c, ClockCode))
        if times and times[-1] - times[0] > SLACK:
            words = (
                f"{photo.file} shows two clock codes, {_utc(times[0])} and {_utc(times[-1])}. One "
                "of the phones is wrong; neither is proposed. Look at both phones' clocks."
            )
            twofold.append(Contradiction(words, (photo.id,)))
        elif times and photo.camera_time is not None:
            shown.append(_Shown(photo, photo.camera_time, times[0]))
    return sorted(shown, key=lambda one: (one.true, one.camera, one.photo.file)), twofold


def _stays(clocks: Sequence[_Shown]) -> tuple[list[list[_Shown]], list[Contradiction]]:
    """Group the clock codes by stay, and by how far the camera's clock lags within a stay."""
    stays: list[list[_Shown]] = []
    jumps = []
    for before, one in pairwise([None, *clocks]):
        if one is None:
            continue
        jump = before is not None and _jumped(before, one)
        if before is not None and jump:
            jumps.append(_jump(before, one))
        if before is None or jump or one.true - before.true > TOGETHER:
            stays.append([])
        stays[-1].append(one)
    return stays, jumps


def _jumped(before: _Shown, after: _Shown) -> bool:
    allowed = SLACK + DRIFT_A_DAY * ((after.true - before.true) / timedelta(days=1))
    return abs(after.behind - before.behind) > allowed


def _jump(before: _Shown, after: _Shown) -> Contradiction:
    moved = after.behind - before.behind
    way = "back" if moved > timedelta(0) else "forward"
    return Contradiction(
        f"Between {before.photo.file} ({_utc(before.true)}, the camera showed {before.camera}) and "
        f"{after.photo.file} ({_utc(after.true)}, the camera showed {after.camera}) the camera's "
        f"clock went {way} by {_length(moved)}, more than drift can do. It was set or reset there, "
        "or a phone's clock was wrong. Give the two parts a placement each, or leave one out.",
        (before.photo.id, after.photo.id),
    )


def _clock_proposal(placement: str, stay: Sequence[_Shown]) -> ClockProposal:
    """Propose the photo whose lag is in the middle: two checks seconds apart would make a drift."""
    one = sorted(stay, key=lambda shown: shown.behind)[len(stay) // 2]
    return ClockProposal(placement, one.camera, one.true, one.photo.id, one.photo.file, len(stay))


# --- the trays -------------------------------------------------------------------------------


def _cards(photos: Sequence[Photo], codes: Mapping[int, Sequence[Code]]) -> dict[str, list[Photo]]:
    """Give the photos that show each deployment's card."""
    cards: dict[str, list[Photo]] = {}
    for photo in photos:
        for code in codes.get(photo.id, ()):
            if isinstance(code, TrayCode):
                cards.setdefault(code.deployment, []).append(photo)
    return cards


def _strangers(
    placement: Placement,
    cards: Mapping[str, Sequence[Photo]],
    log: Mapping[str, TrayDeployment],
) -> Iterator[Contradiction]:
    """Name the cards that the logs do not know, or do not know here."""
    for name, seen in cards.items():
        ids = tuple(photo.id for photo in seen)
        if name not in log:
            words = (
                f"{seen[0].file} shows the card of deployment {name!r}, which the tray log does "
                "not have. Load the log that has it, or look whose card it is."
            )
            yield Contradiction(words, ids)
        elif not log[name].tray:
            words = (
                f"{seen[0].file} shows the card of deployment {name!r}, whose tray the tray log "
                "leaves blank. Fill it in."
            )
            yield Contradiction(words, ids)
        elif placement.trays and log[name].tray not in placement.trays:
            words = (
                f"{seen[0].file} shows the card of deployment {name!r}, tray {log[name].tray!r}, "
                f"but the camera log says that {placement.placement!r} watches "
                f"{', '.join(placement.trays)}. Mend the camera log, or move the photos."
            )
            yield Contradiction(words, ids)


def _tray_proposals(
    placement: Placement,
    cards: Mapping[str, Sequence[Photo]],
    log: Mapping[str, TrayDeployment],
) -> Iterator[TrayProposal]:
    """Propose each tray once, with the first photo of its first card."""
    met = set()
    for name, seen in cards.items():
        tray = log[name].tray
        if tray and tray not in met:
            met.add(tray)
            yield TrayProposal(placement.placement, tray, name, seen[0].id, tray in placement.trays)


# --- the edges of the windows ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Moment:
    """When a card was shown."""

    photo: Photo
    at: datetime
    by_code: bool


def _edges(
    cards: Mapping[str, Sequence[Photo]],
    log: Mapping[str, TrayDeployment],
    clocks: Sequence[_Shown],
) -> tuple[list[EdgeProposal], list[Contradiction]]:
    edges, unclear = [], []
    for name, seen in cards.items():
        moments = [moment for photo in seen if (moment := _moment(photo, clocks)) is not None]
        stays = _showings(sorted(moments, key=lambda one: (one.at, one.photo.file)))
        found = _which_edge(stays, log[name])
        if stays and not found:
            words = (
                f"The card of deployment {name!r} was shown once, in {seen[0].file}, and the tray "
                "log has neither its set-out nor its pick-up. Fill in one of the two."
            )
            unclear.append(Contradiction(words, tuple(photo.id for photo in seen)))
        edges += [
            EdgeProposal(name, edge, one.at, _logged(log[name], edge), one.photo.id, one.by_code)
            for edge, one in found.items()
        ]
    return edges, unclear


def _moment(photo: Photo, clocks: Sequence[_Shown]) -> _Moment | None:
    """Give the true time of a photo: by the nearest clock code of the same stay, if any."""
    camera = photo.camera_time
    if camera is not None and clocks:
        near = min(clocks, key=lambda one: (abs(one.camera - camera), one.photo.id != photo.id))
        if abs(near.camera - camera) <= TOGETHER:
            return _Moment(photo, near.true + (camera - near.camera), by_code=True)
    return None if photo.true_time is None else _Moment(photo, photo.true_time, by_code=False)


def _showings(moments: Sequence[_Moment]) -> list[list[_Moment]]:
    """Part the moments of one card into stays."""
    stays: list[list[_Moment]] = []
    for one in moments:
        if not stays or one.at - stays[-1][-1].at > TOGETHER:
            stays.append([])
        stays[-1].append(one)
    return stays


def _which_edge(stays: Sequence[Sequence[_Moment]], tray: TrayDeployment) -> dict[Edge, _Moment]:
    """Say which stay was set-out and which was pick-up.

    Stays at least half a window apart, or any two where the log has no window, are both edges,
    whatever the log says: the clock it was compared with may be wrong. Else each stay belongs to
    the edge that the log has nearest.
    """
    if not stays:
        return {}
    apart = stays[-1][0].at - stays[0][-1].at
    if tray.set_out is not None and tray.picked_up is not None:
        both = len(stays) > 1 and apart >= (tray.picked_up - tray.set_out) / 2
    else:
        both = len(stays) > 1
    if both:
        return {Edge.SET_OUT: stays[0][-1], Edge.PICKED_UP: stays[-1][0]}
    near = [(_nearest(stay, tray), stay) for stay in stays]
    out = [stay[-1] for edge, stay in near if edge is Edge.SET_OUT]
    up = [stay[0] for edge, stay in near if edge is Edge.PICKED_UP]
    found = {Edge.SET_OUT: out[-1]} if out else {}
    return found | ({Edge.PICKED_UP: up[0]} if up else {})


def _nearest(stay: Sequence[_Moment], tray: TrayDeployment) -> Edge | None:
    """Give the edge a single stay belongs to; None where the log has neither."""
    if tray.set_out is not None and tray.picked_up is not None:
        middle = tray.set_out + (tray.picked_up - tray.set_out) / 2
        return Edge.SET_OUT if stay[0].at < middle else Edge.PICKED_UP
    if tray.set_out is not None:
        return Edge.SET_OUT if stay[0].at <= tray.set_out + TOGETHER else Edge.PICKED_UP
    if tray.picked_up is not None:
        return Edge.PICKED_UP if stay[-1].at >= tray.picked_up - TOGETHER else Edge.SET_OUT
    return None


def _logged(tray: TrayDeployment, edge: Edge) -> datetime | None:
    return tray.set_out if edge is Edge.SET_OUT else tray.picked_up


# --- the handlers ----------------------------------------------------------------------------


def _handlers(
    placement: str, photos: Sequence[Photo], codes: Mapping[int, Sequence[Code]], gap: timedelta
) -> Iterator[HandlerProposal]:
    """Propose handler photos, visit by visit; those that are held so already are left out."""
    for visit in _visits(photos, gap):
        shown = [photo for photo in visit if codes.get(photo.id)]
        runs = _runs([photo for photo in visit if not _is_held(photo)], codes) if shown else []
        if runs:
            ends = tuple((run[0].id, run[-1].id) for run in runs)
            count = sum(map(len, runs))
            yield HandlerProposal(placement, shown[0].id, shown[-1].id, ends, count)


def _is_held(photo: Photo) -> bool:
    return photo.kind is PhotoKind.HANDLER


def _runs(visit: Sequence[Photo], codes: Mapping[int, Sequence[Code]]) -> list[list[Photo]]:
    """Give the runs of neighbouring photos that all have a code."""
    grouped = groupby(visit, key=lambda photo: bool(codes.get(photo.id)))
    return [list(run) for coded, run in grouped if coded]


def _visits(photos: Sequence[Photo], gap: timedelta) -> list[list[Photo]]:
    timed = sorted(
        (photo.true_time, photo.subsecond, photo.file, at)
        for at, photo in enumerate(photos)
        if photo.true_time is not None
    )
    visits: list[list[Photo]] = []
    before = None
    for time, _, _, at in timed:
        if before is None or time - before > gap:
            visits.append([])
        visits[-1].append(photos[at])
        before = time
    return visits


# --- words -----------------------------------------------------------------------------------


def _utc(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%d %H:%M:%S UTC")


def _length(span: timedelta) -> str:
    seconds = round(abs(span).total_seconds())
    days, rest = divmod(seconds, 86_400)
    hours, minutes, left = rest // 3600, rest // 60 % 60, rest % 60
    parts = ((days, "d"), (hours, "h"), (minutes, "min"), (left, "s"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number) or "0 s"
