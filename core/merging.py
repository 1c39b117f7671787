"""Decide how what another copy of a study has is brought in: all of it, or after a fault nothing.

What is the same, new, or in conflict is decided in `matching`.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

from sqlalchemy import Connection

from core import clockfaults, matching, views
from core.clockfaults import ClockCorrection
from core.coverage.rows import StretchRuling
from core.errors import ClockError, StudyError
from core.matching import Held, Merged, Turn
from core.model import ClockCheck, Placement, Species, Tag, TrayDeployment
from core.settings import Settings
from core.store import Database, Raises, cards, corrections, logs, merges, outlines, rulings
from core.store.merges import CardFile, Drawn

NOT_COMPARED = {"name", "database", "sign_in", "instructors", "header", "trusted", "address"}
"""Settings that no result hangs on."""


@dataclass(slots=True)
class _Merge:
    """A merge while it goes on."""

    here: Connection
    there: Connection
    own: Settings
    conflicts: list[str] = field(default_factory=list)
    lines: dict[str, int] = field(default_factory=dict)
    other_species: dict[str, str] = field(default_factory=dict)
    """Keys that mean something else here, with what, in words."""
    photos: dict[int, int] = field(default_factory=dict)
    """Their ids to ours."""


def merge(
    ours: Database, own: Settings, theirs: Database, their: Settings, *, only_look: bool = False
) -> Merged:
    """Bring in the photos, log lines and tags that are missing here; conflicts are listed.

    Twice is the same as once. Nothing that is here is changed, and nothing there.

    Parameters
    ----------
    own, their
        The settings of the two; ours hold.
    only_look
        Work everything out and store nothing.

    Raises
    ------
    StudyError
        The other is another study: no placement and no tray in common.
    """
    with theirs.read() as there, ours.begin(Raises.ALL) as here:
        _refuse_another(here, there, theirs.name)
        merged = _brought(_Merge(here, there, own, _unlike(own, their)))
        if only_look or not _news(merged):
            here.rollback()
    return replace(merged, only_looked=only_look)


def _news(merged: Merged) -> bool:
    return bool(
        merged.photos
        or merged.tags
        or merged.undone
        or merged.corrections
        or merged.outlines
        or merged.stretches
        or sum(merged.lines.values())
    )


def _refuse_another(here: Connection, there: Connection, name: str) -> None:
    ours, theirs = _names(here), _names(there)
    if matching.is_another_study(ours, theirs):
        raise StudyError(
            f"{name} is another study: it has no placement and no tray in common with this one. "
            "Nothing was brought in. If they belong together, load the camera log here first."
        )


def _names(connection: Connection) -> tuple[set[str], set[str]]:
    logged = logs.placements(connection)
    trays = {tray for one in logged for tray in one.trays}
    trays |= {one.tray for one in logs.tray_deployments(connection) if one.tray}
    names = {one.placement for one in logged} | set(cards.placements_with_photos(connection))
    return names, trays


def _unlike(own: Settings, their: Settings) -> list[str]:
    pairs = {
        one.name: (getattr(own, one.name), getattr(their, one.name))
        for one in fields(own)
        if one.name not in NOT_COMPARED
    }
    return [
        f"study.toml: {name} is {here} here and {there} there. That of here holds."
        for name, (here, there) in pairs.items()
        if here != there
    ]


def _brought(merge: _Merge) -> Merged:
    agreed = _logs(merge)
    brought, same, new_cards = _photos(merge, agreed)
    corrected = _corrections(merge)
    _clock_checks(merge)
    drawn, stretches = _outlines(merge), _stretches(merge)
    tags, left = _tags(merge)
    ruled = sorted({one.tag.tagger for one in tags.new if one.tag.ruling})
    return Merged(
        photos=brought,
        photos_same=same,
        cards=new_cards,
        lines=merge.lines,
        corrections=corrected,
        outlines=drawn,
        stretches=stretches,
        tags=len(tags.new),
        tags_same=tags.same,
        tags_said_here=tags.said_here,
        undone=len(tags.turns),
        taggers_in_both=tags.in_both,
        rulings_by=ruled,
        left_there=_left_there(merge),
        conflicts=[*merge.conflicts, *left, *tags.conflicts],
    )


# --- logs --------------------------------------------------------------------------------------


def _logs(merge: _Merge) -> set[str]:
    """Bring in lines of the logs; gives the placements of which both camera logs say the same."""
    here, there = merge.here, merge.there
    _species(merge)
    ours, theirs = logs.placements(here), logs.placements(there)
    rows = matching.match_rows("cameras", ours, theirs, _placement, _placement)
    logs.put_placements(here, rows.new)
    merge.lines["cameras"] = len(rows.new)
    merge.conflicts += rows.differ
    trays = matching.match_rows(
        "trays", logs.tray_deployments(here), logs.tray_deployments(there), _deployment, _deployment
    )
    logs.put_tray_deployments(here, trays.new)
    merge.lines["trays"] = len(trays.new)
    merge.conflicts += trays.differ
    known = {one.placement: one for one in ours}
    return {one.placement for one in theirs if known.get(one.placement) == one}


def _placement(row: Placement) -> str:
    return row.placement


def _deployment(row: TrayDeployment) -> str:
    return row.deployment


def _species(merge: _Merge) -> None:
    """Bring in species; one whose key or name means another here is left out with its tags."""
    ours, theirs = logs.species(merge.here), logs.species(merge.there)
    rows = matching.match_rows("species", ours, theirs, lambda row: row.key, lambda row: row.key)
    known = {one.key: one for one in ours}
    for one in theirs:
        here = known.get(one.key)
        if here is not None and here.name.casefold() != one.name.casefold():
            merge.other_species[one.key] = f"{one.name} there and {here.name} here"
    new: list[Species] = []
    for one in rows.new:
        like = next((other for other in ours if _alike(one, other)), None)
        if like is None:
            new.append(one)
            continue
        merge.other_species[one.key] = f"{one.name} there, which has the key {like.key!r} here"
        merge.conflicts.append(
            f"species: {one.name} ({one.key}) there is too like {like.name} ({like.key}) here. It "
            "was left out."
        )
    logs.put_species(merge.here, new)
    merge.lines["species"] = len(new)
    merge.conflicts += rows.differ


def _alike(one: Species, other: Species) -> bool:
    same_name = one.name.casefold() == other.name.casefold()
    return same_name or one.key.casefold() == other.key.casefold()


def _clock_checks(merge: _Merge) -> None:
    """Bring in clock checks, those of a placement together: none where they would contradict."""
    ours, theirs = logs.clock_checks(merge.here), logs.clock_checks(merge.there)
    rows = matching.match_rows("clocks", ours, theirs, _check_key, _check_name)
    merge.conflicts += rows.differ
    merge.lines["clocks"] = 0
    for name in sorted({one.placement for one in rows.new}):
        new = [one for one in rows.new if one.placement == name]
        try:
            _try_clock(merge, name, [*(one for one in ours if one.placement == name), *new])
        except ClockError as fault:
            merge.conflicts.append(
                f"clocks: the checks of {name} there and those here contradict each other "
                f"({fault}). Those of there were left out."
            )
        else:
            logs.put_clock_checks(merge.here, new)
            merge.lines["clocks"] += len(new)


def _try_clock(merge: _Merge, name: str, checks: Sequence[ClockCheck]) -> None:
    logged = {one.placement: one for one in logs.placements(merge.here)}
    photos = cards.photos(merge.here, name)
    own = clockfaults.in_force(corrections.corrections(merge.here, name))
    clockfaults.true_times(photos, logged.get(name), checks, merge.own.timezone, own)


def _check_key(row: ClockCheck) -> tuple[object, ...]:
    if row.camera_showed is not None:
        return row.placement, row.camera_showed
    rest = tuple(sorted(row.extra.items()))
    return row.placement, None, row.true_time, row.photo, rest


def _check_name(row: ClockCheck) -> str:
    return f"{row.placement}, where the camera showed {row.camera_showed or 'nothing'},"


# --- photos ------------------------------------------------------------------------------------


def _photos(merge: _Merge, agreed: set[str]) -> tuple[int, int, int]:
    """Bring in files; gives how many, how many were here, and how many cards are new."""
    files = matching.match_files(merges.files(merge.here), merges.files(merge.there), agreed)
    merge.conflicts += files.conflicts
    merge.photos.update(files.same)
    known = {one.folder: (one.placement, one.id) for one in cards.cards(merge.here)}
    before = len(known)
    found = merges.card_files(merge.there, files.new)
    by_card: dict[tuple[str, str], list[CardFile]] = {}
    for one in found:
        by_card.setdefault((one.placement, one.folder), []).append(one)
    for (placement, _), those in by_card.items():
        card = _card(merge.here, known, placement, those[0])
        rows = [replace(one.photo, copy_of=None) for one in those]
        ids = cards.add_photos(merge.here, card, rows)
        merge.photos.update(zip((one.id for one in those), ids, strict=True))
    for one in found:
        if one.photo.copy_of in merge.photos:
            cards.set_copy_of(merge.here, merge.photos[one.id], merge.photos[one.photo.copy_of])
    return len(found), len(files.same), len(known) - before


def _card(
    connection: Connection, known: dict[str, tuple[str, int]], placement: str, one: CardFile
) -> int:
    """Give the card of a folder; one of another placement here is another computer's folder."""
    folder = one.folder
    while folder in known and known[folder][0] != placement:
        folder += " (another computer)"
    if folder not in known:
        known[folder] = placement, cards.put_card(connection, placement, folder, one.scanned_at)
    return known[folder][1]


