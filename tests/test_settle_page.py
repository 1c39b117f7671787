"""A class in real browsers: signing in, what each receives, settling by keys, two at once."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from browsers import HIGH, MARKS, WIDE, Served, browser
from browsers import until as until_soon
from conftest import CODES, set_up_class
from playwright.sync_api import Browser, BrowserContext, Page, Response, WebSocket
from test_guard import SECRET

from core.model import Tag, VisitState, Where
from core.people import Role, State
from core.workspace import NewTag, Workspace

__all__ = ["browser"]
pytestmark = MARKS


@pytest.fixture
def class_served(built: Path, tmp_path: Path) -> Iterator[Served]:
    """A class server with four visits of SK-OPEN on which Nomsa and Piet differ."""
    folder = tmp_path / "class"
    shutil.copytree(built, folder)
    set_up_class(folder)
    with Workspace.open(folder) as workspace:
        agreed = [
            one.visit
            for one in workspace.view("SK-OPEN").visits
            if one.answer.state is VisitState.AGREED
        ]
        for visit in agreed[:3]:
            ends = visit.photos[0].id, visit.photos[-1].id
            for who, species in (("Nomsa", "g"), ("Piet", "s")):
                tag = NewTag("SK-OPEN", *ends, who, species, where=Where.FED, comment=SECRET)
                workspace.tag(tag)
    here = Served(folder)
    here.start()
    yield here
    here.stop()


@pytest.fixture
def study(class_served: Served) -> Iterator[Workspace]:
    with Workspace.open(class_served.folder) as opened:
        yield opened


@pytest.fixture
def arrive(browser: Browser, class_served: Served) -> Iterator[Callable[..., Page]]:
    """Open a browser of one's own and sign in."""
    contexts: list[BrowserContext] = []

    def arrived(name: str, role: Role = Role.TAGGER, page: str = "tag") -> Page:
        context = browser.new_context(viewport={"width": WIDE, "height": HIGH})
        context.set_default_timeout(90_000)
        contexts.append(context)
        opened = context.new_page()
        opened.goto(f"{class_served.address}/{page}")
        sign_in(opened, name, CODES[role])
        return opened

    yield arrived
    for context in contexts:
        context.close()


def until(holds: Callable[[], object], patience_s: float = 90) -> None:
    """Wait until something holds; two browsers and a server may share two busy cores."""
    until_soon(holds, patience_s=patience_s)


def sign_in(page: Page, name: str, code: str) -> None:
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Class code").fill(code)
    page.get_by_role("button", name="Sign in").click()


def ready(page: Page) -> None:
    """Wait until the list of what is to settle is there, with its photo."""
    page.locator(".lastbite.settle[data-of='ready']").wait_for()
    picture = page.locator(".settle-stage img")
    picture.wait_for()
    until(lambda: picture.evaluate("image => image.complete && image.naturalWidth > 1"))


def rulings(study: Workspace) -> list[Tag]:
    """Give the rulings that stand."""
    return [one for one in study.view("SK-OPEN").tags if one.ruling and not one.taken_back]


# --- signing in ----------------------------------------------------------------------------------


def test_somebody_signs_in_looks_tags_and_signs_out(
    arrive: Callable[..., Page], class_served: Served, study: Workspace
) -> None:
    """A wrong code is refused; the right one shows photos, holds over a reload, and ends."""
    page = arrive("Thandi", page="tag")
    picture = page.locator(".stage img")
    picture.wait_for()
    until(lambda: picture.evaluate("image => image.complete && image.naturalWidth > 1"))
    page.keyboard.press("Space")
    until(lambda: any(one.tagger == "Thandi" for one in study.view("SK-OPEN").tags) or any(
        one.tagger == "Thandi" for name in ("HR-BUSH", "HR-OPEN", "SK-BUSH")
        for one in study.view(name).tags))  # fmt: skip
    photo = f"{class_served.address}/photo/strip/1"
    assert page.request.get(photo).status == 200
    page.reload()
    page.locator(".stage img").wait_for()
    page.get_by_role("button", name="Thandi").click()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Class code").wait_for()
    until(lambda: page.request.get(photo).status == 401)
    sign_in(page, "Thandi", "not the right one")
    page.get_by_text("The name and the code do not belong together").wait_for()


