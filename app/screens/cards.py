"""The Cards page: logs of species, cameras and clocks, scanning, cards, and files at fault."""

from pathlib import Path

import streamlit as st

from app import codereview, making, session, widgets, wording
from app import previews as words
from core.errors import CardError
from core.exports import tables
from core.logs import LogKind
from core.plural import many
from core.scan import ScanReport
from core.workspace import Workspace

TABS = ("Cards", "Species list", "Camera log", "Clock log", "Files with a problem")
ABOUT = {
    "Species list": "The animals and people that you may meet. Each has the **one key** that tags "
    "it; `forager` may feed from a tray, `other` is an animal that is not expected to, `person` "
    "is anybody who is not of your team.",
    "Camera log": "One line for each **placement**: one camera at one place for a stretch of time, "
    "with the trays that it watches.",
    "Clock log": "What a camera showed at a **known true time**, as when a phone was held before "
    "it. One line shifts its clock, two or more mend its drift. Leave it empty when the clocks "
    "were right.",
}
KINDS = {
    "Species list": LogKind.SPECIES,
    "Camera log": LogKind.CAMERAS,
    "Clock log": LogKind.CLOCKS,
}
RENEWED_S = 2.0  # how often the state of the previews is shown anew


def cards_page() -> None:
    """Draw the page."""
    workspace = session.workspace()
    st.title("Cards")
    top = st.container()
    widgets.messages()
    tabs = st.tabs(TABS, default=_first_tab(workspace), key="cards-tabs", on_change="rerun")
    for name, tab in zip(TABS, tabs, strict=True):
        if not tab.open:
            continue
        with tab, widgets.faults():
            if name in KINDS:
                widgets.log(workspace, KINDS[name], ABOUT[name])
            elif name == "Cards":
                scanning(workspace)
                listing(workspace)
                if workspace.cards():
                    codereview.line(workspace)
                    previews()
            else:
                files_with_a_problem(workspace)
    with top:
        widgets.guide(workspace)


def _first_tab(workspace: Workspace) -> str:
    if not workspace.species():
        return "Species list"
    return "Cards" if workspace.log_rows(LogKind.CAMERAS) else "Camera log"


# --- scanning --------------------------------------------------------------------------------


def scanning(workspace: Workspace) -> None:
    """Ask for a card folder and read it; nothing on the card is changed."""
    with st.container(border=True):
        st.subheader("Scan a card", anchor=False)
        left, middle, right = st.columns([4, 3, 2], vertical_alignment="bottom")
        folder = left.text_input(
            "Folder of the card, or of its copy",
            key="scan-folder",
            placeholder="/Volumes/CARD1 or D:\\cards\\SK-OPEN",
        )
        placement = middle.selectbox(
            "Placement whose card it is",
            [one.placement for one in workspace.placements()],
            index=None,
            key="scan-placement",
            accept_new_options=True,
            placeholder="Choose, or type a new name",
        )
        pressed = right.button("Scan", type="primary", key="scan", width="stretch")
        file_times = st.checkbox(
            "Date photos that carry no time by their file. They are marked; a copied file often "
            "has the time of the copying.",
            key="scan-file-times",
        )
        if pressed:
            with widgets.faults():
                scan(workspace, folder or "", placement or "", file_times=file_times)


def scan(workspace: Workspace, folder: str, placement: str, *, file_times: bool) -> None:
    """Scan a folder with a progress bar, and say what was found."""
    if not folder.strip():
        raise CardError("No folder is named. Write where the card's photos are.")
    bar = st.progress(0.0, "Reading photos")

    def told(done: int, total: int) -> None:
        bar.progress(min(done / max(total, 1), 1.0), f"Reading photos: {done} of {total}")

    report = workspace.scan(Path(folder.strip()), placement, file_times=file_times, progress=told)
    bar.empty()
    found(report)


def found(report: ScanReport) -> None:
    """Say what a scan found."""
    first, *more = wording.scan_report(report)
    st.success(wording.plain(first), icon=":material/check:")
    if report.unlogged:
        st.warning(wording.plain(report.unlogged), icon=":material/warning:")
    for line in more:
        if not line.startswith((" ", "!")):
            st.text(line)
    if report.problems:
        rows = [{"file": file, "problem": problem} for file, problem in report.problems]
        widgets.table(rows, alt="Files of this scan with a problem")


# --- cards -----------------------------------------------------------------------------------


def listing(workspace: Workspace) -> None:
    """List the cards, say which are not at hand, and offer to move or forget one."""
    cards = workspace.cards()
    if not cards:
        st.info("No card was scanned yet. Name its folder above.")
        return
    away = workspace.missing_originals()
    for placement, count in away.items():
        st.warning(
            wording.plain(
                f"{count} pictures of {placement} are not at hand: the card was taken out, or its "
                "folder was moved. Times, visits and tags are kept; put the card in, or scan the "
                "folder where it is now, to look at them."
            )
        )
    widgets.table(
        [
            {
                "placement": card.placement,
                "files": card.files,
                "photos": card.photos,
                "copies": card.copies,
                "with a problem": card.problems,
                "at hand": "yes" if Path(card.folder).is_dir() else "no",
                "scanned": wording.moment(card.scanned_at, workspace.zone),
                "folder": card.folder,
            }
            for card in cards
        ],
        alt="Cards that were scanned, with their files",
    )
    with st.expander("Move or forget a card", icon=":material/edit:"):
        names = {card.id: f"{card.placement}: {card.folder}" for card in cards}
        chosen = st.selectbox(
            "Card", list(names), format_func=lambda card: names.get(card, ""), key="card"
        )
        if chosen is not None:
            move, forget = st.columns(2, border=True)
            with move:
                move_card(workspace, chosen)
            with forget:
                forget_card(workspace, chosen)


