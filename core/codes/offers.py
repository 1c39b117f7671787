"""Decide which proposals wait for a person, and in which words each is put before them.

What is proposed is decided in proposals; what accepting one does to the logs, in `codebook`.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from core.codes.proposals import (
    ClockProposal,
    Contradiction,
    Edge,
    EdgeProposal,
    HandlerProposal,
    Proposals,
    TrayProposal,
)
from core.model import ClockCheck, Finding, Photo, Placement
from core.sheets.times import local_text

Proposal = ClockProposal | TrayProposal | EdgeProposal | HandlerProposal

TO_THE_MINUTE = timedelta(minutes=1)
"""Logs are written to the minute: an edge that is nearer is the same (ours)."""
SAME_CHECK = timedelta(seconds=3)
"""A clock check that is there already and differs by no more says the same (ours)."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A proposal that waits for a person."""

    placement: str
    key: str
    """Stays the same while the proposal is about the same thing."""
    proposal: Proposal
    photo: int
    """The photo that shows the code."""
    words: str
    """What is proposed."""
    now: str
    """What the study says now."""
    then: str
    """What it would say."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What the study says of a placement now, to which proposals are compared."""

    placement: Placement
    photos: Mapping[int, Photo]
    """Those that show a code, by id, with the true times that are held now."""
    checks: Sequence[ClockCheck]
    """The placement's own."""
    tagged: Mapping[int, str]
    """What is held of the visits that photos with codes are in and that have tags, by photo."""
    zone: ZoneInfo


@dataclass(frozen=True, slots=True)
class Settled:
    """What people decided before, by the keys of offers."""

    refused: Mapping[str, frozenset[str]]
    """The times that were refused, as `time_of` writes them; of other proposals ''."""
    tagged: frozenset[str]
    """Handler photos that were accepted and whose tags stand."""


NOTHING_SETTLED = Settled({}, frozenset())


def offers(made: Proposals, ground: Ground, settled: Settled = NOTHING_SETTLED) -> list[Offer]:
    """List what would change something and was not refused: clocks, trays, edges, handlers."""
    listed = (
        *_clocks(made.clocks, ground),
        *_trays(made.trays, ground),
        *_edges(made.edges, ground),
        *_handlers(made.handlers, ground),
    )
    return [one for one in listed if one.key not in settled.tagged and not _refused(one, settled)]


def open_contradictions(made: Proposals, settled: Settled) -> list[Contradiction]:
    """List the contradictions that nobody has put aside."""
    return [one for one in made.contradictions if key_of(one) not in settled.refused]


def key_of(contradiction: Contradiction) -> str:
    """Name a contradiction; in other words, as after a log has changed, it is another one."""
    return f"contradiction: {contradiction.message}"


def time_of(proposal: Proposal) -> str:
    """Give the time that a proposal is about, to the second, UTC; '' where it is about none."""
    match proposal:
        case EdgeProposal(at=moment) | ClockProposal(true_time=moment):
            return moment.isoformat(timespec="seconds")
        case _:
            return ""


def _refused(one: Offer, settled: Settled) -> bool:
    """Say whether it was refused; an edge that a mended clock has moved since is another one."""
    times, now = settled.refused.get(one.key, frozenset()), time_of(one.proposal)
    if not now:
        return bool(times)
    moment = datetime.fromisoformat(now)
    return any(abs(datetime.fromisoformat(was) - moment) < TO_THE_MINUTE for was in times)


def findings(
    placement: str, waiting: Sequence[Offer], doubts: Sequence[Contradiction]
) -> list[Finding]:
    """Word the contradictions, which have to be put right, and how many proposals wait."""
    thing = f"placement {placement}"
    found = [Finding(thing, one.message) for one in doubts]
    if waiting:
        many = "1 proposal" if len(waiting) == 1 else f"{len(waiting)} proposals"
        first = f"{waiting[0].words}{' (the first of them)' if waiting[1:] else ''}"
        words = f"{many} from codes in its photos. {first}. Accept or refuse on the Clocks page."
        found.append(Finding(thing, words, serious=False))
    return found


