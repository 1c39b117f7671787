"""The Trays page: the tray log, all deployments on one axis of time, and one walked down."""

from collections.abc import Sequence

import streamlit as st

from app import clockwords, session, timeline, watchline, widgets, wording
from app.review import Show
from core.coverage import Suspicion
from core.exports.tables import answer_text
from core.logs import LogKind
from core.model import AnsweredVisit, Outcome, SeenVisit, Status
from core.workspace import Workspace

PAGE = 25  # deployments that are drawn at a time
PHOTOS = 10  # photos of a visit that are shown at first
ACROSS = 5  # photos side by side
ABOUT = (
    "One line for each **tray deployment**: one tray set out with food and picked up again. Food "
    "is weighed, or counted in place of that. A blank cell waits (`pending`)."
)


def trays_page() -> None:
    """Draw the page."""
    workspace = session.workspace()
    st.title("Trays")
    top = st.container()
    widgets.messages()
    trays, log = st.tabs(
        ["Trays", "Tray log"],
        default="Trays" if workspace.trays() else "Tray log",
        key="trays-tabs",
        on_change="rerun",
    )
    if log.open:
        with log, widgets.faults():
            widgets.log(workspace, LogKind.TRAYS, ABOUT)
    if trays.open:
        with trays, widgets.faults():
            deployments(workspace)
    with top:
        widgets.guide(workspace)


def deployments(workspace: Workspace) -> None:
    """Show the deployments, drawn and as a table, and walk one of them down."""
    outcomes = workspace.outcomes()
    if not outcomes:
        st.info("There is no study tray yet. Load the tray log.")
        return
    shown = chosen(outcomes)
    if not shown:
        st.info("No tray is like that. Choose another site or status.")
        return
    st.altair_chart(
        timeline.chart(shown, workspace.species(), workspace.zone, dark=session.dark()),
        width="stretch",
        alt=timeline.in_words(shown),
    )
    st.text(
        "Dashed: the tray's window. Filled: a camera was known to watch; empty: it was not. "
        "Hollow marks: only near the tray."
    )
    pick(shown)
    ids = [one.deployment.deployment for one in outcomes]
    at = session.kept("deployment", shown[0].deployment.deployment)
    deployment = st.selectbox(
        "Walk down deployment", ids, index=ids.index(at) if at in ids else 0,
        key=f"deployment-{session.counter('deployment')}",
    )  # fmt: skip
    session.keep("deployment", deployment)
    walk(workspace, workspace.outcome(deployment))


