"""Decide which pages there are and in which order; everything on them is in screens."""

import streamlit as st

from app import widgets

PAGES = (
    ("screens/cards.py", "Cards", ":material/sd_card:"),
    ("screens/tag.py", "Tag", ":material/visibility:"),
    ("screens/trays.py", "Trays", ":material/scale:"),
    ("screens/results.py", "Results", ":material/table_chart:"),
)

st.set_page_config(page_title="Lastbite", page_icon=widgets.icon(), layout="wide")
page = st.navigation(
    [
        st.Page(file, title=title, icon=icon, url_path=title.lower(), default=title == "Cards")
        for file, title, icon in PAGES
    ],
    position="top",
)
with widgets.faults():
    page.run()
