"""Decide how a placement's photos are surveyed for codes over time, and what a person's word does.

What codes say, lead to, and how that is put into words is decided in `codes`; here it is kept,
accepted and undone.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection

from core.clockbook import Clockbook
from core.errors import CardError, StudyError
from core.model import (
    HANDLER,
    ClockCheck,
    Finding,
    Photo,
    PhotoKind,
    Placement,
    TrayDeployment,
    VisitState,
)
from core.people import named
from core.settings import Settings
from core.store import Database, Raises, base_version, data_version
from core.store import codes as store
from core.store import logs as log_store
from core.store import tags as tag_store
from core.store.codes import Decision, Read, Text
from core.taglog import NewTag, tag_of
from core.views import PlacementView

if TYPE_CHECKING:
    from core.codes import Contradiction, Offer, Proposals, Settled

__all__ = ["CodeState", "Codebook", "Decision", "Waiting"]

Progress = Callable[[int, int], None]
"""Told how many photos are done, and of how many."""
Cells = Mapping[str, str | None]
ORIGIN = "Clocks page"
"""Said of a tag that was made by accepting a proposal."""
_NOT_NOW = (
    "This is not proposed any more: the logs or the photos have changed, or somebody has decided "
    "it. Look at the page again."
)


@dataclass(frozen=True, slots=True)
class CodeState:
    """How far the survey of a placement has come."""

    looked_at: int
    left: int
    """Photos that are due; those whose card is not at hand stay due."""
    damaged: int
    """Photos that cannot be opened; they are looked at again once their file has changed."""
    with_codes: int

    @property
    def due(self) -> int:
        """Count the photos that are looked at when all is done."""
        return self.looked_at + self.left + self.damaged


@dataclass(frozen=True, slots=True)
class Waiting:
    """What the codes of a placement ask of a person."""

    offers: tuple["Offer", ...] = ()
    contradictions: tuple["Contradiction", ...] = ()
    corners: Mapping[int, tuple[tuple[tuple[float, float], ...], ...]] | None = None
    """Of the codes in each photo that shows one, in picture widths."""

    def outlines(self, photo: int) -> tuple[tuple[tuple[float, float], ...], ...]:
        """Give where the codes stand in a photo."""
        return (self.corners or {}).get(photo, ())


class Codebook:
    """The codes that the photos of a study show, and what people made of them."""

    def __init__(
        self,
        database: Database,
        settings: Settings,
        view: Callable[[str], PlacementView],
        clocks: Clockbook,
        original: Callable[[int], Path],
    ) -> None:
        self._database = database
        self._settings = settings
        self._view = view
        self._clocks = clocks
        self._original = original
        self._marked: tuple[int, tuple[int, int]] | None = None
        self._due: dict[str, tuple[int, list[int]]] = {}
        self._known: dict[str, tuple[int, int, Waiting]] = {}

    # --- looking ---------------------------------------------------------------------------

    def state(self, placement: str) -> CodeState:
        """Say how far the survey of a placement has come."""
        chosen, read = self._chosen(placement)
        done = [read[photo] for photo in chosen if photo in read]
        damaged = sum(one.unreadable for one in done)
        return CodeState(
            looked_at=len(done) - damaged,
            left=len(chosen) - len(done),
            damaged=damaged,
            with_codes=sum(bool(one.found) for one in done),
        )

    def mark(self) -> tuple[int, int]:
        """Give what changes when other photos may be due: with logs, cards, and handler tags."""
        with self._database.read() as connection:
            version = data_version(connection)
            if self._marked is None or self._marked[0] != version:
                newest = store.newest_tag(connection, HANDLER)
                self._marked = (version, (base_version(connection), newest))
            return self._marked[1]

    def survey(self, placement: str, progress: Progress | None = None) -> int:
        """Look at the photos that are due; gives how many were looked at.

        What was seen is kept photo by photo, so that it may be ended at any moment, by Ctrl-C
        too, and goes on there. Photos whose card is not at hand stay due.
        """
        from core import codes  # noqa: PLC0415  (OpenCV is slow to start)

        chosen, read = self._chosen(placement)
        due = [photo for photo in chosen if photo not in read]
        looked_at = 0
        for done, photo in enumerate(due, start=1):
            seen = self._look(photo)
            if seen is not None:
                with self._database.begin(Raises.NOTHING) as connection:
                    store.put_read(connection, [seen], codes.METHOD)
                looked_at += 1
            if progress is not None:
                progress(done, len(due))
        return looked_at

    def _look(self, photo: int) -> Read | None:
        """Look at one photo; None where its card is not at hand."""
        from core import codes  # noqa: PLC0415

        try:
            path = self._original(photo)
        except CardError:
            return None
        try:
            reading = codes.read_photo(path)
        except CardError:
            return Read(photo, unreadable=True) if path.is_file() else None
        found = tuple(Text(one.text, one.corners, one.how) for one in reading.found)
        return Read(photo, found, reading.hurried)

    def _chosen(self, placement: str) -> tuple[list[int], dict[int, Read]]:
        """Give the photos to look at, and what was seen in those looked at before."""
        from core import codes  # noqa: PLC0415

        with self._database.read() as connection:
            version = data_version(connection)
            trays = log_store.tray_deployments(connection)
            read = store.read(connection, placement, codes.METHOD)
        due = self._due.get(placement)
        if due is None or due[0] != version:
            view = self._view(placement)
            own, photos = view.placement.trays, _photos(view)
            windows = [(t.set_out, t.picked_up) for t in trays if not own or t.tray in own]
            chosen = codes.photos_to_look_at(photos, windows, _handler_runs(photos))
            due = self._due[placement] = (version, chosen)
        return due[1], read

    # --- proposing -------------------------------------------------------------------------

    def proposals(self, placement: str) -> "Proposals":
        """Work out what all codes seen so far lead to, by the logs as they are now."""
        return self._made(self._view(placement))[0]

    def waiting(self, placement: str) -> Waiting:
        """Give what waits for a person: proposals that would change something, contradictions."""
        with self._database.read() as connection:
            mark = (data_version(connection), store.codes_seen(connection, placement))
        if mark[1] == 0:
            return Waiting()
        known = self._known.get(placement)
        if known is None or known[:2] != mark:
            known = self._known[placement] = (*mark, self._waiting(self._view(placement)))
        return known[2]

    def _waiting(self, view: PlacementView) -> Waiting:
        from core import codes  # noqa: PLC0415

        placement = view.placement.placement
        made, read = self._made(view)
        shown = {photo: one for photo, one in read.items() if one.found}
        with self._database.read() as connection:
            settled = self._settled(store.decisions(connection, placement), view)
            checks = log_store.clock_checks(connection)
        ground = codes.Ground(
            view.placement,
            {photo.id: photo for photo in _photos(view) if photo.id in shown},
            [one for one in checks if one.placement == placement],
            _said_of(view, shown),
            self._settings.timezone,
        )
        return Waiting(
            tuple(codes.offers(made, ground, settled)),
            tuple(codes.open_contradictions(made, settled)),
            {photo: tuple(one.corners for one in seen.found) for photo, seen in shown.items()},
        )

    def findings(self, placement: str) -> list[Finding]:
        """Word the contradictions, and how many proposals wait, for `check`."""
        now = self.waiting(placement)
        if not (now.offers or now.contradictions):
            return []
        from core import codes  # noqa: PLC0415

        return codes.findings(placement, now.offers, now.contradictions)

    def _made(self, view: PlacementView) -> "tuple[Proposals, dict[int, Read]]":
        from core import codes  # noqa: PLC0415

        with self._database.read() as connection:
            read = store.read(connection, view.placement.placement, codes.METHOD)
            trays = log_store.tray_deployments(connection)
        said = {
            photo: [code for text in one.found if (code := codes.code_of(text.text)) is not None]
            for photo, one in read.items()
            if one.found
        }
        if not said:
            return codes.Proposals(), read
        gap = self._settings.gap
        return codes.proposals(view.placement, _photos(view), said, trays, gap), read

    def _settled(self, decisions: Sequence[Decision], view: PlacementView) -> "Settled":
        from core import codes  # noqa: PLC0415

        stand = {tag.number for tag in view.tags if not tag.taken_back}
        valid = [one for one in decisions if one.taken_back is None]
        refused = [(one.proposal, one.after.get("at") or "") for one in valid if not one.accepted]
        tagged = [one.proposal for one in valid if stand & set(_tags_of(one))]
        return codes.in_force(refused, tagged)

    # --- deciding --------------------------------------------------------------------------

    def accept(self, offer: "Offer", by: str) -> int:
        """Do what a proposal says and keep who accepted it and when; gives the decision's number.

        All or nothing. StudyError where it is not proposed any more, as after somebody else's
        decision; ClockError where the clock log would contradict itself.
        """
        who = named(by, StudyError)
        now = {one.key: one.proposal for one in self.waiting(offer.placement).offers}
        if now.get(offer.key) != offer.proposal:
            raise StudyError(_NOT_NOW)
        with self._database.begin() as connection:
            before, after = self._apply(connection, offer, who)
            return store.add_decision(connection, _decision(offer, who, before, after))

    def refuse(self, offer: "Offer", by: str) -> int:
        """Keep that a proposal is not so: it is not made again; gives the decision's number."""
        from core import codes  # noqa: PLC0415

        refused = {"at": codes.time_of(offer.proposal)}
        decision = replace(_decision(offer, named(by, StudyError), {}, refused), accepted=False)
        with self._database.begin() as connection:
            return store.add_decision(connection, decision)

    def put_aside(self, placement: str, one: "Contradiction", by: str) -> int:
        """Keep that somebody looked at a contradiction and nothing is to be done about it."""
        from core import codes  # noqa: PLC0415

        key, now = codes.key_of(one), datetime.now(UTC)
        aside = Decision(placement, key, False, one.message, by=named(by, StudyError), made_at=now)
        with self._database.begin() as connection:
            return store.add_decision(connection, aside)

    def take_back(self, number: int, by: str) -> None:
        """Undo a decision: what it changed stands as before.

        StudyError, and nothing undone, where somebody has changed the same cells since.
        """
        who = named(by, StudyError)
        with self._database.begin() as connection:
            now = datetime.now(UTC)
            one = store.take_back(connection, number, now, who)
            if one.accepted:
                _undo(connection, one, now, who)

    def history(self, placement: str | None = None) -> list[Decision]:
        """List what people decided, as made; taken back ones too."""
        with self._database.read() as connection:
            return store.decisions(connection, placement)

    def _apply(self, connection: Connection, offer: "Offer", by: str) -> tuple[Cells, Cells]:
        """Do what a proposal says; gives the cells before and after."""
        from core import codes  # noqa: PLC0415

        match offer.proposal:
            case codes.ClockProposal() as one:
                check = one.as_check()
                if check in log_store.clock_checks(connection):
                    raise StudyError(_NOT_NOW)
                self._clocks.add_check_in(connection, check)
                return {}, _check_cells(check)
            case codes.TrayProposal(tray=tray):
                place = _logged(connection, offer.placement)
                if tray in place.trays:
                    raise StudyError(_NOT_NOW)
                trays = (*place.trays, tray)
                log_store.put_placements(connection, [replace(place, trays=trays)])
                return {"trays": ";".join(place.trays)}, {"tray": tray, "trays": ";".join(trays)}
            case codes.EdgeProposal(deployment=name, edge=edge, at=at, logged=logged):
                row, cell = _tray(connection, name), edge.value
                if getattr(row, cell) != logged:
                    raise StudyError(_NOT_NOW)
                log_store.put_tray_deployments(connection, [_with_edge(row, cell, at)])
                before = {"deployment": name, cell: _iso(logged)}
                return before, {"deployment": name, cell: _iso(at)}
            case codes.HandlerProposal(runs=runs):
                _refuse_accepted(connection, offer)
                new = [NewTag(offer.placement, *run, by, HANDLER) for run in runs]
                tags = [tag_of(one, ORIGIN) for one in new]
                numbers = tag_store.add_tags(connection, tags, [None] * len(tags))
                return {}, {"tags": ";".join(map(str, numbers))}


