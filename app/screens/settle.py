"""The Settle page: what waits for the instructor, what hangs on it, and one key to rule."""

import streamlit as st

from app import session, viewer, widgets, wording
from core import people
from core.model import Where
from core.people import Act, SignIn
from core.workspace import Workspace


def settle_page() -> None:
    """Draw the page for an instructor; others are told whose it is."""
    workspace = session.workspace()
    if workspace.settings.sign_in is SignIn.NAME:
        _who(workspace)
    else:
        session.keep("instructor", "yes")
    widgets.messages()
    who = session.who()
    if not people.may(who, Act.RULE):
        st.info(
            "Here an instructor settles what taggers see differently. Type your name and tick "
            "**Instructor** to rule."
            if workspace.settings.sign_in is SignIn.NAME
            else "Only an instructor rules."
        )
        return
    species = workspace.species()
    viewer.show_settle(
        {
            "study": viewer.study_name(session.study().ticket_secret()),
            "ticket": session.ticket(who),
            "who": who.name,
            "species": [{"key": one.key, "name": one.name} for one in species.values()],
            "where": [[str(where), wording.WHERE_WORDS[where]] for where in Where],
        }
    )


def _who(workspace: Workspace) -> None:
    """Ask who rules, as the Tag page asks who tags."""
    name, tick, _ = st.columns([2, 1, 4], vertical_alignment="center", gap="small")
    widgets.tagger(workspace, name, labelled=False)
    widgets.instructor(tick)


settle_page()
