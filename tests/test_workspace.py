"""What screens and commands may ask of a study: logs meet, tags are kept, nothing is half done."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from builders import write_burst, write_photo

from core.errors import LogError, StudyError, TagError
from core.exports import tables
from core.logs import LogKind
from core.model import ANSWERS_WITHOUT_SPECIES, PhotoKind, Where
from core.workspace import NewTag, Workspace

DAY = datetime(2026, 3, 14, 8, 0)  # noqa: DTZ001  what a camera shows has no zone
SPECIES = b"key,name,role\nm,Mouse,forager\ng,Gerbil,forager\n"


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    with Workspace.create(tmp_path / "study", "Africa/Johannesburg") as workspace:
        workspace.load(LogKind.SPECIES, SPECIES, "species.csv")
        yield workspace


def test_loading_brings_known_rows_up_to_date_and_removes_none(study: Workspace) -> None:
    """A second list with one changed and one new species keeps the one it does not name."""
    counts = study.load(
        LogKind.SPECIES, b"key,name,role\nm,Striped mouse,forager\nx,Fox,other\n", "more.csv"
    )
    assert (counts.new, counts.changed, counts.same) == (1, 1, 0)
    assert {key: one.name for key, one in study.species().items()} == {
        "m": "Striped mouse", "g": "Gerbil", "x": "Fox",
    }  # fmt: skip


def test_the_editor_takes_rows_out_and_keeps_the_rest(study: Workspace) -> None:
    """A row deleted on the screen is gone; a faulty edit changes nothing at all."""
    rows: list[dict[str, object]] = [dict(row) for row in study.log_rows(LogKind.SPECIES)]
    study.save_rows(LogKind.SPECIES, rows[:1])
    assert list(study.species()) == ["m"]
    with pytest.raises(LogError, match="role"):
        study.save_rows(LogKind.SPECIES, [rows[0] | {"role": "eater"}])
    with pytest.raises(LogError, match="at least one"):
        study.save_rows(LogKind.SPECIES, [])
    assert [one.role for one in study.species().values()] == ["forager"]


@pytest.mark.parametrize("row", ["v,MOUSE,forager", "M,Vole,forager"])
def test_two_species_of_one_name_or_keystroke_are_refused(study: Workspace, row: str) -> None:
    """Nobody could tell them apart on the screen."""
    with pytest.raises(LogError, match="too like"):
        study.load(LogKind.SPECIES, f"key,name,role\n{row}\n".encode(), "more.csv")
    assert len(study.species()) == 2


def test_clock_checks_that_run_backwards_are_refused_across_files(study: Workspace) -> None:
    """Each file is sound alone; together the camera would run back in time."""
    head = "placement,camera_showed,true_time\n"
    study.load(LogKind.CLOCKS, f"{head}P1,2026-03-14 08:00,2026-03-14 09:00\n".encode(), "a.csv")
    later = f"{head}P1,2026-03-15 08:00,2026-03-14 07:00\n".encode()
    with pytest.raises(LogError, match="backwards"):
        study.load(LogKind.CLOCKS, later, "b.csv")
    assert len(study.clock_checks()) == 1


BAD_TAGS = [
    ({"tagger": " "}, "who you are"),
    ({"species": "q"}, "'q'"),
    ({"where": None}, "where"),
    ({"species": "blank"}, "blank"),
    ({"count": 0}, "count"),
]


@pytest.mark.parametrize(("change", "says"), BAD_TAGS, ids=[one[1] for one in BAD_TAGS])
def test_a_tag_that_makes_no_sense_is_refused(
    study: Workspace, tmp_path: Path, change: dict[str, object], says: str
) -> None:
    """Nobody, an unlisted species, no place, a place for nothing, a count of none."""
    write_burst(tmp_path / "card", DAY, 2)
    study.scan(tmp_path / "card", "P1")
    first, last = (photo.id for photo in study.view("P1").photos)
    good = {"tagger": "ann", "species": "m", "where": Where.FED, "count": 1}
    with pytest.raises(TagError, match=says):
        study.tag(NewTag("P1", first, last, **(good | change)))  # type: ignore[arg-type]
    assert study.view("P1").tags == ()
    assert study.tag(NewTag("P1", first, last, **good)) > 0  # type: ignore[arg-type]


def test_an_action_sent_twice_is_one_tag(study: Workspace, tmp_path: Path) -> None:
    """A press that is sent again after a lost connection tags once."""
    write_burst(tmp_path / "card", DAY, 2)
    study.scan(tmp_path / "card", "P1")
    first, last = (photo.id for photo in study.view("P1").photos)
    tag = NewTag("P1", first, last, "ann", "blank", action="press 1")
    assert study.tag(tag) == study.tag(tag)
    assert len(study.view("P1").tags) == 1


def test_another_gap_regroups_and_keeps_every_tag(study: Workspace, tmp_path: Path) -> None:
    """Two bursts a minute apart: one visit at 120 s, two at 30 s, tagged either way."""
    write_burst(tmp_path / "card", DAY, 3)
    write_burst(tmp_path / "card", DAY + timedelta(minutes=1), 3, first=4)
    study.scan(tmp_path / "card", "P1")
    [visit] = study.view("P1").visits
    photos = visit.visit.photos
    study.tag(NewTag("P1", photos[0].id, photos[-1].id, "ann", "m", 1, Where.FED))
    finer = study.view("P1", timedelta(seconds=30)).visits
    assert [one.answer.species for one in finer] == [("m",), ("m",)]
    assert all("longer run" in one.answer.remarks[0] for one in finer)


def test_a_photo_without_a_time_blocks_nothing_but_itself(study: Workspace, tmp_path: Path) -> None:
    """It is kept and listed, and stands in no visit."""
    write_burst(tmp_path / "card", DAY, 3)
    write_photo(tmp_path / "card" / "UNDATED.JPG", None, shade=9)
    study.scan(tmp_path / "card", "P1")
    view = study.view("P1")
    assert [photo.file for photo in view.untimed] == ["UNDATED.JPG"]
    [visit] = view.visits
    assert len(visit.visit.photos) == 3
    assert any("UNDATED.JPG" in finding.message for finding in study.check())


def test_handler_photos_prove_the_camera_works_and_make_no_visit(
    study: Workspace, tmp_path: Path
) -> None:
    """Once tagged, the set-up photos leave the visits and stay in the watched time."""
    write_burst(tmp_path / "card", DAY, 3)
    write_burst(tmp_path / "card", DAY + timedelta(hours=1), 3, first=4)
    study.scan(tmp_path / "card", "P1")
    handlers = study.view("P1").visits[0].visit.photos
    study.tag(NewTag("P1", handlers[0].id, handlers[-1].id, "ann", "handler"))
    view = study.view("P1")
    assert len(view.visits) == 1
    assert [photo.kind for photo in view.ordered].count(PhotoKind.HANDLER) == 3
    assert view.watched[0].start == view.ordered[0].true_time


def test_views_change_with_what_another_program_writes(tmp_path: Path) -> None:
    """Two windows on one study: a tag made in one is seen in the other at once."""
    write_burst(tmp_path / "card", DAY, 2)
    with Workspace.create(tmp_path / "study", "UTC") as one:
        one.scan(tmp_path / "card", "P1")
        with Workspace.open(tmp_path / "study") as other:
            assert other.view("P1").visits[0].answer.species == ()
            first, last = (photo.id for photo in one.view("P1").photos)
            one.tag(NewTag("P1", first, last, "ann", "blank"))
            assert other.view("P1").visits[0].answer.species == ("blank",)


def test_a_study_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    """Opening is never creating."""
    with pytest.raises(StudyError, match="no study"):
        Workspace.open(tmp_path / "gone")
    assert list(tmp_path.iterdir()) == []


def test_a_name_with_quotes_makes_readable_settings(tmp_path: Path) -> None:
    """The folder's name goes into study.toml whatever is in it."""
    with Workspace.create(tmp_path / "s", "UTC", 'the "far" \\ dunes') as study:
        assert study.settings.name == 'the "far" \\ dunes'
    assert set(ANSWERS_WITHOUT_SPECIES) == {"blank", "unknown", "handler"}


