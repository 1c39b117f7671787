"""Decide what the viewer's requests are answered with: the queue, runs, acts, outlines; or words.

Nothing is kept here between two requests: the browser holds its queue, and the study the tags.
"""

import json
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route

from app import guard, review
from app.review import Asked, Order, Show
from app.viewer import acts, bodies, rulings, runs, tickets
from app.viewer.bodies import BodyError
from app.viewer.tickets import TicketError
from core import people, taglog
from core.errors import LastbiteError, PeopleError, TagError
from core.model import Outline
from core.people import Act, Who
from core.views import Layout
from core.workspace import Workspace

MOST_RUNS = 60
"""More are not asked for at once: a page of the quiet sheet has 24 (a judgement)."""
SPECIES = f"{Show.SPECIES}:"
HEADERS = {
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}


class Maker(Protocol):
    """Whoever makes the copies of photos."""

    def want(self, photos: Sequence[int]) -> None:
        """Make those of these photos next."""


@dataclass(frozen=True, slots=True)
class Call:
    """A request that may be answered."""

    workspace: Workspace
    maker: Maker | None
    who: Who
    said: Mapping[str, Any]
    """What stands in its address or its body."""

    @property
    def placement(self) -> str:
        """Give the placement that it is about."""
        return bodies.text(self.said, "placement", longest=1000)

    @property
    def tagger(self) -> str:
        """Give the name of whoever asks, as the study spells it."""
        return self.workspace.tagger(self.who.name)

    @property
    def instructs(self) -> bool:
        """Say whether they speak as the instructor."""
        return people.may(self.who, Act.RULE)


