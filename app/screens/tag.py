"""The Tag page: one visit after another, who it was, where, and what was said before."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from app import presses, review, session, widgets, wording
from app.review import Show, Turn
from core.model import ANSWERS_WITHOUT_SPECIES, Species, Tag, Where
from core.workspace import PlacementView, Workspace


@dataclass(frozen=True, slots=True)
class Desk:
    """All that the page is drawn from."""

    workspace: Workspace
    view: PlacementView
    tagger: str
    instructor: bool
    show: Show
    listed: Sequence[Turn]

    def every(self) -> list[Turn]:
        """Give all visits of the placement."""
        return self.turns(Show.ALL)

    def turns(self, show: Show) -> list[Turn]:
        """Give the runs of one list."""
        return review.turns(self.view, show, self.tagger, self.workspace.settings.gap)


def tag_page() -> None:
    """Draw the page."""
    workspace = session.workspace()
    names = list(dict.fromkeys(card.placement for card in workspace.cards()))
    if not names:
        st.title("Tag")
        widgets.guide(workspace)
        st.info("There are no photos yet. Scan a card on the Cards page.")
        return
    if not workspace.species():
        widgets.guide(workspace)
    desk = choices(workspace, names)
    turn = on_screen(desk)
    if turn is None:
        nothing_left(desk)
        return
    left, right = st.columns([5, 4], gap="medium")
    with left, st.container(gap="xsmall"):
        looking(desk, turn)
    with right, st.container(gap="xsmall"):
        saying(desk, turn)


# --- what is shown ---------------------------------------------------------------------------


def choices(workspace: Workspace, names: list[str]) -> Desk:
    """Ask who tags, which placement, and which visits."""
    who, where, which, role = st.columns([3, 3, 4, 2], vertical_alignment="bottom")
    start = session.kept("placement", names[0])
    placement = where.selectbox(
        "Placement", names, index=names.index(start) if start in names else 0, key="placement"
    )
    session.keep("placement", placement)
    view = workspace.view(placement)
    instructor = role.checkbox(
        "Instructor",
        value=session.kept("instructor") == "yes",
        key="instructor",
        help="Shows what everybody said, and makes your tags rulings: they settle the visit.",
    )
    session.keep("instructor", "yes" if instructor else "no")
    known = sorted({tag.tagger for tag in view.tags} | ({session.tagger()} - {""}))
    tagger = who.selectbox(
        "Your name",
        known,
        index=known.index(session.tagger()) if session.tagger() in known else None,
        accept_new_options=True,
        key="tagger",
        placeholder="Type your name",
    )
    session.set_tagger(_same_spelling(tagger or "", known))
    shows = list(Show)
    kept = session.kept("show", Show.MINE)
    show = which.selectbox(
        "Show", shows, index=shows.index(Show(kept)) if kept in shows else 0, key="show"
    )
    session.keep("show", show)
    listed = review.turns(view, show, session.tagger(), workspace.settings.gap)
    return Desk(workspace, view, session.tagger(), instructor, show, listed)


def _same_spelling(name: str, known: Sequence[str]) -> str:
    """Give the spelling that is known: nomsa and Nomsa are one tagger."""
    bare = " ".join(name.split())
    return next((one for one in known if one.casefold() == bare.casefold()), bare)


def on_screen(desk: Desk) -> Turn | None:
    """Give the run to be shown: where the tagger went, else the first of the list."""
    place = session.place()
    if place and place[0] == desk.view.placement.placement:
        gap = desk.workspace.settings.gap
        there = review.find(desk.view, place[1], desk.tagger, gap)
        chosen = session.kept("listed") == desk.show
        if there and (chosen or review.place_of(desk.listed, there) is not None):
            session.keep("listed", desk.show)
            return there
    session.keep("listed", desk.show)
    return desk.listed[0] if desk.listed else None


def nothing_left(desk: Desk) -> None:
    """Say that a list is empty, and offer what remains."""
    widgets.messages()
    words = {
        Show.MINE: "You have tagged every visit of this placement.",
        Show.OPEN: "No visit of this placement waits for anybody.",
        Show.ALL: "The photos of this placement make no visit.",
        Show.OTHER: "There are no handler or time-lapse photos here.",
        Show.UNTIMED: "Every photo of this placement has a time.",
    }
    st.success(wording.plain(f"{words[desk.show]} Choose another placement or list above."))
    if desk.view.clock_fault:
        st.error(wording.plain(desk.view.clock_fault))
    undoing(desk)


# --- looking ---------------------------------------------------------------------------------


def looking(desk: Desk, turn: Turn) -> None:
    """Show one photo large and the others of the run below it."""
    at = position(turn)
    trays, zone = desk.view.placement.trays, desk.workspace.zone
    whole = presses.name_of_run(turn)

    def alt(index: int) -> str:
        return wording.photo_alt(
            turn.photos[index], index + 1, len(turn.photos), trays, zone, whole=whole
        )

    following = review.after(desk.listed, turn)
    ahead = [*turn.photos[at + 1 : at + 2], *(following.photos[:1] if following else ())]
    widgets.picture(turn.photos[at], alt(at), height="min(52vh, 44vw)", ahead=ahead)
    strip(turn, at, [alt(index) for index in range(len(turn.photos))])
    photo = turn.photos[at]
    shown = "no time" if photo.camera_time is None else str(photo.camera_time)
    st.text(f"{photo.file}: the camera showed {shown}")
    if photo.problem or photo.clock_flag:
        st.warning(wording.plain("; ".join(filter(None, (photo.problem, str(photo.clock_flag))))))
    st.html(
        f'<a href="/photo/original/{photo.id}" target="_blank" rel="noopener" '
        'style="color:inherit">'
        "Open the original in a new tab</a>"
    )


def position(turn: Turn) -> int:
    """Give the place of the photo that is shown large, from 0."""
    kept = session.kept(f"photo-of-{turn.placement}-{turn.key}", "0")
    return min(int(kept) if kept.isdecimal() else 0, len(turn.photos) - 1)


def look_at(turn: Turn, at: int) -> None:
    """Show another photo of the run large."""
    session.keep(f"photo-of-{turn.placement}-{turn.key}", max(0, min(at, len(turn.photos) - 1)))


def strip(turn: Turn, at: int, alts: Sequence[str]) -> None:
    """Show the photos of the run side by side, each with a button that shows it large."""
    many = len(turn.photos)
    if many == 1:
        return
    first = max(0, min(at - widgets.THUMBS // 2, many - widgets.THUMBS))
    shown = range(first, min(first + widgets.THUMBS, many))
    back, *cells, onward = st.columns(
        [1, *(2 for _ in shown), 1], gap="xsmall", vertical_alignment="bottom"
    )
    back.button(
        "◀", key="photo-back", on_click=look_at, args=(turn, at - 1), disabled=at == 0,
        help="Photo before (left arrow)", shortcut="Left", width="stretch",
    )  # fmt: skip
    for cell, index in zip(cells, shown, strict=True):
        cell.html(widgets.thumb(turn.photos[index], alts[index], height="58px", here=index == at))
        cell.button(
            f"{index + 1}", key=f"photo-{index}", on_click=look_at, args=(turn, index),
            type="primary" if index == at else "secondary", width="stretch",
            help=f"Show photo {index + 1} of {many} large",
        )  # fmt: skip
    onward.button(
        "▶", key="photo-onward", on_click=look_at, args=(turn, at + 1), disabled=at == many - 1,
        help="Photo after (right arrow)", shortcut="Right", width="stretch",
    )  # fmt: skip


# --- saying ----------------------------------------------------------------------------------


def saying(desk: Desk, turn: Turn) -> None:
    """Show where the tagger is, what was said, and the buttons that say more."""
    heading(desk, turn)
    widgets.messages()
    # It grows: a ruling that was just made must be seen whole, and can be taken back there.
    with st.container(border=False, gap="xsmall"):
        said(desk, turn)
    if not turn.timed:
        st.info("This photo has no time, so it belongs to no visit and cannot be tagged.")
    elif not desk.tagger:
        st.warning("Say who you are first: type your name at the top left.")
    elif not desk.workspace.species():
        st.warning("The species list is empty. Load it on the Cards page first.")
    else:
        buttons(desk, turn)
    undoing(desk)


def heading(desk: Desk, turn: Turn) -> None:
    """Say which visit it is, when, before which tray, and lead to the next and the one before."""
    at = review.place_of(desk.listed, turn)
    back, place, onward, jump = st.columns([1, 4, 1, 3], vertical_alignment="center", gap="xsmall")
    where = f"{at + 1} of {len(desk.listed)}" if at is not None else f"— of {len(desk.listed)}"
    place.markdown(f"**{where}** {wording.plain(desk.show)}")
    before, after = review.before(desk.listed, turn), review.after(desk.listed, turn)
    waiting = review.next_open(desk.every(), turn)
    for cell, label, target, words in (
        (back, "◀", before, "The one before"),
        (onward, "▶", after, "The next one"),
        (jump, "Next unanswered", waiting, "The next visit of this placement that waits"),
    ):
        cell.button(
            label, key=f"go-{words}", help=words, disabled=target is None, width="stretch",
            on_click=session.go, args=(turn.placement, target.key if target else None),
        )  # fmt: skip
    zone, start, end = desk.workspace.zone, turn.photos[0].true_time, turn.photos[-1].true_time
    many = f"{len(turn.photos)} photo" + ("s" if len(turn.photos) > 1 else "")
    name = f"{presses.name_of_run(turn).capitalize()}, {many}"
    if start is None or end is None:
        st.text(name)
        return
    out = review.deployments_at(desk.workspace.trays(), desk.view.placement, start, end)
    st.text(f"{name}, {wording.stretch(start, end, zone)}\n{wording.windows_line(out)}")


def said(desk: Desk, turn: Turn) -> None:
    """Show the tags that this tagger may see: their own, or for the instructor all."""
    seen = turn.seen_by(desk.tagger, instructor=desk.instructor)
    species = desk.workspace.species()
    if desk.instructor and turn.answered is not None:
        answer = turn.answered.answer
        waits = f": {answer.waits_for}" if answer.waits_for else ""
        st.text("\n".join([f"State: {answer.state}{waits}", *answer.remarks]))
    others = [tag for tag in seen if tag.tagger != desk.tagger]
    if others:
        st.text("\n".join(f"{tag.tagger} said: {_tag(tag, turn, species)}" for tag in others))
    for tag in (tag for tag in seen if tag.tagger == desk.tagger):
        words, button = st.columns([5, 2], vertical_alignment="center", gap="xsmall")
        words.text(f"You said: {_tag(tag, turn, species)}")
        button.button(
            "Take back",
            key=f"back-{tag.number}",
            on_click=presses.take_back_one,
            args=(desk.workspace, tag, desk.tagger),
            width="stretch",
        )


def _tag(tag: Tag, turn: Turn, species: Mapping[str, Species]) -> str:
    return f"{wording.what_tag_says(tag, species)}{_part(tag, turn)}"


def _part(tag: Tag, turn: Turn) -> str:
    places = {photo.id: at for at, photo in enumerate(turn.photos, start=1)}
    first, last = places.get(tag.first_photo), places.get(tag.last_photo)
    if (first, last) == (1, len(turn.photos)):
        return ""
    if first and last:
        return f", photos {first} to {last}"
    return ", on a longer run of photos"


def buttons(desk: Desk, turn: Turn) -> None:
    """Ask where, how many, how sure; then one press on who it was keeps the tag."""
    controls = presses.controls_of(turn)
    where, count = st.columns([3, 1], vertical_alignment="bottom")
    where.segmented_control(
        "1. Where was the animal or person?",
        list(Where),
        format_func=lambda one: wording.WHERE_WORDS[one],
        key=f"where-{controls}",
        width="stretch",
    )
    count.number_input(
        "How many", min_value=1, max_value=999, value=1, step=1, key=f"count-{controls}"
    )
    choose_tray(desk, turn, controls)
    many = session.widget(presses.many_key(turn), default=False)
    with st.expander("Not sure, two species, part of the visit, comment", expanded=bool(many)):
        details(turn, controls)
    st.markdown("2\\. Who was it? A press keeps the tag" + ("." if many else " and goes on."))
    press = _press(desk, turn, controls)
    species = list(desk.workspace.species().values())
    for start in range(0, len(species), 2):
        for cell, one in zip(st.columns(2, gap="xsmall"), species[start : start + 2], strict=False):
            cell.button(
                f"`{wording.plain(one.key)}`  {wording.plain(one.name)}",
                key=f"tag-{controls}-{one.key}", on_click=presses.keep_tag,
                args=(desk.workspace, press, one.key), width="stretch", type="primary",
            )  # fmt: skip
    for cell, answer in zip(st.columns(3, gap="xsmall"), ANSWERS_WITHOUT_SPECIES, strict=True):
        cell.button(
            answer.capitalize(), key=f"tag-{controls}-{answer}", on_click=presses.keep_tag,
            args=(desk.workspace, press, answer), width="stretch",
            help=wording.ANSWER_WORDS[answer],
        )  # fmt: skip


def choose_tray(desk: Desk, turn: Turn, controls: str) -> None:
    """Ask which tray, where the camera watches several that were out."""
    start, end = turn.photos[0].true_time, turn.photos[-1].true_time
    if start is None or end is None:
        return
    trays, placement = desk.workspace.trays(), desk.view.placement
    out = review.deployments_at(trays, placement, start, end)
    possible = review.trays_to_choose(trays, placement, out)
    if possible:
        st.segmented_control(
            "Which tray? (leave it open when you cannot tell)", possible,
            format_func=wording.plain, key=f"tray-{controls}",
        )  # fmt: skip


def details(turn: Turn, controls: str) -> None:
    """Ask what is rarely needed."""
    st.checkbox("I am not sure", key=f"unsure-{controls}")
    st.checkbox(
        "More than one species in these photos: keep what I said before, and stay here",
        key=presses.many_key(turn),
    )
    if len(turn.photos) > 1:
        st.select_slider(
            "Photos that this tag is about",
            list(range(1, len(turn.photos) + 1)),
            value=(1, len(turn.photos)),
            key=f"part-{controls}",
            help="For two animals one after the other: tag the first photos, then the last ones.",
        )
    st.text_input("Comment", key=f"comment-{controls}", max_chars=500)


def _press(desk: Desk, turn: Turn, controls: str) -> presses.Press:
    following = review.after(desk.listed, turn)
    stays = desk.show in {Show.ALL, Show.OTHER}
    target = following.key if following else (turn.key if stays else None)
    return presses.Press(
        turn=turn,
        controls=controls,
        action=session.action(),
        after=(turn.placement, target),
        tagger=desk.tagger,
        ruling=desk.instructor,
    )


# --- undo and redo ---------------------------------------------------------------------------


def undoing(desk: Desk) -> None:
    """Offer to take back the last tag of this browser, or to let it hold again."""
    done, undone = session.done(), session.undone()
    left, right = st.columns(2, gap="xsmall")
    left.button(
        "Undo", key="undo", icon=":material/undo:", disabled=not done, width="stretch",
        on_click=presses.undo, args=(desk.workspace, desk.tagger, done[-1] if done else None),
        help=wording.plain(f"Take back: {done[-1].words}") if done else "Nothing to undo",
    )  # fmt: skip
    right.button(
        "Redo", key="redo", icon=":material/redo:", disabled=not undone, width="stretch",
        on_click=presses.redo, args=(desk.workspace, desk.tagger, undone[-1] if undone else None),
        help=wording.plain(f"Let it hold again: {undone[-1].words}") if undone else "Nothing to do",
    )  # fmt: skip


tag_page()
