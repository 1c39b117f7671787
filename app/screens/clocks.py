"""The Clocks page: what cameras showed against true time, what speaks against it, who decided."""

from collections.abc import Sequence
from typing import cast

import streamlit as st

from app import clockline, clockwords, codereview, picker, session, widgets, wording
from app.clockline import Drawn
from app.picker import Pick
from core.clockfaults import ClockFinding, Proposal
from core.clockfaults.words import photos
from core.logs import LogKind
from core.model import ClockCheck, Photo, PhotoKind, Placement, TrayDeployment
from core.people import SignIn
from core.workspace import Workspace

ROWS = 6  # placements that are drawn at a time
ENDS = 4  # photos from each end of a card, where people hold up a watch
MOST_PICKS = 16
PROPOSALS = 4  # that are drawn at a time
ABOUT = (
    "One line for each time that somebody compared a camera's clock with the **true time**. One "
    "check a placement shifts its clock, two or more correct its drift."
)


def clocks_page() -> None:
    """Draw the page."""
    workspace = session.workspace()
    title, name = st.columns([5, 2], vertical_alignment="bottom")
    title.title("Clocks")
    if workspace.settings.sign_in is SignIn.NAME:
        widgets.tagger(workspace, name)
    top = st.container()
    widgets.messages()
    tabs = ["Clocks", "Clock log"]
    clocks, log = st.tabs(tabs, key="clocks-tabs", on_change="rerun")
    if log.open:
        with log, widgets.faults():
            widgets.log(workspace, LogKind.CLOCKS, ABOUT)
    if clocks.open:
        with clocks, widgets.faults():
            placements(workspace)
    with top:
        widgets.guide(workspace)


def placements(workspace: Workspace) -> None:
    """Show every placement's clock in a table, some drawn, and one of them in full."""
    with_photos = {card.placement for card in workspace.cards()}
    places = [one for one in workspace.placements() if one.placement in with_photos]
    if not places:
        st.info("There are no photos yet. Scan a card on the Cards page.")
        return
    found = _findings(workspace, places)
    places.sort(key=lambda one: _badness(found[one.placement]))
    wrong = [one for one in places if found[one.placement]]
    if wrong:
        st.warning(
            f"The clocks of {len(wrong)} of {len(places)} placements need a decision. Nothing is "
            "changed until somebody accepts it.",
            icon=":material/schedule:",
        )
    else:
        st.success("Nothing speaks against any clock.", icon=":material/check:")
    names = [one.placement for one in places]
    at = session.kept("clock", names[0])
    name = st.selectbox(
        "Placement", names, index=names.index(at) if at in names else 0, key="clock",
        format_func=lambda one: f"{one}: {clockwords.state(found[one])}",
    )  # fmt: skip
    session.keep("clock", name)
    one_placement(workspace, name, found[name])
    st.subheader("All placements")
    every(workspace, places, found)


def _findings(workspace: Workspace, places: Sequence[Placement]) -> dict[str, list[ClockFinding]]:
    """Ask for the findings of each placement; only the first time takes a while."""
    with st.spinner("Looking at every clock…", show_time=True):
        return {one.placement: workspace.clocks.findings(one.placement) for one in places}


def _badness(found: Sequence[ClockFinding]) -> tuple[bool, bool, int]:
    """Give the place in a list that begins with what needs a decision most."""
    chosen = any(one.chosen is not None for one in found)
    return not found, not chosen, -sum(one.photos for one in found)


