"""Decide what is held true of a visit after all tags and the instructor's ruling.

Tags belong to runs of photos; here they meet the visits. Whether the answer makes a forager is
decided in forager.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from core.model import (
    ANSWERS_WITHOUT_SPECIES,
    BLANK,
    HANDLER,
    Answer,
    Photo,
    Reason,
    Sighting,
    Species,
    Tag,
    Visit,
    VisitState,
    Where,
)
from core.visits import is_due, rank

Key = tuple[str, str, int, int]
"""Who says it (empty: whoever rules), of which placement, and between which two photos."""
ON_TRAY = (Where.FED, Where.ON_TRAY)

LONGER = "tags were made on a longer run than the visit"
SHORTER = "tags were made on a shorter run than the visit"
PARTLY = "some photos of the visit are untagged"


@dataclass(frozen=True, slots=True)
class Run:
    """A tag with the places of its photos in the placement's order."""

    tag: Tag
    first: int
    last: int
    """Both inside the run."""


@dataclass(frozen=True, slots=True)
class Claim:
    """What one tagger (or the ruling) says of one visit."""

    tagger: str
    runs: tuple[Run, ...]
    """Clipped to the visit."""
    covers: bool
    """Whether every photo of the visit lies in one of them."""

    @property
    def sure(self) -> bool:
        """Say whether no tag of it is unsure."""
        return all(run.tag.sure for run in self.runs)

    def says(self) -> dict[str, bool]:
        """Give each species named, with whether it was on the tray; `blank` only when alone."""
        said: dict[str, bool] = {}
        for run in self.runs:
            on_tray = run.tag.where in ON_TRAY
            said[run.tag.species] = said.get(run.tag.species, False) or on_tray
        animals = {species: on_tray for species, on_tray in said.items() if species != BLANK}
        return animals or said


def in_force(tags: Iterable[Tag]) -> list[Tag]:
    """Leave out what was taken back or replaced.

    A tagger's later tag on the same run replaces their earlier one, unless it says that it names
    another species in the same run. A later ruling on the same run replaces an earlier one,
    whoever ruled. Between the same two photos is the same run, whichever of them comes first.
    """
    kept: dict[Key, list[Tag]] = {}
    for tag in sorted(tags, key=lambda tag: tag.number):
        if tag.taken_back:
            continue
        run = replaces_in(tag)
        others = kept.get(run, []) if tag.also else []
        kept[run] = [*(one for one in others if one.species != tag.species), tag]
    return sorted((tag for tags in kept.values() for tag in tags), key=lambda tag: tag.number)


def replaces_in(tag: Tag) -> Key:
    """Give what a tag may replace others in: the same two photos, said by the same."""
    who = "" if tag.ruling else f"by {tag.tagger}"
    ends = min(tag.first_photo, tag.last_photo), max(tag.first_photo, tag.last_photo)
    return (who, tag.placement, *ends)


def said(tag: Tag) -> tuple[object, ...]:
    """Give what a tag says, without when and how it came in."""
    return (
        tag.placement, tag.first_photo, tag.last_photo, tag.tagger, tag.species, tag.count,
        tag.where, tag.sure, tag.tray, tag.ruling, tag.also, tag.comment,
    )  # fmt: skip


def runs_at(tags: Iterable[Tag], place: Mapping[int, int]) -> list[Run]:
    """Place tags that are in force, given where each photo stands in the order, by id.

    Those on photos without a place are left out; one with a single end there has that one alone.
    When a corrected clock has turned a run round, its earlier photo is its first.
    """
    runs = []
    for tag in tags:
        ends = [place[id_] for id_ in (tag.first_photo, tag.last_photo) if id_ in place]
        if ends:
            runs.append(Run(tag, min(ends), max(ends)))
    return runs


def handler_stretches(runs: Sequence[Run], needed: int) -> Iterator[tuple[int, int]]:
    """Give the stretches [first, end) of places of which `handler` is held, in order."""
    opening: dict[int, list[int]] = {}
    closing: dict[int, list[int]] = {}
    for at, run in enumerate(runs):
        opening.setdefault(run.first, []).append(at)
        closing.setdefault(run.last + 1, []).append(at)
    over: dict[int, Tag] = {}
    for here, there in pairwise(sorted({*opening, *closing})):
        for at in closing.get(here, ()):
            del over[at]
        over |= {at: runs[at].tag for at in opening.get(here, ())}
        if _says_handler(list(over.values()), needed):
            yield here, there


def _says_handler(over: Sequence[Tag], needed: int) -> bool:
    """Say whether the tags over a photo hold it to be our staff: ruled so, or all agree."""
    if all(tag.species != HANDLER for tag in over):
        return False
    ruling = [tag for tag in over if tag.ruling]
    deciding = ruling or over
    taggers = {tag.tagger for tag in deciding if tag.sure or tag.ruling}
    agreed = all(tag.species == HANDLER for tag in deciding)
    return agreed and (bool(ruling) or len(taggers) >= needed)


