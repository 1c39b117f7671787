"""The Clocks page: what is wrong stands first, is accepted and taken back; a watch is read."""

import sqlite3
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from pages import frames, opened, press, words

from core.workspace import Workspace


def shift_display(study: Path, placement: str, by: timedelta) -> None:
    """Let the camera of a placement show another time, as if it had been set so."""
    with sqlite3.connect(study / "lastbite.db") as raw:
        rows = raw.execute(
            "SELECT id, camera_time FROM photos WHERE placement = ? AND camera_time IS NOT NULL",
            (placement,),
        ).fetchall()
        for photo, shown in rows:
            moved = datetime.fromisoformat(shown) + by
            raw.execute(
                "UPDATE photos SET camera_time = ? WHERE id = ?",
                (moved.isoformat(sep=shown[10]), photo),
            )
        raw.execute("UPDATE changes SET number = number + 1")


@pytest.fixture
def wrong(demo: Workspace) -> Workspace:
    """The demo with one camera eleven years behind."""
    shift_display(demo.folder, "HR-OPEN", -timedelta(days=4018))
    return demo


def told(workspace: Workspace) -> list[tuple[object, ...]]:
    return [(o.deployment.deployment, o.status, o.reason, o.visits) for o in workspace.outcomes()]


def test_the_demo_has_no_clock_at_fault(demo: Workspace) -> None:
    """Said in words, and each placement is drawn and listed."""
    at = opened("clocks")
    assert "Nothing speaks against any clock." in words(at)
    [table] = frames(at)
    assert set(table["placement"]) == {one.placement for one in demo.placements()}
    assert set(table["its clock"]) == {"nothing speaks against it"}


def test_a_study_without_photos_says_what_to_do(empty: Workspace) -> None:
    """Nothing to draw yet."""
    assert empty.cards() == []
    assert "Scan a card on the Cards page." in words(opened("clocks"))


def test_a_proposal_is_accepted_and_taken_back(demo: Workspace, wrong: Workspace) -> None:
    """Worst first; accepted, the outcomes are those of the right clock; taken back, as before."""
    before = told(wrong)
    at = opened("clocks", own_tagger="Nomsa")
    said = words(at)
    assert "The clocks of 1 of 4 placements need a decision." in said
    assert "Proposed: add 11 y" in said or "Proposed: add 4018 d" in said
    [why] = [one for one in at.text_input if str(one.key).startswith("why-")]
    why.input("a phone in DUNE0001").run()
    press(at, "accept-")
    said = words(at)
    assert "Nothing speaks against any clock." in said
    assert "accepted by Nomsa" in said
    assert "a phone in DUNE0001" in said
    with Workspace.open(wrong.folder) as now:
        assert told(now) != before
    press(at, "back-")
    assert "Taken back by Nomsa" in words(at)
    assert told(wrong) == before
    assert demo.clocks.history("HR-OPEN")[0].taken_back is not None


def test_nothing_is_chosen_by_the_page_itself(wrong: Workspace) -> None:
    """Opening the page, drawing the proposal and its consequences changes nothing."""
    version = wrong.version()
    opened("clocks")
    assert wrong.version() == version


def test_a_check_is_typed_for_a_photo_kept_removed_and_put_back(demo: Workspace) -> None:
    """The photo is chosen by its file; what is typed is told before it is kept."""
    at = opened("clocks", own_clock="SK-OPEN")
    [file] = [one for one in at.selectbox if str(one.key) == "file-SK-OPEN"]
    photo = next(p for p in demo.view("SK-OPEN").photos if p.file == file.options[0])
    was = len(demo.clocks.checks("SK-OPEN"))
    file.select(photo.file).run()
    [watch] = [one for one in at.text_input if str(one.key).startswith("watch-")]
    watch.input("nonsense").run()
    assert "'nonsense'" in words(at)
    [watch] = [one for one in at.text_input if str(one.key).startswith("watch-")]
    assert photo.camera_time is not None
    later = photo.camera_time + timedelta(seconds=90)
    watch.input(f"{later:%H:%M:%S}").run()
    assert "later" in words(at) or "earlier" in words(at)
    press(at, "keep-")
    assert len(demo.clocks.checks("SK-OPEN")) == was + 1
    press(at, f"remove-SK-OPEN-{was}")
    assert len(demo.clocks.checks("SK-OPEN")) == was
    press(at, "again-")
    assert len(demo.clocks.checks("SK-OPEN")) == was + 1