def _decision(offer: "Offer", by: str, before: Cells, after: Cells) -> Decision:
    now = datetime.now(UTC)
    return Decision(offer.placement, offer.key, True, offer.words, before, after, by, now)


# --- undoing -----------------------------------------------------------------------------------


def _undo(connection: Connection, one: Decision, now: datetime, by: str) -> None:
    """Put back what an accepted proposal changed, unless somebody has changed it since."""
    if "tags" in one.after:
        _undo_tags(connection, one, now, by)
    elif "camera_showed" in one.after:
        _undo_check(connection, one)
    elif "trays" in one.after:
        _undo_tray(connection, one)
    else:
        _undo_edge(connection, one)


def _undo_tags(connection: Connection, one: Decision, now: datetime, by: str) -> None:
    numbers = _tags_of(one)
    if set(numbers) - set(store.standing_tags(connection, numbers)):
        raise _changed_since("the tag", one, "It is undone or restored on the Tag page.")
    tag_store.turn(connection, numbers, now, by, taken_back=True)


def _undo_check(connection: Connection, one: Decision) -> None:
    for check in log_store.clock_checks(connection):
        if check.placement == one.placement and _check_cells(check) == one.after:
            log_store.remove_clock_check(connection, one.placement, check.camera_showed)
            return
    raise _changed_since("the clock check", one, "Put it right in the clock log.")


