"""Results in words: escaped where people wrote them, adding up, and walked down to the photos."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from app import wording
from app.demo import build_demo
from core.food import Food, Reading
from core.model import (
    Censored,
    Finding,
    Outcome,
    Photo,
    Reason,
    Status,
    Tag,
    TrayDeployment,
    Where,
)
from core.scan import ScanReport
from core.settings import Settings
from core.workspace import Counts, Workspace

ZONE = ZoneInfo("Africa/Johannesburg")
NOON = datetime(2026, 3, 14, 10, 0, tzinfo=UTC)  # 12:00 there, two hours ahead all year


def outcome(**values: object) -> Outcome:
    tray = TrayDeployment("D1", "T1", NOON, NOON + timedelta(hours=8), Decimal(8), Decimal("3.4"))
    dull = Outcome(tray, Status.KEEP, Reason.CLEAN, "T1 V1 C1", gud=Decimal("3.4576"),
                   forager="Mouse", visits=2, visits_all=3, watched_share=0.5)  # fmt: skip
    return replace(dull, **values)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    return build_demo(tmp_path_factory.mktemp("studies") / "demo")


@pytest.mark.parametrize(
    "written",
    [
        "![x](http://elsewhere/x.png)", "[link](http://elsewhere)", ":red[alarm]", "$x^2$",
        "**bold**", "`code`", "<b>tag</b>", "# heading", "1. list", "a_b_c", "www.elsewhere",
        "~gone~", "a|b", "back\\slash", "&amp;",
    ],
)  # fmt: skip
def test_what_people_wrote_is_never_read_as_markdown(written: str) -> None:
    """Every sign that Markdown could read is escaped, and nothing else is changed."""
    escaped = wording.plain(written)
    assert not re.search(r"(?<!\\)(?:\\\\)*[!\[\]()<>*_`$:#~|&.]", escaped.replace("\\\\", ""))
    assert re.sub(r"\\(.)", r"\1", escaped) == written


def test_line_breaks_are_kept() -> None:
    """Two lines stay two lines on the page."""
    assert wording.plain("one\ntwo") == "one  \ntwo"


def test_times_are_local_to_the_study() -> None:
    """12:00 of Johannesburg is shown, whatever zone this computer is in."""
    assert wording.moment(NOON, ZONE) == "14 Mar 2026, 12:00:00"
    assert wording.moment(None, ZONE) == "time not known"
    assert wording.naive(NOON, ZONE) == datetime(2026, 3, 14, 12, 0)  # noqa: DTZ001


@pytest.mark.parametrize(
    ("last", "expected"),
    [
        (timedelta(0), "14 Mar 2026, 12:00:00"),
        (timedelta(seconds=37), "14 Mar 2026, 12:00:00 to 12:00:37"),
        (timedelta(hours=12), "14 Mar 2026, 12:00:00 to 15 Mar 2026, 00:00:00"),
    ],
)
def test_a_stretch_names_its_day_once(last: timedelta, expected: str) -> None:
    """The end is written in full only when it is on another day."""
    assert wording.stretch(NOON, NOON + last, ZONE) == expected


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, "D1: keep, Mouse, 3.4576 g: one species fed and every minute was watched"),
        ({"status": Status.DROP, "reason": Reason.GAINED, "gud": None, "forager": ""},
         "D1: drop: more food was left than put in"),
        ({"status": Status.CAUTION, "reason": Reason.EMPTIED_ONE, "gud": Decimal("0.1"),
          "censored": Censored.BELOW},
         f"D1: caution, Mouse, below 0.1 g: {Reason.EMPTIED_ONE}"),
    ],
)  # fmt: skip
def test_a_tray_in_one_line(values: dict[str, object], expected: str) -> None:
    """Deployment, status, owner, density with its bound, and reason stand in one line."""
    assert wording.headline(outcome(**values)) == expected


def test_a_counted_density_is_in_items() -> None:
    """Counted food is not called grams."""
    tray = TrayDeployment("D1", "T1", NOON, NOON, items_start=100, items_left=40)
    assert wording.density(outcome(deployment=tray, gud=Decimal(40))) == "40 items"


def test_the_short_line_of_a_tray() -> None:
    """Visits are the owner's of all, the watched share is in per cent, the status has a sign."""
    line = wording.result_line(outcome())
    assert (line["status"], line["visits"], line["watched"]) == ("● keep", "2 of 3", "50%")
    assert wording.result_line(outcome(watched_share=None, gud=None))["density"] == ""


