"""Reading `blank` from a machine's score alone is not possible anywhere."""

import ast
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import core
from core.errors import TagError
from core.model import BLANK, VisitState
from core.store import Raises, scores
from core.store.scores import Score
from core.taglog import NewTag
from core.workspace import Workspace

CORE = Path(core.__file__).parent
DECIDE = (
    "tags", "standing", "visits", "views", "coverage", "windows", "forager", "outcomes", "checks",
    "taglog", "traylog", "food", "clocks", "logs", "logbook", "exports", "agreement", "analysis",
    "chain", "sensitivity",
)  # fmt: skip
"""Everything that answers or decides."""
MACHINE = ("core.motion", "core.triage", "core.store.scores", "core.store.peaks")


def score_of(photo: int, whole: float) -> Score:
    return Score(photo, 1, "copy", infrared=False, whole=whole, on_tray=whole, off_tray=whole,
                 outline=[])  # fmt: skip


def state_of(study: Workspace) -> list[object]:
    """Give all that a study holds true or says."""
    views = [study.view(one.placement) for one in study.placements()]
    return [
        [view.visits for view in views],
        [view.tags for view in views],
        [view.watched for view in views],
        study.outcomes(),
        study.check(),
        list(study.visit_rows()),
        list(study.photo_rows()),
    ]


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_no_score_changes_what_a_study_holds(demo: Workspace, data: st.DataObject) -> None:
    """Whatever a machine says of the photos, from nothing at all to everything: nothing moves."""
    before = state_of(demo)
    photos = [one.id for place in demo.placements() for one in demo.view(place.placement).ordered]
    share = st.one_of(st.just(0.0), st.just(1.0), st.floats(0, 1))
    values = data.draw(st.lists(share, min_size=len(photos), max_size=len(photos)))
    made = [score_of(photo, value) for photo, value in zip(photos, values, strict=True)]
    with demo._database.begin(Raises.NOTHING) as connection:
        scores.put_scores(connection, made)
    assert state_of(demo) == before
    with Workspace.open(demo.folder) as again:
        assert state_of(again) == before


def test_untagged_visits_stay_untagged_after_scoring(demo: Workspace) -> None:
    """The real score, on real photos, with every tag taken back."""
    for place in demo.placements():
        for tag in demo.view(place.placement).tags:
            demo.turn([tag.number], tag.tagger, taken_back=True)
        list(demo.previews.make(demo.previews.stock(place.placement).missing))
        assert demo.score(place.placement).done > 0
    states = {one.answer.state for p in demo.placements() for one in demo.view(p.placement).visits}
    assert states == {VisitState.UNTAGGED}
    assert all(outcome.unanswered for outcome in demo.outcomes() if outcome.seen)


def test_no_tag_is_kept_without_a_person(demo: Workspace) -> None:
    """Blank by nobody, and blank by blanks, are refused; nothing is kept."""
    visit = demo.view("SK-OPEN").visits[0].visit.photos
    before = len(demo.view("SK-OPEN").tags)
    for nobody in ("", "   "):
        with pytest.raises(TagError, match="no tagger"):
            demo.tag(NewTag("SK-OPEN", visit[0].id, visit[-1].id, nobody, BLANK))
    assert len(demo.view("SK-OPEN").tags) == before


def test_what_decides_never_asks_the_machine() -> None:
    """Read from the source: no module that decides imports scores, however it does so."""
    for name in DECIDE:
        found = CORE / name
        files = sorted(found.rglob("*.py")) if found.is_dir() else [found.with_suffix(".py")]
        for file in files:
            imported = _imported(ast.parse(file.read_text(encoding="utf-8")))
            assert not imported & set(MACHINE), file


def _imported(tree: ast.AST) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {one.name for one in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
    return names


def test_the_import_contract_holds_it_too() -> None:
    """Every module that decides is among those that may not import the machine's scores."""
    project = tomllib.loads((CORE.parent / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = project["tool"]["importlinter"]["contracts"]
    (ours,) = [one for one in contracts if one["name"] == "a machine's score never answers"]
    assert set(ours["source_modules"]) == {f"core.{name}" for name in DECIDE}
    assert set(ours["forbidden_modules"]) == set(MACHINE)
    asked = {
        module: set(one["allowed_importers"])
        for one in contracts
        if one["type"] == "protected"
        for module in one["protected_modules"]
    }
    assert asked == {
        "core.motion": {"core.triage"},
        **{name: {"core.triage", "core.kept", "core.workspace"} for name in MACHINE[1:]},
    }
