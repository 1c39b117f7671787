"""Codes in a whole study: looked for once, proposed, accepted by a person, and taken back."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from code_photos import Shot, photo
from pages import opened, press, words
from PIL import Image

from app import cli, session
from core import codebook, codes
from core.codebook import Open
from core.codes import ClockCode, Code, TrayCode
from core.errors import ClockError, LastbiteError, StudyError
from core.logs import LogKind
from core.model import PhotoKind
from core.workspace import NewTag, Workspace

SECOND, HOUR = timedelta(seconds=1), timedelta(hours=1)
SHOT = Shot(5.0, tilt=25, width=960)
OUT = datetime(2026, 3, 14, 16, 3, tzinfo=UTC)
UP = datetime(2026, 3, 15, 3, 55, tzinfo=UTC)


def write(path: Path, camera: datetime, code: Code | None, side: float = 0.5) -> None:
    """Write a photo, with a code or without, whose header holds what the camera showed."""
    matrix = codes.modules_of(code or TrayCode("D1"))
    jpeg = photo(matrix, replace(SHOT, at=(side, 0.4)) if code else replace(SHOT, module_px=0.2))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = camera.strftime("%Y:%m:%d %H:%M:%S")
    path.parent.mkdir(parents=True, exist_ok=True)
    with Image.open(BytesIO(jpeg)) as picture:
        picture.save(path, exif=exif, quality=85)


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    """A tray out from 18:03 to 05:55 by a phone; the camera lags an hour, the log says 18:00."""
    zone = ZoneInfo("Africa/Johannesburg")
    behind = timedelta(hours=1)
    out, up = (
        datetime(2026, 3, day, hour, minute, tzinfo=zone)
        for day, hour, minute in ((14, 18, 3), (15, 5, 55))
    )
    moments: list[tuple[datetime, Code | None]] = [
        (out - 40 * SECOND, None),
        (out - 20 * SECOND, ClockCode(out.astimezone(UTC) - 20 * SECOND)),
        (out, TrayCode("D1")),
        *((out + n * HOUR, None) for n in range(2, 9)),
        (up, TrayCode("D1")),
        (up + 15 * SECOND, ClockCode(up.astimezone(UTC) + 15 * SECOND)),
    ]
    for number, (moment, code) in enumerate(moments, start=1):
        camera = (moment - behind).replace(tzinfo=None)
        write(tmp_path / "card" / f"IMG_{number:04}.JPG", camera, code, 0.35 + 0.02 * number)
    logs = {
        LogKind.CAMERAS: "placement,camera,trays,start,end\n"
        "P1,c1,T1,2026-03-14 17:30,2026-03-15 06:30\n",
        LogKind.TRAYS: "deployment,tray,set_out,picked_up,food_start_g,food_left_g\n"
        "D1,T1,2026-03-14 18:00,2026-03-15 06:00,10.0,4.0\n",
    }
    with Workspace.create(tmp_path / "study", zone.key) as workspace:
        for kind, text in logs.items():
            workspace.load(kind, text.encode(), f"{kind}.csv")
        workspace.scan(tmp_path / "card", "P1")
        yield workspace


@pytest.fixture
def read(study: Workspace) -> Workspace:
    """The study after its photos were looked at."""
    study.codes.survey("P1")
    return study


def of_kind(workspace: Workspace, start: str) -> list[Open]:
    """Give the open proposals of a kind."""
    return [one for one in workspace.codes.open("P1") if one.key.startswith(start)]


def test_a_camera_that_lags_an_hour_gets_its_truth_from_the_codes(study: Workspace) -> None:
    """From real JPEGs: two clock checks, true edges, handlers; nothing of the study is changed."""
    version, told = study.version(), list[tuple[int, int]]()
    assert study.codes.survey("P1", lambda done, of: told.append((done, of))) == 12
    assert told[-1] == (12, 12)
    waiting = study.codes.open("P1")
    assert [one.key.split()[0] for one in waiting] == [
        "clock", "clock", "set_out", "picked_up", "handler", "handler",
    ]  # fmt: skip
    assert all(len(one.corners) == 4 for one in waiting)
    assert all(0 <= x <= 1 and 0 <= y <= 1 for one in waiting for x, y in one.corners)
    assert study.codes.contradictions("P1") == ()
    assert study.version() == version
    [said] = [one for one in study.check() if "from codes" in one.message]
    assert said.message.startswith("6 proposals from codes in its photos: A clock check")
    assert not said.serious


def test_a_survey_stops_and_goes_on_and_looks_at_nothing_twice(study: Workspace) -> None:
    """Ended after a lot: what was seen is there, and the rest is all that is left."""

    def end(done: int, _: int) -> None:
        if done == codebook.LOT:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        study.codes.survey("P1", end)
    state = study.codes.state("P1")
    assert (state.looked_at, state.left, state.away) == (codebook.LOT, 12 - codebook.LOT, 0)
    assert study.codes.survey("P1") == 12 - codebook.LOT
    assert study.codes.survey("P1") == 0
    assert study.codes.state("P1").with_codes == 4


def test_photos_whose_card_is_out_are_looked_at_again(study: Workspace, tmp_path: Path) -> None:
    """Nothing is proposed from what cannot be opened; with the card in again, all is."""
    (tmp_path / "card").rename(tmp_path / "away")
    study.codes.survey("P1")
    assert study.codes.state("P1").away == 12
    assert study.codes.open("P1") == []
    (tmp_path / "away").rename(tmp_path / "card")
    assert study.codes.survey("P1") == 0
    assert study.codes.survey("P1", again=True) == 12
    assert len(study.codes.open("P1")) == 6


def test_a_placement_without_photos_has_nothing_to_look_at(study: Workspace) -> None:
    """A name that has no card is no fault here."""
    assert study.codes.survey("elsewhere") == 0
    assert study.codes.open("elsewhere") == []


def test_clock_checks_are_accepted_and_taken_back(read: Workspace) -> None:
    """Both codes say that the camera lags an hour: all photos move by it, and back again."""
    was = [one.true_time for one in read.view("P1").photos]
    numbers = [read.codes.accept(one, " Ann ") for one in of_kind(read, "clock")]
    moved = [one.true_time for one in read.view("P1").photos]
    assert [b - a for a, b in zip(was, moved, strict=True) if a and b] == [HOUR] * 12
    assert of_kind(read, "clock") == []
    assert {one.by for one in read.codes.history("P1")} == {"Ann"}
    for number in numbers:
        read.codes.take_back(number, "Ben")
    assert [one.true_time for one in read.view("P1").photos] == was
    assert read.clocks.checks("P1") == []
    assert len(of_kind(read, "clock")) == 2


def test_edges_of_the_window_are_accepted_and_taken_back(read: Workspace) -> None:
    """18:03 and 05:55 by the phone in place of 18:00 and 06:00 by hand."""
    [before] = read.trays()
    numbers = [
        read.codes.accept(one, "Ann") for one in (*of_kind(read, "set"), *of_kind(read, "picked"))
    ]
    [now] = read.trays()
    assert (now.set_out, now.picked_up) == (OUT, UP)
    assert replace(now, set_out=before.set_out, picked_up=before.picked_up) == before
    for number in numbers:
        read.codes.take_back(number, "Ann")
    assert read.trays() == [before]


def test_a_tray_that_the_camera_log_lacks_is_written_there(read: Workspace) -> None:
    """Blank in the log, and its card was seen: proposed, accepted, taken back."""
    log = "placement,camera,trays,start,end\nP1,c1,,2026-03-14 17:30,2026-03-15 06:30\n"
    read.load(LogKind.CAMERAS, log.encode(), "cameras.csv")
    [one] = of_kind(read, "tray")
    number = read.codes.accept(one, "Ann")
    assert read.placements()[0].trays == ("T1",)
    read.codes.take_back(number, "Ann")
    assert read.placements()[0].trays == ()


def test_handlers_are_tagged_as_that_person_and_untagged(read: Workspace) -> None:
    """An ordinary tag of whoever accepted it, on the photos with codes."""
    for one in of_kind(read, "handler"):
        read.codes.accept(one, "Ann")
    kinds = {p.file: p.kind for p in read.view("P1").photos}
    handlers = {file for file, kind in kinds.items() if kind is PhotoKind.HANDLER}
    assert handlers >= {"IMG_0002.JPG", "IMG_0003.JPG", "IMG_0011.JPG", "IMG_0012.JPG"}
    assert {tag.tagger for tag in read.view("P1").tags} == {"Ann"}
    assert of_kind(read, "handler") == []
    for made in read.codes.history("P1"):
        read.codes.take_back(made.number, "Ann")
    assert all(p.kind is not PhotoKind.HANDLER for p in read.view("P1").photos)


def test_what_is_refused_is_not_proposed_again_until_it_is_taken_back(read: Workspace) -> None:
    """The code was of another phone: nothing changes."""
    first, *rest = read.codes.open("P1")
    number = read.codes.refuse(first, "Ann")
    assert [one.key for one in read.codes.open("P1")] == [one.key for one in rest]
    assert read.clocks.checks("P1") == []
    read.codes.take_back(number, "Ann")
    assert len(read.codes.open("P1")) == len(rest) + 1


def test_what_was_changed_since_is_not_undone(read: Workspace) -> None:
    """Somebody mended the log after the proposal was accepted: their value stays, in words."""
    [edge] = of_kind(read, "set")
    number = read.codes.accept(edge, "Ann")
    rows = read.log_rows(LogKind.TRAYS)
    read.save_rows(LogKind.TRAYS, [row | {"set_out": "2026-03-14 18:10"} for row in rows])
    with pytest.raises(StudyError, match="was changed since Ann accepted this"):
        read.codes.take_back(number, "Ben")
    assert read.log_rows(LogKind.TRAYS)[0]["set_out"].startswith("2026-03-14 18:10")
    assert read.codes.history()[0].taken_back is None


def test_proposals_follow_the_logs(read: Workspace) -> None:
    """An edge that was mended by hand to the minute is proposed no longer."""
    rows = read.log_rows(LogKind.TRAYS)
    read.save_rows(LogKind.TRAYS, [row | {"set_out": "2026-03-14 18:03"} for row in rows])
    assert of_kind(read, "set") == []
    assert len(of_kind(read, "picked")) == 1


def test_a_check_that_contradicts_the_log_is_refused_whole(read: Workspace) -> None:
    """The clock log says another time for the same display: nothing is kept."""
    first, *_ = of_kind(read, "clock")
    assert isinstance(first.proposal, codes.ClockProposal)
    shown = first.proposal.camera_showed
    log = f"placement,camera_showed,true_time\nP1,{shown},2026-03-14 20:00:00\n"
    read.load(LogKind.CLOCKS, log.encode(), "clocks.csv")
    again = next(one for one in of_kind(read, "clock") if one.key == first.key)
    with pytest.raises(ClockError, match="says already"):
        read.codes.accept(again, "Ann")
    assert read.codes.history() == []
    assert len(read.clocks.checks("P1")) == 1


def test_a_card_of_another_study_is_named(read: Workspace) -> None:
    """The tray log has no such deployment: nothing is proposed for it, and `check` says so."""
    log = (
        "deployment,tray,set_out,picked_up,food_start_g,food_left_g\n"
        "X9,T1,2026-03-14 18:00,2026-03-15 06:00,10.0,4.0\n"
    )
    rows = read.log_rows(LogKind.TRAYS)
    read.load(LogKind.TRAYS, log.encode(), "trays.csv")
    read.save_rows(LogKind.TRAYS, [r for r in read.log_rows(LogKind.TRAYS) if r not in rows])
    assert of_kind(read, "set") == []
    messages = [one.message for one in read.check() if one.serious]
    assert any("shows the card of deployment 'D1'" in message for message in messages)


def test_forgetting_a_card_forgets_what_was_read(read: Workspace) -> None:
    """The photos are gone, so nothing waits; what people decided is kept."""
    read.codes.refuse(read.codes.open("P1")[0], "Ann")
    read.forget_card(read.cards()[0].id)
    assert read.codes.open("P1") == []
    assert len(read.codes.history("P1")) == 1


def test_nobody_cannot_decide(read: Workspace) -> None:
    """A decision needs a name; what is not there cannot be taken back."""
    first = read.codes.open("P1")[0]
    for decide in (read.codes.accept, read.codes.refuse):
        with pytest.raises(LastbiteError, match="Say who decides"):
            decide(first, " ")
    with pytest.raises(StudyError, match="is not in the study"):
        read.codes.take_back(7, "Ann")


def test_a_code_amid_an_animals_visit_tags_no_animal(study: Workspace) -> None:
    """People within the gap of an animal: only the photos from code to code become handlers."""
    run_of = study.view("P1").photos
    study.tag(NewTag("P1", run_of[4].id, run_of[4].id, "ben", "blank"))
    study.codes.survey("P1")
    for one in of_kind(study, "handler"):
        study.codes.accept(one, "Ann")
    assert study.view("P1").photos[4].kind is not PhotoKind.HANDLER


def test_the_command_looks_and_says_what_it_found(
    study: Workspace, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: all placements, then one; a second time there is nothing left to look at."""
    wanted = "P1: 12 photos looked at, 4 with codes, 6 proposals on the Clocks page\n"
    cli.main(["codes", str(study.folder)])
    assert capsys.readouterr().out == wanted
    cli.main(["codes", str(study.folder), "--placement", "P1"])
    assert capsys.readouterr().out == wanted


def test_the_clocks_page_shows_a_proposal_and_keeps_the_decision(
    read: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each with its photo; accepted, it stands below with who; taken back, it waits again."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(read.folder))
    at = opened("clocks", own_tagger="Nomsa")
    said = words(at)
    assert "12 photos were looked at for codes" in said
    assert "A clock check: the camera showed" in said
    assert any("/photo/review/" in one.proto.body for one in at.get("html"))
    press(at, "code-yes-P1-0")
    assert len(read.clocks.checks("P1")) == 1
    assert "accepted by Nomsa" in words(at)
    press(at, "code-back-")
    assert read.clocks.checks("P1") == []