def test_every_status_has_its_words_and_a_sign_of_its_own() -> None:
    """Colour is never needed to tell two statuses apart."""
    assert set(wording.MEANS) == set(wording.SIGN) == set(Status)
    assert len(set(wording.SIGN.values())) == len(Status)


def test_the_ledger_adds_up(demo: Workspace) -> None:
    """The lines between first and last sum to the trays set out; the last are those kept."""
    lines = wording.ledger_lines(demo.outcomes())
    numbers = [int(line["trays"]) for line in lines]
    assert numbers[0] == sum(numbers[1:-1]) == 12
    kept = [
        int(one["trays"]) for one in lines[1:-1] if str(one["status"])[2:] in {"keep", "caution"}
    ]
    assert numbers[-1] == sum(kept) == 6


def test_food_numbers_are_shown_raw_and_corrected() -> None:
    """Raw, k, r, corrected, gone and tolerance each have a line, with where they come from."""
    reading = Reading(
        Food.PART_EATEN, Decimal(8), Decimal("3.4"), Decimal("3.4"), Decimal("1.0125"), Decimal(1),
        Decimal("0.2"), Decimal("0.1"), moisture_controls=1,
    )  # fmt: skip
    lines = {
        one["what"]: (one["number"], one["how"])
        for one in wording.food_lines(reading, counted=False)
    }
    assert lines["left, raw"] == ("3.4 g", "tray log")
    assert lines["moisture k"] == ("1.0125", "from 1 moisture control")
    assert lines["sifting r"] == ("1", "from no sift control, so 1")
    assert lines["gone"][0] == "4.6 g"
    assert lines["food class"] == ("T1", "part eaten")


def test_a_blank_mass_is_called_blank() -> None:
    """A number that is missing is not shown as zero."""
    lines = wording.food_lines(Reading(Food.MISSING, tolerance=Decimal(1)), counted=True)
    assert [one["number"] for one in lines if one["what"] in {"put in", "gone"}] == ["blank"] * 2


def test_every_food_class_has_words() -> None:
    """No food class is shown as a bare letter."""
    assert set(wording.FOOD_WORDS) == {food.value for food in Food}


def test_explain_walks_down_to_the_photos(demo: Workspace) -> None:
    """Deployment, rule, food, watched share, notes, then visits, tags, photos and both clocks."""
    lines = wording.explain(demo.outcome("HRB-N1"), demo.species(), demo.zone)
    text = "\n".join(lines)
    for part in (
        "deployment  HRB-N1", "tray        T4", "status      keep", "rule cell   T1 V1 C1",
        "watched     100.0%", "Nomsa: Hairy-footed gerbil, 1, fed [", "Piet: Hairy-footed gerbil",
    ):  # fmt: skip
        assert part in text, part
    # The camera ran an hour behind (demo_images/ABOUT.md): both clocks stand side by side.
    [first] = [line for line in lines if "first photo" in line]
    shown, true = re.findall(r"(\d\d):\d\d:\d\d", first)[:2]
    assert int(true) - int(shown) == 1


def test_explain_names_what_a_visit_waits_for(demo: Workspace) -> None:
    """A disputed visit shows both opinions and what has to be done."""
    text = "\n".join(wording.explain(demo.outcome("SKO-D2"), demo.species(), demo.zone))
    assert "disputed: unanswered (taggers differ on a visit, the instructor has to rule)" in text
    assert "Nomsa: Hairy-footed gerbil" in text
    assert "Piet: Four-striped grass mouse" in text


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, "Mouse, 2, fed"),
        ({"where": Where.ON_TRAY, "count": None, "sure": False}, "Mouse, on tray, not sure"),
        ({"ruling": True, "tray": "T2", "comment": "a ![x](y)"},
         "Mouse, 2, fed, tray T2, ruling, “a ![x](y)”"),
    ],
)  # fmt: skip
def test_a_tag_in_words(demo: Workspace, values: dict[str, object], expected: str) -> None:
    """Species, count, where, tray, doubt, ruling and comment are said, as far as there are any."""
    species = {"m": replace(demo.species()["m"], name="Mouse")}
    tag = Tag(1, "P1", 1, 2, "ann", "m", 2, Where.FED)
    assert wording.what_tag_says(replace(tag, **values), species) == expected  # type: ignore[arg-type]


