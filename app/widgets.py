"""Decide how the pieces that several screens share are drawn."""

import contextlib
import html
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import pandas as pd
import streamlit as st
from PIL import Image, ImageDraw

from app import session, wording
from core import logs, people
from core.errors import LastbiteError, LogError, Problem
from core.exports import tables
from core.logs import LogKind
from core.model import Condition, Photo, SpeciesRole, TrayRole
from core.people import Act
from core.workspace import Workspace

CHOICES: Mapping[tuple[LogKind, str], Sequence[str]] = {
    (LogKind.SPECIES, "role"): tuple(SpeciesRole),
    (LogKind.TRAYS, "role"): tuple(TrayRole),
    (LogKind.TRAYS, "condition"): tuple(Condition),
}
"""Columns whose cells are chosen from a list."""

SOMEBODY = "somebody at this computer"
"""Who decides where nobody gave a name: whoever sits before this computer."""
MOST_ROWS = 20
"""A table of up to so many rows is shown whole; a longer one scrolls."""


def icon() -> Image.Image:
    """Draw the sign of the pages: a tray with a bite left; a named icon would be fetched."""
    picture = Image.new("RGBA", (64, 64), (0, 0, 0, 0))
    draw = ImageDraw.Draw(picture)
    draw.ellipse((4, 12, 60, 56), fill="#23685f")
    draw.ellipse((11, 17, 53, 48), fill="#e8dcc0")
    draw.ellipse((28, 28, 38, 37), fill="#7a4a21")
    return picture


@contextlib.contextmanager
def faults() -> Iterator[None]:
    """Show what a person can put right, in its own words, as plain text."""
    try:
        yield
    except LogError as fault:
        show_problems(fault)
    except LastbiteError as fault:
        st.error(wording.plain(fault), icon=":material/error:")


def show_problems(fault: LogError) -> None:
    """Show every fault of a log with its line."""
    many = "one fault" if len(fault.problems) == 1 else f"{len(fault.problems)} faults"
    st.error(
        wording.plain(f"{fault.log} was not loaded: {many}, nothing was changed."),
        icon=":material/error:",
    )
    rows = [_problem(one) for one in fault.problems]
    table(rows, alt="Every fault with its line", narrow=["line"])


def _problem(problem: Problem) -> dict[str, str]:
    return {"line": "" if problem.line is None else str(problem.line), "fault": problem.message}


def messages() -> None:
    """Show what the last press left to say."""
    for kind, words in session.said():
        if kind == "bad":
            st.error(wording.plain(words), icon=":material/error:")
        else:
            st.success(wording.plain(words), icon=":material/check:")


def table(
    rows: Iterable[Mapping[str, object]],
    *,
    alt: str,
    columns: Sequence[str] = (),
    narrow: Sequence[str] = (),
    widths: Mapping[str, int] | None = None,
) -> None:
    """Show rows as they are; nothing in them is read as Markdown.

    Columns are as wide as their content, where there is room; `widths` [px] holds them.
    """
    listed = list(rows)
    frame = pd.DataFrame(listed, columns=list(columns) or None)
    st.dataframe(
        frame,
        hide_index=True,
        alt=alt,
        width="stretch",
        height="content" if len(listed) <= MOST_ROWS else "auto",
        column_config={
            **{name: st.column_config.Column(name, width="small") for name in narrow},
            **{
                name: st.column_config.Column(name, width=px) for name, px in (widths or {}).items()
            },
        },
    )


# --- who tags or rules ------------------------------------------------------------------------


def tagger(
    workspace: Workspace, cell: st.delta_generator.DeltaGenerator, *, labelled: bool = True
) -> str:
    """Ask for the name of whoever sits here, where people only choose one."""
    known = people.in_order({*workspace.taggers(), session.tagger()} - {""})
    here = "" if session.held("restored") else session.tagger()  # then the control has it already
    typed = cell.selectbox(
        "Your name",
        known,
        index=known.index(here) if here in known else None,
        accept_new_options=True,
        key="tagger",
        placeholder="Type your name",
        label_visibility="visible" if labelled else "collapsed",
    )
    session.set_tagger(workspace.tagger(typed or ""))
    return session.tagger()


def instructor(cell: st.delta_generator.DeltaGenerator) -> bool:
    """Ask whether somebody tags as the instructor."""
    ticked: bool = cell.checkbox(
        "Instructor",
        value=session.kept("instructor") == "yes" and not session.held("restored"),
        key="instructor",
        help="Shows what everybody said, and makes your tags rulings: they settle the visit.",
    )
    session.keep("instructor", "yes" if ticked else "no")
    return ticked


# --- the guide -------------------------------------------------------------------------------


def guide(workspace: Workspace) -> None:
    """Show how far the study has come, and what comes next; nothing once all is done.

    Nothing for those who cannot do what comes next.
    """
    if not people.may(session.who(), Act.CHANGE):
        return
    found = steps(workspace)
    upcoming = wording.next_step(found)
    if upcoming is None:
        return
    with st.container(border=True):
        words, link = st.columns([5, 1], vertical_alignment="center")
        words.markdown(f"**Next: {upcoming.name}.** {wording.plain(upcoming.words)}")
        link.page_link(
            f"screens/{upcoming.page.lower()}.py", label=f"{upcoming.page} page",
            icon=":material/arrow_forward:",
        )  # fmt: skip
        cells = st.columns(len(found))
        for number, (cell, step) in enumerate(zip(cells, found, strict=True), start=1):
            sign = ":material/check_circle:" if step.done else ":material/radio_button_unchecked:"
            state = step.words if step.done else "to do"
            cell.markdown(f"{sign} {number} {step.name}  \n{wording.plain(state)}")


