"""The report: one page that needs nothing else, checked by what it says and what it leaves out."""

import csv
import io
import re
import time
from collections import Counter
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest
from builders import SETTINGS, SPECIES, result

from app import answers, foodwords, report, reportwords
from app.cli import main
from app.report import Wanted
from app.reportcommands import gather
from core.agreement import group_agreement
from core.analysis.choice import Choice, Measure
from core.analysis.intervals import Undefined
from core.analysis.scales import Scale
from core.analysis.whole import analyse
from core.analysisbook import Question
from core.camtrap.telling import Telling
from core.logs import LogKind
from core.model import HANDLER, UNKNOWN, Reason, Status
from core.plots.flow import flow_figure
from core.privacy import is_private, shows_people
from core.workspace import Workspace


def text_of(workspace: Workspace, wanted: Wanted = Wanted(), **options: bool) -> str:  # noqa: B008
    return report.page(gather(workspace, Question(), **options), wanted)


def words_of(made: str) -> str:
    """Give the text of a page, as somebody reads it."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", made))


def test_the_page_needs_nothing_else(demo: Workspace) -> None:
    """No script, no address but the names of XML, and its own policy lets nothing in."""
    made = text_of(demo, Wanted(pictures=True))
    assert "<script" not in made
    addresses = set(re.findall(r"(?:https?:)?//[^\s\"'<>]+", made))
    data = {one for one in addresses if "www.w3.org" not in one and "base64" not in one}
    assert not [one for one in data if re.match(r"https?:", one)]
    assert not re.search(r'(?:src|href)="(?!data:|#)', made)
    assert "default-src 'none'" in made
    assert made.count("<svg") == 4


def test_figures_do_not_share_ids(demo: Workspace) -> None:
    """Every id of the page is there once, and every reference finds its own."""
    made = text_of(demo, sensitivity=True)
    ids = re.findall(r'\sid="([^"]+)"', made)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r"url\(#([^)]+)\)", made)) <= set(ids)


def test_only_long_words_are_broken_anywhere(demo: Workspace) -> None:
    """On paper a narrow column must not break `pending`; a checksum has no other way."""
    text = text_of(demo)
    assert "<td>pending</td>" in text
    assert re.search(r'<td class="long">[0-9a-f]{64}</td>', text)


def test_every_tray_without_a_density_is_there_with_its_reason(demo: Workspace) -> None:
    """Dropped, waiting, contradicted and unused trays are listed, each with why."""
    made = words_of(text_of(demo))
    aside = [one for one in demo.outcomes() if one.gud is None]
    assert f"Trays without a density ({len(aside)})" in made
    listed = made.split("Trays without a density")[1]
    for one in aside:
        assert one.deployment.deployment in listed
        assert str(one.reason) in listed


def test_the_ledger_adds_up_in_the_page(demo: Workspace) -> None:
    """12 set out, 5 with a value: as the analysis has it."""
    made = words_of(text_of(demo))
    assert "set out study trays in the tray log 12" in made
    assert "trays with a value of the density asked for 5" in made


def test_the_methods_are_filled_in_from_the_settings(demo: Workspace) -> None:
    """Gap, taggers, tolerance with where it is from, corrections, and what the demo has."""
    made = words_of(text_of(demo))
    for words in (
        "12 trays were set out at 2 sites over 2 nights",
        "no more than 120 s apart",
        "2 taggers who were sure had to agree",
        "2 control trays",
        "recovery 0.9833",
        "0.2488 g (mean loss + 2 SD of 3 sift controls)",
        "the last that fed owns the density",
        "Wilcoxon signed-rank",
    ):
        assert words in made, words


def test_how_far_readers_agree_is_told(demo: Workspace) -> None:
    """The numbers of the Class page, nobody named; and in words where no two read the same."""
    found = demo.people.agreements().group
    assert not isinstance(found.alpha, Undefined)
    said = words_of(text_of(demo))
    assert f"Of {found.n} visits read by two or more" in said
    assert f"alpha was {found.alpha.value:.2f} (n = {found.alpha.n})" in said
    facts = replace(gather(demo, Question()).facts, agreed=group_agreement([]))
    assert "No visit was read by two people" in reportwords.methods(
        facts, demo.analysis.analyse(Question())
    )


def test_the_guidelines_items_are_all_there(demo: Workspace) -> None:
    """Camera, deployment, settings and design: the four groups of Meek et al. 2014 (abstract)."""
    facts = gather(demo, Question()).facts
    choice = demo.analysis.choice(Question())
    items = reportwords.reporting_items(facts, choice, places=False)
    assert list(dict.fromkeys(one["group"] for one in items)) == [
        "camera", "deployment", "settings", "design"
    ]  # fmt: skip
    told = {one["item"]: one["as logged"] for one in items}
    assert "not in the logs" in told["model"]
    assert told["quiet time after a trigger"] == "5 s"
    rows = [row | {"model": "Dusk 3"} for row in demo.log_rows(LogKind.CAMERAS)]
    demo.save_rows(LogKind.CAMERAS, rows)
    again = reportwords.reporting_items(gather(demo, Question()).facts, choice, places=False)
    assert {one["item"]: one["as logged"] for one in again}["model"] == "model: Dusk 3"


# --- people and places ---------------------------------------------------------------------------


def with_notes(workspace: Workspace) -> None:
    rows = [
        row | {"condition": "other", "notes": "Thandi fell over it"}
        if row["deployment"] == "HRO-D1"
        else row
        for row in workspace.log_rows(LogKind.TRAYS)
    ]
    workspace.save_rows(LogKind.TRAYS, rows)


def test_people_are_left_out_unless_asked_for(demo: Workspace) -> None:
    """No name of a tagger or handler, no note of a log; asked for, notes stand."""
    with_notes(demo)
    made = text_of(demo)
    for name in (*demo.taggers(), "Thandi", "fell over"):
        assert name not in made
    assert "fell over" in text_of(demo, Wanted(people=True))


def test_photos_with_people_are_left_out_unless_asked_for(demo: Workspace) -> None:
    """A visit that anybody called a person, or nobody looked at, shows no photo."""
    visits = [visit for one in demo.placements() for visit in demo.view(one.placement).visits]
    species = demo.species()
    persons = [one for one in visits if "p" in {tag.species for tag in one.answer.tags}]
    animals = [one for one in visits if one.answer.species == ("g",)]
    assert persons
    assert animals
    assert all(shows_people(one, species) for one in persons)
    assert not any(shows_people(one, species) for one in animals)


def test_reports_and_packages_hold_back_the_same_photos(demo: Workspace) -> None:
    """What nobody could name may be a person: one rule says so for both, and who is unsettled."""
    species = demo.species()
    [held, *_] = [
        one
        for place in demo.placements()
        for one in demo.view(place.placement).visits
        if one.answer.species == ("g",)
    ]
    assert not shows_people(held, species)
    unnamed = replace(held.answer.tags[0], species=UNKNOWN)
    also = replace(held, answer=replace(held.answer, tags=(*held.answer.tags, unnamed)))
    assert shows_people(also, species)
    waits = replace(held, answer=replace(held.answer, waits_for=Reason.UNTAGGED))
    assert shows_people(waits, species)
    telling = Telling(species, b"")
    keys = [*species, UNKNOWN, HANDLER, "x"]
    assert [telling.is_private(key) for key in keys] == [is_private(key, species) for key in keys]
    assert [key for key in keys if is_private(key, species)] == ["p", UNKNOWN, HANDLER, "x"]


def test_places_are_left_out_unless_asked_for(demo: Workspace) -> None:
    """Sites are numbered and no coordinate is there; asked for, coordinates are rounded."""
    made = text_of(demo)
    assert "skulpkom" not in made.casefold()
    assert "heuningrug" not in made.casefold()
    latitudes = [str(one.latitude) for one in demo.placements() if one.latitude]
    assert latitudes
    assert not [one for one in latitudes if one in made]
    asked = text_of(demo, Wanted(places=True))
    assert "skulpkom" in asked.casefold()
    assert "(rounded to 0.001 degrees)" in asked or "(rounded to 0.1 degrees)" in asked


def test_a_sensitive_species_takes_more_out(demo: Workspace) -> None:
    """The sun's height would tell the place; places that are asked for are coarse."""
    rows = [row | {"sensitive": "yes"} for row in demo.log_rows(LogKind.SPECIES)]
    demo.save_rows(LogKind.SPECIES, rows)
    made = text_of(demo)
    assert "Visits by the height of the sun" not in made
    assert "which tell a place, are left out" in made
    asked = text_of(demo, Wanted(places=True))
    assert "Visits by the height of the sun" in asked
    assert "(rounded to 0.1 degrees)" in asked


