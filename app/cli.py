"""The commands: each asks the workspace one thing and prints it; nothing is decided here."""

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import click

from app import cardcommands, copycommands, exchangecommands, reportcommands
from app.progress import shown
from core.errors import LastbiteError

STUDY = click.argument("study", type=click.Path(path_type=Path))
CSV = click.option(
    "--csv",
    "csv_file",
    metavar="FILE",
    help="Write the whole table as CSV to FILE; - is standard output.",
)
STOPPED = 130
"""The exit code of a program that Ctrl-C ended before it had begun anything, as shells give it."""
KINDS = ("species", "cameras", "clocks", "trays", "tags", exchangecommands.PACKAGE)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="lastbite")
def commands() -> None:
    """Join trail-camera photos to giving-up-density trays.

    Photos become visits, visits become a named forager, and the forager's name is put on the
    tray's giving-up density, or the tray is set aside for a stated reason.
    """


@commands.command()
@STUDY
@click.option("--timezone", required=True, metavar="ZONE", help="As in Africa/Johannesburg.")
@click.option(
    "--database",
    default="",
    metavar="URL",
    help="As in postgresql://name@server/database; default: a file in the folder.",
)
def new(study: Path, timezone: str, database: str) -> None:
    """Make a new study folder."""
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.create(study, timezone, database=database) as workspace:
        click.echo(f"Made the study {workspace.folder}. Next: lastbite load {study} species FILE")
        click.echo(f"To begin with a package of others: lastbite load {study} camtrap FOLDER")


@commands.command()
@STUDY
@click.argument("kind", type=click.Choice(KINDS))
@click.argument("file", metavar="FILE|FOLDER", type=click.Path(path_type=Path))
@click.option(
    "--where",
    type=click.Choice(exchangecommands.PLACES),
    help="camtrap: where animals were of which the package does not say; default: on_tray.",
)
def load(study: Path, kind: str, file: Path, where: str | None) -> None:
    """Load a log (CSV or XLSX), or a Camtrap DP package: all rows, or none and every fault listed.

    A package is named by its folder; its placements, photos and tags come in.
    """
    from app import wording  # noqa: PLC0415
    from core.logs import LogKind  # noqa: PLC0415

    if kind == exchangecommands.PACKAGE:
        exchangecommands.load_package(study, file, where)
        return
    if where:
        raise click.UsageError("--where is for a package alone.")
    with _open(study) as workspace:
        counts = workspace.load(LogKind(kind), file)
    click.echo(f"{file}: {wording.counts(counts)}")


@commands.command()
@STUDY
def check(study: Path) -> None:
    """List what has to be put right; exit 1 when there is something."""
    from app import wording  # noqa: PLC0415

    with _open(study) as workspace:
        found = workspace.check()
    for finding in sorted(found, key=lambda one: not one.serious):
        click.echo(wording.finding(finding))
    serious = sum(one.serious for one in found)
    if serious:
        things = "1 thing has" if serious == 1 else f"{serious} things have"
        raise LastbiteError(f"{things} to be put right (marked !).")
    click.echo("Nothing has to be put right.")


@commands.command()
@STUDY
@CSV
def photos(study: Path, csv_file: str | None) -> None:
    """List every file met on the cards, with its times and problems."""
    from core.exports import tables  # noqa: PLC0415

    with _open(study) as workspace:
        _table(tables.PHOTO_COLUMNS, workspace.photo_rows(), csv_file)


@commands.command()
@STUDY
@click.option("--gap", type=click.FloatRange(min=0, min_open=True), metavar="SECONDS")
@CSV
def visits(study: Path, gap: float | None, csv_file: str | None) -> None:
    """List the visits, with what is held true of each."""
    from core.exports import tables  # noqa: PLC0415

    other = None if gap is None else timedelta(seconds=gap)
    with _open(study) as workspace:
        _table(tables.VISIT_COLUMNS, workspace.visit_rows(other), csv_file)


