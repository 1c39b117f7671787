"""What is asked of a study's outcomes together: questions, seasons, and how long answers hold."""

from dataclasses import replace

import pytest
from builders import SETTINGS, at, tray

from app import answers
from core.analysisbook import Question, season_of
from core.chain import Chain, PlacementGround
from core.clockfaults import ClockCorrection, ClockFault, Proposal
from core.errors import StudyError
from core.logs import LogKind
from core.model import Status, TrayRole
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


def test_a_clock_check_can_be_left_out(demo: Workspace) -> None:
    """HR-BUSH runs an hour behind: without its check the tray is what the study without it says."""
    found = demo.analysis.sensitivity(Question())
    assert found.grid.clocks == (True, False)
    (left_out,) = [one for one in found.steps if one.axis is Axis.CLOCKS and not one.is_own]
    changed = {one.deployment: (one.own.status, one.other.status) for one in left_out.trays}
    (check,) = demo.log_rows(LogKind.CLOCKS)
    right = {"placement": "HR-OPEN", "camera_showed": check["true_time"][:19]}
    demo.save_rows(LogKind.CLOCKS, [check | right])
    after = {one.deployment.deployment: one.status for one in demo.outcomes()}
    assert changed == {"HRB-N1": (Status.KEEP, Status.DROP)}
    assert after["HRB-N1"] is Status.DROP


def ground(workspace: Workspace, placement: str) -> PlacementGround:
    """Give what no setting changes of a placement."""
    there = workspace.analysis.study(Question()).placements
    return next(one for one in there if one.base.placement.placement == placement)


def test_a_corrected_clock_can_be_left_out(demo: Workspace) -> None:
    """Once a correction is accepted its placement has times without it, and not before."""
    placement = next(one.placement for one in demo.placements() if one.trays)
    before = ground(demo, placement)
    assert before.base is before.uncorrected
    correction = ClockCorrection(placement, ClockFault.MINUTES, shift_s=60)
    proposal = Proposal(ClockFault.MINUTES, "a minute", (correction,))
    demo.clocks.accept(proposal, "Botha")
    study = demo.analysis.study(Question())
    after = ground(demo, placement)
    assert (after.base.seconds - after.uncorrected.seconds).tolist() == [60] * len(after.base.ids)
    assert demo.analysis.sensitivity(Question()).grid.clocks == (True, False)
    assert len(Chain(study).outcomes(demo.settings, clocks=False)) == 12


def test_a_question_that_was_typed(demo: Workspace) -> None:
    """Key or name of a forager, however it is written; what is not there is refused in words."""
    book = demo.analysis
    assert book.question("G", None, ()) == Question("g")
    assert book.question("hairy-footed GERBIL", None, ()) == Question("g")
    assert book.question("", ("Open", "bush"), ()) == Question("", ("Open", "bush"))
    assert book.question("  ", None, ()) == Question()
    with pytest.raises(StudyError, match=r"no microhabitat 'bsh'\. Did you mean 'bush'"):
        book.question("", ("open", "bsh"), ())


def test_a_species_without_a_scientific_name_is_not_who_is_asked_for(demo: Workspace) -> None:
    """The column may be blank: with no forager given whoever fed last is asked for, and nobody."""
    rows = [row | {"scientific_name": ""} for row in demo.log_rows(LogKind.SPECIES)]
    demo.save_rows(LogKind.SPECIES, rows)
    assert demo.analysis.question("", None, ()) == Question()
    assert demo.analysis.choice(demo.analysis.question("", None, ())).forager is None


def test_the_season_and_the_mass_of_an_item_go_with_the_choice(demo: Workspace) -> None:
    """What was asked for stands in what is asked of the analysis, and so in its words."""
    asked = Question(seasons=("2026-03",))
    assert demo.analysis.choice(asked).seasons == ("2026-03",)
    assert "season 2026-03" in answers.asked(demo.analysis.analyse(asked))
    assert "season" not in answers.asked(demo.analysis.analyse(Question()))
    assert demo.analysis.choice(asked).item_mass is demo.settings.item_mass is None


def test_facts_are_of_the_trays_that_are_asked_for(demo: Workspace) -> None:
    """Study trays of other seasons are left out, controls stay; cameras that saw none do not."""
    rows = [
        row | {"season": "dry" if row["deployment"].startswith("SKO") else "wet"}
        for row in demo.log_rows(LogKind.TRAYS)
    ]
    demo.save_rows(LogKind.TRAYS, rows)
    book, dry = demo.analysis, Question(seasons=("dry",))
    other = [one for one in demo.trays() if one.role is not TrayRole.STUDY]
    study = [one for one in demo.trays() if one.deployment.startswith("SKO")]
    assert sorted(one.deployment for one in book.trays(dry)) == sorted(
        {one.deployment for one in (*other, *study)}
    )
    assert [one.placement for one in book.placements(dry)] == ["SK-OPEN"]
    assert book.trays(Question()) == demo.trays()
    assert book.placements(Question()) == demo.placements()


def test_a_misspelt_microhabitat_is_suggested(demo: Workspace) -> None:
    """One tray of `opne` is left out, and the likely name stands beside it."""
    rows = demo.log_rows(LogKind.TRAYS)
    rows[0]["microhabitat"] = "opne"
    demo.save_rows(LogKind.TRAYS, rows)
    found = demo.analysis.analyse(replace(Question(), sides=("open", "bush")))
    assert any("Did you mean 'open'?" in words for words in found.remarks)
