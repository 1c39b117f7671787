"""The Results page: the ledger, the outcome table, what is to be put right, and the cautions."""

from collections.abc import Callable, Iterable

import streamlit as st

from app import session, widgets, wording
from core.exports import tables
from core.workspace import Workspace

# Columns that answer first; the file holds all in their own order.
FIRST = ("deployment", "status", "forager", "gud_g", "gud_items", "censored", "visits", "reason")


def results_page() -> None:
    """Draw the page."""
    workspace = session.workspace()
    st.title("Results")
    widgets.messages()
    outcomes = workspace.outcomes()
    if not outcomes:
        widgets.guide(workspace)
        st.info("There are no results yet: the tray log has no study tray.")
        cautions()
        return
    left, right = st.columns([3, 2], gap="medium")
    with left:
        st.subheader("From all trays to those with a density", anchor=False)
        widgets.table(wording.ledger_lines(outcomes), alt="Trays by status and reason, adding up")
    with right:
        st.subheader("Settings behind these numbers", anchor=False)
        widgets.table(wording.settings_lines(workspace.settings), alt="Settings of the study")
    st.subheader("One line a tray", anchor=False)
    rows = list(workspace.outcome_rows())
    order = [name for name in FIRST if any(row[name] for row in rows)]
    order += [name for name in tables.OUTCOME_COLUMNS if name not in order]
    widgets.table(rows, alt="Outcomes, one row a tray deployment", columns=order)
    downloads(workspace)
    to_put_right(workspace)
    cautions()


def downloads(workspace: Workspace) -> None:
    """Offer the three tables as CSV, made when they are asked for."""
    sources: tuple[tuple[str, Iterable[str], Callable[[], Iterable[tables.Row]]], ...] = (
        ("outcomes", tables.OUTCOME_COLUMNS, workspace.outcome_rows),
        ("visits", tables.VISIT_COLUMNS, workspace.visit_rows),
        ("photos", tables.PHOTO_COLUMNS, workspace.photo_rows),
    )
    for cell, (name, columns, rows) in zip(st.columns([1, 1, 1, 2]), sources, strict=False):

        def made(
            columns: Iterable[str] = columns, rows: Callable[[], Iterable[tables.Row]] = rows
        ) -> str:
            return "".join(tables.csv_text(columns, rows()))

        cell.download_button(
            f"Download {name} (CSV)", made, f"{name}.csv", "text/csv", key=f"csv-{name}",
            icon=":material/download:", on_click="ignore", width="stretch",
            type="primary" if name == "outcomes" else "secondary",
        )  # fmt: skip


def to_put_right(workspace: Workspace) -> None:
    """List what `check` finds: what has to be put right, then what is good to know."""
    found = sorted(workspace.check(), key=lambda one: not one.serious)
    serious = sum(one.serious for one in found)
    with st.expander(
        f"To put right: {serious}. Good to know: {len(found) - serious}.",
        expanded=bool(serious),
        icon=":material/rule:",
    ):
        if not found:
            st.text("Nothing was found.")
            return
        widgets.table(
            [
                {
                    "": "to put right" if one.serious else "good to know",
                    "about": one.thing,
                    "what": one.message,
                }
                for one in found
            ],
            alt="What was found in the study",
        )


def cautions() -> None:
    """Show the cautions, which defer to local rules and licensed practice."""
    with st.expander("Before you handle trays: cautions", icon=":material/health_and_safety:"):
        for topic, words in wording.CAUTIONS.items():
            st.markdown(f"**{topic}.** {wording.plain(words)}")


results_page()
