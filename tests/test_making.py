"""The copies that a running page makes: what is looked at first, paused, and ended with it."""

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from builders import write_burst
from pages import opened, press, words
from test_cli import DAY
from test_previews import damage, slow, slow_card
from test_server import ask, free_port, started

from app import making
from app import previews as said
from core.errors import StudyError
from core.logs import LogKind
from core.previews import Made, Original, Stock
from core.workspace import NewTag, Workspace

__all__ = ["slow", "slow_card"]


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    """A study with two placements of four photos each: 1 to 4 are of P1, 5 to 8 of P2."""
    with Workspace.create(tmp_path / "study", "Africa/Johannesburg") as workspace:
        for placement in ("P1", "P2"):
            write_burst(tmp_path / placement, DAY, 4, first=10 * int(placement[1]))
            workspace.scan(tmp_path / placement, placement)
        yield workspace


def wait_for(what: Callable[[], bool], seconds: float = 30) -> None:
    """Wait until something holds; fail when it does not."""
    until = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.01)


class Scoring:
    """A scoring that goes on until it is ended, or is over at once."""

    def __init__(self, *, alive: bool) -> None:
        self.alive = alive

    def is_alive(self) -> bool:
        return self.alive

    def terminate(self) -> None:
        self.alive = False

    def join(self, timeout: float | None = None) -> None:
        assert not self.alive, timeout