def answer(
    visit: Visit,
    places: Sequence[int],
    runs: Sequence[Run],
    ordered: Sequence[Photo],
    *,
    needed: int,
    species: Mapping[str, Species],
    timelapse_every_min: int | None = None,
) -> Answer:
    """Weigh the tags of one visit.

    A ruling holds for the photos it covers; the others go by their taggers. Taggers who differ
    on the species, or of whom one says near and one on the tray, are disputed. Unsure tags
    confirm nothing. A visit with a photo that nobody tagged is not finished.
    """
    runs = [run for run in runs if any(run.first <= at <= run.last for at in places)]
    places = _asked(places, runs, ordered, timelapse_every_min)
    ruled = [at for at in places if any(r.tag.ruling and r.first <= at <= r.last for r in runs)]
    free = [at for at in places if at not in set(ruled)]
    ruling = _claims([run for run in runs if run.tag.ruling], ruled, by_tagger=False)
    claims = _claims([run for run in runs if not run.tag.ruling], free, by_tagger=True)
    state, waits_for = _state(claims, free, needed=needed, ruled=bool(ruled))
    held_by = [*ruling, *claims]
    unlisted = {
        name
        for claim in held_by
        for name in claim.says()
        if name not in species and name not in ANSWERS_WITHOUT_SPECIES
    }
    if waits_for is None and unlisted:
        waits_for = Reason.SPECIES_UNLISTED
    sure = [claim for claim in claims if claim.sure]
    sightings = _sightings([ruling, sure], ordered) if waits_for is None else ()
    return Answer(
        state=state,
        waits_for=waits_for,
        species=_names(sightings) or ((BLANK,) if waits_for is None else ()),
        sightings=sightings,
        taggers=tuple(dict.fromkeys(run.tag.tagger for run in runs)),
        remarks=_remarks(visit, places, runs),
        tags=tuple(run.tag for run in runs),
    )


def _asked(
    places: Sequence[int],
    runs: Sequence[Run],
    ordered: Sequence[Photo],
    timelapse_every_min: int | None,
) -> Sequence[int]:
    """Give the photos that somebody has to have looked at.

    A time-lapse photo that came within the gap of a visit needs no tag of its own.
    """
    if not timelapse_every_min or not runs:
        return places
    return [
        at
        for at in places
        if any(run.first <= at <= run.last for run in runs)
        or not is_due(ordered[at].camera_time, timelapse_every_min)
    ]


def _claims(runs: Sequence[Run], places: Sequence[int], *, by_tagger: bool) -> list[Claim]:
    """Gather runs by who made them, clipped to the photos at `places`."""
    if not places:
        return []
    claims = []
    owner = (lambda run: run.tag.tagger) if by_tagger else (lambda _run: "")
    for tagger, own in groupby(sorted(runs, key=owner), key=owner):
        clipped = []
        for run in own:
            inside = [at for at in places if run.first <= at <= run.last]
            if inside:
                clipped.append(Run(run.tag, inside[0], inside[-1]))
        covered = {at for run in clipped for at in places if run.first <= at <= run.last}
        if clipped:
            claims.append(Claim(tagger, tuple(clipped), len(covered) == len(places)))
    return claims


def _state(
    claims: Sequence[Claim], free: Sequence[int], *, needed: int, ruled: bool
) -> tuple[VisitState, Reason | None]:
    """Give how far people got, and what the visit still waits for."""
    if ruled and not free:
        return VisitState.RULED, None
    if not claims:
        return VisitState.UNTAGGED, Reason.UNTAGGED
    if _differ(claims):
        return VisitState.DISPUTED, Reason.DISPUTED
    state = VisitState.AGREED if _agreeing(claims, free) > 1 else VisitState.SINGLE
    state = VisitState.RULED if ruled else state
    if not _all_seen(claims, free):
        return state, Reason.UNTAGGED
    sure = [claim for claim in claims if claim.sure]
    if not _all_seen(sure, free):
        return state, Reason.UNSURE
    return state, (None if _agreeing(sure, free) >= needed else Reason.MORE_TAGGERS)


def _all_seen(claims: Sequence[Claim], places: Sequence[int]) -> bool:
    """Say whether every photo lies in a run of somebody."""
    return any(claim.covers for claim in claims) or all(
        any(_holds(claim, at) for claim in claims) for at in places
    )


def _holds(claim: Claim, at: int) -> bool:
    return claim.covers or any(run.first <= at <= run.last for run in claim.runs)


def _agreeing(claims: Sequence[Claim], places: Sequence[int]) -> int:
    """Count the taggers who agree: runs need not be equal to the photo.

    Whoever says the same, of at least half of the photos and of some in each run of the widest
    claim, agrees. Where some name fewer species (they are not finished), every photo counts its
    own taggers, and the fewest hold.
    """
    if any(claim.says() != claims[0].says() for claim in claims):
        return min(sum(_holds(claim, at) for claim in claims) for at in places)
    held = {claim.tagger: sum(_holds(claim, at) for at in places) for claim in claims}
    widest = max(claims, key=lambda claim: held[claim.tagger])
    return sum(
        claim is widest
        or (
            held[claim.tagger] * 2 >= len(places)
            and all(_overlap(run, claim.runs) for run in widest.runs)
        )
        for claim in claims
    )


