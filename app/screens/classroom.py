"""The Class page: how far taggers agree, what each can learn, who takes part, whose is what."""

import html
from collections.abc import Sequence

import streamlit as st

from app import agreeing, session, signin, widgets, wording
from core import people
from core.agreement import MixUp, Sheet
from core.classroom import Progress
from core.handout import MOST_TRAINING, Handout, Unit
from core.people import Role, SignIn, State, Who
from core.plural import many
from core.workspace import Workspace

FRAMES = 6
"""So many runs of one mix-up are shown."""
UNITS = {Unit.VISIT: "visit by visit", Unit.PLACEMENT: "placement by placement"}


def class_page() -> None:
    """Draw the page: all of it for an instructor, their own sheet for a tagger."""
    workspace = session.workspace()
    if workspace.settings.sign_in is SignIn.NAME:
        name, tick, _ = st.columns([2, 1, 4], vertical_alignment="center", gap="small")
        widgets.tagger(workspace, name, labelled=False)
        widgets.instructor(tick)
        workspace = session.workspace()
        signin.told(session.who())
    who = session.who()
    st.title("Class")
    widgets.messages()
    if who.role is not Role.INSTRUCTOR:
        own_sheet(workspace, who)
        return
    names = ("Agreement", "Sheets", "People", "Handing out")
    agree, learn, taking_part, handing = st.tabs(names, key="class-tabs", on_change="rerun")
    for tab, draw in (
        (agree, agreement), (learn, sheets), (taking_part, taking_part_of), (handing, handing_out),
    ):  # fmt: skip
        if tab.open:
            with tab, widgets.faults():
                draw(workspace)


# --- agreement -------------------------------------------------------------------------------


def agreement(workspace: Workspace) -> None:
    """Show how far taggers agree, over all, by species, and two by two."""
    found = workspace.people.agreements()
    species = workspace.species()
    if not found.pairs:
        st.info(
            "No visit was read by two taggers yet. Set `taggers_needed` to 2 in study.toml, and "
            "hand the visits out."
        )
        return
    st.markdown(
        "Visits that two or more taggers read; rulings are no reading. A rare species makes a "
        "kappa low however well two agree: read it beside the share and the table. Intervals are "
        f"95 %. Words after a number: {agreeing.SCHEME}; under "
        f"{agreeing.LEAST_FOR_A_WORD} visits there are none."
    )
    st.subheader("All taggers", anchor=False)
    lines = [agreeing.group_line(one, species) for one in (found.group, *found.species)]
    widgets.table(lines, alt="Agreement of all taggers, over whole answers and by species")
    told(agreeing.group_reasons((found.group, *found.species), species))
    st.subheader("Two by two", anchor=False)
    widgets.table(
        [agreeing.pair_line(one) for one in found.pairs], alt="Agreement of each two taggers"
    )
    at = st.selectbox(
        "Table of",
        range(len(found.pairs)),
        format_func=lambda at: f"{found.pairs[at].first} and {found.pairs[at].second}",
        key="pair",
    )
    pair = found.pairs[at or 0]
    widgets.table(
        agreeing.cross_table(pair, species),
        alt=f"What {pair.second} said when {pair.first} said what, in visits",
    )
    told(agreeing.reasons(pair))


def told(lines: Sequence[str]) -> None:
    """Show what does not fit into a table, under it."""
    if lines:
        st.text("\n".join(lines))


# --- sheets ----------------------------------------------------------------------------------


def sheets(workspace: Workspace) -> None:
    """Show an instructor any tagger's sheet."""
    names = people.in_order(one.tagger for one in workspace.people.sheets())
    if not names:
        st.info("Nobody has tagged anything yet.")
        return
    name = st.selectbox("Sheet of", names, key="sheet-of") or names[0]
    sheet(workspace, workspace.people.sheet(name))


def own_sheet(workspace: Workspace, who: Who) -> None:
    """Show a tagger their own sheet, over visits that are settled."""
    if not who.name:
        st.info("Type your name to see your sheet: what you mix up, with the photos.")
        return
    st.subheader("Your sheet", anchor=False)
    sheet(workspace, workspace.people.sheet(workspace.tagger(who.name)))


def sheet(workspace: Workspace, found: Sheet) -> None:
    """Show what somebody said where something else was settled, with the photos."""
    species = workspace.species()
    if not found.by_answer:
        st.info("None of the visits that were tagged under this name is settled yet.")
        return
    left, right = st.columns([2, 3], gap="medium")
    left.text(agreeing.right(found))
    with right:
        widgets.table(
            agreeing.sheet_lines(found, species), alt="How often the settled answer was given"
        )
    if not found.mix_ups:
        st.info(agreeing.nothing_mixed_up(found), icon=":material/check:")
    for one in found.mix_ups:
        with st.container(border=True):
            st.markdown(f"**{wording.plain(agreeing.mix_up(one, species))}**")
            frames(one)


def frames(one: MixUp) -> None:
    """Show the photos of a mix-up: of each run the first and the last."""
    pictures = [
        picture
        for placement, first, last in one.runs[:FRAMES]
        for picture in {(placement, first): None, (placement, last): None}
    ]
    st.html(
        '<div style="display:flex;flex-wrap:wrap;gap:0.4rem">'
        + "".join(_picture(placement, photo) for placement, photo in pictures)
        + "</div>"
    )
    more = len(one.runs) - FRAMES
    if more > 0:
        st.text(f"and {many(more, 'more run')}.")