class Steps:
    """Making as it is done, but one photo at a time, each let through by the test."""

    def __init__(self, study: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
        self.done: list[int | str] = []
        self.tried: list[int] = []
        self._may = threading.Semaphore(0)
        self._waits = threading.Event()
        self.fault: Exception | None = None
        self.study = study
        self._stock = study.previews.stock
        monkeypatch.setattr(study.previews, "stock", self.stock)
        monkeypatch.setattr(study.previews, "make", self.make)
        monkeypatch.setattr(making, "LOOK_S", 0.05)
        self.surveyed: list[str] = []
        self.surveys_take_long = False
        self.survey_job = Scoring(alive=False)
        self.maker = making.Maker(study, scoring=self.score, surveying=self.survey)

    def make(self, wanted: Iterable[Original], *, workers: int | None = None) -> Iterator[Made]:
        assert workers is None
        for original in wanted:
            self._waits.set()
            self._may.acquire()
            if self.fault:
                fault, self.fault = self.fault, None
                raise fault
            if original.path.is_file():
                self.done.append(original.id)
                yield Made(original, size=7)
            else:
                self.tried.append(original.id)
                yield Made(original, away="away")

    def stock(self, placement: str) -> Stock:
        found = self._stock(placement)
        left = tuple(one for one in found.missing if one.id not in self.done)
        return replace(found, missing=left)

    def score(self, folder: Path, placement: str) -> "Scoring":
        assert folder == self.study.folder
        self.done.append(placement)
        return Scoring(alive=False)

    def survey(self, folder: Path, first: str) -> "Scoring":
        assert folder == self.study.folder
        self.surveyed.append(first)
        self.survey_job = Scoring(alive=self.surveys_take_long)
        return self.survey_job

    def let(self, number: int) -> None:
        """Let so many photos through, and wait until the next one stands before the gate."""
        for _ in range(number):
            assert self._waits.wait(20)
            self._waits.clear()
            self._may.release()
        assert self._waits.wait(20)

    def let_all(self) -> None:
        for _ in range(1000):
            self._may.release()

    def made(self) -> list[int]:
        return [one for one in self.done if isinstance(one, int)]


@pytest.fixture
def steps(study: Workspace, monkeypatch: pytest.MonkeyPatch) -> Iterator[Steps]:
    made = Steps(study, monkeypatch)
    made.maker.start()
    yield made
    made.let_all()
    made.maker.stop()
    assert making.running() is None


# --- the order -----------------------------------------------------------------------------------


def test_one_placement_after_another(steps: Steps) -> None:
    """Unasked, the placements come in their order, and their photos by number."""
    steps.let_all()
    wait_for(lambda: len(steps.made()) == 8)
    assert steps.made() == [1, 2, 3, 4, 5, 6, 7, 8]


def test_what_is_wanted_comes_first_then_the_rest_of_its_placement(steps: Steps) -> None:
    """Who opens another placement sees its photos next; the first one goes on after it."""
    steps.let(1)
    steps.maker.want([7, 5])
    steps.let(2)  # one more of P1 was handed out before it was asked
    steps.let_all()
    wait_for(lambda: len(steps.made()) == 8)
    assert steps.made() == [1, 2, 7, 5, 6, 8, 3, 4]


def test_the_newest_wish_comes_first(steps: Steps) -> None:
    """Wishes inside one placement: the last that came, then those before it, then the rest."""
    steps.let(0)
    steps.maker.want([4])
    steps.maker.want([3, 999, 3])  # a number that nobody has is passed over
    steps.let_all()
    wait_for(lambda: len(steps.made()) == 8)
    assert steps.made() == [1, 3, 4, 2, 5, 6, 7, 8]


def test_a_wish_for_what_is_made_stops_nothing(steps: Steps) -> None:
    """Looking at a placement whose copies are all there does not hold up another one."""
    steps.let(5)
    assert steps.made() == [1, 2, 3, 4, 5]
    steps.maker.want([1, 2])
    steps.let(1)
    steps.maker.want([])
    steps.let_all()
    wait_for(lambda: len(steps.made()) == 8)
    assert steps.made() == [1, 2, 3, 4, 5, 6, 7, 8]


def test_photos_are_scored_before_and_after_their_copies_are_made(steps: Steps) -> None:
    """First by the small pictures in their headers, which are there at once, then by the copies."""
    steps.let(0)
    assert steps.done == ["P1"]
    steps.let_all()
    wait_for(lambda: len(steps.done) == 12)
    assert steps.done == ["P1", 1, 2, 3, 4, "P1", "P2", 5, 6, 7, 8, "P2"]


def test_scoring_is_ended_with_the_page_and_holds_up_no_copies(study: Workspace) -> None:
    """A placement of thousands of photos is scored for a while: beside the copies, till the end."""
    begun: list[Scoring] = []

    def score(_folder: Path, _placement: str) -> Scoring:
        begun.append(Scoring(alive=True))
        return begun[-1]

    maker = making.Maker(study, scoring=score, workers=1)
    maker.start()
    wait_for(lambda: maker.state().made == 8, 60)
    assert [one.alive for one in begun] == [True]
    maker.stop()
    assert [one.alive for one in begun] == [False]
    assert "copies" not in {thread.name for thread in threading.enumerate()}


def test_a_running_page_scores_its_photos_in_a_process_of_its_own(study: Workspace) -> None:
    """Nothing is stubbed: after a while every photo has a score, and no process is left."""
    maker = making.Maker(study)
    maker.start()
    photos = list(range(1, 9))
    wait_for(lambda: len(study.changes(photos)) == len(photos), 90)
    maker.stop()
    assert not multiprocessing.active_children()


def test_codes_are_looked_for_last_and_again_after_a_log_has_changed(steps: Steps) -> None:
    """Copies, scores, then codes; no more until a log changes, or somebody tags our own people."""
    steps.let_all()
    wait_for(lambda: len(steps.surveyed) == 1)
    assert len(steps.done) == 12
    time.sleep(0.3)
    assert steps.surveyed == [""]
    species = b"key,name,role\ng,Gerbil,forager\n"
    steps.study.load(LogKind.SPECIES, species, "species.csv")
    wait_for(lambda: len(steps.surveyed) == 2)
    steps.study.tag(NewTag("P1", 1, 1, "ann", "blank"))
    time.sleep(0.3)
    assert len(steps.surveyed) == 2
    steps.study.tag(NewTag("P1", 2, 2, "ann", "handler"))
    wait_for(lambda: len(steps.surveyed) == 3)


def test_the_placement_that_is_asked_for_is_looked_at_first(steps: Steps) -> None:
    """Who presses the button waits for nobody else's photos, even where all was over."""
    steps.let_all()
    wait_for(lambda: steps.surveyed == [""])
    steps.maker.look_for_codes("P2")
    wait_for(lambda: steps.surveyed == ["", "P2"])


def test_codes_wait_for_copies_and_for_a_pause(steps: Steps, tmp_path: Path) -> None:
    """A new card: the survey ends at once and is begun again after; paused, it ends too."""
    steps.surveys_take_long = True
    steps.let_all()
    wait_for(steps.maker.looks_for_codes)
    first = steps.survey_job
    write_burst(tmp_path / "P3", DAY, 2, first=90)
    steps.study.scan(tmp_path / "P3", "P3")
    wait_for(lambda: not first.alive)
    wait_for(lambda: 10 in steps.done and steps.survey_job is not first)
    second = steps.survey_job
    assert second.alive
    steps.maker.pause()
    wait_for(lambda: not second.alive)
    time.sleep(0.3)
    assert steps.survey_job is second
    steps.maker.go_on()
    wait_for(lambda: steps.survey_job is not second)
    steps.maker.stop()
    assert not steps.survey_job.alive


def test_a_running_page_looks_for_codes_in_a_process_of_its_own(study: Workspace) -> None:
    """Nothing is stubbed: after a while every photo that is due was looked at."""
    maker = making.Maker(study)
    maker.start()
    wait_for(lambda: study.codes.state("P1").left == 0, 120)
    maker.stop()
    assert study.codes.state("P1").looked_at > 0
    assert not multiprocessing.active_children()


def test_a_new_card_is_met_without_being_told(steps: Steps, tmp_path: Path) -> None:
    """A scan of the page, or of a command beside it, is noticed; what is made is not made again."""
    steps.let_all()
    wait_for(lambda: len(steps.done) == 12)
    write_burst(tmp_path / "P3", DAY, 2, first=90)
    before = steps.maker.state().total
    steps.study.scan(tmp_path / "P3", "P3")
    wait_for(lambda: len(steps.done) == 16)
    assert steps.done[12:] == ["P3", 9, 10, "P3"]
    assert (before, steps.maker.state().total) == (8, 10)


# --- pausing and ending --------------------------------------------------------------------------


def test_it_is_paused_and_goes_on(steps: Steps) -> None:
    """Paused, the photo in work is the last; then it goes on where it was."""
    steps.let(1)
    steps.maker.pause()
    steps.let_all()
    wait_for(lambda: steps.made() == [1, 2])
    time.sleep(0.3)
    state = steps.maker.state()
    assert (state.paused, state.fault, state.placement, state.per_second) == (True, "", "", 0.0)
    assert steps.made() == [1, 2]
    assert "Paused: only what is looked at is made." in said.now(state)
    steps.maker.go_on()
    wait_for(lambda: len(steps.made()) == 8)
    assert steps.made() == [1, 2, 3, 4, 5, 6, 7, 8]
    assert steps.maker.state().paused is False


def test_a_full_disk_pauses_it_with_words(steps: Steps) -> None:
    """What a person can put right is said, and it goes on when they say so."""
    steps.let(1)
    steps.fault = StudyError("No room. Make some.")
    steps.let_all()
    wait_for(lambda: steps.maker.state().paused)
    assert steps.maker.state().fault == "No room. Make some."
    steps.maker.go_on()
    wait_for(lambda: len(steps.made()) == 8)
    assert (steps.maker.state().fault, steps.made()) == ("", [1, 2, 3, 4, 5, 6, 7, 8])


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_of_the_program_is_said_too(steps: Steps) -> None:
    """The thread ends with its traceback, and the page does not claim to go on."""
    steps.let(0)
    steps.fault = RuntimeError("a bug")
    steps.let_all()
    wait_for(lambda: "fault" in steps.maker.state().fault)
    assert steps.maker.state().paused is True


def test_a_card_pulled_out_is_left_alone_until_it_is_back(steps: Steps, tmp_path: Path) -> None:
    """Its photos count as away; the other placement goes on; put back, its turn comes."""
    steps.let(1)
    (tmp_path / "P1").rename(tmp_path / "pulled")
    steps.let_all()
    wait_for(lambda: steps.made() == [1, 5, 6, 7, 8])
    time.sleep(0.3)
    assert len(steps.tried) <= 3  # and they are not tried again and again
    assert steps.maker.state().away >= 3
    (tmp_path / "pulled").rename(tmp_path / "P1")
    wait_for(lambda: steps.made() == [1, 5, 6, 7, 8, 2, 3, 4])


def test_ended_it_leaves_nothing_behind(steps: Steps) -> None:
    """Stopping waits for the photo in work and makes no more."""
    steps.let(1)
    stopping = threading.Thread(target=steps.maker.stop)
    stopping.start()
    time.sleep(0.1)
    steps.let_all()
    stopping.join(20)
    assert not stopping.is_alive()
    assert steps.made() == [1, 2]


# --- for real ------------------------------------------------------------------------------------


def test_it_makes_and_counts_and_deletes(study: Workspace, tmp_path: Path) -> None:
    """All copies are there and counted, damaged photos too; deleted, it pauses with none."""
    damage(tmp_path / "P2" / "IMG_0021.JPG")
    study.scan(tmp_path / "P2", "P2")
    maker = making.Maker(study, workers=1)
    maker.start()
    try:
        assert making.running() is maker
        wait_for(lambda: maker.state().made == 7)
        wait_for(lambda: maker.state().placement == "")
        state = maker.state()
        assert (state.total, state.damaged, state.away, state.left) == (8, 1, 0, 0)
        assert state.size == study.previews.size() > 0
        assert sum(study.previews.stock(name).made for name in ("P1", "P2")) == 7
        assert "7 of 8 photos have their previews; 1 are damaged" in said.now(state)
        maker.clear()
        wait_for(lambda: maker.state().size == 0)
        state = maker.state()
        assert (state.paused, state.made, state.left) == (True, 0, 7)
        assert list(study.previews.folder.iterdir()) == []
    finally:
        maker.stop()
    assert multiprocessing.active_children() == []


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT to send to one process")
@pytest.mark.parametrize("kind", ["SIGINT", "SIGTERM", "SIGKILL"])
def test_the_page_makes_them_and_ends_cleanly(slow: Workspace, kind: str) -> None:
    """While copies are made the page answers; ended in mid-work it leaves no process behind."""
    port = free_port()
    process = started(slow.folder, port)
    try:
        wait_for(lambda: len(list(slow.previews.folder.rglob("*.jpg"))) >= 4)
        assert ask(port, "/_stcore/health").status == 200
        assert ask(port, f"/photo/review/{slow.previews.stock('P1').missing[-1].id}").status == 200
    finally:
        process.send_signal(getattr(signal, kind))
    # The pipes end when the last process that could write to them has ended.
    _, err = process.communicate(timeout=30)
    assert "Traceback" not in err
    if kind != "SIGKILL":
        assert process.returncode in {0, -signal.SIGTERM}  # the server ends, then hears it again
        assert "leaked" not in err


# --- in words and on the page --------------------------------------------------------------------


def state(**values: object) -> making.State:
    dull: dict[str, object] = {
        "total": 1000, "made": 250, "damaged": 0, "away": 0, "size": 26_000_000,
        "per_second": 25.0, "placement": "P1", "paused": False, "fault": "",
    }  # fmt: skip
    return making.State(**(dull | values))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        pytest.param(
            {},
            "250 of 1000 photos have their previews. They take 26.0 MB. "
            "Now those of P1, 25 a second, less than a minute left.",  # 750 / 25 = 30 s
            id="at work",
        ),
        pytest.param(
            {"total": 9000, "per_second": 25.0, "size": 1_240_000_000},
            "250 of 9000 photos have their previews. They take 1.2 GB. "
            "Now those of P1, 25 a second, about 6 min left.",  # 8750 / 25 = 350 s
            id="for long",
        ),
        pytest.param(
            {"per_second": 0.0},
            "250 of 1000 photos have their previews. They take 26.0 MB. Now those of P1.",
            id="just begun",
        ),
        pytest.param(
            {"made": 990, "damaged": 3, "away": 7, "placement": ""},
            "990 of 1000 photos have their previews; 3 are damaged and listed with the files at "
            "fault; 7 are not at hand: put the card in to go on. They take 26.0 MB.",
            id="done but for",
        ),
    ],
)
def test_the_state_in_words(values: dict[str, object], expected: str) -> None:
    """What is there, what is not and why, how much room it takes, how long it goes on."""
    assert said.now(state(**values)) == expected


