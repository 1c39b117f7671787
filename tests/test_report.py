"""The report: one page that needs nothing else, checked by what it says and what it leaves out."""

import re
import time
from dataclasses import replace
from pathlib import Path

import pytest

from app import report, reportwords
from app.cli import main
from app.report import Wanted
from app.reportcommands import gather
from core.agreement import group_agreement
from core.analysis.intervals import Undefined
from core.analysis.whole import analyse
from core.analysisbook import Question
from core.logs import LogKind
from core.model import Status
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
    assert all(report.shows_people(one, species) for one in persons)
    assert not any(report.shows_people(one, species) for one in animals)


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
