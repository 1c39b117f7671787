"""A class in real browsers: signing in, what each receives, settling by keys, two at once."""

import csv
import io
import json
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

from app.review import Order, Show
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
    files: dict[str, bytes] = field(default_factory=dict)
    """Those of them that were taken as files, by what they hold."""

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


def rows_of(table: bytes) -> list[dict[str, str]]:
    """Give the rows of a CSV file."""
    return list(csv.DictReader(io.StringIO(table.decode("utf-8-sig"))))


def at_rest(page: Page) -> None:
    """Wait until the page is drawn and nothing runs for it."""
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()


def walk(page: Page, wire: Wire, address: str, *, downloads: Path) -> None:
    """Open every page, tab and list that there is, by links and by address; load what can be."""
    for placement in ("SK-OPEN", "HR-BUSH"):
        for show in ("all visits", "not tagged by me"):
            page.goto(f"{address}/tag?placement={placement}&show={show.replace(' ', '+')}")
            page.locator(f".lastbite[data-of$='|{placement}|here']").wait_for()
            page.keyboard.press("PageDown")
            at_rest(page)
    for name in ("Trays", "Results", "Class"):
        page.get_by_role("link", name=name, exact=True).click()
        page.get_by_role("heading", name=name, exact=True).wait_for()
        at_rest(page)
        tabs = page.get_by_role("tab")
        for at in range(tabs.count()):
            tabs.nth(at).click()
            page.locator("[role=tab][aria-selected=true]").first.wait_for()
            at_rest(page)
        if name == "Results":
            load(page, wire, downloads)
    for name in ("settle", "cards", "clocks"):
        page.goto(f"{address}/{name}")
        page.get_by_role("link", name="Class", exact=True).wait_for()
        at_rest(page)
    page.goto(f"{address}/trays")
    page.get_by_role("heading", name="Trays", exact=True).wait_for()
    at_rest(page)
    chosen = page.get_by_role("combobox", name="Walk down deployment")
    chosen.fill("SKO-D1")
    chosen.press("Enter")
    at_rest(page)


def load(page: Page, wire: Wire, into: Path) -> None:
    """Take the three tables that the Results page offers as files."""
    for name in ("outcomes", "visits", "photos"):
        with page.expect_download() as taken:
            page.get_by_role("button", name=f"Download {name} (CSV)").click()
        taken.value.save_as(into / name)
        wire.files[name] = (into / name).read_bytes()
        wire.pieces.append(wire.files[name])
        at_rest(page)


def ask_everything(
    page: Page, wire: Wire, study: Workspace, address: str, *, instructs: bool
) -> None:
    """Ask each route of the viewer from the page itself, with the ticket that its page has."""
    ends = {
        name: [
            [one.visit.photos[0].id, one.visit.photos[-1].id] for one in study.view(name).visits
        ][:60]
        for name in ("SK-OPEN", "SK-BUSH", "HR-OPEN", "HR-BUSH")
    }
    shows = [str(one) for one in Show if one is not Show.SPECIES]
    shows += [f"{Show.SPECIES}:{key}" for key in study.species()]
    own, shown = (
        ("settle", ".settle-stage img") if instructs else ("tag?placement=SK-OPEN", ".stage img")
    )
    with page.expect_request("**/tagging/*") as asked:
        page.goto(f"{address}/{own}")
    ticket = asked.value.headers["x-lastbite-ticket"]
    page.locator(shown).wait_for()
    answers = page.evaluate(ASK, [ticket, ends, shows, [str(one) for one in Order]])
    wire.pieces.append(json.dumps(answers, ensure_ascii=False).encode())