def _differ(claims: Sequence[Claim]) -> bool:
    """Say whether two claims contradict each other, or name different trays for a species."""
    for one in claims:
        for other in claims:
            if one is other or (one.covers and not other.covers):
                continue
            beside, shared = _beside(one, other), _beside(other, one)
            if not beside.runs:
                continue
            mine, theirs = shared.says(), beside.says()
            if any(theirs.get(name) is not on_tray for name, on_tray in mine.items()):
                return True
            if any(_other_trays(one, beside, name) for name in mine):
                return True
    return False


def _beside(one: Claim, other: Claim) -> Claim:
    """Give what the other says of the photos of one; an unfinished one may still lack the rest."""
    if one.covers:
        return other
    return replace(other, runs=tuple(run for run in other.runs if _overlap(run, one.runs)))


def _overlap(run: Run, others: Sequence[Run]) -> bool:
    return any(run.first <= other.last and other.first <= run.last for other in others)


def _other_trays(one: Claim, other: Claim, name: str) -> bool:
    """Say whether one names a tray for the species that the other, naming trays, does not."""
    mine, theirs = (
        {run.tag.tray for run in claim.runs if run.tag.species == name and run.tag.tray}
        for claim in (one, other)
    )
    return bool(theirs) and not mine <= theirs


def _sightings(
    sources: Sequence[Sequence[Claim]], ordered: Sequence[Photo]
) -> tuple[Sighting, ...]:
    """Turn the claims that are held into sightings, the earliest end first."""
    made = [one for claims in sources for one in _agreed_sightings(claims, ordered)]
    return tuple(sorted(made, key=lambda sighting: sighting.last_rank))


def _agreed_sightings(claims: Sequence[Claim], ordered: Sequence[Photo]) -> list[Sighting]:
    runs = [run for claim in claims for run in claim.runs]
    result = []
    for name in dict.fromkeys(run.tag.species for run in runs):
        own = [run for run in runs if run.tag.species == name]
        if name in {BLANK, HANDLER}:
            continue
        on_tray = [run for run in own if run.tag.where in ON_TRAY]
        if not on_tray:
            result += _sighting(name, Where.NEAR, own, ordered)
        elif _all_say_fed(name, claims):
            fed = [run for run in on_tray if run.tag.where is Where.FED]
            only_there = [run for run in on_tray if run.tag.where is Where.ON_TRAY]
            result += _sighting(name, Where.FED, fed, ordered)
            result += _sighting(name, Where.ON_TRAY, only_there, ordered)
        else:
            result += _sighting(name, Where.ON_TRAY, on_tray, ordered)
    return result


def _all_say_fed(name: str, claims: Sequence[Claim]) -> bool:
    """Say whether each who named the species saw it feed: fed against on the tray is on it.

    An unfinished claim speaks only of the photos that it covers.
    """
    fed = [
        run
        for claim in claims
        for run in claim.runs
        if run.tag.species == name and run.tag.where is Where.FED
    ]
    for claim in claims:
        own = [run for run in claim.runs if run.tag.species == name]
        feeding = any(run.tag.where is Where.FED for run in own)
        if own and not feeding and (claim.covers or any(_overlap(run, fed) for run in own)):
            return False
    return bool(fed)


def _sighting(
    name: str, where: Where, runs: Sequence[Run], ordered: Sequence[Photo]
) -> list[Sighting]:
    """Give one sighting for each tray that was named (or none), over the runs of all taggers."""
    if not runs:
        return []
    named = {run.tag.tray for run in runs if run.tag.tray}
    result = []
    for tray in sorted(named) or [""]:
        own = [run for run in runs if len(named) < 2 or run.tag.tray == tray]  # noqa: PLR2004
        counts = [run.tag.count for run in own if run.tag.count is not None]
        first = ordered[min(run.first for run in own)]
        last = ordered[max(run.last for run in own)]
        result.append(
            Sighting(
                species=name,
                where=where,
                tray=tray,
                count=max(counts, default=None),
                first=rank(first)[0],
                last=rank(last)[0],
                last_rank=rank(last),
            )
        )
    return result


def _names(sightings: Sequence[Sighting]) -> tuple[str, ...]:
    """Name the species, the last that was there standing last."""
    backwards = dict.fromkeys(sighting.species for sighting in reversed(sightings))
    return tuple(reversed(backwards))


def _remarks(visit: Visit, places: Sequence[int], runs: Sequence[Run]) -> tuple[str, ...]:
    remarks = []
    ids = {photo.id for photo in visit.photos}
    if any({run.tag.first_photo, run.tag.last_photo} - ids for run in runs):
        remarks.append(LONGER)
    if any(run.first > places[0] or run.last < places[-1] for run in runs):
        remarks.append(SHORTER)
    covered = {at for run in runs for at in places if run.first <= at <= run.last}
    if runs and len(covered) < len(places):
        remarks.append(PARTLY)
    return tuple(remarks)