# --- corrections of clocks ---------------------------------------------------------------------


def _corrections(merge: _Merge) -> int:
    """Bring in the corrections of clocks that nobody corrected here."""
    brought = 0
    theirs = corrections.corrections(merge.there)
    for name in sorted({one.placement for one in theirs}):
        ours = [_compared(one) for one in corrections.corrections(merge.here, name)]
        rows = [_with_our_photos(merge, one) for one in theirs if one.placement == name]
        whole = [one for one in rows if one is not None]
        if [_compared(one) for one in whole] == ours and len(whole) == len(rows):
            continue
        if ours or len(whole) < len(rows):
            why = "are not those of here" if ours else "are on photos that were left out"
            merge.conflicts.append(
                f"The clock corrections of placement {name} there {why}. They were left out: see "
                "the Clocks page of both."
            )
            continue
        numbers = corrections.add_corrections(merge.here, whole)
        for number, one in zip(numbers, whole, strict=True):
            if one.taken_back is not None:
                corrections.take_back(merge.here, number, one.taken_back, one.taken_back_by)
        brought += len(whole)
    return brought


def _with_our_photos(merge: _Merge, one: ClockCorrection) -> ClockCorrection | None:
    ends = one.first_photo, one.last_photo
    if any(end is not None and end not in merge.photos for end in ends):
        return None
    first, last = (None if end is None else merge.photos[end] for end in ends)
    return replace(one, first_photo=first, last_photo=last)