def test_what_people_wrote_is_text(demo: Workspace) -> None:
    """A name that looks like HTML is shown as it stands."""
    rows = [
        row | {"microhabitat": "<img src=x onerror=alert(1)>"}
        if row["microhabitat"] == "open"
        else row
        for row in demo.log_rows(LogKind.TRAYS)
    ]
    demo.save_rows(LogKind.TRAYS, rows)
    made = text_of(demo, Wanted(people=True, places=True))
    assert "<img src=x" not in made
    assert "&lt;img src=x" in made


# --- what a reviewer checks ----------------------------------------------------------------------


def two_seasons(workspace: Workspace) -> Question:
    """Make four of the twelve study trays wet and the others dry; asks for the dry ones."""
    rows = workspace.log_rows(LogKind.TRAYS)
    study = [row["deployment"] for row in rows if row["role"] == "study"]
    rows = [row | {"season": "wet" if row["deployment"] in study[:4] else "dry"} for row in rows]
    workspace.save_rows(LogKind.TRAYS, rows)
    return Question(seasons=("dry",))


def test_the_season_is_everywhere(demo: Workspace) -> None:
    """In the question, captions, methods and reporting items; n and visits are those trays'."""
    whole = gather(demo, Question()).facts
    material = gather(demo, two_seasons(demo))
    made = words_of(report.page(material, Wanted()))
    assert "open minus bush, season dry; n = 8 study trays" in made
    assert "8 trays were set out" in made
    assert "(season dry)" in made
    assert "design season dry" in made
    assert "study (8)" in made
    assert "season: dry." in made.split("Figure 1.")[1].split("Figure 2.")[0]
    assert 0 < material.facts.agreed.n < whole.agreed.n
    assert len(material.facts.readings) == 8


