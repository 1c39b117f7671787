"""The Results page: what is asked, what it says with few trays, bad logs, and a way to a tray."""

import json
from typing import Any

import pytest
from browsers import MARKS, Served, asked, browser, context, page, served, until, workspace
from pages import frames, opened, signed_in, words
from playwright.sync_api import Locator, Page
from streamlit.testing.v1 import AppTest

from core.analysis.choice import Alternative, Measure
from core.analysis.scales import Scale
from core.analysisbook import Question
from core.logs import LogKind
from core.people import Role
from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page", "served", "workspace"]


ANY = ""
"""What the page keeps where whoever fed last is asked for."""


def charts(at: AppTest) -> list[dict[str, Any]]:
    found = [json.loads(one.proto.spec) for one in at.get("vega_lite_chart")]
    return [one for one in found if one]


def two_seasons(workspace: Workspace) -> None:
    """Make four of the twelve study trays wet, and the others dry."""
    rows = workspace.log_rows(LogKind.TRAYS)
    study = [row["deployment"] for row in rows if row["role"] == "study"]
    rows = [row | {"season": "wet" if row["deployment"] in study[:4] else "dry"} for row in rows]
    workspace.save_rows(LogKind.TRAYS, rows)


def changed(workspace: Workspace, **cells: str) -> None:
    """Give every row of the tray log these cells."""
    rows = [row | cells for row in workspace.log_rows(LogKind.TRAYS)]
    workspace.save_rows(LogKind.TRAYS, rows)


def test_figures_come_first_and_say_what_they_can(demo: Workspace) -> None:
    """With one pair the page says that it is too few, and shows every figure all the same."""
    at = opened("results", own_whose=ANY)
    said = words(at)
    assert "1 difference is too few for a test" in said
    assert "n = 12 study trays, 5 with a value" in said
    assert len(charts(at)) == 5
    assert "1.32 g more left in open than in bush" in said
    assert len(demo.outcomes()) == 12


def test_the_numbers_stand_under_the_figures(demo: Workspace) -> None:
    """Pairs, ledger, use, rates and models, each with its n."""
    at = opened("results", own_whose=ANY)
    tables = frames(at)
    pairs, by_mass = [
        one for one in tables if "how" in one and "pairs lost" in one["what"].tolist()
    ]
    assert by_mass.set_index("what")["number"]["pairs"] == "2"
    assert pairs.set_index("what")["number"]["pairs"] == "1"
    used, left = [one for one in tables if "share used" in one]
    assert ("density where used" in used, "density where used" in left) == (True, False)
    assert used["share used"].tolist()[0].startswith("80% (Wilson 49% to 94%, n = 10)")
    [rates] = [one for one in tables if "watched hours" in one]
    assert rates["visits"].tolist()[:3] == ["11", "5", "6"]
    assert demo.analysis.seasons() == ["2026-03"]


def test_the_forager_with_most_pairs_is_shown_first(demo: Workspace) -> None:
    """Not whoever fed last, whose pairs may be of two animals; that can be asked for, and stays."""
    assert [one.key for one in demo.analysis.foragers()] == ["m", "g", "s"]
    at = opened("results")
    assert at.selectbox(key="whose").value == "m"
    assert "Density of Four-striped grass mouse" in words(at)
    shown = "Shown first: Four-striped grass mouse, of which there is most to compare."
    assert shown in words(at)
    at.selectbox(key="whose").set_value(ANY).run()
    assert "Density of whoever fed last" in words(at)
    assert "Shown first" not in words(at)
    at.switch_page("screens/trays.py").run()
    at.switch_page("screens/results.py").run()
    assert "Density of whoever fed last" in words(at)


def test_a_season_is_kept(demo: Workspace) -> None:
    """Over a change of page, as the forager is; the asked trays, captions and clocks are its."""
    two_seasons(demo)
    at = opened("results", own_whose=ANY)
    at.multiselect(key="seasons").set_value(["dry"]).run()
    asked = "open minus bush, season dry; n = 8 study trays"
    assert asked in words(at)
    assert "Density of: whoever fed last; season: dry." in words(at)
    at.switch_page("screens/trays.py").run()
    at.switch_page("screens/results.py").run()
    assert at.multiselect(key="seasons").value == ["dry"]
    assert asked in words(at)
    at.multiselect(key="seasons").set_value([]).run()
    at.switch_page("screens/trays.py").run()
    at.switch_page("screens/results.py").run()
    assert at.multiselect(key="seasons").value == []
    assert "n = 12 study trays" in words(at)


def test_what_the_numbers_stand_on_is_said(demo: Workspace) -> None:
    """The rule for several feeders, clocks, how sure the readers were, and a way to paper."""
    said = words(opened("results", own_whose=ANY))
    assert "several species: last to feed owns it" in said
    assert len(demo.clock_checks()) == 1
    assert "Clocks: 1 check, no correction accepted." in said
    found = demo.people.agreements().group
    assert f"Of {found.n} visits read by two or more" in said
    assert "95% interval" in said
    assert "An instructor ruled on" in said
    assert "lastbite report STUDY FILE.html" in words(opened("results"))