def _compared(one: ClockCorrection) -> ClockCorrection:
    return replace(one, number=0)


# --- outlines, and what was said of watched time -----------------------------------------------


def _outlines(merge: _Merge) -> int:
    """Bring in the outlines of trays that nobody drew here, or drew further there from ours."""
    ours, theirs = _by_tray(merge.here), _by_tray(merge.there)
    brought = 0
    for (placement, tray), there in sorted(theirs.items()):
        here, newest = ours.get((placement, tray), []), there[-1]
        known = [one.outline for one in here]
        if newest.outline in known or (known and not newest.outline.by):
            continue
        if known and known[-1].by and known[-1] not in [one.outline for one in there]:
            merge.conflicts.append(
                f"The outline of tray {tray!r} on placement {placement} was drawn by "
                f"{known[-1].by} here and by {newest.outline.by} there. That of here holds. Draw "
                "it again if it is wrong."
            )
            continue
        outlines.add_outline(merge.here, placement, newest.outline, newest.made_at)
        brought += 1
    return brought


def _by_tray(connection: Connection) -> dict[tuple[str, str], list[Drawn]]:
    found: dict[tuple[str, str], list[Drawn]] = defaultdict(list)
    for one in merges.drawn(connection):
        found[one.placement, one.outline.tray].append(one)
    return found


def _stretches(merge: _Merge) -> int:
    """Bring in what was said there of suspected time, and that it was taken back; gives how many.

    A yes against a no over the same time of a camera is a conflict.
    """
    ours = {_said_of_time(one): one for one in rulings.rulings(merge.here)}
    theirs = rulings.rulings(merge.there)
    said_there = {_said_of_time(one) for one in theirs}
    only_here = [one for key, one in ours.items() if key not in said_there]
    brought = 0
    for one in theirs:
        known = ours.get(_said_of_time(one))
        if known is None:
            against = next((other for other in only_here if _is_against(one, other)), None)
            if against is not None:
                merge.conflicts.append(_against_words(one, against))
                continue
            looked_at = tuple(merge.photos[id_] for id_ in one.look_at if id_ in merge.photos)
            number = rulings.add_ruling(merge.here, replace(one, look_at=looked_at))
        else:
            number = known.number
        turned = one.taken_back is not None and (known is None or known.taken_back is None)
        if turned and one.taken_back is not None:
            rulings.take_back(merge.here, number, one.taken_back, one.taken_back_by)
        brought += known is None or turned
    return brought


