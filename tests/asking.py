"""Asking the viewer's routes without a network, and acts as the viewer sends them."""

import asyncio
import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import urlencode

from starlette.applications import Starlette

from app.viewer import service, tickets
from core.model import Tag
from core.workspace import Workspace


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def said(self) -> Any:
        """Give the body's JSON."""
        return json.loads(self.body)


@dataclass
class Maker:
    """Notes which copies were wanted."""

    wanted: list[int] = field(default_factory=list)

    def want(self, photos: Sequence[int]) -> None:
        """Note them."""
        self.wanted += photos


@dataclass
class Page:
    """The viewer of one person, as far as its requests go."""

    workspace: Workspace
    who: str = "Thandi"
    instructor: bool = False
    placement: str = "SK-OPEN"
    maker: Maker = field(default_factory=Maker)
    headers: dict[str, str] = field(default_factory=dict)
    """In place of a ticket of their own, or beside it."""
    way: str = "name"
    """How they signed in."""
    acts: int = 0

    def ask(self, method: str, path: str, body: object = None, query: str = "") -> Answer:
        """Send a request; a body of bytes goes as it is."""
        ticket = tickets.ticket_for(self.who, instructor=self.instructor, way=self.way)
        signed = tickets.signed(ticket, self.workspace.ticket_secret())
        headers = {tickets.HEADER: signed} | self.headers
        raw = body if isinstance(body, bytes) else json.dumps(body).encode()
        return asyncio.run(
            _sent(
                Starlette(routes=service.routes(self.workspace, self.maker)),
                {
                    "type": "http",
                    "method": method,
                    "path": path,
                    "raw_path": path.encode(),
                    "query_string": query.encode(),
                    "headers": [(k.lower().encode(), v.encode()) for k, v in headers.items()],
                },
                raw,
            )
        )

    def queue(self, show: str = "not tagged by me", order: str = "time") -> Any:
        """Ask for the queue."""
        query = urlencode({"placement": self.placement, "show": show, "order": order})
        answer = self.ask("GET", "/tagging/queue", query=query)
        assert answer.status == 200, answer.body
        return answer.said

    def ends(self, show: str = "not tagged by me", order: str = "time") -> list[tuple[int, int]]:
        """Give the ends of the runs in the queue."""
        return [(first, last) for first, last, *_ in self.queue(show, order)["runs"]]

    def runs(self, *pairs: tuple[int, int]) -> list[Any]:
        """Ask for runs."""
        asked = {"placement": self.placement, "runs": [list(pair) for pair in pairs]}
        answer = self.ask("POST", "/tagging/runs", asked)
        assert answer.status == 200, answer.body
        told: list[Any] = answer.said["runs"]
        return told

    def tag(self, ends: tuple[int, int], species: str = "m", **values: Any) -> dict[str, Any]:
        """Give an act that tags a run: fed, one animal, sure."""
        nobody = species in {"blank", "handler"}
        dull = {
            "do": "tag",
            "placement": self.placement,
            "first": ends[0],
            "last": ends[1],
            "species": species,
            "count": None if nobody else 1,
            "where": None if nobody else "fed",
            "sure": True,
            "tray": "",
            "also": False,
            "comment": "",
            "from": "viewer",
        }
        return self._named(dull | values)

    def turn(self, do: str, *acts: dict[str, Any], numbers: Sequence[int] = ()) -> dict[str, Any]:
        """Give an act that takes back or restores what others did."""
        return self._named({"do": do, "acts": [act["id"] for act in acts], "numbers": [*numbers]})

    def _named(self, act: dict[str, Any]) -> dict[str, Any]:
        self.acts += 1
        return {"id": uuid.uuid4().hex, "seq": self.acts} | act

    def send(self, *acts: dict[str, Any]) -> Any:
        """Send acts."""
        answer = self.ask("POST", "/tagging/acts", {"acts": list(acts)})
        assert answer.status == 200, answer.body
        return answer.said

    def keep(self, *acts: dict[str, Any]) -> list[int]:
        """Send acts that are kept; gives the numbers of their tags."""
        said = self.send(*acts)
        assert not said["refused"], said["refused"]
        return [number for act in acts for number in said["done"][act["id"]]["numbers"]]

    def refused(self, act: dict[str, Any]) -> str:
        """Send one act that is refused; gives the words."""
        said = self.send(act)
        assert list(said["refused"]) == [act["id"]]
        words: str = said["refused"][act["id"]]
        return words

    def refusal(
        self, method: str, path: str, body: object = None, query: str = "", **headers: str
    ) -> tuple[int, str]:
        """Send a request that is not answered; gives its status and its words."""
        answer = replace(self, headers=headers).ask(method, path, body, query)
        return answer.status, answer.said["error"]


def tags_by(workspace: Workspace, who: str, placement: str = "SK-OPEN") -> list[Tag]:
    """Give the tags somebody made, those taken back left out."""
    made = workspace.view(placement).tags
    return [tag for tag in made if tag.tagger == who and not tag.taken_back]


async def _sent(app: Starlette, scope: dict[str, Any], body: bytes) -> Answer:
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    await app(scope, receive, send)
    start = next(one for one in sent if one["type"] == "http.response.start")
    whole = b"".join(one.get("body", b"") for one in sent if one["type"] == "http.response.body")
    headers = {name.decode(): value.decode() for name, value in start["headers"]}
    return Answer(start["status"], headers, whole)
