"""Decide how proposals from codes stand on a page, each with its photo, for a person to decide."""

import streamlit as st

from app import codesheet, codewords, making, session, widgets, wording
from core.codebook import Waiting
from core.codes import Contradiction, HandlerProposal, Offer
from core.errors import PeopleError
from core.model import TrayRole
from core.workspace import Workspace

MOST = 12  # proposals that are shown at a time
MOST_PHOTOS = 3  # beside a contradiction
RENEWED_S = 2.0  # how often the state of a survey at work is shown anew


def section(workspace: Workspace, placement: str) -> None:
    """Show what the codes in a placement's photos lead to, and let somebody accept or refuse."""
    st.subheader("Codes in the photos")
    to_show(workspace)
    survey(workspace, placement)
    waiting = workspace.codes.waiting(placement)
    for number, one in enumerate(waiting.contradictions):
        with st.container(border=True):
            contradiction(workspace, placement, one, waiting, f"{placement}-{number}")
    for number, offer in enumerate(waiting.offers[:MOST]):
        with st.container(border=True):
            proposal(workspace, offer, waiting, f"{placement}-{number}")
    if len(waiting.offers) > MOST:
        st.text(f"{len(waiting.offers) - MOST} more are shown once these are decided.")
    decided(workspace, placement)


def to_show(workspace: Workspace) -> None:
    """Offer what is shown to the cameras: the clock sheet for a phone, the tray cards to print."""
    with st.expander("Show codes to your cameras: a clock on a phone, cards to print"):
        st.markdown(
            "Hold a phone with the **clock sheet**, and the **tray card**, before the camera at "
            "set-out and at pick-up. Copy the sheet to the phone: it needs no network there. "
            "Its code is only as true as the phone's clock."
        )
        look, sheet, cards = st.columns(3)
        look.link_button("See the clock sheet", "/clock", width="stretch")
        sheet.download_button(
            "Clock sheet for a phone", codesheet.page, "clock.html", "text/html",
            on_click="ignore", width="stretch", icon=":material/download:",
        )  # fmt: skip
        cards.download_button(
            "Tray cards to print", lambda: workspace.tray_cards().pdf, "cards.pdf",
            "application/pdf", on_click="ignore", width="stretch", icon=":material/download:",
            disabled=all(one.role is not TrayRole.STUDY for one in workspace.trays()),
        )  # fmt: skip


# --- the survey ------------------------------------------------------------------------------


def survey(workspace: Workspace, placement: str) -> None:
    """Show how far the survey has come, anew while it is at work, and let somebody start it."""
    maker = making.running()
    busy = maker is not None and workspace.codes.state(placement).left > 0
    drawn = st.fragment(_survey, run_every=RENEWED_S if busy else None)
    drawn(workspace, placement, busy)


def _survey(workspace: Workspace, placement: str, busy: bool) -> None:
    state, maker = workspace.codes.state(placement), making.running()
    if busy and not state.left:
        st.rerun()  # what was found is shown
    away = placement in workspace.missing_originals()
    at_work = maker is not None and maker.looks_for_codes()
    if state.left and state.due:
        st.progress((state.due - state.left) / state.due)
    st.text(codewords.progress(state, at_work=at_work, away=away))
    may_start = state.left and not away and not at_work
    if may_start and st.button(
        "Look for codes now", key=f"codes-{placement}", icon=":material/search:"
    ):
        _look(workspace, placement, maker)


def _look(workspace: Workspace, placement: str, maker: making.Maker | None) -> None:
    """Have this placement looked at next, behind the page; where nothing runs behind it, here."""
    if maker is not None:
        maker.look_for_codes(placement)
        st.text("They are looked at once no previews are missing.")
        return
    bar = st.progress(0.0)

    def told(done: int, of: int) -> None:
        bar.progress(done / max(of, 1), f"{done} of {of} photos")

    with widgets.faults():
        workspace.codes.survey(placement, told)
        st.rerun()


# --- what waits ------------------------------------------------------------------------------


def contradiction(
    workspace: Workspace, placement: str, one: Contradiction, waiting: Waiting, key: str
) -> None:
    """Show what cannot all be right, with the photos that say it."""
    st.warning(wording.plain(one.message), icon=":material/warning:")
    cells = st.columns(MOST_PHOTOS)
    for cell, photo in zip(cells, one.photos, strict=False):
        alt = "A photo that says so. It opens whole."
        cell.html(codewords.marked(photo, waiting.outlines(photo), alt))
    if len(one.photos) > MOST_PHOTOS:
        st.text(f"{len(one.photos) - MOST_PHOTOS} more photos show it.")
    if st.button("Put it aside: I have seen to it", key=f"code-aside-{key}"):
        with widgets.faults():
            workspace.codes.put_aside(placement, one, _who())
            st.rerun()


def proposal(workspace: Workspace, offer: Offer, waiting: Waiting, key: str) -> None:
    """Show one proposal beside its photo, what it would change, and keep what is decided."""
    picture, words = st.columns([1, 2], vertical_alignment="center")
    alt = f"{offer.words}. The photo opens whole."
    picture.html(codewords.marked(offer.photo, waiting.outlines(offer.photo), alt))
    with words:
        st.markdown(f"**{codewords.title(offer)}**  \n{wording.plain(offer.words)}.")
        st.text(f"Now: {offer.now}.\nIf accepted: {offer.then}.")
        if any(offer.photo in one.photos for one in waiting.contradictions):
            st.text("A contradiction above is about this photo: see to that first.")
        yes, no = st.columns(2)
        if yes.button("Accept", key=f"code-yes-{key}", type="primary", width="stretch"):
            with widgets.faults():
                workspace.codes.accept(offer, _tagger(offer))
                session.say("good", f"{offer.words}. You can take it back below.")
                st.rerun()
        if no.button("Not this", key=f"code-no-{key}", width="stretch"):
            with widgets.faults():
                workspace.codes.refuse(offer, _who())
                st.rerun()


def decided(workspace: Workspace, placement: str) -> None:
    """List what was decided of this placement's codes; each may be taken back."""
    made = workspace.codes.history(placement)
    if not made:
        return
    standing = sum(one.taken_back is None for one in made)
    with st.expander(f"Decided about codes: {standing}", expanded=standing > 0):
        for one in reversed(made):
            words, press = st.columns([5, 1], vertical_alignment="center")
            words.text(codewords.decided(one, workspace.zone))
            if one.taken_back is None and press.button(
                "Take back", key=f"code-back-{one.number}", width="stretch"
            ):
                with widgets.faults():
                    workspace.codes.take_back(one.number, _who())
                    st.rerun()


def line(workspace: Workspace) -> None:
    """Say in one line what waits in the codes of all placements, and lead to it."""
    names = [one.placement for one in workspace.placements()]
    counts = {name: workspace.codes.waiting(name) for name in names}
    said = codewords.waits(counts)
    if said:
        words, link = st.columns([5, 1], vertical_alignment="center")
        words.info(wording.plain(said), icon=":material/qr_code_2:")
        link.page_link("screens/clocks.py", label="Clocks page", icon=":material/arrow_forward:")


def _who() -> str:
    return session.tagger() or widgets.SOMEBODY


def _tagger(offer: Offer) -> str:
    """Name who accepts; a tag needs its tagger's own name."""
    if isinstance(offer.proposal, HandlerProposal) and not session.tagger():
        raise PeopleError("A tag needs a tagger. Say your name at the top of the page first.")
    return _who()
