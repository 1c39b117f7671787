"""Decide how a placement's photos are surveyed for codes over time, and what a person's word does.

What a code says and what codes lead to is decided in `codes`; here it is kept, accepted, undone.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
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
from core.settings import Settings
from core.sheets.times import local_text
from core.store import Database, Raises, base_version
from core.store import codes as store
from core.store import logs as log_store
from core.store import tags as tag_store
from core.store.codes import Decision, Read, Text
from core.taglog import NewTag, tag_of
from core.views import PlacementView

if TYPE_CHECKING:
    from core.codes import (
        ClockProposal,
        Contradiction,
        EdgeProposal,
        HandlerProposal,
        Proposals,
        TrayProposal,
    )

    Proposal = ClockProposal | TrayProposal | EdgeProposal | HandlerProposal

Progress = Callable[[int, int], None]
LOT = 8
"""Photos that are written down together; a photo takes about half a second."""
TO_THE_MINUTE = timedelta(minutes=1)
"""Logs are written to the minute: an edge that is nearer is the same (ours)."""
SAME_CHECK = timedelta(seconds=3)
"""A clock check that is there already and differs by no more says the same (ours)."""


@dataclass(frozen=True, slots=True)
class CodeState:
    """How far the survey of a placement has come."""

    looked_at: int
    left: int
    away: int
    """Photos whose original was not at hand, or damaged; they are looked at again."""
    with_codes: int


@dataclass(frozen=True, slots=True)
class Open:
    """A proposal that waits for a person."""

    placement: str
    key: str
    """Stays the same while the proposal does."""
    proposal: "Proposal"
    photo: int
    """The photo that shows the code."""
    corners: tuple[tuple[float, float], ...]
    """Of the code in it, in picture widths; empty where it is not known."""
    words: str
    """What accepting it would do."""
    now: str
    """What the logs say now."""


@dataclass(frozen=True, slots=True)
class _Change:
    """What accepting a proposal does: cells before and after."""

    before: Mapping[str, str | None]
    after: Mapping[str, str | None]


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

    # --- looking ---------------------------------------------------------------------------

    def state(self, placement: str) -> CodeState:
        """Say how far the survey of a placement has come."""
        chosen, read = self._chosen(self._view(placement))
        done = [read[photo] for photo in chosen if photo in read]
        return CodeState(
            looked_at=sum(not one.unreadable for one in done),
            left=len(chosen) - len(done),
            away=sum(one.unreadable for one in done),
            with_codes=sum(bool(one.found) for one in done),
        )

    def mark(self) -> int:
        """Give a number that changes when other photos may have to be looked at."""
        with self._database.read() as connection:
            return base_version(connection)

    def survey(
        self, placement: str, progress: Progress | None = None, *, again: bool = False
    ) -> int:
        """Look at the photos that were not looked at yet; gives how many were.

        What was seen is kept a few photos at a time, so that it can be stopped and goes on.
        `again` looks once more at those whose original was not at hand.
        """
        from core import codes  # noqa: PLC0415  (OpenCV is slow to start)

        chosen, read = self._chosen(self._view(placement))
        due = [at for at in chosen if at not in read or (again and read[at].unreadable)]
        held: list[Read] = []
        for done, photo in enumerate(due, start=1):
            held.append(self._look(photo))
            if len(held) == LOT or done == len(due):
                with self._database.begin(Raises.NOTHING) as connection:
                    store.put_read(connection, held, codes.METHOD)
                held = []
            if progress is not None:
                progress(done, len(due))
        return len(due)

    def _look(self, photo: int) -> Read:
        from core import codes  # noqa: PLC0415

        try:
            reading = codes.read_photo(self._original(photo))
        except CardError:
            return Read(photo, unreadable=True)
        found = tuple(Text(one.text, one.corners, one.how) for one in reading.found)
        return Read(photo, found, reading.hurried)

    def _chosen(self, view: PlacementView) -> tuple[list[int], dict[int, Read]]:
        """Give the photos to look at, and what was seen in those looked at before."""
        from core import codes  # noqa: PLC0415

        photos = _photos(view)
        with self._database.read() as connection:
            trays = log_store.tray_deployments(connection)
            read = store.read(connection, view.placement.placement, codes.METHOD)
        windows = [
            (one.set_out, one.picked_up)
            for one in trays
            if not view.placement.trays or one.tray in view.placement.trays
        ]
        return codes.photos_to_look_at(photos, windows, _handler_runs(photos)), read

    # --- proposing -------------------------------------------------------------------------

    def proposals(self, placement: str) -> "Proposals":
        """Work out what all codes seen so far lead to, by the logs as they are now."""
        return self._proposals(self._view(placement))[0]

    def open(self, placement: str) -> list[Open]:
        """List the proposals that nobody has decided and that would change something."""
        view = self._view(placement)
        made, read = self._proposals(view)
        with self._database.read() as connection:
            decided = {
                one.proposal
                for one in store.decisions(connection, placement)
                if one.taken_back is None
            }
            checks = log_store.clock_checks(connection)
        listed = [
            *self._open_clocks(made.clocks, [c for c in checks if c.placement == placement]),
            *self._open_trays(made.trays, view),
            *self._open_edges(made.edges),
            *self._open_handlers(made.handlers, view),
        ]
        return [
            replace(one, placement=placement, corners=_corners(read.get(one.photo), one.proposal))
            for one in listed
            if one.key not in decided
        ]

    def contradictions(self, placement: str) -> "tuple[Contradiction, ...]":
        """List what codes and logs say that cannot all be right."""
        return self.proposals(placement).contradictions

    def _proposals(self, view: PlacementView) -> "tuple[Proposals, dict[int, Read]]":
        from core import codes  # noqa: PLC0415

        name = view.placement.placement
        with self._database.read() as connection:
            read = store.read(connection, name, codes.METHOD)
            trays = log_store.tray_deployments(connection)
        said = {
            photo: [code for text in one.found if (code := codes.code_of(text.text)) is not None]
            for photo, one in read.items()
            if one.found
        }
        made = codes.proposals(view.placement, _photos(view), said, trays, self._settings.gap)
        return made, read

    def _open_clocks(
        self, made: "Sequence[ClockProposal]", checks: Sequence[ClockCheck]
    ) -> Iterator[Open]:
        zone = self._settings.timezone
        for one in made:
            same = [
                check
                for check in checks
                if check.camera_showed is not None
                and check.true_time is not None
                and abs(check.camera_showed - one.camera_showed) <= SAME_CHECK
            ]
            if any(abs(_true(check) - one.true_time) <= SAME_CHECK for check in same):
                continue
            words = (
                f"A clock check: the camera showed {one.camera_showed} at "
                f"{local_text(one.true_time, zone)}, by the code in {one.file}"
                + (f" and {one.photos - 1} more photos" if one.photos > 1 else "")
            )
            now = f"{len(checks)} clock checks of this placement"
            yield Open("", f"clock {one.photo}", one, one.photo, (), words, now)

    def _open_trays(self, made: "Sequence[TrayProposal]", view: PlacementView) -> Iterator[Open]:
        for one in made:
            if one.listed:
                continue
            words = (
                f"The camera watches tray {one.tray}, whose card (deployment {one.deployment}) "
                "it saw"
            )
            now = f"trays in the camera log: {', '.join(view.placement.trays) or 'none'}"
            yield Open("", f"tray {one.tray}", one, one.photo, (), words, now)

    def _open_edges(self, made: "Sequence[EdgeProposal]") -> Iterator[Open]:
        zone = self._settings.timezone
        for one in made:
            if one.logged is not None and abs(one.logged - one.at) < TO_THE_MINUTE:
                continue
            edge = "set out" if one.edge.value == "set_out" else "picked up"
            by = "a clock code of the same stay" if one.by_code else "the camera's clock"
            words = f"Deployment {one.deployment} was {edge} at {local_text(one.at, zone)}, by {by}"
            logged = local_text(one.logged, zone) or "blank"
            key = f"{one.edge.value} {one.deployment} {one.photo}"
            yield Open("", key, one, one.photo, (), words, f"the tray log says {logged}")

    def _open_handlers(
        self, made: "Sequence[HandlerProposal]", view: PlacementView
    ) -> Iterator[Open]:
        place = {photo.id: at for at, photo in enumerate(view.ordered)}
        for one in made:
            first, last = place.get(one.first_photo), place.get(one.last_photo)
            if first is None or last is None:
                continue
            run = view.ordered[first : last + 1]
            if all(photo.kind is PhotoKind.HANDLER for photo in run):
                continue
            many = "1 photo" if len(run) == 1 else f"{len(run)} photos"
            words = f"{many} of our own people, {run[0].file} to {run[-1].file}: handler"
            tagged = [
                visit.answer.state
                for visit in view.visits
                if {photo.id for photo in visit.visit.photos} & {photo.id for photo in run}
            ]
            now = "tagged already" if _tagged(tagged) else "not tagged"
            key = f"handler {one.first_photo} {one.last_photo}"
            yield Open("", key, one, one.first_photo, (), words, now)

    # --- deciding --------------------------------------------------------------------------

    def accept(self, one: Open, by: str) -> int:
        """Do what a proposal says and keep who accepted it and when; gives the decision's number.

        All or nothing. Where it contradicts a log, ClockError, LogError or StudyError in words.
        """
        who = _named(by)
        with self._database.begin() as connection:
            change = self._apply(connection, one, who)
            decision = Decision(
                one.placement, one.key, True, one.words, change.before, change.after, who,
                datetime.now(UTC),
            )  # fmt: skip
            return store.add_decision(connection, decision)

    def refuse(self, one: Open, by: str) -> int:
        """Keep that a proposal is not so: it is not made again; gives the decision's number."""
        decision = Decision(
            one.placement, one.key, False, one.words, by=_named(by), made_at=datetime.now(UTC)
        )
        with self._database.begin() as connection:
            return store.add_decision(connection, decision)

    def take_back(self, number: int, by: str) -> None:
        """Undo a decision: what it changed stands as before.

        StudyError, and nothing undone, where somebody has changed the same cells since.
        """
        who = _named(by)
        with self._database.begin() as connection:
            now = datetime.now(UTC)
            one = store.take_back(connection, number, now, who)
            if one.accepted:
                self._undo(connection, one, now, who)

    def history(self, placement: str | None = None) -> list[Decision]:
        """List what people decided, as made; taken back ones too."""
        with self._database.read() as connection:
            return store.decisions(connection, placement)

    def _apply(self, connection: Connection, one: Open, by: str) -> _Change:
        from core import codes  # noqa: PLC0415

        match one.proposal:
            case codes.ClockProposal():
                check = one.proposal.as_check()
                self._clocks.add_check_in(connection, check)
                return _Change({}, _check_cells(check))
            case codes.TrayProposal(tray=tray):
                place = _logged(connection, one.placement)
                trays = (*place.trays, tray)
                log_store.put_placements(connection, [replace(place, trays=trays)])
                return _Change({"trays": ";".join(place.trays)}, {"trays": ";".join(trays)})
            case codes.EdgeProposal(deployment=name, edge=edge, at=at):
                row, cell = _tray(connection, name), edge.value
                new = _with_edge(row, cell, at)
                _refuse_backwards(new)
                log_store.put_tray_deployments(connection, [new])
                before = {"deployment": name, cell: _iso(getattr(row, cell))}
                return _Change(before, {"deployment": name, cell: _iso(at)})
            case codes.HandlerProposal(first_photo=first, last_photo=last):
                new_tag = NewTag(one.placement, first, last, by, HANDLER)
                [number] = tag_store.add_tags(connection, [tag_of(new_tag, "codes")], [None])
                return _Change({}, {"tag": str(number)})

    def _undo(self, connection: Connection, one: Decision, now: datetime, by: str) -> None:
        after, before = one.after, one.before
        if "tag" in after:
            tag_store.turn(connection, [int(after["tag"] or 0)], now, by, taken_back=True)
        elif "camera_showed" in after:
            own = [
                check
                for check in log_store.clock_checks(connection)
                if check.placement == one.placement and _check_cells(check) == after
            ]
            if not own:
                raise _changed_since("the clock check", one)
            log_store.remove_clock_check(connection, one.placement, own[0].camera_showed)
        elif "trays" in after:
            place = _logged(connection, one.placement)
            if ";".join(place.trays) != after["trays"]:
                raise _changed_since("the trays of the placement", one)
            old = tuple(filter(None, (before["trays"] or "").split(";")))
            log_store.put_placements(connection, [replace(place, trays=old)])
        else:
            [cell] = [name for name in after if name != "deployment"]
            tray = _tray(connection, after["deployment"] or "")
            if _iso(getattr(tray, cell)) != after[cell]:
                raise _changed_since(f"{cell} of {tray.deployment}", one)
            text = before[cell]
            moment = datetime.fromisoformat(text) if text else None
            log_store.put_tray_deployments(connection, [_with_edge(tray, cell, moment)])

    def findings(self, placement: str) -> list[Finding]:
        """Word the contradictions, and how many proposals wait."""
        thing = f"placement {placement}"
        with self._database.read() as connection:
            from core import codes  # noqa: PLC0415

            if not any(
                one.found for one in store.read(connection, placement, codes.METHOD).values()
            ):
                return []
        found = [Finding(thing, one.message) for one in self.contradictions(placement)]
        waiting = self.open(placement)
        if waiting:
            many = "1 proposal" if len(waiting) == 1 else f"{len(waiting)} proposals"
            words = (
                f"{many} from codes in its photos: {waiting[0].words}"
                f"{' and more' if waiting[1:] else ''}. Accept or refuse on the Clocks page."
            )
            found.append(Finding(thing, words, serious=False))
        return found


