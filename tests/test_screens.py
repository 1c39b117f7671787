"""The pages without a browser: each opens on an empty study and on the demo, and does its job."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import streamlit as st
from builders import write_burst, write_photo
from pages import PAGES, frames, opened, press, words
from streamlit.testing.v1 import AppTest
from test_cli import DAY

from app import session, timeline
from app.demo import SOURCE
from core.logs import LogKind
from core.model import Status, Where
from core.workspace import NewTag, Workspace

# --- opening ---------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES)
def test_every_page_opens_on_an_empty_study_and_says_what_comes_next(
    empty: Workspace, page: str
) -> None:
    """A new study is led to its species list, whichever page is opened first."""
    assert "Next: Species list" in words(opened(page))
    assert empty.cards() == []


@pytest.mark.parametrize("page", PAGES)
def test_every_page_opens_on_the_demo_without_a_fault(demo: Workspace, page: str) -> None:
    """No page of a whole study shows an error or asks for a next step."""
    at = opened(page)
    assert not at.error
    assert "Next: " not in words(at)
    assert demo.species()


@pytest.mark.parametrize("page", PAGES)
def test_a_study_that_is_not_there_is_said_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, page: str
) -> None:
    """A folder that is no study gives its own message, and no traceback."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(tmp_path / "gone"))
    assert "is no study" in words(opened(page))


def test_a_page_started_without_a_study_says_how_to_start_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without the environment's study the page names the command."""
    monkeypatch.delenv(session.STUDY_VARIABLE, raising=False)
    assert "lastbite page STUDY" in words(opened("cards"))


# --- cards -----------------------------------------------------------------------------------


def load(at: AppTest, kind: str, content: bytes, name: str | None = None) -> AppTest:
    at.file_uploader(key=f"file-{kind}").set_value((name or f"{kind}.csv", content, "text/csv"))
    return press(at, f"load-it-{kind}")


def to_tab(at: AppTest, name: str, key: str = "cards-tabs") -> AppTest:
    at.session_state[key] = name
    return at.run()


def test_logs_are_loaded_one_after_the_other_and_the_guide_goes_on(empty: Workspace) -> None:
    """After the species list comes the camera log, then the tray log on its own page."""
    at = load(to_tab(opened("cards"), "Species list"), "species", file("species"))
    assert "species.csv: 5 new, 0 changed, 0 as before." in words(at)
    assert "Next: Camera log" in words(at)
    at = load(to_tab(at, "Camera log"), "cameras", file("cameras"))
    assert "Next: Tray log" in words(at)
    assert [one.placement for one in empty.placements()][:1] == ["SK-OPEN"]
    at.switch_page("screens/trays.py").run()
    at = load(to_tab(at, "Tray log", "trays-tabs"), "trays", file("trays"))
    assert len(empty.trays()) == 17
    assert len(empty.species()) == 5


def file(kind: str) -> bytes:
    return (SOURCE / f"{kind}.csv").read_bytes()


def test_a_log_with_faults_changes_nothing_and_lists_each_with_its_line(empty: Workspace) -> None:
    """Two faults in two lines are both shown; the species list stays empty."""
    at = to_tab(opened("cards"), "Species list")
    bad = b"key,name,role\nm,Mouse,forager\nmm,Fox,other\nq,Quail,bird\n"
    at = load(at, "species", bad)
    assert "species.csv was not loaded: 2 faults, nothing was changed." in words(at)
    [faults] = [frame for frame in frames(at) if "fault" in frame]
    assert list(faults["line"]) == ["3", "4"]
    assert empty.species() == {}


