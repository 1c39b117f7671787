"""Decide which copies a running page makes next, in the background: what is looked at comes first.

How copies are made, and where they are, is decided in `core/previews.py`.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from core import codes
from core.errors import LastbiteError
from core.previews import Made, Original, Stock
from core.workers import background
from core.workspace import Workspace

LOOK_S = 2.0
"""How often it is looked for new photos, and for cards put in or taken out. [s]"""
_STOP_S = 20.0  # the longest that an ending page waits for the photos in work
_RATE_PHOTOS, _RATE_S = 60, 5.0  # over how many photos the speed is told, and until when


@dataclass(frozen=True, slots=True)
class State:
    """How far the copies of a study have come."""

    total: int
    """Photos that count."""
    made: int
    damaged: int
    """Photos that can have no copy."""
    away: int
    """Photos that have none and whose originals are not at hand, or cannot be read."""
    size: int
    """Room that the copies take. [bytes]"""
    per_second: float
    """Photos a second of late; 0 while none is made."""
    placement: str
    """Whose copies are made now; empty: nobody's."""
    paused: bool
    fault: str
    """Why it paused by itself, in words."""

    @property
    def left(self) -> int:
        """Count the photos whose copies can be made now."""
        return self.total - self.made - self.damaged - self.away


@dataclass(slots=True)
class _Progress:
    """What is known of one placement."""

    total: int
    made: int
    damaged: int
    away: int
    left: int