def steps(workspace: Workspace) -> list[wording.Step]:
    """Ask the study how far it has come."""
    cards = workspace.cards()
    return wording.steps(
        species=len(workspace.species()),
        cameras=len(workspace.log_rows(LogKind.CAMERAS)),
        trays=len(workspace.trays()),
        cards=len(cards),
        tagged=bool(cards) and bool(workspace.taggers()),
    )


# --- logs ------------------------------------------------------------------------------------


def log(workspace: Workspace, kind: LogKind, words: str) -> None:
    """Show a log: load a file, see its columns, edit and save it as a table."""
    rows = workspace.log_rows(kind)
    st.markdown(words)
    said = st.container()
    left, right = st.columns([2, 3])
    with left, st.form(f"load-{kind}", clear_on_submit=True):
        file = st.file_uploader(
            f"A file for the {kind} log (CSV or XLSX)", type=["csv", "txt", "xlsx"],
            key=f"file-{kind}", max_upload_size=20,
        )  # fmt: skip
        pressed = st.form_submit_button("Load it", type="primary", key=f"load-it-{kind}")
    with right.expander("Columns", expanded=not rows):
        columns(kind)
    if pressed and file is None:
        said.warning("No file was chosen. Choose one first.")
    elif pressed and file is not None:
        with said, faults():
            found = workspace.load(kind, file.getvalue(), file.name)
            session.say("good", f"{file.name}: {wording.counts(found)}")
            st.rerun()
    if rows:
        edit(workspace, kind, rows)


def columns(kind: LogKind) -> None:
    """Show which columns a log has, which are needed, and a file to begin with."""
    table(
        [
            {
                "column": column.name,
                "needed": "needed" if column.required else "",
                "meaning": column.meaning,
            }
            for column in logs.COLUMNS[kind]
        ],
        alt=f"Columns of the {kind} log",
    )
    st.download_button(
        "An empty file with these columns",
        logs.template(kind),
        f"{kind}.csv",
        "text/csv",
        key=f"template-{kind}",
        icon=":material/download:",
        on_click="ignore",
    )


def edit(workspace: Workspace, kind: LogKind, rows: Sequence[Mapping[str, str]]) -> None:
    """Let people edit a log as a table; saved whole or not at all, after the same checks."""
    frame = _frame(kind, rows)
    version = zlib.crc32(repr(rows).encode())
    said = st.container()
    edited = st.data_editor(
        frame,
        num_rows="dynamic",
        hide_index=False,
        key=f"edit-{kind}-{version}",
        column_config=_config(kind, frame.columns),
        alt=f"The {kind} log, one row a line, to be edited",
    )
    save, download, note = st.columns([1, 1, 3], vertical_alignment="center")
    if save.button("Save the table", key=f"save-{kind}", type="primary", width="stretch"):
        with said, faults():
            table_rows: list[dict[str, object]] = [
                {str(name): cell for name, cell in row.items()}
                for row in edited.fillna("").to_dict("records")
            ]
            found = workspace.save_rows(kind, table_rows)
            session.say("good", f"The {kind} log was saved: {wording.counts(found)}")
            st.rerun()
    text = "".join(tables.csv_text([str(one) for one in frame.columns], [dict(r) for r in rows]))
    download.download_button(
        "Download as CSV", text, f"{kind}.csv", "text/csv", key=f"csv-{kind}", on_click="ignore",
        width="stretch",
    )  # fmt: skip
    note.markdown(
        "Changes count once they are saved. Rows that you delete here are removed from the log. "
        "The number at the left is the line that a fault names."
    )


def _frame(kind: LogKind, rows: Sequence[Mapping[str, str]]) -> pd.DataFrame:
    known = [column.name for column in logs.COLUMNS[kind]]
    names = dict.fromkeys([*known, *(name for row in rows for name in row)])
    frame = pd.DataFrame(list(rows), columns=list(names), dtype="object").fillna("")
    frame.index = pd.RangeIndex(2, 2 + len(frame), name="line")
    return frame


def _config(kind: LogKind, names: Iterable[object]) -> dict[str, Any]:
    known = {column.name: column for column in logs.COLUMNS[kind]}
    config: dict[str, Any] = {}
    for name in map(str, names):
        about = known[name].meaning if name in known else "a column of your own"
        choices = CHOICES.get((kind, name))
        config[name] = (
            st.column_config.SelectboxColumn(name, help=about, options=list(choices))
            if choices
            else st.column_config.TextColumn(name, help=wording.plain(about))
        )
    return config


# --- pictures --------------------------------------------------------------------------------


def thumb(photo: Photo, alt: str, *, height: str, size: str = "strip") -> str:
    """Give a small picture as HTML; `size` is that of the copy that is fetched."""
    address = session.photo_address(size, photo.id)
    return (
        f'<img src="{address}" alt="{html.escape(alt, quote=True)}" loading="lazy" '
        f'style="height:{height};max-width:100%;object-fit:contain;border-radius:4px">'
    )
