"""The commands about cards: reading, moving and forgetting one, its previews, its codes."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from app.progress import shown
from core.errors import CardError, LastbiteError
from core.plural import many

if TYPE_CHECKING:
    from core.workspace import Workspace

STUDY = click.argument("study", type=click.Path(path_type=Path))


@click.command()
@STUDY
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--placement", metavar="P", help="Whose card it is; with --forget: only that one.")
@click.option("--file-times", is_flag=True, help="Date photos without Exif by their file; flagged.")
@click.option("--move", is_flag=True, help="Put a card scanned before under --placement.")
@click.option(
    "--forget", is_flag=True, help="Take the folder's cards out of the study; files stay."
)
@click.option("--with-tags", is_flag=True, help="With --forget: set its tags aside too.")
def scan(
    study: Path,
    folder: Path,
    placement: str | None,
    file_times: bool,
    move: bool,
    forget: bool,
    with_tags: bool,
) -> None:
    """Read a card folder into the study; its files are only read, never changed."""
    from app import wording  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    if (placement is None and not forget) or (move and forget):
        raise click.UsageError("Give --placement P, with --move or without, or --forget.")
    with Workspace.open(study) as workspace:
        if forget:
            _forget(workspace, folder, placement, with_tags=with_tags)
            return
        if move:
            _move(workspace, folder, placement or "")
            return
        with shown("Reading photos") as told:
            report = workspace.scan(folder, placement or "", file_times=file_times, progress=told)
    for line in wording.scan_report(report):
        click.echo(line)


@click.command()
@STUDY
@click.option("--placement", metavar="P", help="Only this one's photos.")
def previews(study: Path, placement: str | None) -> None:
    """Make the small pictures that the page shows, as far as they are missing."""
    from app import previews as words  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.open(study) as workspace:
        names = workspace.previews.placements(placement)
        missing = [one for name in names for one in workspace.previews.stock(name).missing]
        unread = []
        with shown("Making previews") as told:
            for done, made in enumerate(workspace.previews.make(missing), start=1):
                unread += [made.away] if made.away else []
                told(done, len(missing))
        stocks = [workspace.previews.stock(name) for name in names]
        click.echo(words.made(len(missing) - len(unread), unread))
        click.echo(
            words.have(
                total=sum(one.total for one in stocks),
                made=sum(one.made for one in stocks),
                damaged=sum(one.damaged for one in stocks),
                away=sum(one.away + len(one.missing) for one in stocks),
            )
        )
        size = words.room(workspace.previews.size())
        click.echo(f"All previews take {size} in {workspace.previews.folder}.")


@click.command()
@STUDY
@click.option("--placement", metavar="P", help="Only this one's photos.")
def codes(study: Path, placement: str | None) -> None:
    """Look for clock and tray codes in the photos in which people are likely.

    What they lead to waits on the Clocks page; nothing is changed. Ctrl-C ends it; the same
    command goes on where it stopped.
    """
    from app import codewords  # noqa: PLC0415
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.open(study) as workspace:
        for name in workspace.previews.placements(placement):
            with shown(f"Looking for codes at {name}") as told:
                workspace.codes.survey(name, told)
            state, waiting = workspace.codes.state(name), workspace.codes.waiting(name)
            for line in codewords.surveyed(name, state, waiting):
                click.echo(line)


def _move(workspace: "Workspace", folder: Path, placement: str) -> None:
    """Put the card of a folder under another placement."""
    [card, *more] = cards = _cards_in(workspace, folder)
    if more:
        raise LastbiteError(
            f"{folder} is the card of several placements: {', '.join(cards)}. Nothing was moved; "
            "move the one that you mean on the Cards page."
        )
    workspace.move_card(cards[card], placement)
    click.echo(f"The card {folder} is under placement {placement} now.")


def _forget(
    workspace: "Workspace", folder: Path, placement: str | None, *, with_tags: bool
) -> None:
    """Forget the cards of a folder, or the one named; those that may not go are told at the end."""
    cards = _cards_in(workspace, folder)
    if placement not in {None, *cards}:
        raise LastbiteError(
            f"{folder} is no card of placement {placement!r}. It is one of: {', '.join(cards)}. "
            "Name one of these, or leave --placement out to forget all of it."
        )
    refused = []
    for name in cards if placement is None else (placement,):
        try:
            gone = workspace.forget_card(cards[name], with_tags=with_tags)
        except CardError as refusal:
            refused.append(str(refusal))
        else:
            tags = many(gone, "tag was", "tags were")
            click.echo(f"Forgot the card {folder} of {name}; {tags} set aside.")
    if refused:
        raise CardError("\n".join(refused))


def _cards_in(workspace: "Workspace", folder: Path) -> dict[str, int]:
    """Give the cards of a folder by placement: several where a package or a merge brought them."""
    known = workspace.card_in(folder).folder
    return {one.placement: one.id for one in workspace.cards() if one.folder == known}


ALL = (scan, previews, codes)