class Maker:
    """Makes the copies of a study while its page runs: one thread, and processes under it."""

    def __init__(
        self,
        workspace: Workspace,
        *,
        workers: int | None = None,
        scoring: "Callable[[Path, str], Job] | None" = None,
        surveying: "Callable[[Path, str], Job] | None" = None,
    ) -> None:
        self._workspace, self._previews = workspace, workspace.previews
        self._start_scoring = scoring or start_scoring
        self._start_survey = surveying or start_survey
        self._scoring: tuple[str, tuple[int, int], Job] | None = None
        self._surveying: tuple[tuple[object, object, int], Job] | None = None
        self._workers = workers
        self._lock = threading.Lock()
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._run, name="copies", daemon=True)
        self._stopping = self._paused = self._clearing = False
        self._seen: tuple[int, frozenset[str]] | None = None
        self._look_again = 0.0
        self._progress: dict[str, _Progress] = {}
        self._scored: dict[str, tuple[int, int]] = {}
        self._surveyed: object = None
        self._codes_of, self._asks = "", 0
        self._unread: set[int] = set()
        self._todo: dict[int, Original] = {}
        self._order: deque[int] = deque()
        self._wanted: deque[int] = deque()
        self._latest = 0
        self._asked = self._placement = self._fault = ""
        self._size = 0
        self._moments: deque[float] = deque(maxlen=_RATE_PHOTOS)

    # --- what may be asked, from any thread ----------------------------------------------------

    def start(self) -> None:
        """Begin, in the background; from now on `running` gives it."""
        _running.append(self)
        self._thread.start()

    def stop(self) -> None:
        """End with the photos that are in work; no process is left."""
        if self in _running:
            _running.remove(self)
        self._stopping = True
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(_STOP_S)

    def want(self, photos: Sequence[int]) -> None:
        """Put these photos first, in this order, then the rest of the first one's placement."""
        if photos:
            with self._lock:
                self._wanted = deque(dict.fromkeys([*photos, *self._wanted]))
                self._latest = photos[0]
            self._wake.set()

    def pause(self) -> None:
        """Make no more copies, but for those that are looked at, until `go_on`."""
        self._paused = True

    def go_on(self) -> None:
        """Make copies again."""
        self._paused, self._fault = False, ""
        self._wake.set()

    def clear(self) -> None:
        """Pause, and delete all copies."""
        self._paused = self._clearing = True
        self._wake.set()

    def state(self) -> State:
        """Say how far it has come."""
        with self._lock:
            known = list(self._progress.values())
            return State(
                total=sum(one.total for one in known),
                made=sum(one.made for one in known),
                damaged=sum(one.damaged for one in known),
                away=sum(one.away for one in known),
                size=self._size,
                per_second=self._rate(),
                placement=self._placement,
                paused=self._paused,
                fault=self._fault,
            )

    # --- what the thread does --------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while not self._stopping:
                self._wake.clear()
                if not self._turn():
                    self._wake.wait(LOOK_S)
        except Exception:
            if not self._stopping:  # else the study was closed under a photo in work
                self._paused, self._fault = True, "The program has a fault; the terminal shows it."
                raise
        finally:
            self._end_jobs()

    def _turn(self) -> bool:
        """Do the next piece of work; say whether there was any. What goes wrong is a pause."""
        try:
            if self._clearing:
                self._previews.clear()
                self._clearing, self._seen = False, None
            now = self._previews.mark()
            if now != self._seen:
                self._look()
                self._seen = now
            if self._paused:
                self._end_survey()
            return not self._paused and self._work()
        except LastbiteError as fault:
            self._paused, self._fault = True, str(fault)
            return False
        finally:
            self._placement = ""

    def _look(self) -> None:
        """Count what is there and what is missing, of every placement."""
        self._unread.clear()
        found = {name: _progress_of(self._previews.stock(name)) for name in self._names()}
        size = self._previews.size()
        with self._lock:
            self._progress, self._size = found, size

    def _names(self) -> Iterator[str]:
        for name in self._previews.placements():
            if not self._stopping:
                yield name

    def _work(self) -> bool:
        self._tend()
        placement = self._next_placement()
        if not placement:
            return self._score_next()
        self._end_survey()  # it goes on once the copies are made
        self._placement = placement
        if self._scored.get(placement, (0, 0))[0] != self._progress[placement].total:
            self._score(placement)  # by the pictures in the headers, which are there at once
        missing = self._previews.stock(placement).missing
        with self._lock:
            self._todo = {one.id: one for one in missing if one.id not in self._unread}
            self._order = deque(self._todo)
            self._progress[placement].left = len(self._todo)
        for made in self._previews.make(self._handed_out(placement), workers=self._workers):
            self._count(self._progress[placement], made)
        if not self._progress[placement].left:
            self._score(placement)
        return True

    def _next_placement(self) -> str:
        self._follow()
        left = [name for name, one in self._progress.items() if one.left]
        return self._asked if self._asked in left else next(iter(left), "")

    def _follow(self) -> None:
        """Look up whose photos were wanted last."""
        with self._lock:
            latest, self._latest = self._latest, 0
            known = latest in self._todo and self._placement
        if latest:
            self._asked = known or self._previews.placement_of(latest)

    def _handed_out(self, placement: str) -> Iterator[Original]:
        """Give one photo after another to be made; end where something else comes first."""
        self._look_again = time.monotonic() + LOOK_S
        while not self._interrupted(placement):
            with self._lock:
                one = self._first_wanted() or self._first_in_order()
            if one is None:
                return
            yield one

    def _first_wanted(self) -> Original | None:
        while self._wanted:
            one = self._todo.pop(self._wanted.popleft(), None)
            if one:
                return one
        return None

    def _first_in_order(self) -> Original | None:
        while self._order:
            one = self._todo.pop(self._order.popleft(), None)
            if one:
                return one
        return None

    def _interrupted(self, placement: str) -> bool:
        if self._stopping or self._paused:
            return True
        if self._latest:
            self._follow()
            other = self._progress.get(self._asked)
            if self._asked not in {"", placement} and (other is None or other.left):
                return True
        if time.monotonic() < self._look_again:
            return False
        self._look_again = time.monotonic() + LOOK_S
        return self._previews.mark() != self._seen

    def _count(self, progress: _Progress, made: Made) -> None:
        with self._lock:
            progress.left -= 1
            if made.away:
                self._unread.add(made.original.id)
                progress.away += 1
            elif made.fault:
                progress.damaged += 1
            else:
                progress.made += 1
                self._moments.append(time.monotonic())
            self._size += made.size
        if made.away and not Path(made.original.folder).is_dir():
            self._look_again = 0.0

    def _rate(self) -> float:
        steps = len(self._moments) - 1
        if steps < 1 or not self._placement or self._moments[-1] < time.monotonic() - _RATE_S:
            return 0.0
        return steps / max(self._moments[-1] - self._moments[0], 1e-6)

    # --- scores, worked out beside the copies ----------------------------------------------------

    def _score_next(self) -> bool:
        """Score the placements whose copies are made, one at a time; nobody waits for it."""
        for placement, one in self._progress.items():
            if self._scored.get(placement) != (one.total, one.made):
                self._score(placement)
                break
        else:
            self._survey_next()
        return False

    def _score(self, placement: str) -> None:
        """Begin to score a placement's photos in a process of its own, unless one is at it."""
        self._tend()
        if self._scoring is None and not self._stopping:
            one = self._progress[placement]
            job = self._start_scoring(self._workspace.folder, placement)
            self._scoring = (placement, (one.total, one.made), job)

    # --- codes, looked for once all else is done -------------------------------------------------

    def look_for_codes(self, placement: str) -> None:
        """Look for codes at this placement before the others, once all else is done."""
        self._codes_of, self._asks = placement, self._asks + 1
        self._wake.set()

    def looks_for_codes(self) -> bool:
        """Say whether codes are being looked for."""
        now = self._surveying
        return now is not None and now[1].is_alive()

    def _survey_next(self) -> None:
        """Look for codes in a process of its own; again after a log, card or handler changes."""
        at_hand = self._seen[1] if self._seen else frozenset()
        mark = (at_hand, self._workspace.codes.mark(), self._asks)
        if self._surveying and self._surveying[0][-1] != self._asks:
            self._end_survey()  # somebody waits for another placement
        if self._scoring or self._surveying or self._stopping or mark == self._surveyed:
            return
        job = self._start_survey(self._workspace.folder, self._codes_of)
        self._surveying, self._codes_of = (mark, job), ""

    def _end_survey(self) -> None:
        """End the looking for codes in mid-work; what was looked at is kept, the rest is due."""
        if self._surveying:
            _, job = self._surveying
            self._surveying = None
            job.terminate()
            job.join(_STOP_S)

    def _tend(self) -> None:
        """Note the jobs that are over; what failed is begun again after a change."""
        if self._scoring and not self._scoring[2].is_alive():
            placement, state, _ = self._scoring
            self._scored[placement], self._scoring = state, None
        if self._surveying and not self._surveying[1].is_alive():
            self._surveyed, self._surveying = self._surveying[0], None

    def _end_jobs(self) -> None:
        """End scoring and survey in mid-work: what was done is kept."""
        self._end_survey()
        if self._scoring:
            self._scoring[2].terminate()
            self._scoring[2].join(_STOP_S)


