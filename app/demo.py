"""Build the invented demo study from the drawn cards, running every stage for real."""

from pathlib import Path

from core.errors import StudyError
from core.logs import LogKind
from core.scan import Progress
from core.workspace import Workspace

SOURCE = Path(__file__).resolve().parent.parent / "demo_images"
TIMEZONE = "Africa/Johannesburg"


def build_demo(folder: Path, progress: Progress | None = None) -> Workspace:
    """Make the demo study in a new folder; StudyError when something is there already.

    `progress` is told photos done, and of how many.
    """
    folder = folder.expanduser().resolve()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StudyError(
            f"{str(folder)!r} is there already. Name a new folder, "
            "or open that one with 'lastbite page'."
        )
    cards = sorted((SOURCE / "cards").iterdir()) if (SOURCE / "cards").is_dir() else []
    if not cards:
        raise StudyError(f"The demo's pictures are not at {str(SOURCE)!r}. Install Lastbite again.")
    workspace = Workspace.create(folder, TIMEZONE, "Kalkgans dunes (invented demo)")
    workspace.close()
    settings = folder / "study.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(_own_settings(text), encoding="utf-8")
    workspace = Workspace.open(folder)
    for kind in (LogKind.SPECIES, LogKind.CAMERAS, LogKind.CLOCKS, LogKind.TRAYS):
        workspace.load(kind, SOURCE / f"{kind}.csv")
    total = sum(1 for card in cards for file in card.rglob("*") if file.is_file())
    done = 0
    for card in cards:
        report = workspace.scan(card, card.name)
        done += report.files
        if progress:
            progress(done, total)
    workspace.load(LogKind.TAGS, SOURCE / "tags.csv")
    return workspace


def _own_settings(text: str) -> str:
    """Set what the demo has other than a new study: two taggers, and who gives it away."""
    text = text.replace("taggers_needed = 1", "taggers_needed = 2")
    for name in ("sampling_design", "contributors", "licence_data", "licence_media"):
        text = text.replace(f"# {name} = ", f"{name} = ")
    return text