def _picture(placement: str, photo: int) -> str:
    alt = html.escape(f"Photo {photo} of placement {placement}", quote=True)
    return (
        f'<a href="{session.photo_address("review", photo)}" target="_blank" title="{alt}">'
        f'<img src="{session.photo_address("strip", photo)}" alt="{alt}" loading="lazy" '
        'style="height:110px;border-radius:4px"></a>'
    )


# --- people ----------------------------------------------------------------------------------


def taking_part_of(workspace: Workspace) -> None:
    """Show who takes part, and let an instructor add, change and take out people."""
    by_name = {one.name: one for one in workspace.people.all()}
    listed = [by_name[name] for name in people.in_order(by_name)]
    counts = {one.name: one for one in workspace.people.progress()}
    widgets.table(
        [
            {
                "name": one.name,
                "role": str(one.role),
                "takes part": str(one.state),
                "visits read": counts[one.name].read if one.name in counts else 0,
                "given, left to tag": _left(counts.get(one.name)),
                "account": one.account,
            }
            for one in listed
        ],
        alt="The people of this study",
    )
    add, change = st.columns(2, border=True)
    with add, widgets.faults():
        adding(workspace)
    with change, widgets.faults():
        changing(workspace, [one.name for one in listed])
    if workspace.settings.sign_in is SignIn.CODE:
        codes(workspace)


def _left(one: Progress | None) -> str:
    return "" if one is None else f"{one.given}, {one.left}"


def adding(workspace: Workspace) -> None:
    """Ask for somebody new."""
    with st.form("add-person", clear_on_submit=True, border=False):
        name = st.text_input("Name of somebody new", key="new-name", max_chars=200)
        role = st.selectbox("Role", list(Role), key="new-role")
        if st.form_submit_button("Put on the list", key="add-person-pressed"):
            new = workspace.people.add(name, role or Role.TAGGER)
            session.say("good", f"{new.name} is on the list.")
            st.rerun()


def changing(workspace: Workspace, names: Sequence[str]) -> None:
    """Ask whose role or part changes; nobody is ever deleted, and tags stay."""
    name = st.selectbox("Somebody on the list", names, key="person", index=None)
    deeds = {
        "Let in, or back": (None, State.ACTIVE),
        "Take out: their tags stay, their share is handed on": (None, State.LEFT),
        "Make an instructor": (Role.INSTRUCTOR, None),
        "Make a tagger": (Role.TAGGER, None),
    }
    deed = st.radio("What changes", list(deeds), key="person-deed")
    waiting = [one.name for one in workspace.people.all() if one.state is State.WAITING]
    if waiting and st.button(f"Let in all {len(waiting)} who wait", key="let-in-all"):
        for one in waiting:
            workspace.people.change(one, state=State.ACTIVE)
        session.say("good", f"{many(len(waiting), 'person was', 'people were')} let in.")
        st.rerun()
    if st.button("Do it", key="change-person", disabled=name is None) and name and deed:
        role, state = deeds[deed]
        workspace.people.change(name, role=role, state=state)
        session.say("good", f"{name}: {deed.split(':')[0].lower()}. Done.")
        st.rerun()


def codes(workspace: Workspace) -> None:
    """Ask for another class code; whoever is signed in has to sign in again."""
    with st.form("codes", clear_on_submit=True):
        role = st.selectbox(
            "Code of", list(Role), key="code-role", format_func=lambda one: f"{one}s"
        )
        code = st.text_input("New code", type="password", key="new-code", max_chars=200)
        if st.form_submit_button("Set it, and sign everybody out", key="set-code"):
            workspace.people.set_code(role or Role.TAGGER, code)
            st.rerun()


# --- handing out -----------------------------------------------------------------------------


def handing_out(workspace: Workspace) -> None:
    """Ask how visits are handed out, and show how far everybody is."""
    how = workspace.people.how_handed_out()
    needed = workspace.settings.taggers_needed
    st.markdown(
        f"Every visit that is not settled goes to **{needed}** of the taggers who take part "
        "(`taggers_needed` in study.toml), evenly. Each finds theirs on the Tag page, under "
        "**my share**. What was begun stays with whoever began it; when somebody comes or leaves, "
        "as few visits as possible change hands."
    )
    unit, training, press = st.columns([2, 2, 1], vertical_alignment="bottom")
    chosen = unit.selectbox(
        "Hand out", list(Unit), key="unit", format_func=lambda one: UNITS[one],
        index=list(Unit).index(how.unit) if how else 0,
    )  # fmt: skip
    percent = training.slider(
        "Of these, ruled visits to learn from (%)",
        0, round(MOST_TRAINING * 100), round(how.training * 100) if how else 0, step=5,
        key="training",
        help="Visits that an instructor has ruled are mixed in. They look like any other; once "
        "tagged, the Tag page says what they were.",
    )  # fmt: skip
    if press.button("Hand out", type="primary", key="hand-out", width="stretch"):
        given = workspace.people.hand_out(
            Handout(chosen or Unit.VISIT, percent / 100), session.tagger()
        )
        session.say("good", f"Handed out: {many(given, 'share')}.")
        st.rerun()
    progress = [one for one in workspace.people.progress() if one.given]
    if progress:
        widgets.table(
            [
                {
                    "tagger": one.name,
                    "given": one.given,
                    "of these to learn from": one.training,
                    "left to tag": one.left,
                }
                for one in progress
            ],
            alt="What everybody was given, and how far they are",
        )


class_page()
