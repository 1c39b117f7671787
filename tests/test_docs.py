"""README and DEVELOPERS say what the code is: commands, columns, statuses, places, files."""

import importlib
import re
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest

from app.cli import commands
from core.exports import tables
from core.logs import COLUMNS, LogKind
from core.model import Status
from core.settings import KNOWN

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml",
    "app", "core", "demo_images", "tests",
}  # fmt: skip
SOMEBODYS_FOLDER = re.compile(
    rb"(?<![\w.])/(?:home|Users|root|work)/[\w.]|[A-Za-z]:[\\/]+Users[\\/]+\w"
)


def between(text: str, start: str, end: str) -> str:
    """Give the part of a page from one text up to the next."""
    assert text.count(start) == 1, start
    return text.split(start)[1].split(end, maxsplit=1)[0]


def first_cells(table: str) -> list[str]:
    """Give every word in code style in the first cell of each row, in order."""
    cells = [line.split("|")[1] for line in table.splitlines() if line.startswith("| `")]
    return [word for cell in cells for word in re.findall(r"`([^`]+)`", cell)]


def project_files() -> list[str]:
    """List the project's files, those that are not committed yet too."""
    asked = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    try:
        told = subprocess.run(asked, cwd=ROOT, capture_output=True, check=True, text=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("git does not know this folder, or is not installed")
    names = dict.fromkeys(name for name in told.stdout.split("\0") if name)
    return [name for name in names if (ROOT / name).is_file()]


# --- README --------------------------------------------------------------------------------------


def test_the_first_paragraph_states_the_job() -> None:
    """Whoever reads one paragraph knows what goes in and what comes out."""
    first = re.split(r"\n\s*\n", README.split("\n", 1)[1].strip())[0]
    for word in ("photos", "visits", "forager", "giving-up density"):
        assert word in first.lower()


@pytest.mark.parametrize("command", sorted(commands.commands))
def test_every_command_is_in_the_readme(command: str) -> None:
    """A command that the README does not name is not found by anybody."""
    assert re.search(rf"lastbite {re.escape(command)}\b", README)


@pytest.mark.parametrize("kind", LogKind)
def test_the_log_tables_are_those_of_the_code(kind: LogKind) -> None:
    """Each column of a log stands in the README in its order, bold where it must be there."""
    rows = [line for line in README.splitlines() if line.startswith(f"| {kind} | ")]
    assert rows == [
        f"| {kind} | {f'**{one.name}**' if one.required else one.name} | {one.meaning} |"
        for one in COLUMNS[kind]
    ]


@pytest.mark.parametrize(
    ("start", "end", "columns"),
    [
        pytest.param("\n**photos**:", "\n**visits**:", tables.PHOTO_COLUMNS, id="photos"),
        pytest.param("\n**visits**:", "\n**outcomes**:", tables.VISIT_COLUMNS, id="visits"),
        pytest.param("\n**outcomes**:", "\n| status ", tables.OUTCOME_COLUMNS, id="outcomes"),
    ],
)
def test_the_output_tables_are_those_of_the_code(
    start: str, end: str, columns: tuple[str, ...]
) -> None:
    """Each column that comes out is explained once, in its order, and none that does not."""
    assert first_cells(between(README, start, end)) == list(columns)


def test_every_status_is_explained() -> None:
    """The table of statuses has each of them once, in the order of the code."""
    table = between(README, "\n| status | means | do |", "\n## ")
    assert first_cells(table) == [str(status) for status in Status]


def test_every_setting_is_explained() -> None:
    """The table of settings has all that a study may set."""
    table = between(README, "\n| setting | default | meaning |", "\n## ")
    known = {setting for section in KNOWN.values() for setting in section}
    assert set(first_cells(table)) == known


def test_the_test_command_can_be_taken_from_the_readme() -> None:
    """The check takes the first `python -m pytest` up to the line's end: nothing follows it."""
    found = re.findall("python -m pytest[^`\n]*", README)
    assert found[0] == "python -m pytest"


@pytest.mark.parametrize("end", [".venv/bin/lastbite demo", ".venv/bin/python -m pytest"])
def test_each_of_the_two_commands_makes_its_own_environment(end: str) -> None:
    """One line from nothing: it makes the environment, installs into it, and runs from it."""
    line = next(line for line in README.splitlines() if line.endswith(end))
    made, installed, _ = line.split(" && ")
    assert made == "python3 -m venv .venv"
    assert installed.startswith(".venv/bin/python -m pip install -e ")


DECIDED = re.findall(
    r"^\| [^|]+ \| `(core/[\w/]+)\.py`: ((?:`\w+`(?:, )?)+) \|$", README, re.MULTILINE
)


def test_each_row_of_where_it_is_decided_is_understood() -> None:
    """No row of the table escapes the check below."""
    table = between(README, "\n| question | decided in |", "\n## ")
    assert len(DECIDED) == len(re.findall(r"^\| [^-]", table, re.MULTILINE))


@pytest.mark.parametrize(("module", "names"), DECIDED)
def test_what_is_decided_where_is_there(module: str, names: str) -> None:
    """Each function that the README sends people to exists in the module it names."""
    there: Any = importlib.import_module(module.replace("/", "."))
    for name in re.findall(r"`(\w+)`", names):
        assert hasattr(there, name), f"{module}.py has no {name}"


# --- DEVELOPERS ----------------------------------------------------------------------------------


MODULES = sorted(
    path.relative_to(ROOT).as_posix()
    for path in (ROOT / "core").rglob("*.py")
    if path.name != "__init__.py"
)
MAP = between(DEVELOPERS, "\n## Map\n", "\n## ")


@pytest.mark.parametrize("module", MODULES)
def test_every_module_is_on_the_map(module: str) -> None:
    """Each module of core has its row on the map."""
    assert f"| `{module}` |" in MAP


def test_the_map_names_no_module_that_is_gone() -> None:
    """Every row of the map leads to a file or folder."""
    named = first_cells(MAP)
    assert named
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_the_map_stands_in_the_order_of_the_import_contract() -> None:
    """Reading down the map, imports only go down, as the contract holds."""
    config = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = config["tool"]["importlinter"]["contracts"]
    layers = next(one["layers"] for one in contracts if one["type"] == "layers")
    level = {name: at for at, layer in enumerate(layers) for name in layer.split(" | ")}
    stages = [Path(name).parts[1] for name in first_cells(MAP) if name.startswith("core/")]
    levels = [level[stage.removesuffix(".py")] for stage in stages]
    assert levels == sorted(levels)


# --- the repository ------------------------------------------------------------------------------


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "demo_images/ABOUT.md"])
def test_every_link_leads_somewhere(page: str) -> None:
    """Each relative link and picture of a page exists."""
    text = (ROOT / page).read_text(encoding="utf-8")
    links = [link.split("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", text)]
    near = [link for link in links if link and not re.match(r"[a-z]+:", link)]
    assert [link for link in near if not (ROOT / page).parent.joinpath(link).exists()] == []


def test_the_top_level_holds_only_what_belongs_there() -> None:
    """A visitor sees two pages, the licence, the settings and four folders, no more."""
    top = {name.split("/")[0] for name in project_files()}
    assert {name for name in top if not name.startswith(".")} - TOP_LEVEL == set()


def test_no_file_names_somebodys_folder() -> None:
    """No file of the project holds an absolute path of one person's computer."""
    found = [name for name in project_files() if SOMEBODYS_FOLDER.search(read(name))]
    assert found == []


@pytest.mark.parametrize("start", ["/", "open file:///", "C:\\", "'/"])
def test_somebodys_folder_is_known_when_it_is_seen(start: str) -> None:
    """The check above would find such a path, and no ordinary one."""
    folder = "Users\\" if start.startswith("C") else "home/"
    assert SOMEBODYS_FOLDER.search(f"{start}{folder}ann/cards".encode())
    assert not SOMEBODYS_FOLDER.search(b"https://example.org/home/ann and core/work/x")


def read(name: str) -> bytes:
    """Give the bytes of a file of the project."""
    return (ROOT / name).read_bytes()