def _undo_tray(connection: Connection, one: Decision) -> None:
    place, tray = _logged(connection, one.placement), one.after["tray"]
    if tray not in place.trays:
        raise _changed_since("the trays of the placement", one, "Put them right in the camera log.")
    left = tuple(other for other in place.trays if other != tray)
    log_store.put_placements(connection, [replace(place, trays=left)])


def _undo_edge(connection: Connection, one: Decision) -> None:
    [cell] = [name for name in one.after if name != "deployment"]
    row = _tray(connection, one.after["deployment"] or "")
    if _iso(getattr(row, cell)) != one.after[cell]:
        what = f"{cell} of {row.deployment}"
        raise _changed_since(what, one, "Put it right in the tray log.")
    text = one.before[cell]
    moment = datetime.fromisoformat(text) if text else None
    log_store.put_tray_deployments(connection, [_with_edge(row, cell, moment)])


def _changed_since(what: str, one: Decision, way_out: str) -> StudyError:
    return StudyError(f"Not taken back: {what} was changed since {one.by} accepted this. {way_out}")


# --- rows --------------------------------------------------------------------------------------


def _photos(view: PlacementView) -> list[Photo]:
    return [*view.ordered, *(photo for photo in view.untimed if photo.copy_of is None)]


def _handler_runs(photos: Sequence[Photo]) -> list[tuple[int, int]]:
    grouped = groupby(photos, key=lambda photo: photo.kind is PhotoKind.HANDLER)
    runs = [list(run) for handler, run in grouped if handler]
    return [(run[0].id, run[-1].id) for run in runs]