def test_a_log_with_fewer_columns_blanks_nothing(study: Workspace) -> None:
    """What a log has no column for stays as the study has it; an empty cell empties."""
    head = "deployment,tray,set_out,picked_up,food_start_g,food_left_g"
    cells = "D9,T9,2026-03-14 18:00,2026-03-15 06:00,10.0"
    whole = f"{head},handler,notes,weather\n{cells},4.0,Piet,damp,rain\n"
    study.load(LogKind.TRAYS, whole.encode(), "trays")
    study.load(LogKind.TRAYS, f"{head}\n{cells},4.5\n".encode(), "trays")
    (one,) = [row for row in study.trays() if row.deployment == "D9"]
    assert (str(one.food_left_g), one.handler, one.notes) == ("4.5", "Piet", "damp")
    assert one.extra == {"weather": "rain"}
    study.load(LogKind.TRAYS, f"{head},notes\n{cells},4.5,\n".encode(), "trays")
    (one,) = [row for row in study.trays() if row.deployment == "D9"]
    assert (one.handler, one.notes) == ("Piet", "")


def test_a_table_of_outcomes_is_no_tray_log(study: Workspace) -> None:
    """It would write results over what people noted."""
    text = "".join(tables.csv_text(tables.OUTCOME_COLUMNS, study.outcome_rows()))
    row = "D9" + "," * (len(tables.OUTCOME_COLUMNS) - 1)
    with pytest.raises(LogError, match="table of outcomes"):
        study.load(LogKind.TRAYS, (text + row + "\n").encode(), "outcomes.csv")