def test_what_could_not_be_read_is_told_with_one_example() -> None:
    """Five hundred photos of a pulled card would fill the terminal."""
    assert said.made(1, []) == "Made the previews of 1 photo."
    told = said.made(3, ["a.jpg cannot be read.", "b.jpg cannot be read."])
    assert told == (
        "Made the previews of 3 photos. 2 could not be read. The first: a.jpg cannot be read."
    )


def test_the_cards_page_shows_how_far_it_has_come(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside the cards stand the state, a bar, and a button that pauses and goes on."""
    assert "Previews" not in words(opened("cards"))  # nothing is made without a server
    maker = making.Maker(demo)
    maker._look()
    monkeypatch.setattr(making, "_running", [maker])
    at = opened("cards")
    assert "0 of 134 photos have their previews. They take 0.0 MB." in words(at)
    at = press(at, "previews-pause")
    assert maker.state().paused
    assert "Paused: only what is looked at is made." in words(at)
    at = press(at, "previews-go-on")
    assert not maker.state().paused
    assert at.button(key="previews-delete").disabled
    at.checkbox(key="previews-sure-0").check().run()
    at = press(at, "previews-delete")
    assert maker.state().paused
    assert at.button(key="previews-delete").disabled  # asked anew each time


def test_where_nothing_is_left_to_make_nothing_is_paused(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All previews made, the page offers no pause; it says why some are missing."""
    done = state(made=1000, size=0)
    monkeypatch.setattr(making.Maker, "state", lambda _: done)
    monkeypatch.setattr(making, "_running", [making.Maker(demo)])
    assert "previews-pause" not in {one.key for one in opened("cards").button}
    broken = state(made=990, fault="No room. Make some.", paused=True)
    monkeypatch.setattr(making.Maker, "state", lambda _: broken)
    at = opened("cards")
    assert "No room. Make some." in words(at)
    assert "previews-go-on" in {one.key for one in at.button}
