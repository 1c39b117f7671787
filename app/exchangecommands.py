"""The commands about packages of a study: one for others, or one that comes in."""

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

import click

PACKAGE = "camtrap"
PLACES = ("fed", "on_tray", "near")


@click.command("export")
@click.argument("study", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--pictures", is_flag=True, help="Copy the public ones, their Exif reduced.")
@click.option("--tags", is_flag=True, help="With what each tagger said of each photo.")
@click.option("--names", is_flag=True, help="Name taggers as they are.")
def export(study: Path, folder: Path, pictures: bool, tags: bool, names: bool) -> None:
    """Write a Camtrap DP package with the trays, for others to read, into a new FOLDER.

    People, vehicles and unsettled photos are never public; places are rounded, taggers get
    pseudonyms, and a summary says what was left out and why.
    """
    from app import exchangewords  # noqa: PLC0415
    from app.progress import shown  # noqa: PLC0415
    from core import keeping  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    wanted = keeping.Wanted(pictures=pictures, tags=tags, names=names)
    with Workspace.open(study) as workspace, ExitStack() as bar:
        told = bar.enter_context(shown("Writing photos"))

        def held_back(texts: Sequence[keeping.Withheld]) -> None:
            bar.close()
            for line in exchangewords.withheld(texts):
                click.echo(line)

        done = keeping.export(workspace, folder, wanted, held_back=held_back, progress=told)
    for line in exchangewords.exported(done):
        click.echo(line)


def load_package(study: Path, folder: Path, where: str | None) -> None:
    """Bring a package into a study, and say what came in."""
    from app import exchangewords  # noqa: PLC0415
    from app.progress import shown  # noqa: PLC0415
    from core.model import Where  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    held = Where(where) if where else Where.ON_TRAY
    with Workspace.open(study) as workspace, shown("Storing photos") as told:
        done = workspace.exchange.load(folder, held, progress=told)
    for line in exchangewords.loaded(str(folder), done):
        click.echo(line)
