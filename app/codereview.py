"""Decide how proposals from codes stand on a page, each with its photo, for a person to decide."""

import html

import streamlit as st

from app import session, widgets, wording
from core.codebook import Open
from core.workspace import Workspace

MOST = 12  # proposals that are shown at a time
OUTLINE = "#d2403c"


def section(workspace: Workspace, placement: str) -> None:
    """Show what the codes in a placement's photos lead to, and let somebody accept or refuse."""
    book = workspace.codes
    st.subheader("Codes in the photos")
    state = book.state(placement)
    words = f"{state.looked_at} photos were looked at for codes, {state.with_codes} have one."
    if state.left:
        words += f" {state.left} are still to be looked at, which takes about half a second each."
    if state.away:
        words += f" {state.away} could not be opened: put the card in."
    st.text(words)
    if (state.left or state.away) and st.button("Look at them now", key=f"codes-{placement}"):
        with widgets.faults(), st.spinner("Looking for codes…", show_time=True):
            bar = st.progress(0.0)

            def told(done: int, of: int) -> None:
                bar.progress(done / max(of, 1), f"{done} of {of} photos")

            book.survey(placement, told, again=True)
            st.rerun()
    for wrong in book.contradictions(placement):
        st.warning(wording.plain(wrong.message), icon=":material/warning:")
    waiting = book.open(placement)
    for number, one in enumerate(waiting[:MOST]):
        with st.container(border=True):
            proposal(workspace, one, f"{placement}-{number}")
    if len(waiting) > MOST:
        st.text(f"… and {len(waiting) - MOST} more once these are decided.")
    decided(workspace, placement)


def proposal(workspace: Workspace, one: Open, key: str) -> None:
    """Show one proposal beside its photo, and keep what somebody decides."""
    picture, words = st.columns([2, 3], vertical_alignment="center")
    picture.html(marked(one))
    with words:
        st.markdown(f"**{wording.plain(one.words)}.**")
        st.text(f"Now: {one.now}.")
        yes, no = st.columns(2)
        if yes.button("Accept", key=f"code-yes-{key}", type="primary", width="stretch"):
            with widgets.faults():
                workspace.codes.accept(one, session.tagger() or widgets.SOMEBODY)
                session.say("good", f"{one.words}. You can take it back.")
                st.rerun()
        if no.button("Not so", key=f"code-no-{key}", width="stretch"):
            with widgets.faults():
                workspace.codes.refuse(one, session.tagger() or widgets.SOMEBODY)
                st.rerun()


def marked(one: Open) -> str:
    """Give the photo as HTML, with an outline round the code."""
    alt = html.escape(f"Photo with a code. {one.words}", quote=True)
    picture = (
        f'<img src="/photo/review/{one.photo}" alt="{alt}" loading="lazy" '
        'style="width:100%;border-radius:4px;display:block">'
    )
    if not one.corners:
        return picture
    points = " ".join(f"{x:.4f},{y:.4f}" for x, y in one.corners)
    outline = (
        '<svg viewBox="0 0 1 1" aria-hidden="true" '
        'style="position:absolute;left:0;top:0;width:100%;aspect-ratio:1;overflow:visible">'
        f'<polygon points="{points}" fill="none" stroke="{OUTLINE}" stroke-width="0.008"/></svg>'
    )
    return f'<div style="position:relative;overflow:hidden">{picture}{outline}</div>'


def decided(workspace: Workspace, placement: str) -> None:
    """List what was decided of this placement's codes; each may be taken back."""
    for one in workspace.codes.history(placement):
        if one.taken_back is not None:
            continue
        words, press = st.columns([5, 1], vertical_alignment="center")
        did = "accepted" if one.accepted else "refused"
        when = wording.moment(one.made_at, workspace.zone)
        words.text(f"{one.words}: {did} by {one.by}, {when}.")
        if press.button("Take back", key=f"code-back-{one.number}", width="stretch"):
            with widgets.faults():
                workspace.codes.take_back(one.number, session.tagger() or widgets.SOMEBODY)
                st.rerun()