def chosen(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Let people narrow the deployments down by site and status, and turn pages."""
    sites = sorted({one.deployment.site for one in outcomes if one.deployment.site})
    site, status, page = st.columns([2, 4, 2], vertical_alignment="bottom")
    only = site.selectbox("Site", ["all", *sites], key="site")
    states = status.multiselect(
        "Status", list(Status), format_func=lambda one: f"{wording.SIGN[one]} {one}",
        placeholder="all", key="status",
    )  # fmt: skip
    found = [
        one
        for one in outcomes
        if only in {"all", one.deployment.site} and (not states or one.status in states)
    ]
    pages = max(1, -(-len(found) // PAGE))
    number = 1
    if pages > 1:
        with page:
            number = st.pagination(pages, key=f"page-{pages}")
    return found[(number - 1) * PAGE : number * PAGE]


def pick(shown: Sequence[Outcome]) -> None:
    """Show the deployments as a table; a chosen row is the one that is walked down."""
    key = "picked"

    def picked() -> None:
        rows = session.widget(key)
        chosen_rows = rows["selection"]["rows"] if isinstance(rows, dict) else []
        if chosen_rows:
            session.keep("deployment", shown[chosen_rows[0]].deployment.deployment)
            session.count_up("deployment")

    st.dataframe(
        [wording.result_line(one) for one in shown],
        hide_index=True,
        height="content",
        key=key,
        on_select=picked,
        selection_mode="single-row",
        alt="The same deployments as a table; choose a row to walk it down",
    )


# --- the walk down ---------------------------------------------------------------------------


def walk(workspace: Workspace, outcome: Outcome) -> None:
    """Go from the verdict down to rule, food, watched time, visits, tags and photos."""
    zone, tray = workspace.zone, outcome.deployment
    window = f"{wording.moment(tray.set_out, zone)} to {wording.moment(tray.picked_up, zone)}"
    st.subheader(wording.plain(wording.headline(outcome)), anchor=False)
    left, right = st.columns(2, gap="medium")
    with left:
        st.text(
            "\n".join(
                [
                    f"Status: {outcome.status}: {wording.MEANS[outcome.status]}",
                    f"Rule cell: {outcome.cell}",
                    f"Window: {window}",
                    f"Watched: {wording.watched_in_short(outcome, zone)}",
                    f"On the tray: {wording.visits(outcome)}",
                    *(f"Note: {note}" for note in outcome.notes),
                    *(f"Log: {tray.notes}" for _ in [0] if tray.notes),
                ]
            )
        )
    with right:
        reading = workspace.reading(tray)
        widgets.table(
            wording.food_lines(reading, counted=tray.counted), alt="Food numbers of this tray"
        )
    watched_time(workspace, outcome)
    if not outcome.seen:
        st.info("No visit falls into this window.")
    for number, seen in enumerate(outcome.seen, start=1):
        with st.container(border=True):
            visit(workspace, outcome, number, seen)


def watched_time(workspace: Workspace, outcome: Outcome) -> None:
    """Draw what of the window was watched, say what could have been missed, ask what is unclear."""
    account = workspace.watching.account(outcome)
    if account is None:
        return
    tray, zone = outcome.deployment.tray, workspace.zone
    places = [one for one in workspace.placements() if tray in one.trays]
    place = next((one for one in places if one.latitude is not None), None)
    st.markdown("**Watched time**")
    st.altair_chart(
        watchline.chart(account, outcome, place, zone, dark=session.dark()),
        width="stretch",
        alt=watchline.in_words(account, outcome),
    )
    shaded = " Shaded: night, by the sun's height." if place else ""
    st.text(f"{account.sentence}{shaded}")
    lost = [
        watchline.stretch_line(one, missed, zone)
        for one, missed in zip(account.stretches, account.missed, strict=True)
        if missed
    ]
    if lost:
        many = "1 stretch was" if len(lost) == 1 else f"{len(lost)} stretches were"
        with st.expander(f"{many} not watched, or not surely", expanded=len(lost) <= ACROSS):
            st.text("\n".join(lost[:PAGE]))
            if len(lost) > PAGE:
                st.text(f"… and {len(lost) - PAGE} more; `lastbite explain` lists them.")
    for rhythm in workspace.watching.rhythms_at_tray(outcome):
        st.info(wording.plain(rhythm.sentence))
    for number, one in enumerate(workspace.watching.at_tray(outcome)):
        with st.container(border=True):
            suspicion(workspace, one, f"{outcome.deployment.deployment}-{number}")


def suspicion(workspace: Workspace, one: Suspicion, key: str) -> None:
    """Show what may have kept a camera from watching, and let somebody say whether it did."""
    when = wording.stretch(one.span.start, one.span.end, workspace.zone)
    st.markdown(f"**{wording.plain(f'Placement {one.placement}: was it so that {one.why}?')}**")
    st.text("\n".join([when, *(f"· {sign}" for sign in one.evidence)]))
    known = {photo.id: photo for photo in workspace.view(one.placement).photos}
    cells = st.columns(ACROSS)
    for cell, number in zip(cells, one.look_at, strict=False):
        photo = known.get(number)
        if photo is not None:
            words = f"{photo.file.rsplit('/', 1)[-1]}, camera showed {photo.camera_time}"
            cell.html(widgets.thumb(photo, words, height="110px"))
            cell.text(words)
    ruling = workspace.watching.ruled(one)
    if ruling is not None:
        said = "Yes: not watched" if ruling.accepted else "No: it was watched"
        because = f" ({ruling.because})" if ruling.because else ""
        st.text(f"{said}, says {ruling.by}{because}.")
        if st.button("Take this back", key=f"unrule-{key}"):
            with widgets.faults():
                workspace.watching.take_back(ruling.number, session.tagger() or widgets.SOMEBODY)
                st.rerun()
        return
    why, yes, no = st.columns([2, 1, 1], vertical_alignment="bottom")
    because = why.text_input("What you saw", key=f"because-{key}")
    for cell, label, accepted in ((yes, f"Yes, {one.why}", True), (no, "No, it was not", False)):
        if cell.button(label, key=f"rule-{accepted}-{key}", width="stretch"):
            with widgets.faults():
                workspace.watching.rule(
                    one, session.tagger() or widgets.SOMEBODY, accepted=accepted, because=because
                )
                st.rerun()


def visit(workspace: Workspace, outcome: Outcome, number: int, seen: SeenVisit) -> None:
    """Show one visit with its answer, the tags it is made of, and its photos."""
    zone = workspace.zone
    marks = wording.visit_marks(seen)
    st.markdown(
        f"**Visit {number}** {wording.plain(wording.stretch(seen.start, seen.end, zone))}"
        + (f" ({wording.plain(', '.join(marks))})" if marks else "")
    )
    for part in seen.parts:
        answer(workspace, part)
        photos(workspace, outcome, part)
    for name in dict.fromkeys(part.visit.placement for part in seen.parts):
        made, compared = workspace.clocks.history(name), workspace.clocks.checks(name)
        st.text("\n".join(clockwords.behind(name, made, compared, zone)))


def answer(workspace: Workspace, part: AnsweredVisit) -> None:
    """Say what is held true, and who said what and when."""
    species, zone = workspace.species(), workspace.zone
    held = answer_text(part, species) or "unanswered"
    waits = f" ({part.answer.waits_for})" if part.answer.waits_for else ""
    which = f"Placement {part.visit.placement}, visit {part.visit.number}"
    st.text(
        "\n".join(
            [
                f"{which}, {part.answer.state}: {held}{waits}",
                *(f"  {wording.tag_line(tag, species, zone)}" for tag in part.answer.tags),
                *(f"  note: {remark}" for remark in part.answer.remarks),
            ]
        )
    )


def photos(workspace: Workspace, outcome: Outcome, part: AnsweredVisit) -> None:
    """Show the photos of a visit, each with file, what the camera showed, and the true time."""
    run, zone = part.visit.photos, workspace.zone
    key = f"all-{outcome.deployment.deployment}-{part.visit.placement}-{part.visit.number}"
    whole = len(run) <= PHOTOS or st.checkbox(f"Show all {len(run)} photos", key=key)
    shown = list(enumerate(run, start=1)) if whole else list(enumerate(run[:PHOTOS], start=1))
    for start in range(0, len(shown), ACROSS):
        cells = st.columns(ACROSS)
        for cell, (at, photo) in zip(cells, shown[start : start + ACROSS], strict=False):
            alt = wording.photo_alt(
                photo, at, len(run), [outcome.deployment.tray], zone,
                whole=f"visit {part.visit.number}",
            )  # fmt: skip
            cell.html(widgets.thumb(photo, alt, height="110px"))
            showed = "no time" if photo.camera_time is None else str(photo.camera_time)
            cell.text(
                f"{photo.file.rsplit('/', 1)[-1]}\ncamera {showed}\n"
                f"true {wording.moment(photo.true_time, zone)}"
            )
    if st.button(
        "Look at this visit on the Tag page", key=f"look-{key}", icon=":material/visibility:"
    ):
        session.keep("placement", part.visit.placement)
        session.keep("show", Show.ALL)
        session.go(part.visit.placement, run[0].id)
        st.switch_page("screens/tag.py")


trays_page()
