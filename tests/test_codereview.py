"""Proposals from codes on the pages: each beside its photo, accepted, refused, taken back."""

import pytest
from code_study import of_kind, read, study
from pages import opened, press, words
from streamlit.testing.v1 import AppTest

from app import session
from core.logs import LogKind
from core.workspace import Workspace

__all__ = ["read", "study"]


def shown(at: AppTest) -> str:
    """Give what the page draws as HTML."""
    return "\n".join(one.proto.body for one in at.get("html"))


def test_the_clocks_page_shows_a_proposal_and_keeps_the_decision(
    read: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each with its photo; accepted, it stands below with who; taken back, it waits again."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(read.folder))
    at = opened("clocks", own_tagger="Nomsa")
    said = words(at)
    assert "12 of 12 photos looked at for codes; 4 show one." in said
    assert "The camera showed 2026-03-14 17:02:40 when it was 2026-03-14 18:02:40" in said
    assert "Now: IMG_0002.JPG was taken at 2026-03-14 17:02:40." in said
    assert "If accepted: it was taken at 2026-03-14 18:02:40" in said
    assert "/photo/review/2" in shown(at)
    assert "%3Cpolygon" in shown(at)
    press(at, "code-yes-P1-0")
    assert len(read.clocks.checks("P1")) == 1
    assert "accepted, Nomsa" in words(at)
    press(at, "code-back-")
    assert read.clocks.checks("P1") == []
    assert "Taken back by Nomsa" in words(at)
    press(at, "code-no-P1-0")
    assert len(of_kind(read, "clock")) == 1
    assert "not this, Nomsa" in words(at)


def test_the_page_starts_a_survey_where_nothing_runs_behind_it(
    study: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before it nothing waits; after it the proposals stand there, and the Cards page says so."""
    study.load(LogKind.SPECIES, b"key,name,role\ng,Gerbil,forager\n", "species.csv")
    monkeypatch.setenv(session.STUDY_VARIABLE, str(study.folder))
    at = opened("clocks", own_tagger="Nomsa")
    assert "0 of 12 photos looked at for codes; none shows one." in words(at)
    press(at, "codes-P1")
    assert "12 of 12 photos looked at for codes; 4 show one." in words(at)
    assert "The camera showed 2026-03-14 17:02:40" in words(at)
    said = words(opened("cards", own_tagger="Nomsa"))
    assert "6 proposals from codes in the photos wait on the Clocks page: P1." in said


def test_people_are_tagged_by_somebody_with_a_name(
    read: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A tag is somebody's own: without a name it is refused in words, and with one it is kept."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(read.folder))
    at = press(opened("clocks"), "code-yes-P1-4")
    assert "A tag needs a tagger" in words(at)
    assert read.view("P1").tags == ()
    press(opened("clocks", own_tagger="Nomsa"), "code-yes-P1-4")
    assert [tag.tagger for tag in read.view("P1").tags] == ["Nomsa"]


def test_a_contradiction_stands_there_with_its_photos(
    read: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The card of a deployment that the log does not have: put aside, it is gone from the page."""
    rows = read.log_rows(LogKind.TRAYS)
    read.save_rows(LogKind.TRAYS, [row | {"deployment": "X9"} for row in rows])
    monkeypatch.setenv(session.STUDY_VARIABLE, str(read.folder))
    at = opened("clocks", own_tagger="Nomsa")
    assert "IMG_0003.JPG shows the card of deployment 'D1'" in words(at)
    assert "/photo/review/3" in shown(at)
    press(at, "code-aside-P1-0")
    assert read.codes.waiting("P1").contradictions == ()
    assert "put aside, Nomsa" in words(at)