def test_by_which_controls_food_was_corrected(demo: Workspace) -> None:
    """Each factor with spread and n, by day and sites; trays of a day without control counted."""
    rows = [
        row | {"site": "Skulpkom"} if row["role"] == "moisture_control" else row
        for row in demo.log_rows(LogKind.TRAYS)
    ]
    controls = [row for row in rows if row["role"] == "moisture_control"]
    kept = [row for row in rows if row not in controls[1:]]
    demo.save_rows(LogKind.TRAYS, kept)
    material = gather(demo, Question())
    found = material.facts.readings
    sources = Counter(foodwords.source_of(one) for one in found.values())
    assert sources[foodwords.Source.OTHER] > 0
    assert sources[foodwords.Source.NONE] > 0
    made = words_of(report.page(material, Wanted(places=True)))
    none, other = sources[foodwords.Source.NONE], sources[foodwords.Source.OTHER]
    weighed = sources.total() - sources[None]
    told = (
        f"Of {weighed} trays, {none} had no moisture control of the day and stay uncorrected; "
        f"{other} used controls of another site."
    )
    assert made.count(told) == 2
    [one] = [row for row in kept if row["role"] == "moisture_control"]
    factor = Decimal(one["food_left_g"]) / Decimal(one["food_start_g"])
    lines = foodwords.factor_lines(material.outcomes, found, demo.settings)
    assert {line["factor"] for line in lines if line["controls"] == foodwords.Source.OTHER} == {
        f"{factor.quantize(Decimal('0.0001'), ROUND_HALF_UP).normalize():f}"
    }
    assert sum(int(line["trays"]) for line in lines if line["correction"] == "moisture") == weighed
    assert "sifting all all" in made