def _said_of(view: PlacementView, shown: Mapping[int, object]) -> dict[int, str]:
    """Say by whom the visits of photos with codes are tagged, by photo."""
    said: dict[int, str] = {}
    for answered in view.visits:
        if answered.answer.state is VisitState.UNTAGGED:
            continue
        words = f"the visit has tags of {', '.join(answered.answer.taggers)}"
        said |= {photo.id: words for photo in answered.visit.photos if photo.id in shown}
    return said


def _tags_of(one: Decision) -> list[int]:
    return [int(number) for number in (one.after.get("tags") or "").split(";") if number]


def _check_cells(check: ClockCheck) -> dict[str, str | None]:
    showed = check.camera_showed.isoformat() if check.camera_showed else None
    return {"camera_showed": showed, "true_time": _iso(check.true_time), "photo": check.photo}


def _iso(moment: datetime | None) -> str | None:
    return moment.astimezone(UTC).isoformat() if moment is not None else None


def _logged(connection: Connection, placement: str) -> Placement:
    for one in log_store.placements(connection):
        if one.placement == placement:
            return one
    raise StudyError(
        f"Placement {placement!r} has no line in the camera log, so its trays cannot be written "
        "there. Add the line first."
    )


def _tray(connection: Connection, deployment: str) -> TrayDeployment:
    for one in log_store.tray_deployments(connection):
        if one.deployment == deployment:
            return one
    raise StudyError(
        f"Deployment {deployment!r} is no longer in the tray log. Open the page again."
    )


def _with_edge(tray: TrayDeployment, cell: str, moment: datetime | None) -> TrayDeployment:
    """Give a tray with another edge; StudyError where it would be picked up before it was out."""
    out, up = (moment, tray.picked_up) if cell == "set_out" else (tray.set_out, moment)
    if out is not None and up is not None and out >= up:
        raise StudyError(
            f"Deployment {tray.deployment!r} would be picked up before it was set out. Decide the "
            "other edge first, or mend the tray log."
        )
    return replace(tray, set_out=out, picked_up=up)


def _refuse_accepted(connection: Connection, offer: "Offer") -> None:
    """Refuse what somebody accepted a moment ago, and whose tags stand."""
    for one in store.decisions(connection, offer.placement):
        if one.proposal == offer.key and one.taken_back is None:
            numbers = _tags_of(one)
            if numbers and store.standing_tags(connection, numbers):
                raise StudyError(_NOT_NOW)