def _said_of_time(one: StretchRuling) -> StretchRuling:
    return replace(one, number=0, look_at=(), taken_back=None, taken_back_by="")


def _is_against(one: StretchRuling, other: StretchRuling) -> bool:
    stand = one.taken_back is None and other.taken_back is None
    same = (one.placement, one.why) == (other.placement, other.why)
    meet = one.span.start < other.span.end and other.span.start < one.span.end
    return stand and same and meet and one.accepted is not other.accepted


def _against_words(there: StretchRuling, here: StretchRuling) -> str:
    said = {True: "so", False: "not so"}
    return (
        f"Placement {there.placement}, whether {there.why}: {here.by} says {said[here.accepted]} "
        f"here, {there.by} says {said[there.accepted]} there. That of here holds; see the Trays "
        "page of both."
    )


def _left_there(merge: _Merge) -> list[str]:
    """Say what of the other copy is never brought in, where there is any of it."""
    here, there = merges.own_things(merge.here), merges.own_things(merge.there)
    people = sorted(name for same, name in there.people.items() if same not in here.people)
    references = sum(
        (merge.photos.get(photo), species) not in here.references
        for photo, species in there.references
    )
    told = {
        f"people on its list who are not on this one: {', '.join(people)}": len(people),
        "shares that were handed out": there.shares,
        "reference photos": references,
        "words on proposals from codes (what was accepted is in the logs and tags)": len(
            set(there.decisions) - set(here.decisions)
        ),
    }
    return [f"{many} {what}" for what, many in told.items() if many]


# --- tags --------------------------------------------------------------------------------------


def _tags(merge: _Merge) -> tuple[matching.Tags, list[str]]:
    """Bring in tags and what became of them; gives also what was left out before, in words."""
    ours = merges.held(merge.here)
    spelled = _spelling({name for one in ours for name in (one.tag.tagger,)})
    theirs: list[Held] = []
    left: Counter[str] = Counter()
    for one in merges.held(merge.there):
        tag = one.tag
        if tag.first_photo not in merge.photos or tag.last_photo not in merge.photos:
            left[f"on placement {tag.placement} are on photos that were left out"] += 1
        elif tag.species in merge.other_species:
            words = merge.other_species[tag.species]
            left[f"say {tag.species!r}, which is {words}"] += 1
        else:
            theirs.append(_as_ours(one, merge.photos, spelled))
    place = {name: _place(merge, name) for name in {one.tag.placement for one in theirs}}
    found = matching.match_tags(ours, theirs, place, _naming(merge))
    merges.add_held(merge.here, found.new)
    for number, turns in found.turns:
        merges.add_turns(merge.here, number, turns)
    return found, [f"{many} tags {words}. They were left out." for words, many in left.items()]


def _as_ours(one: Held, photos: Mapping[int, int], spelled: Callable[[str], str]) -> Held:
    tag = replace(
        one.tag,
        first_photo=photos[one.tag.first_photo],
        last_photo=photos[one.tag.last_photo],
        tagger=spelled(one.tag.tagger),
    )
    turns = tuple(
        Turn(turn.taken_back, turn.at, spelled(turn.by), turn.action) for turn in one.turns
    )
    return Held(tag, one.action, turns)


def _spelling(known: Iterable[str]) -> Callable[[str], str]:
    """Give how names are spelled here: nomsa and Nomsa are one tagger."""
    ours = {" ".join(name.split()).casefold(): name for name in sorted(known, reverse=True)}
    exact = set(ours.values())

    def spelled(name: str) -> str:
        return name if name in exact else ours.get(" ".join(name.split()).casefold(), name)

    return spelled


def _place(merge: _Merge, name: str) -> Mapping[int, int]:
    logged = {one.placement: one for one in logs.placements(merge.here)}
    checks = [one for one in logs.clock_checks(merge.here) if one.placement == name]
    base = views.base_of(
        name,
        logged.get(name),
        checks,
        cards.photos(merge.here, name),
        merge.own.timezone,
        {one.key: one for one in logs.species(merge.here)},
        logs.tray_deployments(merge.here),
        corrections.corrections(merge.here, name),
    )
    return base.place


def _naming(merge: _Merge) -> Callable[[Tag], str]:
    species = {one.key: one.name for one in logs.species(merge.here)}

    def named(tag: Tag) -> str:
        said = [species.get(tag.species, tag.species), *([str(tag.where)] if tag.where else [])]
        return f"{', '.join(said)}, from {cards.photo(merge.here, tag.first_photo).file}"

    return named