class RefusedError(LastbiteError):
    """A request is not answered, for a reason that has a number of its own."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


Work = Callable[[Call], Mapping[str, Any]]


def routes(workspace: Workspace, maker: Maker | None = None) -> list[Route]:
    """Give the addresses that the viewer asks."""
    known = (
        ("queue", "GET", queue),
        ("runs", "POST", runs_asked),
        ("acts", "POST", acts_sent),
        ("outline", "POST", outline_drawn),
        ("settle", "GET", to_settle),
        ("rulings", "GET", rulings_made),
        ("reference", "POST", reference_turned),
    )
    return [
        *(
            Route(f"/tagging/{name}", _endpoint(workspace, maker, work), methods=[method])
            for name, method, work in known
        ),
        Route("/tagging/{rest:path}", _not_found, methods=["GET", "POST"]),
    ]


def _not_found(_request: Request) -> Response:
    return _json({"error": "Nothing has this address. Load the page again."}, 404)


def _endpoint(
    workspace: Workspace, maker: Maker | None, work: Work
) -> Callable[[Request], Awaitable[Response]]:
    """Give what answers one address: who asks is looked at first, and faults are put in words."""

    async def endpoint(request: Request) -> Response:
        try:
            _refuse_other_sites(request)
            raw = await _body(request) if request.method == "POST" else b""
            return await run_in_threadpool(_answer, request, raw)
        except (LastbiteError, ClientDisconnect) as fault:
            return _json({"error": str(fault)}, _status(fault))

    def _answer(request: Request, raw: bytes) -> Response:
        who = guard.of_request(workspace, request.headers.get(tickets.HEADER, ""))
        if work is not acts_sent:  # of acts each is answered by itself
            people.refuse(who, Act.LOOK)
        said = bodies.read_body(raw) if request.method == "POST" else dict(request.query_params)
        return _json(work(Call(workspace, maker, who, said)))

    return endpoint


def _status(fault: Exception) -> int:
    """Give the number of a fault: what may pass by itself is no fault of the request."""
    match fault:
        case RefusedError():
            return fault.status
        case TicketError():
            return 401
        case PeopleError():
            return 403
        case BodyError() | TagError() | ClientDisconnect():
            return 400
        case _:
            return 503


def _json(said: Mapping[str, Any], status: int = 200) -> Response:
    words = json.dumps(said, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Response(words.encode(), status, HEADERS, "application/json")


def _refuse_other_sites(request: Request) -> None:
    if request.headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}:
        raise RefusedError(403, "Only this study's own pages are answered.")


async def _body(request: Request) -> bytes:
    """Read a body, but no more of it than a request may have."""
    raw = b""
    async for piece in request.stream():
        raw += piece
        if len(raw) > bodies.LARGEST:
            raise RefusedError(
                413,
                f"The request is larger than {bodies.LARGEST} bytes. Send it in several pieces.",
            )
    return raw


# --- the queue ---------------------------------------------------------------------------------


def queue(call: Call) -> Mapping[str, Any]:
    """Give the runs that somebody is led through, and how far they are."""
    layout, version = _layout(call)
    asked = _asked(call)
    found = review.rows(layout, asked, call.workspace.wholes(layout.base))
    unscored = int(np.count_nonzero(np.isnan(found.scores)))
    louder = 0
    if asked.order is Order.QUIET:
        found, louder = review.quiet_sheet(layout, found, asked)
    untimed = layout.base.untimed if asked.show is Show.UNTIMED else ()
    listed = [] if asked.order is Order.QUIET else untimed
    return {
        "placement": call.placement,
        "show": _show(asked),
        "order": asked.order,
        "version": version,
        "runs": [
            *_rows(layout, review.in_order(found, asked.order)),
            *([photo.id, photo.id, 1, 0, None] for photo in listed),
        ],
        "visits": layout.visits,
        "tagged": review.tagged_visits(layout, asked.tagger),
        "unscored": unscored + len(untimed),
        "louder": louder,
        "clock_fault": layout.base.clock_fault,
        "outlines": _outlines(call),
    }


def _layout(call: Call) -> tuple[Layout, int]:
    layout, version = call.workspace.layout(call.placement)
    if not layout.base.known:
        known = [one.placement for one in call.workspace.placements()]
        hint = taglog.likely(call.placement, known)
        raise RefusedError(
            404, f"Placement {call.placement!r} is not known.{hint} Choose one that is listed."
        )
    return layout, version


def _asked(call: Call) -> Asked:
    text, order = bodies.text(call.said, "show"), bodies.text(call.said, "order")
    species = text.removeprefix(SPECIES) if text.startswith(SPECIES) else ""
    name = Show.SPECIES if species else text or Show.MINE
    if name not in set(Show) or (name == Show.SPECIES and not species):
        raise BodyError(f"`show` is none of: {', '.join(Show)}. Choose one that is listed.")
    if (order or Order.TIME) not in set(Order):
        raise BodyError(f"`order` is none of: {', '.join(Order)}. Choose one that is listed.")
    share: tuple[int, ...] = ()
    if name == Show.SHARE and call.tagger:
        given = call.workspace.people.shares(call.placement, call.tagger)
        share = tuple(one.photo for one in given)
    return Asked(
        call.tagger, call.instructs, Show(name), species, Order(order or Order.TIME), share
    )


def _show(asked: Asked) -> str:
    return f"{SPECIES}{asked.species}" if asked.show is Show.SPECIES else asked.show


def _rows(layout: Layout, found: review.Rows) -> list[list[float | None]]:
    ids = layout.base.ids
    peaks = np.where(found.peaks < 0, 0, ids[found.peaks]) if len(found) else found.peaks
    scores = [None if np.isnan(one) else round(one, 4) for one in found.scores.tolist()]
    columns = ids[found.firsts], ids[found.lasts], found.ends - found.starts, peaks
    return [list(row) for row in zip(*(one.tolist() for one in columns), scores, strict=True)]


# --- runs --------------------------------------------------------------------------------------


def runs_asked(call: Call) -> Mapping[str, Any]:
    """Give all that is shown of some runs, and have their copies made first."""
    pairs = [bodies.pair(one) for one in bodies.several(call.said, "runs")]
    if len(pairs) > MOST_RUNS:
        raise BodyError(f"{len(pairs)} runs are asked for at once. Ask for {MOST_RUNS} at most.")
    layout, _ = _layout(call)
    shown = _first_wanted([runs.ids_of(layout, *pair) for pair in pairs])
    if call.maker is not None:
        call.maker.want(shown)
    teller = runs.Teller(
        layout,
        call.workspace.changes(shown),
        call.workspace.zone,
        call.tagger,
        call.instructs,
        call.workspace.previews.editions(shown),
        call.workspace.people.training(call.placement, call.tagger),
        rulings.shown_as(call.workspace, shown) if call.instructs else {},
    )
    return {"runs": [runs.row(teller, *pair) for pair in pairs]}


def _first_wanted(shown: Sequence[Sequence[int]]) -> list[int]:
    """Put photos in the order in which they are looked at: a run, then how each other begins."""
    run, others = [photo for ids in shown[:1] for photo in ids], shown[1:]
    begin = [photo for ids in others for photo in ids[:1]]
    return [*run, *begin, *(photo for ids in others for photo in ids[1:])]


# --- acts --------------------------------------------------------------------------------------


def acts_sent(call: Call) -> Mapping[str, Any]:
    """Keep what was said; gives of each act what it did, or why it keeps nothing."""
    sent = bodies.several(call.said, "acts")
    kept = acts.keep(call.workspace, call.who, sent)
    return {
        "done": {
            name: {"numbers": list(done.numbers), "words": done.words}
            for name, done in kept.done.items()
        },
        "refused": dict(kept.refused),
        "version": call.workspace.version(),
    }


# --- outlines ----------------------------------------------------------------------------------


def outline_drawn(call: Call) -> Mapping[str, Any]:
    """Keep where somebody says that a tray stands; gives the placement's outlines after that."""
    _layout(call)
    who = call.tagger
    if not who:
        raise BodyError("The outline has no name under it. Say who you are first.")
    said = {name: bodies.number(call.said, name) for name in ("cx", "cy", "rx", "ry", "angle")}
    people.refuse(call.who, Act.TAG)
    drawn = Outline(bodies.text(call.said, "tray"), **said, by=who)
    call.workspace.set_outline(call.placement, drawn)
    return {"outlines": _outlines(call)}


def _outlines(call: Call) -> list[dict[str, Any]]:
    return [asdict(outline) for outline in call.workspace.outlines(call.placement)]


# --- settling ----------------------------------------------------------------------------------


def to_settle(call: Call) -> Mapping[str, Any]:
    """Give the visits that wait for an instructor, for an instructor."""
    people.refuse(call.who, Act.RULE)
    return rulings.waiting(call.workspace)


def rulings_made(call: Call) -> Mapping[str, Any]:
    """Give the rulings that stand, for an instructor."""
    people.refuse(call.who, Act.RULE)
    return rulings.made(call.workspace)


def reference_turned(call: Call) -> Mapping[str, Any]:
    """Make a photo a reference of a species, or no more one."""
    people.refuse(call.who, Act.RULE)
    return rulings.turn_reference(call.workspace, call.tagger, call.said)