def test_who_is_taken_out_while_tagging_is_told_on_the_open_page(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """The next key is not kept, and the words say why; nothing on screen claims that it was."""
    page = arrive("Thandi")
    page.locator(".stage img").wait_for()
    page.locator(".panel .who").first.wait_for()
    study.people.change("Thandi", state=State.LEFT)
    page.keyboard.press("Space")
    page.get_by_text("does not take part in this study any more").first.wait_for()
    assert not [one for one in study.view("SK-OPEN").tags if one.tagger == "Thandi"]


# --- the wire ------------------------------------------------------------------------------------


@dataclass
class Wire:
    """All that a browser received."""

    pieces: list[bytes] = field(default_factory=list)

    def of(self, page: Page) -> "Wire":
        """Listen to a page."""
        page.on("websocket", self._socket)
        page.on("response", self._response)
        return self

    def _socket(self, socket: WebSocket) -> None:
        socket.on(
            "framereceived",
            lambda frame: self.pieces.append(frame.encode() if isinstance(frame, str) else frame),
        )

    def _response(self, response: Response) -> None:
        kind = response.headers.get("content-type", "")
        if response.ok and ("json" in kind or "text" in kind or "csv" in kind):
            try:
                self.pieces.append(response.body())
            except Exception:  # noqa: BLE001  a page that was left has no body to give any more
                return

    @property
    def all(self) -> bytes:
        """Give it in one piece."""
        return b"\n".join(self.pieces)


def walk(page: Page, wire: Wire) -> None:
    """Open every page that somebody has, and every tab and list on it."""
    for name in ("Tag", "Trays", "Results", "Class"):
        page.get_by_role("link", name=name).click()
        page.wait_for_timeout(300)
        until(lambda: page.locator("[data-testid=stStatusWidget]").count() == 0)
        for tab in page.get_by_role("tab").all():
            tab.click()
            page.wait_for_timeout(300)
            until(lambda: page.locator("[data-testid=stStatusWidget]").count() == 0)
    until(lambda: len(wire.pieces) > 10)


def test_a_students_browser_receives_nothing_unsettled_of_others(
    arrive: Callable[..., Page], browser: Browser, class_served: Served
) -> None:
    """Every frame of the socket and every answer, over all pages; the instructor's holds it."""
    del arrive
    found: dict[str, bytes] = {}
    for who, role in (("Thandi", Role.TAGGER), ("Ike", Role.INSTRUCTOR)):
        context = browser.new_context(viewport={"width": WIDE, "height": HIGH})
        context.set_default_timeout(90_000)
        page = context.new_page()
        wire = Wire().of(page)
        page.goto(f"{class_served.address}/tag")
        sign_in(page, who, CODES[role])
        page.locator(".stage img").wait_for()
        walk(page, wire)
        found[who] = wire.all
        context.close()
    assert SECRET.encode() not in found["Thandi"]
    assert b"taggers differ" not in found["Thandi"]
    assert b"giving-up" in found["Thandi"] or b"deployment" in found["Thandi"]
    assert SECRET.encode() in found["Ike"]
    assert b"taggers differ" in found["Ike"]


# --- settling ------------------------------------------------------------------------------------


def test_an_instructor_settles_with_one_key_and_takes_it_back(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """A key rules and goes on; the reason is kept; undo opens the visit again, redo settles it."""
    page = arrive("Ike", Role.INSTRUCTOR, "settle")
    ready(page)
    title = page.locator(".settle h2").first
    first = title.inner_text()
    page.keyboard.press("Shift+C")
    page.keyboard.type("mg tail tuft")
    assert rulings(study) == []
    page.keyboard.press("Enter")
    page.keyboard.press("g")
    until(lambda: len(rulings(study)) == 1)
    [tag] = rulings(study)
    assert (tag.species, tag.tagger, tag.comment, tag.where) == (
        "g", "Ike", "mg tail tuft", Where.FED,
    )  # fmt: skip
    until(lambda: title.inner_text() != first)
    page.keyboard.press("Backspace")
    until(lambda: rulings(study) == [])
    until(lambda: title.inner_text() == first)
    page.keyboard.press("Control+y")
    until(lambda: len(rulings(study)) == 1)
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+Digit2")
    until(lambda: len(rulings(study)) == 2)
    assert rulings(study)[-1].species in {"m", "s"}  # as Piet said
    page.get_by_text("2 visits to settle").wait_for()


def test_a_reference_photo_is_chosen_with_two_keys(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """Shift+R and the species' key mark the photo; nothing is ruled; it stands beside the visit."""
    page = arrive("Ike", Role.INSTRUCTOR, "settle")
    ready(page)
    page.keyboard.press("Shift+R")
    page.keyboard.press("g")
    page.locator(".ref img").first.wait_for()
    assert [one.species for one in study.people.references()] == ["g"]
    assert rulings(study) == []


def test_two_instructors_rule_one_visit_at_once(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """The second is told what the first ruled, nothing of theirs is kept, and may rule again."""
    study.people.add("Ada", Role.INSTRUCTOR)
    ike, ada = (arrive(who, Role.INSTRUCTOR, "settle") for who in ("Ike", "Ada"))
    for page in (ike, ada):
        ready(page)
    ike.keyboard.press("g")
    until(lambda: len(rulings(study)) == 1)
    ada.keyboard.press("m")
    ada.get_by_text("Ike ruled this visit while you looked at it").wait_for()
    assert [one.tagger for one in rulings(study)] == ["Ike"]
    ada.get_by_text("Settled meanwhile. Ike ruled Hairy-footed gerbil").wait_for()
    ada.keyboard.press("m")
    until(lambda: [one.tagger for one in rulings(study)][-1] == "Ada")
