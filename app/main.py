"""Decide which pages there are, in which order, and for whom; everything on them is in screens."""

import streamlit as st

from app import signin, widgets
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
    """Give the pages that somebody may open, the first of which opens by itself."""
    shown = [
        (file, title, icon)
        for file, title, icon in PAGES
        if who is None or title in FOR_ALL or people.may(who, Act.CHANGE)
    ]
    return [
        st.Page(file, title=title, icon=icon, url_path=title.lower(), default=title == shown[0][1])
        for file, title, icon in shown
    ]


st.set_page_config(page_title="Lastbite", page_icon=widgets.icon(), layout="wide")
here: Who | None = None
with widgets.faults():
    here = signin.here()
page = st.navigation(pages(here), position="hidden" if here is None else "top")
if here is not None:
    with widgets.faults():
        signin.whose(here, page.title)
        page.run()