# --- each kind -------------------------------------------------------------------------------


def _clocks(made: Sequence[ClockProposal], ground: Ground) -> Iterator[Offer]:
    for one in made:
        if any(_says_the_same(check, one) for check in ground.checks):
            continue
        more = one.photos - 1
        others = f" and {more} more {'photo' if more == 1 else 'photos'} of that stay"
        true = local_text(one.true_time, ground.zone)
        words = (
            f"The camera showed {one.camera_showed} when it was {true}, "
            f"as the code in {one.file}{others if more else ''} says"
        )
        photo = ground.photos.get(one.photo)
        held = photo.true_time if photo is not None else None
        now = f"{one.file} was taken at {local_text(held, ground.zone) or 'an unknown time'}"
        then = f"it was taken at {true}, and the photos around it move with it"
        yield Offer(one.placement, f"clock {one.photo}", one, one.photo, words, now, then)


def _says_the_same(check: ClockCheck, one: ClockProposal) -> bool:
    shown, true = check.camera_showed, check.true_time
    if shown is None or true is None:
        return False
    return abs(shown - one.camera_showed) <= SAME_CHECK and abs(true - one.true_time) <= SAME_CHECK


def _trays(made: Sequence[TrayProposal], ground: Ground) -> Iterator[Offer]:
    name, trays = ground.placement.placement, ground.placement.trays
    for one in made:
        if one.listed:
            continue
        words = (
            f"The camera watches tray {one.tray}: it was shown the card of deployment "
            f"{one.deployment}"
        )
        now = f"the camera log names {', '.join(trays) or 'no tray'}"
        then = f"it names {', '.join((*trays, one.tray))}"
        yield Offer(name, f"tray {one.tray}", one, one.photo, words, now, then)


def _edges(made: Sequence[EdgeProposal], ground: Ground) -> Iterator[Offer]:
    for one in made:
        if one.logged is not None and abs(one.logged - one.at) < TO_THE_MINUTE:
            continue
        edge = "set out" if one.edge is Edge.SET_OUT else "picked up"
        by = "a clock code of the same stay" if one.by_code else "the camera's clock as it is held"
        at = local_text(one.at, ground.zone)
        words = f"Deployment {one.deployment} was {edge} at {at}, by its card and {by}"
        now = f"the tray log says {local_text(one.logged, ground.zone) or 'nothing'}"
        key = f"{one.edge.value} {one.deployment} {one.photo}"
        name = ground.placement.placement
        yield Offer(name, key, one, one.photo, words, now, f"it says {at}")


def _handlers(made: Sequence[HandlerProposal], ground: Ground) -> Iterator[Offer]:
    for one in made:
        first = one.runs[0][0]
        many = "1 photo shows" if one.photos == 1 else f"{one.photos} photos show"
        ends = [ground.photos[at].file for at in (one.runs[0][0], one.runs[-1][1])]
        where = f" ({ends[0]} to {ends[-1]})" if one.photos > 1 else f" ({ends[0]})"
        words = f"{many} our own people, who hold a code{where}"
        said = ground.tagged.get(first, "")
        now = f"tagged already: {said}" if said else "not tagged"
        key = f"handler {one.first_photo} {one.last_photo}"
        then = "tagged as handler by you; photos between them stay as they are"
        yield Offer(one.placement, key, one, first, words, now, then)


def in_force(refused: Collection[tuple[str, str]], tagged: Collection[str]) -> Settled:
    """Gather decisions that stand: keys with the time that was refused, and keys with tags."""
    times: dict[str, frozenset[str]] = {}
    for key, time in refused:
        times[key] = times.get(key, frozenset()) | {time}
    return Settled(times, frozenset(tagged))