def test_a_file_that_is_no_log_is_refused_in_words(empty: Workspace) -> None:
    """A picture named as a CSV is refused; loading nothing asks for a file."""
    at = to_tab(opened("cards"), "Species list")
    at = load(at, "species", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01", "photo.csv")
    assert "was not loaded" in words(at)
    assert "No file was chosen" in words(press(at, "load-it-species"))
    assert empty.species() == {}


def test_a_card_is_scanned_and_what_was_found_is_said(empty: Workspace, tmp_path: Path) -> None:
    """Photos, what the camera showed, and a file that is no photo are said; the card is listed."""
    empty.load(LogKind.CAMERAS, SOURCE / "cameras.csv")
    card = tmp_path / "card"
    write_burst(card, DAY, 3)
    write_photo(card / "undated.JPG", None, shade=99)
    at = to_tab(opened("cards"), "Cards")
    at.text_input(key="scan-folder").set_value(str(card))
    at.selectbox(key="scan-placement").set_value("SK-OPEN")
    at = press(at, "scan")
    assert "SK-OPEN: 4 files, 4 new (4 photos, 0 copies, 0 no pictures), 0 known." in words(at)
    assert "The camera showed 2026-03-14 08:30:00 to 2026-03-14 08:30:02." in words(at)
    [listed] = [frame for frame in frames(at) if "at hand" in frame]
    [card_line] = listed[["placement", "files", "at hand"]].to_numpy().tolist()
    assert card_line == ["SK-OPEN", 4, "yes"]
    assert len(empty.view("SK-OPEN").photos) == 4
    at = to_tab(at, "Files with a problem")
    [problems] = [frame for frame in frames(at) if "problem" in frame]
    assert problems["file"].tolist() == ["undated.JPG"]


@pytest.mark.parametrize(
    ("folder", "placement", "said"),
    [
        ("", "SK-OPEN", "No folder is named"),
        ("/no/such/folder", "SK-OPEN", "is not there"),
        (str(SOURCE / "cards" / "SK-OPEN"), None, "No placement is named"),
    ],
)
def test_a_card_that_cannot_be_scanned_is_refused_in_words(
    empty: Workspace, folder: str, placement: str | None, said: str
) -> None:
    """No folder, a folder that is not there and no placement each have their own words."""
    empty.load(LogKind.CAMERAS, SOURCE / "cameras.csv")
    at = to_tab(opened("cards"), "Cards")
    at.text_input(key="scan-folder").set_value(folder)
    if placement:
        at.selectbox(key="scan-placement").set_value(placement)
    assert said in words(press(at, "scan"))
    assert empty.cards() == []


def test_a_card_is_moved_with_its_tags(demo: Workspace) -> None:
    """Scanned under the wrong placement, a whole card goes to another one."""
    demo.forget_card(card_of(demo, "SK-BUSH"), with_tags=True)
    tags = len(demo.view("SK-OPEN").tags)
    card = card_of(demo, "SK-OPEN")
    at = opened("cards")
    at.selectbox(key="card").set_value(card).run()
    at.selectbox(key=f"move-to-{card}").set_value("SK-BUSH")
    at.checkbox(key=f"move-sure-{card}").check().run()
    at = press(at, f"move-{card}")
    assert "The card is under placement SK-BUSH now." in words(at)
    assert len(demo.view("SK-BUSH").tags) == tags > 0
    assert demo.view("SK-OPEN").photos == ()


def card_of(workspace: Workspace, placement: str) -> int:
    return next(card.id for card in workspace.cards() if card.placement == placement)


def test_forgetting_a_card_tells_how_many_tags_go_and_asks_again(demo: Workspace) -> None:
    """The first press is refused with the number of tags; only the second sets them aside."""
    card, tags = card_of(demo, "SK-OPEN"), len(demo.view("SK-OPEN").tags)
    at = opened("cards")
    at.selectbox(key="card").set_value(card).run()
    assert at.button(key=f"forget-{card}").disabled
    at.checkbox(key=f"forget-sure-{card}").check().run()
    at = press(at, f"forget-{card}")
    assert f"has {tags} tags on its photos. Nothing was removed" in words(at)
    assert demo.view("SK-OPEN").photos
    at = press(at, f"forget-tags-{card}")
    assert f"The card was forgotten; {tags} tags were set aside." in words(at)
    assert demo.view("SK-OPEN").photos == ()


def test_pictures_that_are_not_at_hand_are_said(empty: Workspace, tmp_path: Path) -> None:
    """When the card was taken out, the page says whose pictures are away and what is kept."""
    write_burst(tmp_path / "card", DAY, 3)
    empty.scan(tmp_path / "card", "P1")
    (tmp_path / "card").rename(tmp_path / "elsewhere")
    assert "3 pictures of P1 are not at hand" in words(to_tab(opened("cards"), "Cards"))


# --- trays -----------------------------------------------------------------------------------


def test_a_tray_log_edited_with_a_fault_is_refused_with_its_line(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pick-up before the set-out, typed into the third row, names line 4 and changes nothing."""
    before = demo.log_rows(LogKind.TRAYS)
    as_edited(monkeypatch, row=2, picked_up="2026-03-13 06:00")
    at = press(to_tab(opened("trays"), "Tray log", "trays-tabs"), "save-trays")
    [faults] = [frame for frame in frames(at) if "fault" in frame]
    assert faults["line"].tolist() == ["4"]
    assert demo.log_rows(LogKind.TRAYS) == before


def as_edited(monkeypatch: pytest.MonkeyPatch, row: int, **cells: str) -> None:
    """Let the table on the page come back with other cells, as if somebody had typed them."""
    drawn = st.data_editor

    def editor(data: pd.DataFrame, **options: object) -> pd.DataFrame:
        drawn(data, **options)  # type: ignore[call-overload]
        typed = data.copy()
        for name, value in cells.items():
            typed.iloc[row, typed.columns.get_loc(name)] = value  # type: ignore[index]
        return typed

    monkeypatch.setattr(st, "data_editor", editor)


def test_a_tray_log_edited_without_a_fault_is_saved(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another mass typed into the first row is kept, and the outcome follows."""
    as_edited(monkeypatch, row=0, food_left_g="3.0")
    at = press(to_tab(opened("trays"), "Tray log", "trays-tabs"), "save-trays")
    assert "The trays log was saved: 0 new, 1 changed, 16 as before." in words(at)
    assert str(demo.trays()[0].food_left_g) == "3.0"


def test_a_tray_is_walked_down_to_its_photos(demo: Workspace) -> None:
    """Rule cell, notes, food numbers, tags with names, and the photos of a chosen deployment."""
    at = opened("trays")
    at.selectbox(key="deployment-0").set_value("SKO-N1").run()
    outcome = demo.outcome("SKO-N1")
    said = words(at)
    assert f"Rule cell: {outcome.cell}" in said
    for note in outcome.notes:
        assert f"Note: {note}" in said
    assert "Nomsa: Hairy-footed gerbil, 1, fed [" in said
    [food] = [frame for frame in frames(at) if "how" in frame]
    numbers = dict(zip(food["what"], food["number"], strict=True))
    # k and r as worked out in demo_images/ABOUT.md
    assert (numbers["moisture k"], numbers["sifting r"]) == ("1.0125", "0.98333")
    photos = [p for seen in outcome.seen for part in seen.parts for p in part.visit.photos]
    pictures = "\n".join(one.value for one in at.html)
    assert all(f"/photo/strip/{photo.id}" in pictures for photo in photos)
    assert all(photo.file.rsplit("/", 1)[-1] in said for photo in photos)


def test_the_trays_are_narrowed_by_site_and_status(demo: Workspace) -> None:
    """Only the pending tray of one site is left in the table."""
    at = opened("trays")
    at.selectbox(key="site").set_value("Skulpkom").run()
    at.multiselect(key="status").set_value([Status.PENDING]).run()
    [table] = [frame for frame in frames(at) if "forager" in frame]
    assert table["deployment"].tolist() == ["SKO-D2"]
    assert len(demo.outcomes()) == 12


# --- results ---------------------------------------------------------------------------------


def test_the_results_are_the_outcomes(demo: Workspace) -> None:
    """The table holds each outcome with its numbers; the ledger counts the same trays."""
    at = opened("results", own_whose="")
    [table] = [frame for frame in frames(at) if "gud_g" in frame]
    rows = table.fillna("").astype(str).to_dict("records")
    assert [{k: r[k] for k in e} for r, e in zip(rows, demo.outcome_rows(), strict=True)] == list(
        demo.outcome_rows()
    )
    [ledger] = [frame for frame in frames(at) if "tells" in frame]
    counted = [int(one) for one in ledger["trays"]]
    assert (counted[0], counted[-1]) == (12, 5)
    assert counted[1:-1] == [4, 1, 1, 1, 1, 1, 1, 1, 1]


def test_the_results_follow_a_ruling(demo: Workspace) -> None:
    """A ruling that was made after the page was opened is in the next look at it."""
    at = opened("results")
    visit = next(one for one in demo.outcome("SKO-D2").seen if not one.held).parts[0].visit
    ends = visit.photos[0].id, visit.photos[-1].id
    demo.tag(NewTag("SK-OPEN", *ends, "Dr Botha", "g", where=Where.FED, ruling=True))
    at.run()
    [table] = [frame for frame in frames(at) if "gud_g" in frame]
    [status] = table.loc[table["deployment"] == "SKO-D2", "status"]
    assert status == Status.KEEP


def test_what_is_to_be_put_right_and_the_cautions_are_on_the_results_page(
    demo: Workspace,
) -> None:
    """A tray that no camera watches is found; the cautions begin with who decides."""
    rows = [row for row in demo.log_rows(LogKind.CAMERAS) if row["placement"] != "HR-BUSH"]
    demo.save_rows(LogKind.CAMERAS, rows)
    at = opened("results")
    [found] = [frame for frame in frames(at) if "about" in frame]
    assert "tray T4" in found["about"].tolist()
    assert "Your local rules" in words(at)


# --- the chart of the trays ------------------------------------------------------------------


def rows_of(chart: dict[str, Any], layer: int) -> list[dict[str, Any]]:
    name = chart["layer"][layer]["data"]["name"]
    rows: list[dict[str, Any]] = chart["datasets"][name]
    return rows


def test_the_chart_holds_windows_watched_time_and_visits(demo: Workspace) -> None:
    """Twelve windows in local time; the camera that died leaves its window partly unwatched."""
    chart = timeline.chart(demo.outcomes(), demo.species(), demo.zone).to_dict()
    windows = {row["line"]: row for row in rows_of(chart, 0)}
    assert len(windows) == 12
    assert windows["SKO-D1 ● keep"]["from"].startswith("2026-03-14T07:00:00")  # trays.csv, local
    died = [row for row in rows_of(chart, 1) if row["line"].startswith("SKB-D2")]
    assert [row["to"][:16] for row in died] == ["2026-03-15T12:38"]  # demo_images/ABOUT.md
    marks = rows_of(chart, 2)
    waiting = [row["line"] for row in marks if row["who"] == timeline.UNANSWERED]
    assert waiting == ["SKO-D2 … pending"]
    assert {row["where"] for row in marks if row["who"] == "Cape spurfowl"} == {"near", "fed"}


def test_species_are_told_apart_by_shape_as_well_as_colour() -> None:
    """No two of 24 species look alike, and six neighbours never share a shape."""
    for dark in (False, True):
        looks = [timeline.look(at, dark=dark) for at in range(24)]
        assert len(set(looks)) == 24
        assert len({shape for _, shape in looks[:6]}) == 6


def test_a_chart_of_trays_without_visits_or_times_is_drawn(empty: Workspace) -> None:
    """A tray that has no time yet, and no photos, still has its line."""
    log = b"deployment,tray,set_out,picked_up,food_start_g,food_left_g\nD1,T1,,,8,8\n"
    empty.load(LogKind.TRAYS, log, "trays.csv")
    assert "D1" in timeline.label(empty.outcomes()[0])
    at = opened("trays")
    assert "D1: pending: the set-out or pick-up time is missing" in words(at)