def test_every_value_can_be_checked(demo: Workspace) -> None:
    """Each tray with an owner and each pair with both values; differences are those values'."""
    made = text_of(demo, Wanted(places=True))
    folding = re.findall(r"<details open><summary>(.*?)</summary>(.*?)</details>", made, re.DOTALL)
    assert [title for title, _ in folding] == [
        "6 trays with an owner", "1 pair with a density on both sides"
    ]  # fmt: skip
    trays, pairs = (
        [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in re.findall(r"<tr>(.*?)</tr>", table)][
            1:
        ]
        for _, table in folding
    )
    owned = [one for one in demo.outcomes() if one.gud is not None]
    assert [row[0] for row in trays] == [one.deployment.deployment for one in owned]
    assert [row[4] for row in trays] == [one.forager for one in owned]
    emptied = next(row for row in trays if row[0] == "SKB-N1")
    assert "0.1" in emptied
    assert "emptied: below what can be weighed" in emptied
    [pair] = pairs
    assert [pair[3], pair[6]] == ["SKO-D1", "SKB-D1"]
    assert Decimal(pair[4]) - Decimal(pair[7]) == Decimal("1.322")
    assert abs(Decimal(pair[9]) - Decimal("1.322")) <= Decimal("0.0001")
    assert [row[-1] for row in trays if row[0] in {"SKO-D1", "SKB-D1"}] == ["1", "1"]


def test_what_tables_leave_open_is_said(demo: Workspace) -> None:
    """Bounds, reasons of what is not known, and at both tables that trays count on their own."""
    made = words_of(text_of(demo))
    assert "1 density only bounded (1 emptied, below a limit)" in made
    for one in demo.analysis.analyse(Question()).used:
        for why, many in one.unknown:
            assert f"{many} {why}" in made
    assert made.count("Caution: each tray counts on its own") == 3  # by mass alone, too


def test_a_study_without_cameras_is_told_so(demo: Workspace) -> None:
    """Its methods name no photo, no clock and no visit, which nobody looked at."""
    material = gather(demo, Question())
    facts = replace(material.facts, placements=[])
    said = reportwords.methods(facts, demo.analysis.analyse(Question()))
    assert "watched by no camera" in said
    for word in ("photo", "clock", "named the animals", "last animal", "watched hours"):
        assert word not in said.casefold(), word
    assert "Clocks:" not in report.page(replace(material, facts=facts), Wanted())


def test_a_share_eaten_is_said_where_its_sign_turns() -> None:
    """On a scale of the share eaten `open minus bush` is below 0 where more is left in the open."""
    outcomes = [
        result(f"{side}{site}{night}", f"{more + (site * step + night) % 7 / 5:.1f}", side,
               site=f"S{site}", night=night)
        for site in range(6) for night in (0, 1)
        for side, more, step in (("open", 4.0, 3), ("bush", 3.0, 5))
    ]  # fmt: skip
    raw = Choice(SETTINGS.timezone, SPECIES["g"], first="open", second="bush")
    eaten = replace(raw, measure=Measure.PROPORTION, scale=Scale.LOGIT)
    for choice, what, sign in (
        (raw, "open minus bush", ""), (eaten, "open minus bush, of the share eaten", "-")
    ):  # fmt: skip
        told = answers.mixed_lines(analyse(outcomes, choice, SPECIES, SETTINGS).mixed)
        [line] = [one for one in told if one["what"].startswith("open minus bush")]
        assert (line["what"], line["number"][:1] == "-") == (what, bool(sign))


def test_rows_behind_a_figure_stand_alone(demo: Workspace) -> None:
    """A file of them says whose densities they are, in what, of which season, and the settings."""
    analysis = demo.analysis.analyse(replace(two_seasons(demo), forager="m"))
    made = answers.rows_text(flow_figure(analysis.ledger), answers.settings_asked(analysis))
    rows = list(csv.DictReader(io.StringIO(made)))
    assert rows
    for row in rows:
        assert row["density of"] == "Four-striped grass mouse"
        assert row["measure"] == "food left [g]"
        assert row["compared"] == "open minus bush"
        assert row["season"] == "dry"
        assert "Gap 120 s" in row["settings"]


def test_the_settings_hang_in_front(demo: Workspace) -> None:
    """How many other settings say otherwise stands at the top, once it was worked out."""
    clause = "other settings give"
    assert clause not in words_of(text_of(demo))
    assert clause in words_of(text_of(demo, sensitivity=True)).split("Methods")[0]


# --- pictures and the command --------------------------------------------------------------------


def test_picture_evidence_on_request(demo: Workspace) -> None:
    """A tray that was visited and not eaten shows the first and last photo of the visit."""
    made = text_of(demo, Wanted(pictures=True))
    section = made.split("<h3>HRO-N1</h3>")[1].split("</section>")[0]
    assert section.count("data:image/jpeg;base64,") == 2
    assert "data:image" not in text_of(demo)


