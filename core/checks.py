"""Decide what in a study has to be put right, from logs, photos, tags and windows together."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from core import windows
from core.clockfaults import ChangedOutcome, ClockFinding, Confidence
from core.clockfaults import words as words_of
from core.clocks import Clock
from core.model import (
    ALSO_ON,
    ANSWERS_WITHOUT_SPECIES,
    ClockCheck,
    ClockFlag,
    Finding,
    Outcome,
    Photo,
    Placement,
    Reason,
    Species,
    Status,
    Tag,
    TimeSource,
    TrayDeployment,
    TrayRole,
)

ALIKE = 3
"""So many trays with exactly the mass put in, or photos alike on two placements, are no chance
(ours)."""
MOST_TRAYS = 3
"""So many trays that a clock would change are named; the rest are counted (ours)."""


@dataclass(frozen=True, slots=True)
class Card:
    """What a placement's photos gave, as far as the checks ask."""

    placement: str
    logged: bool
    photos: Sequence[Photo]
    clock: Clock | None
    clock_fault: str = ""
    tags: Sequence[Tag] = field(default_factory=tuple)


def findings(
    trays: Sequence[TrayDeployment],
    placements: Sequence[Placement],
    cards: Sequence[Card],
    species: Mapping[str, Species],
    results: Sequence[Outcome],
    clock_checks: Sequence[ClockCheck],
    zone: ZoneInfo,
) -> list[Finding]:
    """List all findings: logs against each other, then cards, then outcomes."""
    return [
        *_links(trays, placements, cards),
        *_clock_log(clock_checks, placements, cards),
        *_blank_cells(trays, placements),
        *_windows(trays, zone),
        *_defaults(trays),
        *(finding for card in cards for finding in _card(card, species)),
        *_outcomes(results),
    ]


def _links(
    trays: Sequence[TrayDeployment], placements: Sequence[Placement], cards: Sequence[Card]
) -> Iterator[Finding]:
    logged = {one.tray for one in trays}
    watched = {tray for one in placements for tray in one.trays}
    with_photos = {card.placement for card in cards}
    for one in placements:
        for tray in one.trays:
            if tray not in logged:
                yield Finding(
                    f"placement {one.placement}",
                    f"watches tray {tray!r}, which is in no tray log. Load the tray log that has "
                    "it, or mend the name in one of the two logs.",
                )
        if one.placement not in with_photos:
            yield Finding(
                f"placement {one.placement}",
                "has no photos yet. Scan its card, or remove it from the camera log.",
            )
    unwatched = dict.fromkeys(
        one.tray
        for one in trays
        if one.role is TrayRole.STUDY and one.tray and one.tray not in watched
    )
    if unwatched and not placements and not cards:
        yield Finding(
            "camera log",
            f"is empty, so nobody can be named for the {len(unwatched)} trays. Load it if there "
            "were cameras; else see what the trays tell by their mass alone.",
            serious=False,
        )
    else:
        for tray in unwatched:
            yield Finding(
                f"tray {tray}",
                "is watched by no placement, so nobody can be named for it. Add the tray to the "
                "camera log if a camera stood there.",
            )
    for card in cards:
        if not card.logged:
            yield Finding(
                f"placement {card.placement}",
                "has photos but no line in the camera log, so its visits reach no tray. Add the "
                "line, or move the card to the right placement.",
            )


def _clock_log(
    clock_checks: Sequence[ClockCheck], placements: Sequence[Placement], cards: Sequence[Card]
) -> Iterator[Finding]:
    known = {one.placement for one in placements} | {card.placement for card in cards}
    files = {(card.placement, photo.file.rsplit("/", 1)[-1]) for card in cards
             for photo in card.photos}  # fmt: skip
    for check in clock_checks:
        thing = f"clock check of {check.placement} at {check.camera_showed or 'no time'}"
        if check.placement not in known:
            yield Finding(
                thing,
                "names a placement that no camera log and no card has, so it corrects nothing. "
                "Mend the name.",
            )
        elif check.camera_showed is None or check.true_time is None:
            yield Finding(thing, "has a blank cell, so it corrects nothing. Fill it in.")
        elif check.photo and (check.placement, check.photo.rsplit("/", 1)[-1]) not in files:
            yield Finding(
                thing, f"names photo {check.photo!r}, which is not on the card.", serious=False
            )


def _blank_cells(
    trays: Sequence[TrayDeployment], placements: Sequence[Placement]
) -> Iterator[Finding]:
    for one in trays:
        if one.missing:
            cells = ", ".join(one.missing)
            yield Finding(f"deployment {one.deployment}", f"has a blank cell: {cells}. Fill it in.")
    for place in placements:
        if place.missing:
            cells = ", ".join(place.missing)
            yield Finding(f"placement {place.placement}", f"has a blank cell: {cells}. Fill it in.")


def _windows(trays: Sequence[TrayDeployment], zone: ZoneInfo) -> Iterator[Finding]:
    overlapping = windows.overlapping(trays)
    for one in trays:
        if one.deployment in overlapping:
            yield Finding(
                f"deployment {one.deployment}",
                f"its window {_local(one.set_out, zone)} to {_local(one.picked_up, zone)} overlaps "
                f"another of tray "
                f"{one.tray!r}. Mend the times or the tray of one of them.",
            )


def _local(moment: datetime | None, zone: ZoneInfo) -> str:
    return "" if moment is None else f"{moment.astimezone(zone):%Y-%m-%d %H:%M}"


