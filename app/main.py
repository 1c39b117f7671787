"""Decide which pages there are, in which order, and for whom; everything on them is in screens."""

import streamlit as st

from app import session, signin, widgets
from core import people
from core.people import Act, Who

PAGES = (
    ("screens/cards.py", "Cards", ":material/sd_card:"),
    ("screens/clocks.py", "Clocks", ":material/schedule:"),
    ("screens/tag.py", "Tag", ":material/visibility:"),
    ("screens/settle.py", "Settle", ":material/gavel:"),
    ("screens/trays.py", "Trays", ":material/scale:"),
    ("screens/results.py", "Results", ":material/table_chart:"),
    ("screens/classroom.py", "Class", ":material/groups:"),
)
FOR_ALL = {"Tag", "Trays", "Results", "Class"}
"""Pages of every tagger; on a server the others are the instructors'."""


def pages(who: Who | None) -> list[st.Page]:
    """Give the pages that somebody may open, before them the bare address, which opens the first.

    The first has an address of its own too, so that it can be loaded again. Pages that are not
    for them say so to whoever has their address.
    """
    found = [_page(*one, may=_may_open(who, one[1])) for one in PAGES]
    first = next(page for page, one in zip(found, PAGES, strict=True) if _may_open(who, one[1]))
    bare = st.Page(
        lambda: st.switch_page(first), title="Lastbite", url_path="first", default=True,
        visibility="hidden",
    )  # fmt: skip
    return [bare, *found]


def _may_open(who: Who | None, title: str) -> bool:
    return who is None or title in FOR_ALL or people.may(who, Act.CHANGE)


def _page(file: str, title: str, icon: str, *, may: bool) -> st.Page:
    return st.Page(
        file if may else not_yours,
        title=title,
        icon=icon,
        url_path=title.lower(),
        visibility="visible" if may else "hidden",
    )


def not_yours() -> None:
    """Say that a page is the instructors'."""
    st.info("This page is for instructors. Yours are Tag, Trays, Results and Class, above.")


st.set_page_config(page_title="Lastbite", page_icon=widgets.icon(), layout="wide")
here: Who | None = None
with widgets.faults():
    here = signin.here()
shown = pages(here)
page = st.navigation(shown, position="hidden" if here is None else "top")
if here is not None and page is shown[0]:
    page.run()
elif here is not None:
    with widgets.faults(), session.in_turn():
        signin.whose(here, page.title)
        page.run()
        signin.remember()
