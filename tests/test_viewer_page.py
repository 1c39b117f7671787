"""The viewer on its page, in a real browser: where keys work, who sees what, how it looks."""

import pytest
from browsers import (
    HIGH,
    MARKS,
    Seat,
    asked,
    browser,
    context,
    page,
    runs_of,
    seat,
    served,
    until,
    workspace,
)

from core.model import Where

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS

# --- where keys work -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "place", [".stage", ".panel h2", ".ring", ".caption", ".toggle >> nth=0", ".dial-words"]
)
def test_a_click_anywhere_in_the_viewer_leaves_the_keys_working(seat: Seat, place: str) -> None:
    """Picture, words, buttons: after a click Space is still blank, not another press."""
    seat.sit()
    seat.page.locator(place).click()
    seat.press("Space")
    assert [tag.species for tag in seat.has_tags(1)] == ["blank"]


@pytest.mark.parametrize("words", ["Instructor", "Order"])
def test_a_click_elsewhere_on_the_page_leaves_the_keys_working(seat: Seat, words: str) -> None:
    """The checkbox above, and a list that was chosen from: the next key is a tag again."""
    seat.sit()
    if words == "Order":
        seat.page.get_by_label("Order").click()
        seat.page.get_by_role("option", name="most changed first").click()
        seat.sees("not tagged by me", ".progress")
        until(lambda: seat.page.evaluate("() => document.activeElement.tagName") != "INPUT")
    else:
        seat.page.get_by_text(words).click()
        seat.page.get_by_text(words).click()
    seat.shown()
    seat.press("Space")
    assert [tag.species for tag in seat.has_tags(1)] == ["blank"]


def test_typing_a_name_above_never_tags(seat: Seat) -> None:
    """Letters and Enter in the name field are the name's."""
    seat.sit()
    seat.page.get_by_label("Your name").fill("mmm")
    seat.press("m", "g", "Space")
    seat.page.wait_for_timeout(500)
    assert [tag for tag in seat.workspace.view("SK-OPEN").tags if tag.tagger == seat.who] == []


def test_a_control_that_was_walked_to_is_pressed_by_space(seat: Seat) -> None:
    """With the keyboard on a button, Space presses it and tags nothing; letters still tag."""
    seat.sit()
    seat.press("ArrowDown")
    seat.page.locator(".toggle").first.focus()
    seat.press("Tab", "Shift+Tab", "Space")
    seat.page.locator(".toggle[aria-pressed=true]").wait_for()
    assert seat.tags() == []
    seat.press("m")
    assert [tag.sure for tag in seat.has_tags(1)] == [False]


def test_arrows_choose_within_a_choice_that_was_walked_to(seat: Seat) -> None:
    """With the keyboard on "where", right and left choose as up and down do, and show no photo."""
    seat.sit()
    seat.page.locator(".zone.fed").focus()
    seat.press("Tab", "Shift+Tab", "ArrowRight", "ArrowRight", "ArrowLeft", "ArrowRight")
    seat.page.locator(".zone.on_tray:focus[aria-checked=true]").wait_for()
    assert "Photo 1 of 6" in seat.page.locator(".caption").inner_text()
    seat.press("m")
    assert [tag.where for tag in seat.has_tags(1)] == [Where.ON_TRAY]


def test_a_key_that_is_held_down_tags_once(seat: Seat) -> None:
    """The repeats of a key that is held are no presses."""
    seat.sit()
    for _ in range(5):
        seat.page.keyboard.down("Space")
    seat.page.keyboard.up("Space")
    assert runs_of(seat.has_tags(1)) == seat.visits()[:1]


# --- who sees what ---------------------------------------------------------------------------


def test_a_tagger_sees_no_other_opinion(seat: Seat) -> None:
    """Others tagged this visit: a student sees nothing of it."""
    seat.sit()
    assert any(tag.tagger == "Nomsa" for tag in seat.workspace.view("SK-OPEN").tags)
    assert seat.page.locator(".said li").count() == 0
    assert "Nomsa" not in seat.page.locator(".lastbite").inner_text()


def test_without_a_name_one_may_look_and_not_tag(seat: Seat) -> None:
    """The photos are there; a key tags nothing, and says why."""
    seat.page.goto(f"{seat.served.address}/tag?placement=SK-OPEN")
    seat.shown()
    seat.press("Space")
    seat.sees("Say who you are first")
    assert seat.run == "Visit 1"


def test_names_that_people_wrote_are_shown_as_they_stand(seat: Seat, asked: list[str]) -> None:
    """Markup and picture links in a species name are text, and fetch nothing."""
    seat.sit()
    seat.page.get_by_role("button", name="<b>Bold</b> ![a](/b.png) $x$").wait_for()
    assert [url for url in asked if "b.png" in url] == []


def test_every_picture_has_words(seat: Seat) -> None:
    """Large picture and strip say which photo, which visit, tray, placement and time."""
    seat.sit()
    seat.page.locator(".thumb img").nth(5).wait_for()
    alts = seat.page.locator(".lastbite img").evaluate_all("all => all.map(one => one.alt)")
    assert len(alts) == 7
    assert all("of visit 1, tray T1, placement SK-OPEN, 14 Mar 2026" in alt for alt in alts)