def _defaults(trays: Sequence[TrayDeployment]) -> Iterator[Finding]:
    study = [one for one in trays if one.role is TrayRole.STUDY and one.food_start_g is not None]
    same = [one.deployment for one in study if one.food_left_g == one.food_start_g]
    if len(same) >= ALIKE and len(same) * 2 > len(study):
        yield Finding(
            "tray log",
            f"{len(same)} of {len(study)} trays have exactly as much left as put in "
            f"({same[0]} and on). Were they weighed, or filled in?",
            serious=False,
        )


def _card(card: Card, species: Mapping[str, Species]) -> Iterator[Finding]:
    thing = f"placement {card.placement}"
    if card.clock_fault:
        yield Finding(thing, card.clock_fault)
    photos = [photo for photo in card.photos if photo.is_photo and photo.copy_of is None]
    yield from _faulty(thing, card.photos)
    twice = [photo for photo in photos if ALSO_ON in photo.problem]
    if len(twice) >= ALIKE and len(twice) * 2 > len(photos):
        yield Finding(
            thing,
            f"{len(twice)} of {len(photos)} photos are those of another placement, byte for byte "
            f"({twice[0].file}: {twice[0].problem}). Forget the card that is in the wrong place.",
        )
    odd = [
        photo
        for photo in photos
        if photo.offset and card.logged and not _same_offset(photo, card.clock)
    ]
    if odd:
        yield Finding(
            thing,
            f"{len(odd)} photos say offset {odd[0].offset} ({odd[0].file} and on), the camera log "
            "says otherwise. The log holds; mend it if the files are right.",
        )
    for flag, count in Counter(p.clock_flag for p in photos if p.clock_flag).items():
        serious = flag is not ClockFlag.BEYOND_CHECKS
        yield Finding(thing, f"{count} photos: {flag}. Add a clock check near them.", serious)
    unlisted = {
        tag.species
        for tag in card.tags
        if tag.species not in species and tag.species not in ANSWERS_WITHOUT_SPECIES
    }
    for key in sorted(unlisted):
        yield Finding(
            thing,
            f"is tagged with {key!r}, which is not in the species list. Add it to the list or tag "
            "those visits again.",
        )


def of_clock(found: ClockFinding, changes: Sequence[ChangedOutcome]) -> Finding:
    """Word what speaks against a clock, what is proposed, and what that would change.

    `changes` is what its one proposal would do to the trays; empty where there is no one proposal.
    """
    words = [f"{found.kind}: {found.saw}"]
    if found.chosen is not None:
        words.append(f"Proposed for {words_of.photos(found.photos)}: {found.chosen.words}.")
        words.append(_trays_changed(changes))
    elif found.proposals:
        ways = ", or ".join(one.words for one in found.proposals)
        words.append(f"Several ways explain {words_of.photos(found.photos)} as well: {ways}.")
    words.append(found.look_at)
    words.append("Decide on the Clocks page." if found.proposals else "Then mend the log.")
    serious = found.confidence is Confidence.CLEAR or bool(found.proposals)
    return Finding(f"placement {found.placement}", " ".join(words), serious)


def _trays_changed(changes: Sequence[ChangedOutcome]) -> str:
    if not changes:
        return "No tray's outcome would change."
    first = "; ".join(map(str, changes[:MOST_TRAYS]))
    more = len(changes) - MOST_TRAYS
    rest = f"; and {more} more" if more > 0 else ""
    many = "1 tray" if len(changes) == 1 else f"{len(changes)} trays"
    return f"{many} would change: {first}{rest}."


def _faulty(thing: str, photos: Sequence[Photo]) -> Iterator[Finding]:
    groups = (
        ("without a time", [p for p in photos if p.is_photo and p.camera_time is None], True),
        (
            "dated by when the file was changed",
            [p for p in photos if p.time_source in {TimeSource.CHANGED, TimeSource.FILE}],
            False,
        ),
        ("copies, counted nowhere", [p for p in photos if p.copy_of is not None], False),
        (
            "with another problem",
            [
                p
                for p in photos
                if p.problem
                and p.copy_of is None
                and p.camera_time is not None
                and p.time_source not in {TimeSource.CHANGED, TimeSource.FILE}
            ],
            False,
        ),
    )
    for words, found, serious in groups:
        if found:
            first = found[0]
            yield Finding(
                thing,
                f"{len(found)} photos {words} ({first.file} and on: {first.problem}). "
                "`lastbite photos` lists them.",
                serious,
            )


def _same_offset(photo: Photo, clock: Clock | None) -> bool:
    """Say whether a file's own offset is the one its clock has at that time."""
    if clock is None or photo.camera_time is None:
        return True
    offset = photo.camera_time.replace(tzinfo=clock.zone).utcoffset() or timedelta(0)
    sign = -1 if photo.offset[0] == "-" else 1
    digits = photo.offset.lstrip("+-").split(":")
    if photo.offset in {"Z", "z"} or len(digits) < 2:  # noqa: PLR2004
        return offset == timedelta(0)
    return offset == sign * timedelta(hours=int(digits[0]), minutes=int(digits[1]))


def _outcomes(results: Sequence[Outcome]) -> Iterator[Finding]:
    for one in results:
        if one.status is Status.ERROR and one.reason is not Reason.WINDOWS_OVERLAP:
            yield Finding(
                f"deployment {one.deployment.deployment}",
                f"{one.reason}. Check the camera's clock, its start and end, and the tray's times.",
            )