@commands.command()
@STUDY
@CSV
@click.option("--long", metavar="FILE", help="Write the tidy table: one number a row, as CSV.")
@click.option("--dictionary", metavar="FILE.json", help="Write what every column of both means.")
def outcomes(study: Path, csv_file: str | None, long: str | None, dictionary: str | None) -> None:
    """List one outcome for each study tray: density, forager, visits, status and reason."""
    from core.exports import dictionary as words  # noqa: PLC0415
    from core.exports import longtable, tables  # noqa: PLC0415

    with _open(study) as workspace:
        if csv_file:
            _table(tables.OUTCOME_COLUMNS, workspace.outcome_rows(), csv_file)
        if long:
            _table(longtable.LONG_COLUMNS, workspace.analysis.long_rows(), long)
        if not (csv_file or long or dictionary):
            _show_outcomes(list(workspace.outcome_rows()))
    if dictionary:
        names = [Path(one).name if one and one != "-" else "" for one in (csv_file, long)]
        package = words.data_package(names[0] or "outcomes.csv", names[1] or "outcomes-long.csv")
        _write_bytes(dictionary, package.encode())


@commands.command()
@STUDY
@click.argument("deployment")
def explain(study: Path, deployment: str) -> None:
    """Walk one outcome back: rule, food, visits, tags, photos, clock."""
    from app import clockwords, watchline, wording  # noqa: PLC0415

    with _open(study) as workspace:
        outcome = workspace.outcome(deployment)
        lines = wording.explain(outcome, workspace.species(), workspace.zone)
        tray = outcome.deployment
        lines += wording.numbers_behind(
            workspace.reading(tray), workspace.settings, counted=tray.counted
        )
        account = workspace.watching.account(outcome)
        if account is not None:
            lines += watchline.account_lines(account, workspace.zone)
        for name in dict.fromkeys(p.visit.placement for seen in outcome.seen for p in seen.parts):
            made, compared = workspace.clocks.history(name), workspace.clocks.checks(name)
            lines += clockwords.behind(name, made, compared, workspace.zone)
    for line in lines:
        click.echo(line)


@commands.command()
@click.argument("file", metavar="FILE.html")
def clock(file: str) -> None:
    """Write the clock sheet: a page for a phone that shows the time as a code for the camera."""
    from app import codesheet  # noqa: PLC0415

    _write_bytes(file, codesheet.page().encode())


@commands.command()
@STUDY
@click.argument("file", metavar="FILE.pdf")
def traycards(study: Path, file: str) -> None:
    """Write a card to print for each study tray: its deployment as a code and in words."""
    from app import wording  # noqa: PLC0415

    with _open(study) as workspace:
        cards = workspace.tray_cards()
    _write_bytes(file, cards.pdf)
    for line in wording.tray_cards(cards.cards, cards.sheets, cards.unprinted):
        click.echo(line, err=True)


@commands.command()
@STUDY
@click.option("--tagger", multiple=True, metavar="NAME", help="Put a tagger on the list.")
@click.option("--instructor", multiple=True, metavar="NAME", help="Put an instructor on it.")
@click.option("--left", multiple=True, metavar="NAME", help="Take somebody out; tags stay.")
@click.option("--codes", is_flag=True, help="Ask for the class code and the instructors' code.")
def people(
    study: Path,
    tagger: tuple[str, ...],
    instructor: tuple[str, ...],
    left: tuple[str, ...],
    codes: bool,
) -> None:
    """List the people of a study; put some on the list, take some out, set the class codes."""
    from core.people import Role, State  # noqa: PLC0415

    with _open(study) as workspace:
        for role, names in ((Role.TAGGER, tagger), (Role.INSTRUCTOR, instructor)):
            for name in names:
                workspace.people.add(name, role)
        for name in left:
            workspace.people.change(name, state=State.LEFT)
        for role in Role if codes else ():
            code = click.prompt(f"Code of {role}s", hide_input=True, confirmation_prompt=True)
            workspace.people.set_code(role, code)
            click.echo(f"The code of {role}s is set.")
        rows = [
            {"name": one.name, "role": str(one.role), "state": str(one.state)}
            for one in workspace.people.all()
        ]
    _print_table(["name", "role", "state"], rows)


@commands.command()
@STUDY
@click.option("--port", type=click.IntRange(1, 65535), help="Default: the first that is free.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser.")
def page(study: Path, port: int | None, no_browser: bool) -> None:
    """Open the study's pages in the browser; Ctrl-C ends them."""
    with _ends_in_silence() as begun:
        with _open(study) as workspace:
            if not workspace.people.can_sign_in():
                click.echo(
                    f"Nobody can sign in yet: no class code is set. lastbite people {study} "
                    "--codes",
                    err=True,
                )
        from app.server import serve  # noqa: PLC0415

        serve(study, port, open_browser=not no_browser, begun=begun)