ASK = """async ([ticket, ends, shows, orders]) => {
  const headers = { "X-Lastbite-Ticket": ticket, "Content-Type": "application/json" };
  const said = [];
  const ask = async (address, body) => {
    const method = body ? "POST" : "GET";
    const answer = await fetch(address, { headers, method, body: body && JSON.stringify(body) });
    said.push([address, answer.status, await answer.text()]);
  };
  for (const [placement, runs] of Object.entries(ends)) {
    for (const show of shows) {
      for (const order of orders) {
        await ask(`/tagging/queue?${new URLSearchParams({ placement, show, order })}`);
      }
    }
    await ask("/tagging/runs", { placement, runs });
  }
  await ask("/tagging/settle");
  await ask("/tagging/rulings");
  await ask("/tagging/nothing");
  await ask("/tagging/reference", { photo: 1, species: "g" });
  return said;
}"""
"""Asks the viewer's routes for all that they have."""


def test_a_students_browser_receives_nothing_unsettled_of_others(
    browser: Browser, class_served: Served, study: Workspace, tmp_path: Path
) -> None:
    """Frames of the socket, answers, files: all pages and routes; the instructor's hold it."""
    found: dict[str, Wire] = {}
    for who, role in (("Thandi", Role.TAGGER), ("Ike", Role.INSTRUCTOR)):
        context = browser.new_context(viewport={"width": WIDE, "height": HIGH})
        context.set_default_timeout(120_000)
        page = context.new_page()
        found[who] = Wire().of(page)
        page.goto(f"{class_served.address}/tag")
        sign_in(page, who, CODES[role])
        page.locator(".stage img").wait_for()
        folder = tmp_path / who
        folder.mkdir()
        walk(page, found[who], class_served.address, downloads=folder)
        instructs = role is Role.INSTRUCTOR
        ask_everything(page, found[who], study, class_served.address, instructs=instructs)
        context.close()
    student, instructor = found["Thandi"], found["Ike"]
    for secret in (SECRET, "taggers differ", "back to the camera, half dark"):
        assert secret.encode() not in student.all, secret
        assert secret.encode() in instructor.all, secret
    differ = [
        {row["first_photo"]: row["state"] for row in rows_of(wire.files["visits"])}
        for wire in (student, instructor)
    ]
    assert set(differ[1].values()) >= {"disputed", "agreed"}
    assert set(differ[0].values()) == {"untagged", "agreed"}
    assert all(
        state == (differ[1][first] if differ[1][first] == "agreed" else "untagged")
        for first, state in differ[0].items()
    )
    assert b"Only an instructor may rule" in student.all
    assert b"This page is for instructors" in student.all
    assert b"Only an instructor may rule" not in instructor.all


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