class Job(Protocol):
    """A process that works by itself."""

    def is_alive(self) -> bool:
        """Say whether it is still at it."""

    def terminate(self) -> None:
        """End it in mid-work."""

    def join(self, timeout: float | None = None) -> None:
        """Wait for its end. [s]"""


def start_scoring(folder: Path, placement: str) -> Job:
    """Begin to score a placement of the study in a folder, in the background."""
    return background(_score_placement, str(folder), placement)


def start_survey(folder: Path, first: str) -> Job:
    """Begin to look for codes in the study in a folder, in the background; at one placement first.

    One process for all placements: to start one costs more than to find that nothing is due.
    """
    return background(_survey, str(folder), first)


def _survey(folder: str, first: str) -> None:
    codes.use_one_core()
    with Workspace.open(Path(folder)) as workspace:
        for placement in sorted(workspace.previews.placements(), key=lambda one: one != first):
            workspace.codes.survey(placement)


def _score_placement(folder: str, placement: str) -> None:
    with Workspace.open(Path(folder)) as workspace:
        workspace.score(placement)


def running() -> Maker | None:
    """Give the maker of the page that runs in this process; None where none runs."""
    return _running[-1] if _running else None


_running: list[Maker] = []


def _progress_of(stock: Stock) -> _Progress:
    left = len(stock.missing)
    return _Progress(stock.total, stock.made, stock.damaged, stock.away, left)
