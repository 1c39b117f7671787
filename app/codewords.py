"""Decide in which words codes and what they lead to are told; no Streamlit, no terminal."""

import html
from collections.abc import Iterator, Sequence
from urllib.parse import quote
from zoneinfo import ZoneInfo

from app import wording
from core.codebook import CodeState, Decision, Waiting
from core.codes import ClockProposal, Edge, EdgeProposal, Offer, TrayProposal
from core.plural import many

OUTLINE = "#ffd400"
"""Of a code in a photo, between two dark lines, so that it is seen on sand and at night."""


def surveyed(placement: str, state: CodeState, waiting: Waiting) -> Iterator[str]:
    """Say what was looked at in a placement's photos and what waits, for the terminal."""
    asked = [many(len(waiting.offers), "proposal")]
    if waiting.contradictions:
        asked.append(many(len(waiting.contradictions), "contradiction"))
    yield (
        f"{placement}: {state.looked_at} of {many(state.due, 'photo')} looked at, "
        f"{state.with_codes} with codes; {' and '.join(asked)} on the Clocks page"
    )
    if state.left:
        yield f"  {state.left} not at hand: put the card in, and run the same command again"
    if state.damaged:
        yield f"  {state.damaged} cannot be opened"


def progress(state: CodeState, *, at_work: bool, away: bool) -> str:
    """Say how far the survey of a placement has come, for its section on the page."""
    if not state.due:
        return "No photo is near an end of the card, a set-out, a pick-up or our own people."
    show = "shows" if state.with_codes <= 1 else "show"
    looked = f"{state.looked_at} of {many(state.due, 'photo')} looked at for codes"
    words = [f"{looked}; {state.with_codes or 'none'} {show} one."]
    if state.damaged:
        words.append(f"{state.damaged} cannot be opened.")
    others = "The others" if state.looked_at else "They"
    if state.left and away:
        words.append("The card is not at hand: put it in to go on.")
    elif state.left and at_work:
        words.append(f"{others} are being looked at, which takes about half a second each.")
    elif state.left:
        words.append(f"{others} are looked at behind the page, once the previews are made.")
    return " ".join(words)


def waits(counts: dict[str, Waiting]) -> str:
    """Say in one line what waits in all placements, by placement; '' where nothing does."""
    offers = sum(len(one.offers) for one in counts.values())
    doubts = sum(len(one.contradictions) for one in counts.values())
    parts = [many(offers, "proposal")] if offers else []
    parts += [many(doubts, "contradiction")] if doubts else []
    where = [name for name, one in counts.items() if one.offers or one.contradictions]
    if not parts:
        return ""
    some = ", ".join(where[:5]) + (" and others" if where[5:] else "")
    verb = "waits" if offers + doubts == 1 else "wait"
    return f"{' and '.join(parts)} from codes in the photos {verb} on the Clocks page: {some}."


def title(offer: Offer) -> str:
    """Name what kind of proposal it is."""
    match offer.proposal:
        case ClockProposal():
            return "Clock check"
        case TrayProposal():
            return "Tray of the camera"
        case EdgeProposal(edge=edge):
            return "Set-out" if edge is Edge.SET_OUT else "Pick-up"
        case _:
            return "Handler photos"


def decided(one: Decision, zone: ZoneInfo) -> str:
    """Say what was decided, by whom and when, and who took it back."""
    did = "accepted" if one.accepted else "not this"
    if one.proposal.startswith("contradiction"):
        did = "put aside"
    words = f"{one.words}: {did}, {one.by}, {wording.moment(one.made_at, zone)}"
    if one.taken_back is not None:
        back = wording.moment(one.taken_back, zone)
        words += f". Taken back by {one.taken_back_by}, {back}"
    return words


def marked(photo: int, outlines: Sequence[Sequence[tuple[float, float]]], alt: str) -> str:
    """Give a photo as HTML, with an outline round each code; it opens whole.

    Corners are in picture widths, so that a drawing of width 1 and height 2, cut off below, fits
    a picture of any shape. It is a picture itself, since the page takes no SVG in its HTML.
    """
    said = html.escape(alt, quote=True)
    picture = (
        f'<img src="/photo/review/{photo}" alt="{said}" loading="lazy" '
        'style="width:100%;border-radius:4px;display:block">'
    )
    return (
        f'<a href="/photo/original/{photo}" target="_blank" rel="noopener" '
        'style="position:relative;display:block;overflow:hidden">'
        f"{picture}{_overlay(outlines)}</a>"
    )


def _overlay(outlines: Sequence[Sequence[tuple[float, float]]]) -> str:
    if not outlines:
        return ""
    drawn = ""
    for corners in outlines:
        points = " ".join(f"{x:.4f},{y:.4f}" for x, y in corners)
        for colour, width in (("#000000", 0.012), (OUTLINE, 0.006)):
            drawn += (
                f'<polygon points="{points}" fill="none" stroke="{colour}" '
                f'stroke-width="{width}" stroke-linejoin="round"/>'
            )
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 2">{drawn}</svg>'
    return (
        f'<img src="data:image/svg+xml,{quote(svg)}" alt="" style="position:absolute;left:0;'
        'top:0;width:100%;aspect-ratio:1/2;max-width:none;pointer-events:none">'
    )