def test_a_photo_that_is_not_at_hand_is_said(demo: Workspace) -> None:
    """Where there is no copy and no original, the page says why."""
    material = gather(demo, Question())
    broken = replace(material, picture_of=lambda _photo: "the card is not at hand")
    assert "the card is not at hand" in report.page(broken, Wanted(pictures=True))


def test_the_command_does_not_overwrite(
    demo: Workspace, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file that is there stays, unless it is said."""
    file = tmp_path / "r.html"
    main(["report", str(demo.folder), str(file)])
    first = file.read_text(encoding="utf-8")
    assert first.startswith("<!DOCTYPE html>")
    file.write_text("mine", encoding="utf-8")
    with pytest.raises(SystemExit):
        main(["report", str(demo.folder), str(file)])
    assert "is there already" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == "mine"
    main(["report", str(demo.folder), str(file), "--overwrite"])
    assert file.read_text(encoding="utf-8") == first


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--forager", "Hairy-footd gerbil"], "Did you mean 'Hairy-footed gerbil'?"),
        (["--microhabitats", "open", "bsh"], "Did you mean 'bush'?"),
        (["--season", "2025-03"], "Known are: '2026-03'"),
    ],
)
def test_what_the_study_does_not_have(
    demo: Workspace, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    options: list[str], words: str,
) -> None:  # fmt: skip
    """A misspelt forager, microhabitat or season is refused with the likely one."""
    with pytest.raises(SystemExit):
        main(["report", str(demo.folder), str(tmp_path / "r.html"), *options])
    assert words in capsys.readouterr().err
    assert not (tmp_path / "r.html").exists()


def test_the_forager_with_most_pairs_is_told_first(demo: Workspace, tmp_path: Path) -> None:
    """Unasked, its density is told and why; `any` asks for whoever fed last."""
    file = tmp_path / "r.html"
    main(["report", str(demo.folder), str(file)])
    first = file.read_text(encoding="utf-8")
    assert "Density of Four-striped grass mouse" in first
    assert "Shown first: Four-striped grass mouse, of which there is most to compare." in first
    main(["report", str(demo.folder), str(file), "--forager", "any", "--overwrite"])
    anybody = file.read_text(encoding="utf-8")
    assert "Density of whoever fed last" in anybody
    assert "Shown first" not in anybody


def test_the_forager_that_is_asked_for(demo: Workspace, tmp_path: Path) -> None:
    """By name, however it is written; the page is of its density."""
    file = tmp_path / "r.html"
    main(["report", str(demo.folder), str(file), "--forager", "hairy-footed  gerbil"])
    assert "Density of Hairy-footed gerbil" in file.read_text(encoding="utf-8")


def test_the_sensitivity_on_request(demo: Workspace) -> None:
    """Figure and tables of the other settings are there when asked for."""
    assert "What one other choice would change" not in text_of(demo)
    assert "What one other choice would change" in text_of(demo, sensitivity=True)


def test_a_study_without_a_usable_tray(demo: Workspace) -> None:
    """All dropped: the page is made, and says what cannot be told."""
    rows = [row | {"condition": "knocked"} for row in demo.log_rows(LogKind.TRAYS)]
    demo.save_rows(LogKind.TRAYS, rows)
    assert {one.status for one in demo.outcomes()} == {Status.DROP}
    made = words_of(text_of(demo, sensitivity=True))
    assert "cannot compare the microhabitats" in made
    assert "Nothing to draw here" in made


def test_numbers_are_those_of_the_analysis(demo: Workspace) -> None:
    """Sites that are numbered change no number."""
    material = gather(demo, Question())
    plain = analyse(material.outcomes, material.choice, material.species, material.facts.settings)
    made = words_of(text_of(demo))
    assert plain.test is not None
    assert f"{plain.ledger.analysed} with a value" in made
    assert "1.32 g more left in open than in bush" in made


def test_a_report_is_quick(demo: Workspace) -> None:
    """Nowhere near the 5 s that 5,000 trays may take (of processor time; a judgement)."""
    material = gather(demo, Question())
    report.page(material, Wanted())
    start = time.process_time()
    report.page(material, Wanted())
    assert time.process_time() - start < 2