def test_what_the_table_of_use_leaves_open_is_said(demo: Workspace) -> None:
    """Bounds, food that went unseen, reasons of what is not known, and that trays count alone."""
    said = words(opened("results", own_whose=ANY))
    [used] = [
        one for one in frames(opened("results", own_whose=ANY)) if "density where used" in one
    ]
    assert "only bounded" not in used
    unknown = [why for one in demo.analysis.analyse(Question()).used for why, _ in one.unknown]
    assert unknown
    for why in unknown:
        assert why in said
    assert "1 density only bounded (1 emptied, below a limit)" in said
    assert said.count("each tray counts on its own") >= 2


def test_the_table_of_trays_is_of_all(demo: Workspace) -> None:
    """What is chosen above narrows it not, and that is said."""
    two_seasons(demo)
    at = opened("results", own_seasons="dry")
    assert "All trays of the study, of every season, whoever ate" in words(at)
    [rows] = [one for one in frames(at) if "gud_g" in one]
    assert len(rows) == 12


def test_a_forager_is_chosen_and_kept(demo: Workspace) -> None:
    """The numbers are then of its density, after another page too."""
    at = opened("results")
    at.selectbox(key="whose").set_value("g").run()
    assert "Density of Hairy-footed gerbil" in words(at)
    at.switch_page("screens/trays.py").run()
    at.switch_page("screens/results.py").run()
    assert "Density of Hairy-footed gerbil" in words(at)
    assert demo.species()["g"].name == "Hairy-footed gerbil"


def test_the_microhabitats_can_be_turned_round(demo: Workspace) -> None:
    """Bush minus open: the same difference with the other sign."""
    at = opened("results", own_whose=ANY)
    at.selectbox(key="first").set_value("bush")
    at.selectbox(key="second").set_value("open").run()
    assert "1.32 g less left in bush than in open" in words(at)
    at.selectbox(key="second").set_value("bush").run()
    assert "there are not two microhabitats to compare" in words(at)
    assert not at.exception
    assert demo.analysis.microhabitats() == ["open", "bush"]


def test_how_it_is_compared_is_chosen_and_kept(demo: Workspace) -> None:
    """Measure, nights, alternative and scale reach the numbers, and stay on other pages."""
    at = opened("results")
    at.selectbox(key="measure").set_value(str(Measure.PROPORTION))
    at.selectbox(key="scale").set_value(str(Scale.LOGIT))
    at.selectbox(key="alternative").set_value(str(Alternative.GREATER))
    at.toggle(key="each-night").set_value(True).run()
    asked = f"{Measure.PROPORTION}, open minus bush"
    how = f"each night by itself, greater test, model on the scale {Scale.LOGIT}"
    assert asked in words(at)
    assert how in words(at)
    at.switch_page("screens/trays.py").run()
    at.switch_page("screens/results.py").run()
    assert not at.exception
    assert asked in words(at)
    assert how in words(at)
    assert demo.outcome("SKO-D1").gud is not None


def test_a_table_without_cameras_is_told_by_mass(demo: Workspace) -> None:
    """No tray is watched, so no density is told; what was left is, under its own heading."""
    changed(demo, tray="elsewhere")
    rows = [row | {"tray": row["deployment"]} for row in demo.log_rows(LogKind.TRAYS)]
    demo.save_rows(LogKind.TRAYS, rows)
    at = opened("results")
    said = words(at)
    assert not at.exception
    assert "0 with a value" in said
    assert "By mass alone, whoever ate, microhabitats are compared further down." in said
    assert "of 0 the forager is confirmed" in said


def test_another_setting_is_tried(demo: Workspace) -> None:
    """The sliders tell what would come out; the study itself is not changed."""
    at = opened("results", own_whose=ANY)
    assert "the same as under the study's own settings. 5 densities" in words(at)
    at.select_slider(key="try-FEEDER").set_value("single").run()
    assert not at.exception
    assert "the same as under the study's own settings. 4 densities" in words(at)
    assert demo.outcome("SKO-N1").gud is not None


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        pytest.param(
            {"condition": "knocked"}, "cannot compare the microhabitats", id="all dropped"
        ),
        pytest.param({"microhabitat": ""}, "not two microhabitats", id="no microhabitat"),
        pytest.param({"microhabitat": "open"}, "not two microhabitats", id="one microhabitat"),
        pytest.param({"food_left_g": "0"}, "cannot compare the microhabitats", id="all emptied"),
        pytest.param({"food_left_g": ""}, "cannot compare the microhabitats", id="no mass"),
        pytest.param({"site": "", "pair": ""}, "cannot compare the microhabitats", id="no station"),
        pytest.param({"set_out": ""}, "cannot compare the microhabitats", id="no set-out"),
    ],
)
def test_logs_that_cannot_answer(demo: Workspace, cells: dict[str, str], said: str) -> None:
    """The page says in words what cannot be told, and shows no traceback."""
    changed(demo, **cells)
    at = opened("results")
    assert said in words(at)