def test_when_all_is_settled_nothing_is_left_to_rule_by_accident(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """The last visit leaves the screen, and no key rules it again; Page Up shows it, undo too."""
    page = arrive("Ike", Role.INSTRUCTOR, "settle")
    ready(page)
    title = page.locator(".settle h2").first
    last = ""
    for many in range(1, 5):
        until(lambda before=last: title.inner_text() != before)  # type: ignore[misc]
        last = title.inner_text()
        page.keyboard.press("g")
        until(lambda wanted=many: len(rulings(study)) == wanted)  # type: ignore[misc]
    page.locator(".settle .end").get_by_text("Everything is settled").wait_for()
    until(lambda: not page.locator(".settle .panel").is_visible())
    page.keyboard.press("m")
    page.keyboard.press("Space")
    page.keyboard.press("PageUp")
    until(lambda: title.is_visible() and title.inner_text() == last)
    assert [one.species for one in rulings(study)] == ["g"] * 4
    page.keyboard.press("Enter")
    page.locator(".settle .end").wait_for()
    page.keyboard.press("Backspace")
    until(lambda: len(rulings(study)) == 3)
    until(lambda: title.is_visible() and title.inner_text() == last)


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


def test_arrows_choose_where_once_somebody_walked_there(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """The choice has one stop of the tabulator, and arrows go on in it, the focus with them."""
    page = arrive("Ike", Role.INSTRUCTOR, "settle")
    ready(page)
    focused = "() => document.activeElement.shadowRoot?.activeElement?.dataset.where ?? null"
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate(focused) is not None:
            break
    assert page.evaluate(focused) == ""
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    until(lambda: page.evaluate(focused) == "on_tray")
    page.keyboard.press("Escape")
    page.keyboard.press("g")
    until(lambda: [one.where for one in rulings(study)] == [Where.ON_TRAY])


def test_a_ruling_from_before_a_reload_is_taken_back_by_keys(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """Backspace says where the rulings are; the list gives what, who and why; Enter takes back."""
    page = arrive("Ike", Role.INSTRUCTOR, "settle")
    ready(page)
    title = page.locator(".settle h2").first
    ruled = title.inner_text()
    page.keyboard.press("Shift+C")
    page.keyboard.type("mg tail tuft")
    page.keyboard.press("Enter")
    page.keyboard.press("g")
    until(lambda: len(rulings(study)) == 1)
    page.reload()
    ready(page)
    assert title.inner_text() != ruled
    page.keyboard.press("Backspace")
    page.get_by_text("Shift+L lists all rulings").wait_for()
    page.keyboard.press("Shift+L")
    listed = page.locator(".rulings li")
    listed.get_by_text("ruled by Ike").wait_for()
    assert f"{ruled}: Hairy-footed gerbil" in listed.inner_text()
    assert "mg tail tuft" in listed.inner_text()
    page.keyboard.press("Enter")
    until(lambda: rulings(study) == [])
    until(lambda: title.inner_text() == ruled)
    page.keyboard.press("Backspace")
    until(lambda: len(rulings(study)) == 1)


def test_a_reference_is_taken_on_the_tag_page_from_an_agreed_visit_and_off_again(
    arrive: Callable[..., Page], study: Workspace
) -> None:
    """Shift+R and a key; it stands under the photo with a warning; Undo, the list, and by keys."""
    page = arrive("Ike", Role.INSTRUCTOR, "tag?placement=SK-BUSH&show=all+visits")
    page.get_by_text("Instructor", exact=True).click()
    page.get_by_text("State: agreed").wait_for()
    page.keyboard.press("?")
    sheet = page.get_by_role("dialog", name="Keys")
    assert "Shift+R\nInstructor: this photo a reference" in sheet.inner_text()
    assert "its button" not in sheet.inner_text()
    page.keyboard.press("Escape")
    for key in ("m", "n"):
        page.keyboard.press("Shift+R")
        page.keyboard.press(key)
        until(lambda wanted=key: wanted in {one.species for one in study.people.references()})  # type: ignore[misc]
    under = page.locator(".photo-refs")
    under.get_by_text("★ Reference of Four-striped grass mouse").wait_for()
    under.get_by_text("! Reference of Small-spotted genet. Its visit is settled as").wait_for()
    assert [one for one in study.view("SK-BUSH").tags if one.ruling] == []
    page.keyboard.press("Backspace")
    until(lambda: [one.species for one in study.people.references()] == ["m"])
    page.keyboard.press("Control+y")
    until(lambda: len(study.people.references()) == 2)
    under.get_by_role("button", name="Take off: Reference of Four-striped").click()
    until(lambda: [one.species for one in study.people.references()] == ["n"])
    page.get_by_role("link", name="Settle", exact=True).click()
    ready(page)
    page.get_by_role("button", name="References, 1 doubtful").wait_for()
    page.keyboard.press("Shift+G")
    page.get_by_text("! Its visit is settled as Four-striped grass mouse.").wait_for()
    page.keyboard.press("Enter")
    until(lambda: study.people.references() == [])
    page.get_by_role("dialog").get_by_role("button", name="Undo").click()
    until(lambda: [one.species for one in study.people.references()] == ["n"])


def test_a_tagger_takes_no_reference(arrive: Callable[..., Page], study: Workspace) -> None:
    """The page says whose it is, and the next key tags as always."""
    page = arrive("Thandi", page="tag?placement=SK-BUSH")
    page.locator(".stage img").wait_for()
    page.locator(".panel .who").first.wait_for()
    page.keyboard.press("Shift+R")
    page.get_by_text("Only an instructor takes reference photos").wait_for()
    page.keyboard.press("Space")
    until(lambda: any(one.tagger == "Thandi" for one in study.view("SK-BUSH").tags))
    assert study.people.references() == []


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