def _photos(view: PlacementView) -> list[Photo]:
    return [*view.ordered, *(photo for photo in view.untimed if photo.copy_of is None)]


def _handler_runs(photos: Sequence[Photo]) -> list[tuple[int, int]]:
    runs: list[tuple[int, int]] = []
    before = False
    for photo in photos:
        handler = photo.kind is PhotoKind.HANDLER
        if handler:
            runs[-1:] = [(runs[-1][0], photo.id)] if before else [*runs[-1:], (photo.id, photo.id)]
        before = handler
    return runs


def _corners(read: Read | None, proposal: "Proposal") -> tuple[tuple[float, float], ...]:
    """Give where the code of a proposal stands in its photo."""
    from core import codes  # noqa: PLC0415

    clock = isinstance(proposal, codes.ClockProposal)
    for text in read.found if read else ():
        code = codes.code_of(text.text)
        if isinstance(code, codes.ClockCode) is clock and code is not None:
            return text.corners
    return read.found[0].corners if read and read.found else ()


def _tagged(states: Sequence[VisitState]) -> bool:
    return any(state is not VisitState.UNTAGGED for state in states)


def _true(check: ClockCheck) -> datetime:
    assert check.true_time is not None
    return check.true_time


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
    if cell == "set_out":
        return replace(tray, set_out=moment)
    return replace(tray, picked_up=moment)


def _refuse_backwards(tray: TrayDeployment) -> None:
    if tray.set_out and tray.picked_up and tray.set_out >= tray.picked_up:
        raise StudyError(
            f"Deployment {tray.deployment!r} would be picked up before it was set out. Decide the "
            "other edge first, or mend the tray log."
        )


def _changed_since(what: str, one: Decision) -> StudyError:
    return StudyError(
        f"Not taken back: {what} was changed since {one.by} accepted this. Put it right in the log."
    )


def _named(by: str) -> str:
    who = " ".join(by.split())
    if not who:
        raise StudyError("Nobody is named. Say who decides this first.")
    return who
