"""The commands about whole copies of a study: back-up, restoring, moving, merging, archives."""

from pathlib import Path

import click

from core.errors import LastbiteError

STUDY = click.argument("study", type=click.Path(path_type=Path))
FILE = click.argument("file", type=click.Path(path_type=Path))


@click.command()
@STUDY
@FILE
def backup(study: Path, file: Path) -> None:
    """Write all of a study, but for its photos, into one FILE; people may go on tagging."""
    from app import copywords  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.open(study) as workspace:
        click.echo(copywords.backup(str(file), workspace.copies.backup(file)))


@click.command()
@FILE
@click.argument("study", metavar="NEWSTUDY", type=click.Path(path_type=Path))
def restore(file: Path, study: Path) -> None:
    """Make a new study folder from a back-up."""
    from app import copywords  # noqa: PLC0415
    from core import copies  # noqa: PLC0415

    made = copies.restore(file, study)
    for line in copywords.restored(str(file), str(study), made):
        click.echo(line)


@click.command()
@STUDY
@click.option(
    "--to", required=True, metavar="ADDRESS", help="A PostgreSQL server's, or sqlite: a file."
)
def move(study: Path, to: str) -> None:
    """Move a study to a database server, or back into a file; all or nothing."""
    from app import copywords  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.open(study) as workspace:
        done = workspace.copies.move(to)
    for line in copywords.moved(done):
        click.echo(line)


@click.command()
@STUDY
@click.argument("other", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Say what would come in, and store nothing.")
def merge(study: Path, other: Path, dry_run: bool) -> None:
    """Bring in the photos and tags that OTHER, a study folder or a back-up, has beside these.

    Exit 1 when something is in conflict: it stays as it is here, and the rest comes in.
    """
    from app import copywords  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.open(study) as workspace:
        done = workspace.copies.merge(other, only_look=dry_run)
    for line in copywords.merged(done):
        click.echo(line)
    if done.conflicts:
        raise LastbiteError(copywords.in_conflict(done))


@click.command()
@STUDY
@click.argument("file", metavar="FILE.zip", type=click.Path(path_type=Path))
@click.option("--pictures", is_flag=True, help="With the photos themselves.")
def pack(study: Path, file: Path, pictures: bool) -> None:
    """Write an archive: all that is needed to work the outcomes out again, in plain files."""
    from app import copywords  # noqa: PLC0415
    from app.progress import shown  # noqa: PLC0415
    from core import keeping  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.open(study) as workspace, shown("Packing photos") as told:
        packed = keeping.pack(workspace, file, pictures=pictures, progress=told)
    for line in copywords.packed(str(file), packed):
        click.echo(line)


@click.command()
@click.argument("file", metavar="FILE.zip", type=click.Path(path_type=Path))
@click.argument("study", metavar="NEWSTUDY", type=click.Path(path_type=Path))
def unpack(file: Path, study: Path) -> None:
    """Check every file of an archive, make the study again, and compare its outcomes.

    Exit 1 when an outcome comes out otherwise: the study is made all the same.
    """
    from app import copywords  # noqa: PLC0415
    from app.progress import shown  # noqa: PLC0415
    from core import keeping  # noqa: PLC0415

    with shown("Checking files") as told:
        made, differing = keeping.unpack(file, study, told)
    for line in copywords.unpacked(str(file), made):
        click.echo(line)
    if differing:
        raise LastbiteError(copywords.otherwise(differing))
    click.echo("The outcomes come out the same.")


ALL = (backup, restore, move, merge, pack, unpack)
