"""A small class on one served study: it is killed while they tag, and opened by many at once."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from benchmarks.bench_class import make, open_at_once, run
from stores import KINDS, POSTGRESQL, empty_schema
from test_server import ask, free_port

from app import server, session

WATCHED = """
import gc, threading, time
from streamlit.navigation.page import Page
from app import session
from app.cli import main
session.LONGEST_WAIT_S = 60  # however busy the computer is
lock, run, seen = threading.Lock(), Page.run, {"now": 0, "most": 0, "all": 0, "gc": 0}
def drawn(page):
    if page.title == "Lastbite":  # the bare address, which leads on
        return run(page)
    with lock:
        seen["now"] += 1
        seen["all"] += 1
        seen["most"] = max(seen["most"], seen["now"])
    time.sleep(0.05)
    try:
        run(page)
    finally:
        with lock:
            seen["now"] -= 1
def searched(phase, found):
    seen["gc"] += seen["all"] > 0 and phase == "start" and found["generation"] == 2
Page.run = drawn
gc.callbacks.append(searched)
main()
print(seen["all"], seen["most"], seen["gc"])
"""


@pytest.mark.skipif(os.name != "posix", reason="a server is killed the POSIX way")
@pytest.mark.parametrize("kind", KINDS)
def test_no_tag_is_lost_doubled_or_on_another_visit(kind: str, tmp_path: Path) -> None:
    """Every tag that was answered is there once, though some were sent again after the kill."""
    if kind == POSTGRESQL:
        with empty_schema() as address:
            check(make(tmp_path, address))
    else:
        check(make(tmp_path))


def check(study: Path) -> None:
    """Six taggers, one tag each 0.3 s, one kill, four openings of the page at once."""
    found = run(study, taggers=6, seconds=3, every_s=0.3, kills=1, openings=4)
    assert found.faults == []
    assert found.tags >= 12
    assert found.again > 0
    assert (found.lost, found.doubled, found.misplaced, found.strange) == (0, 0, 0, 0)
    assert len(found.opened_s) == 4


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT to send to one process")
def test_pages_that_open_at_once_are_drawn_one_after_the_other(tmp_path: Path) -> None:
    """None is drawn beside another, nor followed by a search of all memory for garbage."""
    port, study = free_port(), make(tmp_path)
    said = ["page", str(study), "--no-browser", "--port", str(port)]
    process = subprocess.Popen(
        [sys.executable, "-c", WATCHED, *said],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(server.__file__).parents[1],
    )
    try:
        _answers(port)
        assert len(open_at_once(port, 12)) == 12
    finally:
        process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=60)
    drawn, most, searched = map(int, out.splitlines()[-1].split())
    assert (drawn, most) == (12, 1)
    assert searched <= 3  # what Python finds due by itself; Streamlit's own habit made 24


def _answers(port: int) -> None:
    end = time.monotonic() + 60
    while True:
        try:
            if ask(port, "/_stcore/health").status == 200:
                return
        except OSError:
            assert time.monotonic() < end, "the server did not start"
            time.sleep(0.1)


def test_nobody_waits_long_while_others_draw(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that takes long holds up others for a moment; who went on beside it takes no turn."""
    monkeypatch.setattr(session, "LONGEST_WAIT_S", 0.05)
    session.hold("drawn", None)
    with session._TURN:
        with session.in_turn():
            pass
        assert session._TURN.locked()
    assert session.held("drawn")


def test_a_first_page_at_fault_gives_its_turn_away() -> None:
    """The next may draw, and this browser waits for a turn again."""
    session.hold("drawn", None)
    turn = session.in_turn()
    with pytest.raises(ZeroDivisionError), turn:
        _ = 1 / 0
    assert not session._TURN.locked()
    assert not session.held("drawn")
