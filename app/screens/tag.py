"""The Tag page: who looks at which photos, in which order; the rest is the viewer's."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import streamlit as st

from app import session, signin, viewer, widgets, wording
from app.review import Order, Show
from core import people
from core.model import Species, Where
from core.people import Role, SignIn
from core.workspace import Workspace

# Ways to go through the runs: each alone, or those that changed least together.
ONE, SHEET = "one by one", "quiet sheet"
ORDERS: Mapping[Order, str] = {Order.TIME: "time", Order.CHANGED: "most changed first"}
SPECIES = f"{Show.SPECIES}:"


@dataclass(frozen=True, slots=True)
class Choice:
    """What somebody wants to go through."""

    tagger: str
    instructor: bool
    placement: str
    show: str
    """A value of `Show`, or `species:` and a key."""
    order: str
    mode: str


def tag_page() -> None:
    """Draw the page."""
    workspace = session.workspace()
    names = people.in_order({card.placement for card in workspace.cards()})
    if not names:
        st.title("Tag")
        widgets.guide(workspace)
        st.info("There are no photos yet. Scan a card on the Cards page.")
        return
    species = workspace.species()
    if not species:
        widgets.guide(workspace)
    choice = choices(workspace, names, species)
    widgets.messages()
    if choice.tagger and not species:
        st.warning("The species list is empty. Load it on the Cards page first.")
    viewer.show(data_of(workspace, choice, species))


def choices(workspace: Workspace, names: list[str], species: Mapping[str, Species]) -> Choice:
    """Ask who tags, which placement, and in which way; the quiet sheet has a list of its own."""
    who, where, way, which, how, last = st.columns(
        [5, 5, 5, 6, 5, 5], vertical_alignment="bottom", gap="small"
    )
    server = workspace.settings.sign_in is not SignIn.NAME
    tagger = _signed_in(who) if server else widgets.tagger(workspace, who)
    share = workspace.people.share_of(tagger)
    if share and not session.kept("placement"):
        session.keep("placement", next((name for name in names if name in share), names[0]))
    placement = _chosen(
        where, "Placement", "placement", names,
        lambda name: f"{name} ({share[name]} yours)" if name in share else name,
    )  # fmt: skip
    mode = _chosen(way, "Look", "mode", [ONE, SHEET])
    show, order = str(Show.MINE), str(Order.QUIET)
    if mode == ONE:
        shows = _shows(has_share=bool(share))
        shows += [f"{SPECIES}{key}" for key in species]
        show = _chosen(which, "Show", "show", shows, lambda one: _show_words(one, species))
        order = _chosen(how, "Order", "order", [*ORDERS], lambda one: ORDERS[Order(one)])
    instructor = _instructor(last if mode == ONE else which, server=server)
    return Choice(tagger, instructor, placement, show, order, mode)


def _shows(*, has_share: bool) -> list[str]:
    """Give the lists to choose from: one's own share first, for who was given one."""
    shows = [str(one) for one in Show if one not in {Show.SPECIES, Show.SHARE}]
    return [str(Show.SHARE), *shows] if has_share else shows


def _instructor(cell: st.delta_generator.DeltaGenerator, *, server: bool) -> bool:
    """Ask an instructor whether to tag as one; on a server nobody else is asked."""
    if server and session.who().role is not Role.INSTRUCTOR:
        return False
    return widgets.instructor(cell)


def _signed_in(cell: st.delta_generator.DeltaGenerator) -> str:
    """Say under whose name is tagged, and let them go."""
    who = session.who()
    with cell.popover(wording.plain(who.name), icon=":material/person:", width="stretch"):
        st.text(f"Signed in as {who.name}, {who.role}.")
        signin.sign_out()
    return who.name


def _chosen(
    cell: st.delta_generator.DeltaGenerator,
    label: str,
    name: str,
    values: Sequence[str],
    words: Callable[[str], str] = str,
) -> str:
    """Ask for one of several values; it is kept over a change of page."""
    kept = session.kept(name, values[0])
    start = values.index(kept) if kept in values else 0
    chosen: str = cell.selectbox(label, values, index=start, key=name, format_func=words)
    session.keep(name, chosen)
    return chosen


def _show_words(show: str, species: Mapping[str, Species]) -> str:
    key = show.removeprefix(SPECIES)
    return f"species: {species[key].name}" if show.startswith(SPECIES) else show


def data_of(
    workspace: Workspace, choice: Choice, species: Mapping[str, Species]
) -> dict[str, object]:
    """Give all that the viewer has to know before it asks."""
    place = session.place()
    start = place[1] if place and place[0] == choice.placement else 0
    trays = {one.placement: one.trays for one in workspace.placements()}
    role = Role.INSTRUCTOR if choice.instructor else Role.TAGGER
    return {
        "study": viewer.study_name(session.study().ticket_secret()),
        "ticket": session.ticket(replace(session.who(), name=choice.tagger, role=role)),
        "who": choice.tagger,
        "instructor": choice.instructor,
        "placement": choice.placement,
        "show": choice.show,
        "order": choice.order,
        "mode": "sheet" if choice.mode == SHEET else "one",
        "start": start,
        "reload": session.turn(),
        "species": [
            {"key": one.key, "name": one.name, "role": str(one.role)} for one in species.values()
        ],
        "where": [[str(where), wording.WHERE_WORDS[where]] for where in Where],
        "trays": list(trays.get(choice.placement, ())),
    }


tag_page()