def move_card(workspace: Workspace, card: int) -> None:
    """Put a card that was scanned under the wrong placement where it belongs, tags and all."""
    target = st.selectbox(
        "Move it, with its tags, to placement",
        [one.placement for one in workspace.placements()],
        index=None,
        accept_new_options=True,
        key=f"move-to-{card}",
        placeholder="Choose, or type a new name",
    )
    sure = st.checkbox("Yes, all photos of this card belong there", key=f"move-sure-{card}")
    if st.button("Move the card", key=f"move-{card}", disabled=not (target and sure)):
        with widgets.faults():
            workspace.move_card(card, target or "")
            session.say("good", f"The card is under placement {target} now.")
            st.rerun()


def forget_card(workspace: Workspace, card: int) -> None:
    """Take a card out of the study; where it has tags, say how many and ask once more."""
    st.markdown("Forget it: its photos leave the study, its **files stay** as they are.")
    sure = st.checkbox("Yes, forget this card", key=f"forget-sure-{card}")
    asked = session.kept("forget") == str(card)
    if st.button("Forget the card", key=f"forget-{card}", disabled=not sure):
        try:
            workspace.forget_card(card)
        except CardError as refusal:
            session.keep("forget", card)
            session.keep("forget-words", refusal)
            asked = True
        else:
            _forgot(0)
    if asked:
        st.warning(wording.plain(session.kept("forget-words")))
        if st.button("Forget it, and set those tags aside", key=f"forget-tags-{card}"):
            with widgets.faults():
                _forgot(workspace.forget_card(card, with_tags=True))


def _forgot(tags: int) -> None:
    session.keep("forget", None)
    session.say("good", f"The card was forgotten; {many(tags, 'tag was', 'tags were')} set aside.")
    st.rerun()


# --- previews --------------------------------------------------------------------------------


@st.fragment(run_every=RENEWED_S)
def previews() -> None:
    """Show how far the photos' previews have come, and let people pause or delete them."""
    maker = making.running()
    if maker is None:  # drawn without the server that makes them
        return
    with st.container(border=True):
        st.subheader("Previews", anchor=False)
        state = maker.state()
        st.progress(_share(state))
        st.text(words.now(state))
        if state.fault:
            st.error(wording.plain(state.fault), icon=":material/error:")
        if state.left or state.paused:
            _pausing(maker, paused=state.paused)
        with st.expander("Delete the previews", icon=":material/delete:"):
            st.markdown(
                "They are small copies of the photos and can be made again from the cards that are "
                "at hand. Photos of a card that is **not at hand cannot be looked at** after that."
            )
            asked = session.counter("previews")
            sure = st.checkbox("Yes, delete all previews", key=f"previews-sure-{asked}")
            st.button(
                "Delete them, and pause", key="previews-delete", disabled=not sure,
                on_click=_delete, args=(maker,),
            )  # fmt: skip


def _pausing(maker: making.Maker, *, paused: bool) -> None:
    if paused:
        icon = ":material/play_arrow:"
        st.button("Go on", key="previews-go-on", icon=icon, on_click=maker.go_on)
    else:
        st.button("Pause", key="previews-pause", icon=":material/pause:", on_click=maker.pause)


def _delete(maker: making.Maker) -> None:
    maker.clear()
    session.count_up("previews")


def _share(state: making.State) -> float:
    return 1.0 if not state.left else (state.made + state.damaged) / max(state.total, 1)


# --- files with a problem --------------------------------------------------------------------


def files_with_a_problem(workspace: Workspace) -> None:
    """List every file that has something wrong or strange, of all cards."""
    for placement in workspace.placements():
        fault = workspace.view(placement.placement).clock_fault
        if fault:
            st.error(wording.plain(fault))
    rows = [row for row in workspace.photo_rows() if row["problem"]]
    if not rows:
        st.info("No file has a problem.")
        return
    st.text(f"{len(rows)} files have something wrong or strange. They are kept and listed.")
    names = ("placement", "file", "problem", "camera_time", "time_source", "true_time")
    widgets.table(
        [{name: row[name] for name in names} for row in rows],
        alt="Files with a problem",
        columns=names,
    )
    st.download_button(
        "Download all files as CSV",
        lambda: "".join(tables.csv_text(tables.PHOTO_COLUMNS, workspace.photo_rows())),
        "photos.csv",
        "text/csv",
        on_click="ignore",
    )


cards_page()