def every(
    workspace: Workspace, places: Sequence[Placement], found: dict[str, list[ClockFinding]]
) -> None:
    """Draw placements on one axis, a page at a time, and list them all."""
    pages = max(1, -(-len(places) // ROWS))
    number = 1
    if pages > 1:
        number = st.number_input("Page", 1, pages, key="clocks-page", help=f"of {pages}")
    some = places[(number - 1) * ROWS : number * ROWS]
    trays = workspace.trays()
    drawn = [_drawn(workspace, one.placement, found[one.placement], trays) for one in some]
    draw(workspace, drawn)
    rows = [
        clockwords.placement_line(
            one, found[one.placement], len(workspace.base(one.placement).ordered)
        )
        for one in places
    ]
    widgets.table(rows, alt="Every placement and how its clock stands", narrow=["photos"])


def _drawn(
    workspace: Workspace,
    name: str,
    found: Sequence[ClockFinding],
    trays: Sequence[TrayDeployment],
    *,
    whole: bool = False,
) -> Drawn:
    """Collect what is drawn of a placement; `whole` with every proposal, else where one is best."""
    lanes = workspace.clocks.lanes(name)
    shown = [
        proposal
        for one in found
        for proposal in (one.proposals if whole else filter(None, [one.chosen]))
        if proposal.corrections
    ][: PROPOSALS if whole else 1]
    return Drawn(
        lanes,
        [one for one in trays if one.tray in lanes.placement.trays],
        [workspace.clocks.suppose(name, proposal).times for proposal in shown],
        {str(one.kind): workspace.clocks.about(one) for one in found},
    )


def draw(workspace: Workspace, drawn: Sequence[Drawn]) -> None:
    """Draw placements on one axis."""
    st.altair_chart(
        clockline.chart(drawn, workspace.zone, dark=session.dark()),
        width="stretch",
        alt=clockline.in_words(drawn, workspace.zone),
    )
    st.text(clockline.legend(drawn))


# --- one placement ---------------------------------------------------------------------------


def one_placement(workspace: Workspace, name: str, found: Sequence[ClockFinding]) -> None:
    """Show one placement: its clock drawn, its findings, its checks, what was decided before."""
    draw(workspace, [_drawn(workspace, name, found, workspace.trays(), whole=True)])
    fault = workspace.base(name).clock_fault
    if fault:
        st.error(wording.plain(fault), icon=":material/error:")
    if not found:
        st.text(f"{name}: {clockwords.RIGHT}.")
    for number, finding in enumerate(found):
        with st.container(border=True):
            show_finding(workspace, finding, f"{name}-{number}")
    history(workspace, name)
    codereview.section(workspace, name)
    check_from_photo(workspace, name)


def show_finding(workspace: Workspace, finding: ClockFinding, key: str) -> None:
    """Show what was seen, the photos it is about, and each way to put it right."""
    st.subheader(wording.plain(str(finding.kind)).capitalize())
    st.markdown(wording.plain(finding.saw))
    st.text(f"{photos(finding.photos)}. {clockwords.SURE[finding.confidence]}")
    _ends(workspace, finding)
    st.markdown(f"**Look first.** {wording.plain(finding.look_at)}")
    if len(finding.proposals) > 1:
        st.markdown("Several ways explain the photos equally well. Choose one, or none.")
    for number, proposal in enumerate(finding.proposals, start=1):
        which = f" {number}" if len(finding.proposals) > 1 else ""
        show_proposal(workspace, finding, proposal, which, f"{key}-{number - 1}")
    if not finding.proposals:
        st.text("Nothing is proposed: put the log right, or enter a clock check below.")


def _ends(workspace: Workspace, finding: ClockFinding) -> None:
    """Show the first and last photo that a finding is about."""
    ends = [finding.first_photo, finding.last_photo]
    photos = workspace.base(finding.placement).timed.photos
    known = {photo.id: photo for photo in photos if photo.is_photo}
    dated = sorted(
        (photo for photo in known.values() if photo.camera_time is not None),
        key=lambda one: one.file,
    )
    if ends == [None, None] and dated:
        ends = [dated[0].id, dated[-1].id]
    cells = st.columns(4)
    for cell, (end, word) in zip(cells, zip(ends, ("First", "Last"), strict=True), strict=False):
        photo = known.get(end or 0)
        if photo is not None:
            words = f"{word}: {photo.file.rsplit('/', 1)[-1]}, camera showed {photo.camera_time}"
            cell.html(_opens(photo, widgets.thumb(photo, f"{words}. Opens whole.", height="110px")))
            cell.text(words)


def _opens(photo: Photo, picture: str) -> str:
    """Let a picture open the whole photo beside the page."""
    address = session.photo_address("original", photo.id)
    return f'<a href="{address}" target="_blank" rel="noopener">{picture}</a>'


def show_proposal(
    workspace: Workspace, finding: ClockFinding, proposal: Proposal, which: str, key: str
) -> None:
    """Show one way to put a clock right, what it would change, and let somebody accept it."""
    st.markdown(f"**Proposed{which}: {wording.plain(proposal.words)}**")
    evidence = clockwords.evidence(proposal)
    if evidence:
        st.text(f"It {evidence}.")
    changes = workspace.clocks.suppose(finding.placement, proposal).changes
    if changes:
        many = "1 tray" if len(changes) == 1 else f"{len(changes)} trays"
        with st.expander(f"What would change: {many}", expanded=len(changes) <= ROWS):
            for one in changes:
                st.text(str(one))
    else:
        st.text("No tray's outcome would change.")
    if not proposal.corrections:
        st.text("This is put right in the log, not at the clock.")
        return
    why, press = st.columns([3, 1], vertical_alignment="bottom")
    because = why.text_input(
        "Why (what you saw)", key=f"why-{key}", placeholder="the watch in the first photo"
    )
    if press.button("Accept", key=f"accept-{key}", type="primary", width="stretch"):
        with widgets.faults():
            workspace.clocks.accept(proposal, session.tagger(), because)
            session.say("good", f"{finding.placement}: {proposal.words}. You can take it back.")
            st.rerun()


def history(workspace: Workspace, name: str) -> None:
    """List what was accepted and taken back, and let it be taken back."""
    made = workspace.clocks.history(name)
    if not made:
        return
    st.subheader("What was decided")
    for one in made:
        words, press = st.columns([5, 1], vertical_alignment="center")
        words.text(clockwords.correction(one, workspace.zone))
        if one.taken_back is None and press.button(
            "Take back", key=f"back-{one.number}", width="stretch"
        ):
            together = [
                other.number
                for other in made
                if other.made_at == one.made_at and other.taken_back is None
            ]
            with widgets.faults():
                workspace.clocks.take_back(together, session.tagger())
                session.say("good", f"{name}: the correction was taken back.")
                st.rerun()


# --- a clock check from a photo --------------------------------------------------------------


def check_from_photo(workspace: Workspace, name: str) -> None:
    """Let somebody choose the photo of a watch and type what it shows."""
    st.subheader("A clock check from a photo")
    checks(workspace, name)
    photos = [p for p in workspace.view(name).photos if p.is_photo and p.camera_time is not None]
    if not photos:
        st.text("No photo of this placement has a time.")
        return
    st.markdown(
        "Choose a photo in which a watch or a phone shows the true time. People hold one up "
        "when they set out and pick up, so those photos stand first."
    )
    chosen = _choose(workspace, name, photos)
    if chosen is None:
        return
    picture, ask = st.columns([3, 2])
    alt = f"{chosen.file}, camera showed {chosen.camera_time}. Opens the whole photo."
    picture.html(_opens(chosen, widgets.thumb(chosen, alt, height="460px", size="review")))
    with ask:
        st.text(f"{chosen.file}\nThe camera showed {chosen.camera_time}.\nThe picture opens whole.")
        typed = st.text_input(
            f"The true time that the watch shows (time in {workspace.zone.key})",
            key=f"watch-{chosen.id}",
            placeholder="18:02:30 or 2026-03-14 18:02:30",
        )
        if typed.strip():
            with widgets.faults():
                check = workspace.clocks.read_check(name, chosen.id, typed)
                st.text(clockwords.moved(chosen, check, workspace.zone))
                if st.button("Keep this clock check", key=f"keep-{chosen.id}", type="primary"):
                    workspace.clocks.add_check(check)
                    session.say("good", f"{name}: {clockwords.check(check, workspace.zone)}")
                    st.rerun()


def _choose(workspace: Workspace, name: str, photos: Sequence[Photo]) -> Photo | None:
    """Lay out the photos in which a watch is likely, or any one by its file."""
    ordered = sorted(photos, key=lambda one: one.file)
    likely = [*ordered[:ENDS], *ordered[-ENDS:]]
    likely += [one for one in ordered if one.kind is PhotoKind.HANDLER]
    likely = list({one.id: one for one in likely}.values())[:MOST_PICKS]
    known = {one.id: one for one in photos}
    by_file = {f"{one.file}, camera showed {one.camera_time}": one.id for one in ordered}
    at = session.held(f"watch-{name}")
    chosen = known.get(cast("int", at)) if at is not None else None
    picks = [
        Pick(
            one.id,
            f"{one.file.rsplit('/', 1)[-1]}\n{one.camera_time}",
            wording.photo_alt(
                one, place, len(likely), [], workspace.zone, whole="the photos to choose from"
            ),
        )
        for place, one in enumerate(likely, start=1)
    ]
    label = "Photos in which a watch is likely"
    picked = picker.choose(picks, chosen.id if chosen else None, label=label, key=f"picks-{name}")
    other = picker.by_name(list(by_file), key=f"file-{name}")
    now = picked or (by_file[other] if other and other != session.held(f"other-{name}") else None)
    session.hold(f"other-{name}", other)
    if now is not None and now in known and known[now] is not chosen:
        session.hold(f"watch-{name}", now)
        st.rerun()
    return chosen


def checks(workspace: Workspace, name: str) -> None:
    """List the clock checks of a placement; each may be removed, and that undone."""
    for number, one in enumerate(workspace.clocks.checks(name)):
        words, press = st.columns([5, 1], vertical_alignment="center")
        words.text(clockwords.check(one, workspace.zone))
        if press.button("Remove", key=f"remove-{name}-{number}", width="stretch"):
            with widgets.faults():
                workspace.clocks.remove_check(one)
                session.hold("removed-check", one)
                session.say("good", f"{name}: the clock check was removed.")
                st.rerun()
    gone = session.held("removed-check")
    if isinstance(gone, ClockCheck) and gone.placement == name:
        words, press = st.columns([5, 1], vertical_alignment="center")
        words.text(f"Removed: {clockwords.check(gone, workspace.zone)}")
        if press.button("Put it back", key=f"again-{name}", width="stretch"):
            with widgets.faults():
                workspace.clocks.add_check(gone)
                session.hold("removed-check", None)
                st.rerun()


clocks_page()
