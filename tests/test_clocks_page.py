"""The Clocks page: what is wrong stands first, is accepted and taken back; a watch is read."""

import sqlite3
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
import seasons
from pages import frames, opened, press, words
from seasons import Habits
from test_clockbook import study_of

from app import picker, session
from core.clockbook import Clockbook, Lanes
from core.workspace import Workspace

ROWS = 6
"""Placements that the page draws at a time."""


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
    photo = min(demo.view("SK-OPEN").photos, key=lambda one: one.file)
    was = len(demo.clocks.checks("SK-OPEN"))
    file.select(f"{photo.file}, camera showed {photo.camera_time}").run()
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


def test_nobody_decides_without_a_name(wrong: Workspace) -> None:
    """The page asks who; until somebody says, nothing is kept."""
    at = opened("clocks")
    press(at, "accept-")
    assert "Nobody is named. Say who decides this first." in words(at)
    assert wrong.clocks.history() == []
    [name] = [one for one in at.selectbox if one.key == "tagger"]
    who = wrong.taggers()[0]
    name.set_value(who).run()
    press(at, "accept-")
    assert [one.by for one in wrong.clocks.history()] == [who]


def test_ways_that_are_as_good_are_all_shown_and_none_is_chosen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Five or six days: two rows drawn, two buttons; the second is pressed, the second is kept."""
    habits = Habits(nights=2, dies=0.6, unseen=0.4, walk=0, car=0, trips=0, test_shots=0)
    card = seasons.clean(Random(16), date(2026, 3, 2), habits)
    with study_of(tmp_path / "study", seasons.whole_days(card, Random(17))) as workspace:
        monkeypatch.setenv(session.STUDY_VARIABLE, str(workspace.folder))
        [finding] = workspace.clocks.findings("P1")
        first, second = finding.proposals
        at = opened("clocks", own_tagger="Nomsa")
        said = words(at)
        assert "Several ways explain the photos equally well. Choose one, or none." in said
        assert f"Proposed 1: {first.words}" in said
        assert f"Proposed 2: {second.words}" in said
        messages = [one.message for one in workspace.check() if one.thing == "placement P1"]
        assert any(f"as well: {first.words}, or {second.words}." in one for one in messages)
        assert workspace.clocks.history() == []
        press(at, "accept-P1-0-1")
        assert [one.shift_s for one in workspace.clocks.history()] == [second.shift_s]


def test_of_a_long_study_only_what_is_shown_is_worked_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Thirty placements: six rows and the one chosen; the next page gives the next six."""
    held = [
        seasons.clean(Random(at), date(2026, 3, 2), Habits(), name=f"P{at:02}", tray=f"T{at:02}")
        for at in range(30)
    ]
    asked: list[str] = []
    lanes = Clockbook.lanes

    def counted(book: Clockbook, placement: str) -> Lanes:
        asked.append(placement)
        return lanes(book, placement)

    monkeypatch.setattr(Clockbook, "lanes", counted)
    with study_of(tmp_path / "study", *held) as workspace:
        monkeypatch.setenv(session.STUDY_VARIABLE, str(workspace.folder))
        at = opened("clocks")
        [table] = frames(at)
        assert len(table) == 30
        first = asked.copy()
        assert len(first) == ROWS + 1
        [page] = [one for one in at.number_input if one.key == "clocks-page"]
        asked.clear()
        page.set_value(2).run()
        assert len(asked) == ROWS + 1
        assert set(asked[1:]).isdisjoint(first)


def test_among_very_many_photos_one_is_named(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The list would be too long for a browser: part of a name finds the one, or says how many."""
    monkeypatch.setattr(picker, "MOST_LISTED", 3)
    at = opened("clocks", own_clock="SK-OPEN")
    [typed] = [one for one in at.text_input if one.key == "file-SK-OPEN"]
    typed.input("DUNE").run()
    assert "36 photos of this placement are like DUNE." in words(at)
    assert demo.clocks.history() == []
    [typed] = [one for one in at.text_input if one.key == "file-SK-OPEN"]
    typed.input("dune0012").run()
    assert "DUNE0012.JPG\nThe camera showed" in words(at)
