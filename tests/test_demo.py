"""The demo study end to end: every stage for real, against its own truth, worked out by hand."""

import csv
import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.demo import SOURCE, build_demo
from core.errors import StudyError
from core.model import Status
from core.workspace import NewTag, Workspace


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    with build_demo(tmp_path_factory.mktemp("studies") / "demo") as workspace:
        yield workspace


def truth() -> list[dict[str, str]]:
    with (SOURCE / "truth.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("expected", truth(), ids=lambda row: row["deployment"])
def test_each_tray_of_the_demo_comes_out_as_its_truth(
    demo: Workspace, expected: dict[str, str]
) -> None:
    """Status, forager, visits, density and watched share are what truth.csv says."""
    got = {row["deployment"]: row for row in demo.outcome_rows()}[expected["deployment"]]
    for column in ("status", "forager", "visits", "visits_all", "censored"):
        assert got[column] == expected[column], column
    assert round(float(got["watched_share"]), 2) == float(expected["watched_share"])
    if expected["gud_g"]:
        assert float(got["gud_g"]) == pytest.approx(float(expected["gud_g"]), abs=0.005)
    else:
        assert not got["gud_g"]


REASONS = {
    "clean forager": "one species fed and every minute was watched",
    "two species": "several species were on the tray, the last that fed owns the density",
    "nobody seen": "eaten, the eater was never seen",
    "untouched": "nobody fed, and every minute was watched",
    "emptied": "the tray was emptied, the density is below what can be weighed",
    "camera died": "the tray was not watched after the last visit",
    "wet seed": "more food was left than put in",
    "clock an hour off": "one species fed and every minute was watched",
    "waiting for the instructor": "taggers differ on a visit, the instructor has to rule",
}


@pytest.mark.parametrize("situation", REASONS)
def test_the_nine_situations_give_their_reasons(demo: Workspace, situation: str) -> None:
    """Each situation that the demo is drawn for has its own stated reason."""
    named = {row["situation"]: row["deployment"] for row in truth()}
    assert demo.outcome(named[situation]).reason == REASONS[situation]


def test_every_study_tray_of_the_log_has_one_outcome_in_order(demo: Workspace) -> None:
    """None is left out, none is twice, controls have none."""
    logged = [one.deployment for one in demo.trays() if one.role == "study"]
    assert [one.deployment.deployment for one in demo.outcomes()] == logged


def test_the_clock_check_moves_the_key_visit_into_its_window(tmp_path: Path) -> None:
    """Without the check the gerbil of HRB-N1 is an hour early and lands in no night window."""
    with build_demo(tmp_path / "demo") as demo:
        assert demo.outcome("HRB-N1").status is Status.KEEP
        view = demo.view("HR-BUSH")
        shown = [p.true_time.timestamp() - p.camera_time.timestamp() for p in view.ordered
                 if p.true_time and p.camera_time]  # fmt: skip
        assert len(set(shown)) == 1  # one shift for all
        assert view.clock is not None
        assert view.clock.true[0] - view.clock.nominal[0] == 3600


def test_a_ruling_turns_the_disputed_tray_into_a_density(tmp_path: Path) -> None:
    """The instructor rules the disputed visit: the tray is named, and a note says so."""
    with build_demo(tmp_path / "demo") as demo:
        before = demo.outcome("SKO-D2")
        assert before.status is Status.PENDING
        [waiting] = [visit for visit in before.seen if not visit.held]
        visit = waiting.parts[0].visit
        ruling = NewTag(
            visit.placement, visit.photos[0].id, visit.photos[-1].id,
            "Instructor", "g", 1, "fed", ruling=True,  # type: ignore[arg-type]
        )  # fmt: skip
        number = demo.tag(ruling)
        after = demo.outcome("SKO-D2")
        assert after.status is Status.KEEP
        assert after.forager == "Hairy-footed gerbil"
        assert any("ruled by the instructor" in note for note in after.notes)
        demo.turn([number], "Instructor", taken_back=True)
        assert demo.outcome("SKO-D2").status is Status.PENDING
        demo.turn([number], "Instructor", taken_back=False)
        assert demo.outcome("SKO-D2").status is Status.KEEP


def test_the_cards_are_untouched_and_a_second_scan_adds_nothing(tmp_path: Path) -> None:
    """Every file on the cards is byte for byte the same; scanning again finds nothing new."""
    before = _hashes()
    with build_demo(tmp_path / "demo") as demo:
        for card in demo.cards():
            report = demo.scan(Path(card.folder), card.placement)
            assert (report.new, report.changed, report.known) == (0, 0, report.files)
    assert _hashes() == before


def _hashes() -> dict[str, str]:
    return {
        str(file): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted((SOURCE / "cards").rglob("*"))
        if file.is_file()
    }


def test_the_demo_never_overwrites_a_folder(tmp_path: Path) -> None:
    """A folder with anything in it is refused in words, and left as it was."""
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(StudyError, match="is there already"):
        build_demo(tmp_path)
    assert [file.name for file in tmp_path.iterdir()] == ["notes.txt"]


def test_the_demo_is_small_and_large_enough() -> None:
    """About 120 pictures of at least 1280 x 960 in under 15 MB, said to be invented."""
    pictures = list((SOURCE / "cards").rglob("*.JPG"))
    assert len(pictures) >= 110
    assert sum(file.stat().st_size for file in pictures) < 15_000_000
    assert "invented" in (SOURCE / "ABOUT.md").read_text(encoding="utf-8")