# --- the look --------------------------------------------------------------------------------


def test_all_that_is_needed_fits_a_small_laptop(seat: Seat) -> None:
    """On a screen of 1366 by 768 every species, the answers and undo are seen without scrolling."""
    seat.sit()
    seat.press("Space")
    seat.has_tags(1)
    for place in seat.page.locator(".who:visible, .undo, .redo, .stage, .thumb").all():
        box = place.bounding_box()
        assert box
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= HIGH


@pytest.mark.parametrize("width", [1024, 390])
def test_a_narrow_window_needs_no_scrolling_sideways(seat: Seat, width: int) -> None:
    """On a small screen and on a phone everything stands inside the window."""
    seat.page.set_viewport_size({"width": width, "height": 800})
    seat.sit()
    for place in seat.page.locator(".lastbite button:visible, .stage, .panel h2").all():
        box = place.bounding_box()
        assert box
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
    wide = "() => document.querySelector('[data-testid=stMain]').scrollWidth"
    assert seat.page.evaluate(wide) <= width


CONTRAST = """
() => {
  const curved = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const light = (c) => curved(c / 255);
  const parts = (words) => words.match(/[\\d.]+/g).map(Number);
  const shine = ([r, g, b]) => 0.2126 * light(r) + 0.7152 * light(g) + 0.0722 * light(b);
  const under = (node) => {
    for (let one = node; one; one = one.parentElement ?? one.getRootNode().host) {
      const [r, g, b, a = 1] = parts(getComputedStyle(one).backgroundColor);
      if (a === 1) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const place = document.querySelector('[data-testid^=stBidi]').shadowRoot;
  const root = place.querySelector('.lastbite');
  const found = [];
  for (const node of root.querySelectorAll('*')) {
    const words = [...node.childNodes].filter((one) => one.nodeType === 3 && one.data.trim());
    if (!words.length || !node.getClientRects().length || node.closest('svg')) continue;
    const [a, b] = [shine(parts(getComputedStyle(node).color)), shine(under(node))];
    found.push([(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), words[0].data]);
  }
  return found;
}
"""
"""Contrast of each piece of text with what is behind it, as WCAG 2.2 has it (from memory)."""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_words_can_be_read_in_light_and_dark(seat: Seat, scheme: str) -> None:
    """Every piece of text has a contrast of at least 4.5 with its ground (WCAG AA)."""
    seat.page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    seat.sit()
    seat.press("ArrowDown", "Shift+A", "m")
    seat.has_tags(1)
    found = seat.page.evaluate(CONTRAST)
    assert len(found) > 30
    assert [(ratio, words) for ratio, words in found if ratio < 4.5] == []


# --- who sits there --------------------------------------------------------------------------


def test_a_reload_keeps_the_name_in_this_tab_alone(seat: Seat) -> None:
    """F5 asks nobody anew, on any page; another tab, with somebody else before it, is asked."""
    seat.sit()
    seat.page.get_by_text("Instructor", exact=True).click()
    seat.page.locator(".panel .state").get_by_text("State:").wait_for()
    seat.page.reload()
    seat.page.locator(f".lastbite[data-of^='{seat.who}|']").wait_for()
    seat.page.locator(".panel .state").get_by_text("State:").wait_for()
    assert seat.page.get_by_label("Your name").input_value() == seat.who
    seat.page.get_by_role("link", name="Class").click()
    seat.page.get_by_role("tab", name="Agreement").wait_for()
    seat.page.get_by_role("link", name="Tag").click()
    seat.page.locator(f".lastbite[data-of^='{seat.who}|']").wait_for()
    other = seat.page.context.new_page()
    other.goto(f"{seat.served.address}/tag")
    other.get_by_text("Say who you are first").wait_for()
    assert other.get_by_label("Your name").input_value() == ""


def test_the_whole_viewer_is_on_screen_before_anybody_said_who_they_are(seat: Seat) -> None:
    """The words that ask for a name push no photo of the strip off a screen of 1366 x 768."""
    seat.page.goto(f"{seat.served.address}/tag?placement=SK-OPEN")
    asks = seat.page.locator(".lastbite .lost")
    asks.wait_for()
    assert asks.inner_text() == "Say who you are first: type your name at the top left."
    thumb = seat.page.locator(".strip .thumb, .strip button").first
    thumb.wait_for()
    box = thumb.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= HIGH


def test_undo_and_redo_are_whole_words(seat: Seat) -> None:
    """What they undo stands in their name and title, and nothing on them is cut off."""
    seat.sit()
    seat.press("ArrowDown", "ArrowDown", "m")
    seat.has_tags(1)
    for name in ("Undo", "Redo"):
        one = seat.page.get_by_role("button", name=f"{name}: Visit 1: Four-striped grass mouse")
        assert one.inner_text() == name
        assert "Four-striped grass mouse, 1, on the tray" in (one.get_attribute("title") or "")
        assert one.evaluate("node => node.scrollWidth <= node.clientWidth")
        one.click()