def test_a_mass_that_is_no_number_is_refused_by_the_log(demo: Workspace) -> None:
    """It never comes so far as to be analysed."""
    rows = demo.log_rows(LogKind.TRAYS)
    rows[0]["food_left_g"] = "a bit"
    from core.errors import LogError  # noqa: PLC0415

    with pytest.raises(LogError, match="a bit"):
        demo.save_rows(LogKind.TRAYS, rows)
    assert "n = 12 study trays, 5 with a value" in words(opened("results", own_whose=ANY))


def test_two_spellings_are_one_and_said(demo: Workspace) -> None:
    """`Open` and `open` are one microhabitat; `opne` is left out, with the likely name."""
    rows = demo.log_rows(LogKind.TRAYS)
    rows[0]["microhabitat"] = "Open"
    rows[2]["microhabitat"] = "opne"
    demo.save_rows(LogKind.TRAYS, rows)
    said = words(opened("results"))
    assert "written in 2 ways, taken as one" in said
    assert "Did you mean" in said


def test_a_tagger_of_a_class_sees_no_other_settings(demo: Workspace) -> None:
    """Fewer taggers needed would tell what others said; an instructor sees them."""
    text = (demo.folder / "study.toml").read_text(encoding="utf-8")
    demo.people.add("Botha", Role.INSTRUCTOR)
    demo.people.add("Zanele", Role.TAGGER)
    demo.people.set_code(Role.TAGGER, "dune grass seed")
    demo.people.set_code(Role.INSTRUCTOR, "quiet seed tray mouse")
    server = text.replace('sign_in = "name"', 'sign_in = "code"')
    assert server != text
    (demo.folder / "study.toml").write_text(server, encoding="utf-8")
    heading = "How far this hangs on the settings"
    assert heading not in words(signed_in("results", "Zanele"))
    assert heading in words(signed_in("results", "Botha"))


# --- in a browser --------------------------------------------------------------------------------


@pytest.mark.browser
@MARKS[1]
def test_a_click_on_a_tray_walks_to_its_evidence(page: Page, served: Served) -> None:
    """A mark of the pairs leads to the Trays page, walked down at that deployment.

    What was asked on the Results page is still asked on the way back.
    """
    page.goto(f"{served.address}/results?whose=m&seasons=2026-03")
    page.get_by_text("Before you handle trays").wait_for(timeout=60_000)
    chart = page.locator("[data-testid=stVegaLiteChart]").first
    chart.scroll_into_view_if_needed()
    until(lambda: page.locator("[data-testid=stStatusWidget]").count() == 0, patience_s=60)
    mark = chart.locator(".mark-symbol path").first
    mark.scroll_into_view_if_needed()
    mark.hover(force=True)
    page.locator("#vg-tooltip-element", has_text="deployment").wait_for()
    box = mark.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_url("**/trays*", timeout=30_000)
    page.get_by_text("Rule cell").first.wait_for(timeout=30_000)
    assert page.get_by_text("SKO-D1: keep").or_(page.get_by_text("SKB-D1: keep")).count()
    page.get_by_role("link", name="Results").first.click()
    asked = "Density of Four-striped grass mouse, food left [g], open minus bush, season 2026-03"
    page.get_by_text(asked).wait_for(timeout=60_000)


@pytest.mark.browser
@MARKS[1]
def test_a_figure_is_downloaded(page: Page, served: Served) -> None:
    """As SVG, PNG and the data behind it."""
    page.goto(f"{served.address}/results?whose=m&seasons=2026-03")
    page.get_by_text("Before you handle trays").wait_for(timeout=60_000)
    until(lambda: page.locator("[data-testid=stStatusWidget]").count() == 0, patience_s=60)
    page.wait_for_timeout(1_500)
    menus = page.get_by_test_id("stPopover").filter(has_text="Download")
    menu = menus.first.get_by_role("button").first
    starts = {"SVG": b"<svg", "PNG": b"\x89PNG", "The data (CSV)": b"pair,deployment"}
    for label, start in starts.items():
        entry = page.get_by_role("button", name=label, exact=True)

        def opened(entry: Locator = entry) -> bool:
            # A page that is drawn anew closes its menus.
            if not entry.is_visible():
                menu.click()
                page.wait_for_timeout(1_000)
            return entry.is_visible()

        until(opened, patience_s=60)
        with page.expect_download(timeout=60_000) as waiting:
            entry.click(timeout=30_000)
        assert waiting.value.path().read_bytes().startswith(start)
