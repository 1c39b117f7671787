"""Studies that the pages show: the demo, a copy for each test, and an empty one."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from asking import Page

from app import session
from app.demo import build_demo
from core.workspace import Workspace


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("studies") / "demo"
    build_demo(folder).close()
    return folder


@pytest.fixture
def demo(built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    """A demo study of the test's own, which the pages show."""
    folder = tmp_path / "demo"
    shutil.copytree(built, folder)
    monkeypatch.setenv(session.STUDY_VARIABLE, str(folder))
    with Workspace.open(folder) as workspace:
        yield workspace


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    """A new study, which the pages show."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(tmp_path / "new"))
    with Workspace.create(tmp_path / "new", "Africa/Johannesburg") as workspace:
        yield workspace


# --- people before the viewer --------------------------------------------------------------------


@pytest.fixture
def thandi(demo: Workspace) -> Page:
    """A student who has not tagged anything yet, at SK-OPEN."""
    return Page(demo)


@pytest.fixture
def nomsa(demo: Workspace) -> Page:
    """A student who has tagged every visit of the demo."""
    return Page(demo, "Nomsa")


@pytest.fixture
def ike(demo: Workspace) -> Page:
    """The instructor."""
    return Page(demo, "Ike", instructor=True)