def test_a_scan_in_words() -> None:
    """Numbers first, then what is gone, then the problems, cut off with a count of the rest."""
    report = ScanReport(
        "P1", "/cards/P1", files=30, new=28, known=2, photos=25, copies=1, others=2, gone=3,
        first_shown=datetime(2026, 3, 14, 6, 40), last_shown=datetime(2026, 3, 15, 17, 50),  # noqa: DTZ001
        problems=[(f"IMG_{n}.JPG", "no time") for n in range(25)],
    )  # fmt: skip
    lines = wording.scan_report(report)
    assert lines[0].startswith("P1: 30 files, 28 new (25 photos, 1 copies, 2 no pictures), 2 known")
    assert any("3 known files are no longer on the card" in line for line in lines)
    assert "  and 5 more; 'lastbite photos' lists them all." in lines


def test_counts_and_findings_in_words() -> None:
    """What was loaded is counted; what has to be put right is marked."""
    assert wording.counts(Counts(new=1, changed=2, same=3)) == "1 new, 2 changed, 3 as before."
    assert wording.finding(Finding("tray T1", "is watched by nobody.")).startswith("! tray T1: ")
    assert wording.finding(Finding("x", "y", serious=False)).startswith("- ")


def test_a_picture_is_told_to_those_who_cannot_see_it() -> None:
    """Position, visit, tray, placement and time are in the text beside a picture."""
    photo = Photo(7, "SK-OPEN", "A/1.JPG", true_time=NOON)
    told = wording.photo_alt(photo, 2, 6, ["T1"], ZONE, whole="visit 3")
    assert told == ("Photo 2 of 6 of visit 3, tray T1, placement SK-OPEN, 14 Mar 2026, 12:00:00")
    assert "no tray named" in wording.photo_alt(photo, 1, 1, [], ZONE, whole="visit 3")


def test_the_steps_of_a_new_study_come_in_order() -> None:
    """What is missing first is what comes next; at the end nothing does."""
    empty = wording.steps(species=0, cameras=0, trays=0, cards=0, tagged=False)
    expected = ["Species list", "Camera log", "Tray log", "Cards", "Tags", "Results"]
    assert [step.name for step in empty] == expected
    known = {"species": 3, "cameras": 2, "trays": 2, "cards": 1}
    done: dict[str, int] = dict.fromkeys(known, 0)
    for name, coming in zip(known, expected[1:], strict=False):
        done[name] = known[name]
        found = wording.next_step(wording.steps(**done, tagged=False))
        assert found is not None
        assert found.name == coming
    assert wording.next_step(wording.steps(**known, tagged=True)) is None


def test_settings_are_told_with_their_units() -> None:
    """Gap, step, tolerance and taggers stand beside the results."""
    lines = {one["setting"]: one["value"] for one in wording.settings_lines(Settings("s", ZONE))}
    assert lines["gap between visits"] == "120 s"
    assert lines["tolerance"] == "from controls"
    fixed = wording.settings_lines(Settings("s", ZONE, tolerance=Decimal("0.2")))
    assert {"setting": "tolerance", "value": "0.2 g"} in fixed


def test_the_cautions_defer_to_those_who_decide() -> None:
    """They begin with who decides, and give no threshold of their own."""
    first = next(iter(wording.CAUTIONS.values()))
    assert "no safety, legal or medical advice" in first
    assert "local rules" in first
    assert "licensed practice" in first
    assert not re.search(r"\d", " ".join(wording.CAUTIONS.values()))


def test_windows_of_a_visit_are_named_or_said_to_be_none() -> None:
    """A visit outside every window says that it counts for no tray."""
    assert wording.windows_line([outcome().deployment]) == "In the window of D1 (tray T1)."
    assert "counts for no tray" in wording.windows_line([])


def test_no_path_of_this_computer_is_in_the_words(demo: Workspace) -> None:
    """Explaining a tray names files by their place on the card alone."""
    for one in demo.outcomes():
        for line in wording.explain(one, demo.species(), demo.zone):
            assert str(Path(demo.folder)) not in line
