"""What is asked of a study's outcomes together: questions, seasons, and how long answers hold."""

from dataclasses import replace

import pytest
from builders import SETTINGS, at, tray

from core.analysisbook import Question, season_of
from core.chain import Chain
from core.clockfaults import ClockCorrection, ClockFault, Proposal
from core.errors import StudyError
from core.logs import LogKind
from core.model import Status
from core.sensitivity import Axis, Says
from core.workspace import Workspace

ZONE = SETTINGS.timezone


def test_seasons() -> None:
    """The log's own column, however its name is written; else year and month of the night."""
    assert season_of(tray(), ZONE) == "2026-03"
    assert season_of(tray(set_out=at("01:00")), ZONE) == "2026-03"
    assert season_of(tray(set_out=None), ZONE) == ""
    assert season_of(tray(extra={"Season": " dry  2026 "}), ZONE) == "dry 2026"
    assert season_of(tray(extra={"season": " "}), ZONE) == "2026-03"


def test_the_demo_can_be_asked(demo: Workspace) -> None:
    """Foragers by their trays, microhabitats as first written, one season."""
    book = demo.analysis
    assert {one.key for one in book.foragers()} == {"m", "g", "s"}
    assert book.microhabitats() == ["open", "bush"]
    assert book.seasons() == ["2026-03"]
    assert (book.choice(Question()).first, book.choice(Question()).second) == ("open", "bush")
    other = book.choice(Question("g", ("bush", "open")))
    assert (other.first, other.second) == ("bush", "open")
    assert other.forager is not None
    assert other.forager.key == "g"


def test_a_season_narrows_what_is_asked(demo: Workspace) -> None:
    """Only its trays are analysed, and only they are worked out under other settings."""
    rows = [
        row | {"season": "dry" if row["deployment"].endswith("D1") else "wet"}
        for row in demo.log_rows(LogKind.TRAYS)
    ]
    demo.save_rows(LogKind.TRAYS, rows)
    dry = Question(seasons=("dry",))
    assert demo.analysis.seasons() == ["dry", "wet"]
    assert [one.deployment.deployment for one in demo.analysis.outcomes(dry)] == [
        "SKO-D1", "SKB-D1", "HRO-D1", "HRB-D1"
    ]  # fmt: skip
    assert demo.analysis.analyse(dry).ledger.n == 4
    assert [one.outcome.deployment.deployment for one in demo.analysis.sensitivity(dry).trays] == [
        "SKO-D1",
        "SKB-D1",
        "HRO-D1",
        "HRB-D1",
    ]


def test_answers_hold_until_something_changes(demo: Workspace) -> None:
    """The same question gives the same object; a changed log gives another answer."""
    first = demo.analysis.analyse(Question())
    assert demo.analysis.analyse(Question()) is first
    rows = [row | {"condition": "knocked"} for row in demo.log_rows(LogKind.TRAYS)]
    demo.save_rows(LogKind.TRAYS, rows)
    assert demo.analysis.analyse(Question()).ledger.by_status()[Status.DROP] == 12


def test_the_sensitivity_starts_from_the_studys_own_outcomes(demo: Workspace) -> None:
    """Under its own settings the chain gives what the study says, tray by tray."""
    found = demo.analysis.sensitivity(Question())
    assert [
        (one.outcome.deployment.deployment, one.outcome.status, one.outcome.gud,
         one.outcome.forager, one.outcome.visits)
        for one in found.trays
    ] == [
        (one.deployment.deployment, one.status, one.gud, one.forager, one.visits)
        for one in demo.outcomes()
    ]  # fmt: skip
    assert found.own.says is Says.TOO_FEW
    several = next(one for one in found.trays if one.outcome.deployment.deployment == "SKO-N1")
    assert several.axes == (Axis.FEEDER,)


def test_a_corrected_clock_can_be_left_out(demo: Workspace) -> None:
    """Once a correction is accepted it is an axis of the grid, and only then."""
    assert demo.analysis.sensitivity(Question()).grid.clocks == (True,)
    placement = next(one.placement for one in demo.placements() if one.trays)
    correction = ClockCorrection(placement, ClockFault.MINUTES, shift_s=60)
    proposal = Proposal(ClockFault.MINUTES, "a minute", (correction,))
    demo.clocks.accept(proposal, "Botha")
    study = demo.analysis.study(Question())
    assert study.corrected
    assert demo.analysis.sensitivity(Question()).grid.clocks == (True, False)
    assert len(Chain(study).outcomes(demo.settings, clocks=False)) == 12


def test_a_question_that_was_typed(demo: Workspace) -> None:
    """Key or name of a forager, however it is written; what is not there is refused in words."""
    book = demo.analysis
    assert book.question("G", None, ()) == Question("g")
    assert book.question("hairy-footed GERBIL", None, ()) == Question("g")
    assert book.question("", ("Open", "bush"), ()) == Question("", ("Open", "bush"))
    with pytest.raises(StudyError, match=r"no microhabitat 'bsh'\. Did you mean 'bush'"):
        book.question("", ("open", "bsh"), ())


def test_a_misspelt_microhabitat_is_suggested(demo: Workspace) -> None:
    """One tray of `opne` is left out, and the likely name stands beside it."""
    rows = demo.log_rows(LogKind.TRAYS)
    rows[0]["microhabitat"] = "opne"
    demo.save_rows(LogKind.TRAYS, rows)
    found = demo.analysis.analyse(replace(Question(), sides=("open", "bush")))
    assert any("Did you mean 'open'?" in words for words in found.remarks)
