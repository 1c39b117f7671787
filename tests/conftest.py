"""Studies that the pages show: the demo, a copy for each test, and an empty one."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest
from asking import Page

from app import session
from app.demo import build_demo
from core.people import Role
from core.workspace import Workspace

# A busy machine is no fault of what is tested.
hypothesis.settings.register_profile("lastbite", deadline=None)
hypothesis.settings.load_profile("lastbite")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep files together where tests run side by side, and have one browser at a time.

    A test that drives a browser fails if it fails twice: between keys, page and server there is
    always a moment that a busy computer stretches. The run's last lines name it all the same.
    """
    driven = {item.path for item in items if "browser" in getattr(item, "fixturenames", ())}
    for item in items:
        group = "browser" if item.path in driven else item.path.stem
        item.add_marker(pytest.mark.xdist_group(group))
        if group == "browser":
            item.add_marker(pytest.mark.flaky(reruns=1))


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


# --- a class on a server -------------------------------------------------------------------------

CODES = {Role.TAGGER: "dune grass moon", Role.INSTRUCTOR: "owl salt river"}


@pytest.fixture
def classroom(built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    """The demo on a class server with codes: Nomsa, Piet and Thandi tag, Ike instructs."""
    folder = tmp_path / "class"
    shutil.copytree(built, folder)
    set_up_class(folder)
    monkeypatch.setenv(session.STUDY_VARIABLE, str(folder))
    with Workspace.open(folder) as workspace:
        yield workspace


def set_up_class(folder: Path, sign_in: str = "code", more: str = "") -> None:
    """Make a study one of a class: people sign in, and its codes are set."""
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    asked = f'sign_in = "{sign_in}"\n{more}'
    if "[people]" in text:
        text = text.replace('sign_in = "name"', asked)
    else:
        text += f"\n[people]\n{asked}"
    file.write_text(text, encoding="utf-8")
    with Workspace.open(folder) as workspace:
        for name in ("Nomsa", "Piet", "Thandi"):
            workspace.people.add(name)
        workspace.people.add("Ike", Role.INSTRUCTOR)
        for role, code in CODES.items():
            workspace.people.set_code(role, code)
