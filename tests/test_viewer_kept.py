"""The viewer in a real browser: no tag is lost, doubled or misplaced; undo, redo, split, join."""

from datetime import datetime, timedelta

from browsers import (
    MARKS,
    Seat,
    Served,
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
from builders import write_burst, write_photo
from playwright.sync_api import BrowserContext, Dialog

from app import review

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS

# --- nothing lost, nothing doubled -----------------------------------------------------------


def test_two_hundred_keys_in_eight_seconds_are_two_hundred_right_tags(seat: Seat) -> None:
    """Pressed 40 ms apart, each key tags the visit that was on screen when it was pressed."""
    seat.placement = "LONG"
    seat.sit()
    seat.press("ArrowDown")
    keys = [("m", "g", "Space", "s", "n")[at % 5] for at in range(200)]
    seat.press(*keys, gap_ms=40)
    tags = seat.has_tags(200)
    said = {(tag.first_photo, tag.last_photo): tag.species for tag in tags}
    expected = ["blank" if key == "Space" else key for key in keys]
    assert [said.get(run) for run in seat.visits()[:200]] == expected
    assert len(seat.tags(standing=False)) == 200


def test_keys_pressed_while_the_server_is_away_are_kept(seat: Seat, served: Served) -> None:
    """Three tags wait, which is said; when the server is back all three are in the study."""
    seat.sit()
    seat.press("ArrowDown")
    served.crash()
    seat.press("m", "g", "Space")
    seat.sees("3 tags wait for the connection.")
    assert len(seat.waiting()) == 3
    served.start()
    tags = seat.has_tags(3)
    assert [tag.species for tag in tags] == ["m", "g", "blank"]
    assert runs_of(tags) == seat.visits()[:3]
    until(lambda: not seat.page.locator(".lost").is_visible())
    seat.reconnected()
    seat.press("Space")
    assert runs_of(seat.has_tags(4)) == seat.visits()[:4]


def test_a_reload_in_mid_work_loses_nothing(seat: Seat) -> None:
    """Keys, then a reload at once: the tags are there, and the first untagged visit is shown."""
    seat.sit()
    seat.press("ArrowDown", "m", "g", "s")
    seat.page.on("dialog", lambda dialog: dialog.accept())
    seat.sit()
    assert [tag.species for tag in seat.has_tags(3)] == ["m", "g", "s"]
    assert seat.run == "Visit 4"


def test_a_page_that_was_closed_sends_its_tags_when_somebody_is_back(
    seat: Seat, context: BrowserContext
) -> None:
    """Tags that never reached the study wait in the browser, and go from the next page."""
    seat.sit()
    # Not by a route that fails: what a page sends while it closes may go past it.
    seat.served.crash()
    seat.press("ArrowDown", "m", "g")
    seat.sees("2 tags wait for the connection.")
    seat.page.close()
    seat.served.start()
    assert seat.tags() == []
    seat.page = context.new_page()
    seat.sit()
    assert [tag.species for tag in seat.has_tags(2)] == ["m", "g"]


def test_leaving_with_tags_that_wait_is_warned_of(seat: Seat) -> None:
    """The browser asks before it leaves while a tag waits, and not when none does."""
    seat.sit()
    warned: list[str] = []

    def note(dialog: Dialog) -> None:
        warned.append(dialog.type)
        dialog.dismiss()

    seat.page.on("dialog", note)
    seat.page.route("**/tagging/acts", lambda route: route.abort())
    seat.press("Space")
    seat.sees("1 tag waits for the connection.")
    with seat.page.expect_event("dialog"):
        seat.page.close(run_before_unload=True)
    until(lambda: warned, patience_s=5)
    assert warned == ["beforeunload"]
    assert not seat.page.is_closed()
    seat.page.unroute("**/tagging/acts")
    seat.has_tags(1)
    with seat.page.expect_event("close"):
        seat.page.close(run_before_unload=True)
    assert warned == ["beforeunload"]


LOSE_ONE_ANSWER = """() => {
  const ask = window.fetch;
  window.answers = [];
  window.fetch = async (path, ...more) => {
    const answer = await ask(path, ...more);
    if (path !== "/tagging/acts") return answer;
    window.answers.push(answer.status);
    if (window.answers.length === 1) throw new TypeError("The answer was lost.");
    return answer;
  };
}"""


def test_an_answer_that_is_lost_makes_no_second_tag(seat: Seat) -> None:
    """The study keeps the tag and the answer does not arrive: sent again, it is the same tag."""
    seat.sit()
    # In the page: a route of the driver's that asks on its own is not always in time.
    seat.page.evaluate(LOSE_ONE_ANSWER)
    seat.press("Space")
    seat.sees("1 tag waits for the connection.")
    first = seat.tags()
    assert seat.has_tags(1) == first
    assert seat.page.evaluate("() => window.answers") == [200, 200]
    assert len(seat.tags(standing=False)) == 1


def test_a_tag_that_is_refused_says_why_and_its_run_is_untagged_again(seat: Seat) -> None:
    """The card was forgotten under the page: nothing is kept, in words, and undo has nothing."""
    seat.placement = "LENT"
    seat.sit()
    card = next(one.id for one in seat.workspace.cards() if one.placement == "LENT")
    seat.workspace.forget_card(card, with_tags=True)
    seat.press("Space")
    seat.sees("Not kept: Visit 1, Blank.")
    assert seat.waiting() == []
    assert seat.page.get_by_role("button", name="Undo: nothing").is_disabled()
    seat.page.get_by_role("button", name="I have read it").click()
    seat.page.locator(".faults p").wait_for(state="detached")


def test_what_was_refused_to_somebody_who_is_gone_is_told_to_who_is_here(
    seat: Seat, context: BrowserContext
) -> None:
    """Tagged without a line, the card forgotten: said on the next page, until it is read."""
    seat.placement = "GONE"
    source = seat.served.folder.parent / "gone"
    write_burst(source, datetime(2026, 3, 15, 9), 3, first=5000)  # noqa: DTZ001
    seat.workspace.scan(source, "GONE")
    seat.sit()
    context.route("**/tagging/acts", lambda route: route.abort())
    seat.press("Space")
    seat.sees("1 tag waits for the connection.")
    who = seat.who
    seat.page.close()
    card = next(one.id for one in seat.workspace.cards() if one.placement == "GONE")
    seat.workspace.forget_card(card)
    context.unroute("**/tagging/acts")
    seat.page = context.new_page()
    seat.who, seat.placement = f"{who[:40]} other", "SK-OPEN"
    seat.sit()
    seat.sees(f"Not kept, of {who}: GONE, Visit 1, Blank.")
    seat.sit()
    seat.sees(f"Not kept, of {who}: GONE, Visit 1, Blank.")
    seat.page.get_by_role("button", name="I have read it").click()
    seat.page.locator(".faults p").wait_for(state="detached")


FAULTS = """
count => document.querySelector('[data-testid^=stBidi]').shadowRoot
  .querySelectorAll('.faults p').length === count
"""


def passed_to(seat: Seat, run: str) -> bool:
    """Go on by one run; says whether it is that one."""
    seat.press("PageDown")
    return seat.run == run


def test_what_was_refused_stays_until_it_is_read_over_reloads(seat: Seat) -> None:
    """Eight refusals: six are shown and how many more there are; a reload forgets none."""
    seat.placement = "LONG"
    seat.sit()
    seat.page.route(
        "**/tagging/acts",
        lambda route: route.fulfill(
            json={
                "done": {},
                "refused": {
                    one["id"]: "No." for one in (route.request.post_data_json or {})["acts"]
                },
            }
        ),
    )
    seat.press(*["Space"] * 8, gap_ms=100)
    seat.sees("And 2 more: read these first.")
    until(lambda: not seat.waiting())
    seat.page.unroute("**/tagging/acts")
    seat.sit()
    faults = seat.page.locator(".faults p")
    seat.sees("Not kept: Visit 1, Blank. No.")
    for left in range(8, 0, -1):
        shown = 7 if left > 6 else left
        seat.page.wait_for_function(FAULTS, arg=shown)
        seat.page.get_by_role("button", name="I have read it").first.click()
    faults.first.wait_for(state="detached")
    seat.sit()
    assert faults.count() == 0
    assert seat.tags(standing=False) == []


def test_runs_that_are_gone_are_not_asked_for_again_and_again(seat: Seat, asked: list[str]) -> None:
    """The card was forgotten under an open list: each run is asked for once, then no more."""
    seat.placement = "GONE"
    source = seat.served.folder.parent / "gone too"
    for at in range(60):
        shown = datetime(2026, 3, 16, 8) + timedelta(minutes=5 * at)  # noqa: DTZ001
        write_photo(source / f"IMG_{at:04}.JPG", shown, shade=6000 + at)
    seat.workspace.scan(source, "GONE")
    seat.sit()
    card = next(one.id for one in seat.workspace.cards() if one.placement == "GONE")
    seat.workspace.forget_card(card)
    seat.press(*["PageDown"] * 55, gap_ms=10)

    def hardly_any_is_asked_for() -> bool:
        before = sum("/tagging/runs" in one for one in asked)
        seat.page.wait_for_timeout(3_000)
        return sum("/tagging/runs" in one for one in asked) - before <= 2

    until(hardly_any_is_asked_for, patience_s=60)  # a busy computer takes a while to get there


def test_runs_that_are_gone_are_passed_over_which_is_said_once(seat: Seat) -> None:
    """One card of two was forgotten under the list: the next run that is there is shown."""
    seat.placement = "HALF"
    cards = {name: seat.served.folder.parent / name for name in ("half gone", "half here")}
    for (_, folder), (hour, count) in zip(cards.items(), ((8, 60), (15, 2)), strict=True):
        for at in range(count):
            shown = datetime(2026, 3, 18, hour) + timedelta(minutes=5 * at)  # noqa: DTZ001
            write_photo(folder / f"I_{at:04}.JPG", shown, shade=8000 + hour * 99 + at)
        seat.workspace.scan(folder, "HALF")
    seat.sit()
    seat.workspace.forget_card(seat.workspace.card_in(cards["half gone"]).id)
    seat.press(*["PageDown"] * 20, gap_ms=20)  # into rows that are not read yet
    seat.sees("Runs of this list are passed over. These photos are not on this placement any more")
    until(lambda: passed_to(seat, "Visit 2"))
    seat.press("Space")
    seat.has_tags(1)


# --- undo and redo ---------------------------------------------------------------------------


def test_undo_and_redo_go_through_the_whole_session(seat: Seat) -> None:
    """Three tags are taken back one by one, over a reload, and hold again one by one."""
    seat.sit()
    seat.press("ArrowDown", "m", "g", "s")
    seat.has_tags(3)
    seat.press("Backspace", "Control+z")
    assert [tag.species for tag in seat.has_tags(1)] == ["m"]
    assert seat.run == "Visit 2"
    seat.sit()
    seat.press("Backspace")
    assert seat.has_tags(0) == []
    assert seat.run == "Visit 1"
    seat.press("Control+y", "Control+Shift+z", "Control+y")
    assert [tag.species for tag in seat.has_tags(3)] == ["m", "g", "s"]
    assert len(seat.tags(standing=False)) == 3
    seat.press("Control+y")
    seat.sees("There is nothing to do again.")


def test_undo_and_redo_say_what_they_would_do(seat: Seat) -> None:
    """The button names the deed; pressed, it does it."""
    seat.sit()
    seat.press("Space")
    seat.has_tags(1)
    seat.page.get_by_role("button", name="Undo: Visit 1: Blank").click()
    assert seat.has_tags(0) == []
    seat.page.get_by_role("button", name="Redo: Visit 1: Blank").click()
    assert len(seat.has_tags(1)) == 1


def test_one_own_tag_is_taken_back_where_it_is_listed(seat: Seat) -> None:
    """Of two species one goes and the other stays; undo brings it back."""
    seat.sit()
    seat.press("ArrowDown", "Shift+A", "m", "g")
    seat.has_tags(2)
    seat.page.get_by_role("button", name="Take back: Four-striped grass mouse").click()
    assert [tag.species for tag in seat.has_tags(1)] == ["g"]
    seat.press("Backspace")
    assert [tag.species for tag in seat.has_tags(2)] == ["m", "g"]


def test_a_new_tag_ends_what_could_be_done_again(seat: Seat) -> None:
    """After an undo another tag is made: redo has nothing left."""
    seat.sit()
    seat.press("Space", "Backspace", "Shift+H", "Control+y")
    assert [tag.species for tag in seat.has_tags(1)] == ["handler"]
    assert seat.page.get_by_role("button", name="Redo: nothing").is_disabled()


# --- splitting and joining -------------------------------------------------------------------


def test_a_run_is_split_before_a_photo_and_each_part_tagged(seat: Seat) -> None:
    """Photos 1 to 3 are one tag, 4 to 6 another; both hold after a reload."""
    seat.sit()
    photos = [one.id for one in seat.workspace.view("SK-OPEN").visits[0].visit.photos]
    seat.press("ArrowRight", "ArrowRight", "ArrowRight", "Shift+S")
    until(lambda: seat.run == "Visit 1, photos 1 to 3 of 6")
    seat.press("ArrowDown", "m")
    until(lambda: seat.run == "Visit 1, photos 4 to 6 of 6")
    seat.press("g")
    tags = seat.has_tags(2)
    assert runs_of(tags) == [(photos[0], photos[2]), (photos[3], photos[5])]
    assert seat.run == "Visit 2"
    seat.sit(show="tagged+by+me")
    assert seat.run == "Visit 1, photos 1 to 3 of 6"


def test_a_split_is_undone_and_holds_over_a_reload(seat: Seat) -> None:
    """Not tagged yet, a split is the browser's own: it is there after a reload, until undone."""
    seat.sit()
    seat.press("ArrowRight", "Shift+S")
    until(lambda: seat.run == "Visit 1, photo 1 of 6")
    seat.sit()
    assert seat.run == "Visit 1, photo 1 of 6"
    seat.press("Backspace")
    until(lambda: seat.run == "Visit 1")
    seat.press("Control+y")
    until(lambda: seat.run == "Visit 1, photo 1 of 6")
    seat.press("PageDown")
    until(lambda: seat.run == "Visit 1, photos 2 to 6 of 6")
    assert seat.tags(standing=False) == []


def test_what_was_said_of_the_whole_is_taken_back_by_a_split(seat: Seat) -> None:
    """It would go on holding beside the parts; undoing the split brings it back."""
    seat.sit()
    seat.press("Space", "PageUp", "ArrowRight", "Shift+S")
    assert seat.has_tags(0) == []
    seat.press("Backspace")
    assert runs_of(seat.has_tags(1)) == seat.visits()[:1]


def test_two_runs_are_joined_and_tagged_as_one(seat: Seat) -> None:
    """One tag lies over both visits; keys that are pressed at once after Shift+J mean the whole."""
    seat.sit()
    seat.press("ArrowDown", "Shift+J", "m")
    [tag] = seat.has_tags(1)
    first, second = seat.visits()[:2]
    assert runs_of([tag]) == [(first[0], second[1])]
    assert seat.run == "Visit 3"
    seat.press("Backspace", "Backspace")
    until(lambda: seat.run == "Visit 1")
    assert seat.has_tags(0) == []


def test_runs_with_another_between_them_are_not_joined(seat: Seat) -> None:
    """Visit 2 is tagged and not in the list any more: 1 and 3 are no neighbours."""
    seat.sit()
    seat.press("PageDown", "Space")
    seat.has_tags(1)
    seat.sit()
    seat.press("Shift+J")
    seat.sees("nothing was joined")
    assert seat.run == "Visit 1"


ANSWER_RUNS_LATER = """() => {
  const ask = window.fetch;
  window.fetch = async (path, ...more) => {
    const answer = await ask(path, ...more);
    if (path === "/tagging/runs") await new Promise((done) => setTimeout(done, 1000));
    return answer;
  };
}"""


def test_a_join_over_two_windows_is_asked_for_twice(seat: Seat) -> None:
    """The last visit of one window and the first of the next; what is typed on tags no part."""
    window = {
        one.visit.number: review.deployments_at(
            seat.workspace.trays(), view.placement, one.visit.start, one.visit.end
        )
        for view in [seat.workspace.view("SK-OPEN")]
        for one in view.visits
    }
    last = next(number for number in window if window[number] != window[number + 1])
    whole = seat.visits()[last - 1][0], seat.visits()[last][1]
    seat.sit()
    seat.press("ArrowDown", *["PageDown"] * (last - 1))
    until(lambda: seat.run == f"Visit {last}")
    # Else the study may have answered before the second key: that would be a key of the part.
    seat.page.evaluate(ANSWER_RUNS_LATER)
    seat.press("Shift+J", "m")
    seat.sees("The next run is not in the same tray window: not joined.")
    assert seat.run == f"Visit {last}"
    assert seat.has_tags(0) == []
    seat.press("Shift+J", "m")
    assert runs_of(seat.has_tags(1)) == [whole]