@commands.command()
@click.argument("folder", type=click.Path(path_type=Path), default=Path("lastbite-demo"))
def demo(folder: Path) -> None:
    """Build the invented demo study in a new folder and print its outcomes."""
    from app.demo import build_demo  # noqa: PLC0415

    with shown("Reading the demo's photos") as told:
        workspace = build_demo(folder, told)
    with workspace:
        _show_outcomes(list(workspace.outcome_rows()))
    click.echo(f"\nAll of it is invented. Look at it with: lastbite page {folder}")


for _command in (
    *cardcommands.ALL, *copycommands.ALL, *reportcommands.ALL, exchangecommands.export,
):  # fmt: skip
    commands.add_command(_command)


@contextmanager
def _ends_in_silence() -> Iterator[Callable[[], None]]:
    """Have Ctrl-C end the program at once, until what is given is called.

    An exception would come up in the middle of whatever is loaded just then, which may swallow it
    or tell of it as a fault of its own.
    """
    begun = threading.Event()

    def end(*_: object) -> None:
        if begun.is_set():
            raise KeyboardInterrupt
        os._exit(STOPPED)

    before = signal.signal(signal.SIGINT, end)
    try:
        yield begun.set
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _open(study: Path) -> "Iterator[Workspace]":  # type: ignore[name-defined]  # noqa: F821
    from core.workspace import Workspace  # noqa: PLC0415

    with Workspace.open(study) as workspace:
        yield workspace


def _table(columns: Iterable[str], rows: Iterable[dict[str, str]], csv_file: str | None) -> None:
    from core.exports import tables  # noqa: PLC0415

    if csv_file is None:
        _print_table(list(columns), list(rows))
    elif csv_file == "-":
        for line in tables.csv_text(columns, rows):
            click.echo(line, nl=False)
    else:
        _write(Path(csv_file), (line.encode() for line in tables.csv_text(columns, rows)))
        click.echo(f"Wrote {csv_file}.", err=True)


def _write_bytes(file: str, content: bytes) -> None:
    """Write a file, or to standard output where it is named `-`."""
    if file == "-":
        sys.stdout.buffer.write(content)
        return
    _write(Path(file), [content])
    click.echo(f"Wrote {file}.", err=True)


def _write(file: Path, parts: Iterable[bytes]) -> None:
    """Write a file whole or not at all."""
    part = file.with_name(file.name + ".part")
    try:
        with part.open("wb") as out:
            out.writelines(parts)
        part.replace(file)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise LastbiteError(
            f"{str(file)!r} cannot be written: {fault.strerror or fault}. Name another file."
        ) from None


def _print_table(columns: list[str], rows: list[dict[str, str]]) -> None:
    """Print a table with aligned columns; empty columns are left out."""
    shown = [name for name in columns if any(row[name] for row in rows)] or columns
    wide = {name: max(len(name), *(len(row[name]) for row in rows), 0) for name in shown}
    for row in [{name: name for name in shown}, *rows]:
        click.echo("  ".join(row[name].ljust(wide[name]) for name in shown).rstrip())


def _show_outcomes(rows: list[dict[str, str]]) -> None:
    """Print the columns that answer first: which tray, whose density, why."""
    names = ("deployment", "status", "forager", "gud", "visits", "watched", "reason")
    short = [
        row
        | {
            "gud": _gud(row),
            "watched": f"{float(row['watched_share']):.0%}" if row["watched_share"] else "",
        }
        for row in rows
    ]
    _print_table(list(names), [{name: row[name] for name in names} for row in short])
    kept = sum(row["status"] in {"keep", "caution"} for row in rows)
    click.echo(f"\n{len(rows)} trays: {kept} with a density, {len(rows) - kept} set aside.")


def _gud(row: dict[str, str]) -> str:
    sign = {"below": "<", "at_most": "<="}.get(row["censored"], "")
    if row["gud_g"]:
        return f"{sign}{row['gud_g']} g"
    return f"{sign}{row['gud_items']} items" if row["gud_items"] else ""


def main(arguments: list[str] | None = None) -> None:
    """Run a command: exit 1 with one message for what a person can put right, 2 for wrong usage."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        commands.main(arguments, prog_name="lastbite", standalone_mode=False)
    except LastbiteError as fault:
        click.echo(f"lastbite: {fault}", err=True)
        sys.exit(1)
    except click.UsageError as fault:
        fault.show()
        sys.exit(2)
    except click.exceptions.Exit as done:
        sys.exit(done.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("lastbite: stopped; run the same command to go on.", err=True)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)


if __name__ == "__main__":
    main()
