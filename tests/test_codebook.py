"""Codes in a whole study: looked for once, proposed, accepted by a person, and taken back."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from builders import write_photo
from code_study import HOUR, OUT, UP, logs_of, of_kind, read, study, write

from app import cli
from core import codes
from core.codes import ClockCode, TrayCode
from core.errors import ClockError, LastbiteError, StudyError
from core.logs import LogKind
from core.model import PhotoKind
from core.store import Raises
from core.store.codes import Read, put_read
from core.workspace import NewTag, Workspace

__all__ = ["read", "study"]


def test_a_camera_that_lags_an_hour_gets_its_truth_from_the_codes(study: Workspace) -> None:
    """From real JPEGs: two clock checks, true edges, handlers; nothing of the study is changed."""
    version, told = study.version(), list[tuple[int, int]]()
    assert study.codes.survey("P1", lambda done, of: told.append((done, of))) == 12
    assert told[-1] == (12, 12)
    waiting = study.codes.waiting("P1")
    assert [one.key.split()[0] for one in waiting.offers] == [
        "clock", "clock", "set_out", "picked_up", "handler", "handler",
    ]  # fmt: skip
    corners = [corners for one in waiting.offers for corners in waiting.outlines(one.photo)]
    assert [len(one) for one in corners] == [4] * 6
    assert all(0 <= x <= 1 and 0 <= y <= 1 for one in corners for x, y in one)
    assert waiting.contradictions == ()
    assert study.version() == version
    [said] = [one for one in study.check() if "from codes" in one.message]
    assert said.message.startswith("6 proposals from codes in its photos. The camera showed")
    assert not said.serious


@pytest.mark.parametrize("stop", [1, 8, 11])
def test_a_survey_stops_and_goes_on_and_looks_at_nothing_twice(
    study: Workspace, stop: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C at any photo: what was seen is kept, and the rest is all that is looked at then."""
    seen: list[str] = []
    whole = codes.read_photo

    def look(path: Path) -> codes.Reading:
        seen.append(path.name)
        return whole(path)

    monkeypatch.setattr(codes, "read_photo", look)

    def end(done: int, _: int) -> None:
        if done == stop:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        study.codes.survey("P1", end)
    state = study.codes.state("P1")
    assert (state.looked_at, state.left, state.due) == (stop, 12 - stop, 12)
    assert study.codes.survey("P1") == 12 - stop
    assert study.codes.survey("P1") == 0
    assert len(seen) == len(set(seen)) == 12
    assert study.codes.state("P1").with_codes == 4


def test_photos_whose_card_is_out_stay_due(study: Workspace, tmp_path: Path) -> None:
    """Nothing is proposed from what cannot be opened; with the card in again, all is."""
    (tmp_path / "card").rename(tmp_path / "away")
    assert study.codes.survey("P1") == 0
    assert study.codes.state("P1").left == 12
    assert of_kind(study) == []
    (tmp_path / "away").rename(tmp_path / "card")
    assert study.codes.survey("P1") == 12
    assert len(of_kind(study)) == 6


def test_a_damaged_photo_is_looked_at_once_and_again_when_it_has_changed(
    study: Workspace, tmp_path: Path
) -> None:
    """Cut off on the card, it is passed over; copied anew and scanned, it is read."""
    file = tmp_path / "card" / "IMG_0002.JPG"
    whole = file.read_bytes()
    file.write_bytes(whole[:3000])
    study.codes.survey("P1")
    state = study.codes.state("P1")
    assert (state.looked_at, state.damaged, state.left, state.with_codes) == (11, 1, 0, 3)
    assert study.codes.survey("P1") == 0
    study.scan(tmp_path / "card", "P1")
    file.write_bytes(whole)
    study.scan(tmp_path / "card", "P1")
    assert study.codes.survey("P1") == 1
    assert study.codes.state("P1").with_codes == 4


def test_photos_that_come_near_an_edge_are_looked_at_then(study: Workspace) -> None:
    """More photos become due when the log names another window, or people were tagged."""
    start = datetime(2026, 3, 20, 12, 0)  # noqa: DTZ001  what a camera showed
    card = study.folder.parent / "long"
    for number in range(60):
        write_photo(card / f"IMG_{number:04}.JPG", start + number * HOUR, shade=200 + number)
    study.scan(card, "P2")
    mark = study.codes.mark()
    assert study.codes.state("P2").due == 30  # fifteen at each end
    cameras = "placement,camera,trays,start,end\nP2,c2,T2,2026-03-20 11:00,2026-03-23 11:00\n"
    trays = (
        "deployment,tray,set_out,picked_up,food_start_g,food_left_g\n"
        "D2,T2,2026-03-21 10:00,2026-03-22 00:00,10.0,4.0\n"
    )
    study.load(LogKind.CAMERAS, cameras.encode(), "cameras.csv")
    study.load(LogKind.TRAYS, trays.encode(), "trays.csv")
    assert study.codes.mark() != mark
    assert study.codes.state("P2").due == 32  # 10:00 is photo 22 of 0 to 59, 00:00 photo 36
    mark = study.codes.mark()
    photo = study.view("P2").photos[30].id
    study.tag(NewTag("P2", photo, photo, "ann", "blank"))
    assert study.codes.mark() == mark
    study.tag(NewTag("P2", photo, photo, "ann", "handler"))
    assert study.codes.mark() != mark
    assert study.codes.state("P2").due == 33


def test_a_placement_without_photos_has_nothing_to_look_at(study: Workspace) -> None:
    """A name that has no card is no fault here."""
    assert study.codes.survey("elsewhere") == 0
    assert study.codes.waiting("elsewhere").offers == ()


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
    assert (one.now, one.then) == ("the camera log names no tray", "it names T1")
    number = read.codes.accept(one, "Ann")
    assert read.placements()[0].trays == ("T1",)
    read.codes.take_back(number, "Ann")
    assert read.placements()[0].trays == ()
    number = read.codes.accept(one, "Ann")
    read.load(LogKind.CAMERAS, log.replace("P1,c1,,", "P1,c1,T8,").encode(), "cameras.csv")
    with pytest.raises(StudyError, match="the trays of the placement was changed since Ann"):
        read.codes.take_back(number, "Ben")
    assert read.placements()[0].trays == ("T8",)


def test_handlers_are_tagged_as_that_person_and_untagged(read: Workspace) -> None:
    """An ordinary tag of whoever accepted it, on the photos with codes and on no other."""
    for one in of_kind(read, "handler"):
        read.codes.accept(one, "Ann")
    kinds = {p.file: p.kind for p in read.view("P1").photos}
    handlers = {file for file, kind in kinds.items() if kind is PhotoKind.HANDLER}
    assert handlers == {"IMG_0002.JPG", "IMG_0003.JPG", "IMG_0011.JPG", "IMG_0012.JPG"}
    assert {tag.tagger for tag in read.view("P1").tags} == {"Ann"}
    assert of_kind(read, "handler") == []
    for made in read.codes.history("P1"):
        read.codes.take_back(made.number, "Ann")
    assert all(p.kind is not PhotoKind.HANDLER for p in read.view("P1").photos)


def test_an_animal_between_two_codes_is_not_tagged_as_people(
    study: Workspace, tmp_path: Path
) -> None:
    """A mouse on the tray while the card lies there: its photo stays for somebody to tag."""
    for number, second, code in ((20, 20, None), (21, 40, TrayCode("D1"))):
        shown = datetime(2026, 3, 14, 17, 3, second)  # noqa: DTZ001  what a camera showed
        write(tmp_path / "card" / f"IMG_{number:04}.JPG", shown, code, 0.3 + number / 100)
    study.scan(tmp_path / "card", "P1")
    study.codes.survey("P1")
    before, *_ = of_kind(study, "handler")
    number = study.codes.accept(before, "Ann")
    mouse = next(p for p in study.view("P1").photos if p.file == "IMG_0020.JPG")
    assert mouse.kind is PhotoKind.TRIGGER
    assert not [t for t in study.view("P1").tags if t.first_photo == mouse.id]
    tagged = [p.file for p in study.view("P1").ordered if p.kind is PhotoKind.HANDLER]
    assert tagged == ["IMG_0002.JPG", "IMG_0003.JPG", "IMG_0021.JPG"]
    # Both photos without a code are one visit, which waits for somebody.
    [visit] = [one for one in study.view("P1").visits if mouse in one.visit.photos]
    assert [p.file for p in visit.visit.photos] == ["IMG_0001.JPG", "IMG_0020.JPG"]
    assert visit.answer.tags == ()
    study.codes.take_back(number, "Ann")
    assert all(tag.taken_back for tag in study.view("P1").tags)


def test_a_tag_that_was_undone_on_the_tag_page_is_not_undone_twice(read: Workspace) -> None:
    """Somebody undid the handler tag there: taking the acceptance back says so, and it waits."""
    one, *others = of_kind(read, "handler")
    number = read.codes.accept(one, "Ann")
    assert of_kind(read, "handler") == others
    [tag] = read.view("P1").tags
    read.turn([tag.number], "Ben", taken_back=True)
    with pytest.raises(StudyError, match="the tag was changed since Ann accepted this"):
        read.codes.take_back(number, "Ann")
    assert of_kind(read, "handler") == [one, *others]


def test_where_two_taggers_are_needed_an_accepted_handler_waits_no_more(
    read: Workspace,
) -> None:
    """One tag of two: nothing is settled, but whoever accepted it is not asked again."""
    text = (read.folder / "study.toml").read_text(encoding="utf-8")
    assert "taggers_needed = 1" in text
    two = text.replace("taggers_needed = 1", "taggers_needed = 2")
    (read.folder / "study.toml").write_text(two, encoding="utf-8")
    with Workspace.open(read.folder) as workspace:
        one, *others = of_kind(workspace, "handler")
        workspace.codes.accept(one, "Ann")
        assert of_kind(workspace, "handler") == others


def test_all_accepted_and_taken_back_is_as_before(read: Workspace) -> None:
    """Clocks, edges, handlers, one after another, as they are then; back in the other order."""
    before = logs_of(read)
    numbers = []
    while waiting := of_kind(read):
        numbers.append(read.codes.accept(waiting[0], "Ann"))
    assert len(numbers) == 6
    [tray], [outcome] = read.trays(), read.outcomes()
    assert (tray.set_out, tray.picked_up) == (OUT, UP)
    assert outcome.deployment == tray
    # All seven photos of the night are in the window now, and so are their visits.
    assert len(outcome.seen) == 7
    assert logs_of(read) != before
    for number in reversed(numbers):
        read.codes.take_back(number, "Ben")
    assert logs_of(read) == before
    assert len(of_kind(read)) == 6
    assert {one.taken_back_by for one in read.codes.history()} == {"Ben"}


def test_a_proposal_that_holds_no_more_is_refused(read: Workspace) -> None:
    """Two people look at one page: what the first decided, the second does not decide again."""
    clock, edge, handler = (of_kind(read, kind)[0] for kind in ("clock", "set_out", "handler"))
    read.codes.accept(clock, "Ann")
    read.codes.accept(handler, "Ann")
    for one in (clock, handler):
        with pytest.raises(StudyError, match="not proposed any more"):
            read.codes.accept(one, "Ben")
    rows = read.log_rows(LogKind.TRAYS)
    read.save_rows(LogKind.TRAYS, [row | {"set_out": "2026-03-14 17:00"} for row in rows])
    with pytest.raises(StudyError, match="not proposed any more"):
        read.codes.accept(edge, "Ben")
    assert [one.by for one in read.codes.history()] == ["Ann", "Ann"]
    assert len(read.clocks.checks("P1")) == len(read.view("P1").tags) == 1


def test_a_whole_decision_or_nothing(read: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full when the decision is noted: the log is as it was."""
    before = logs_of(read)

    def full(*_: object) -> int:
        raise StudyError("No room.")

    monkeypatch.setattr("core.store.codes.add_decision", full)
    for kind in ("clock", "set_out", "handler"):
        with pytest.raises(StudyError, match="No room"):
            read.codes.accept(of_kind(read, kind)[0], "Ann")
    assert logs_of(read) == before
    assert read.view("P1").tags == ()


def test_what_is_refused_is_not_proposed_again_until_it_is_taken_back(read: Workspace) -> None:
    """The code was of another phone: nothing changes."""
    before = logs_of(read)
    numbers = [read.codes.refuse(one, "Ann") for one in of_kind(read)]
    assert of_kind(read) == []
    assert logs_of(read) == before
    assert not [one for one in read.check() if "codes in its photos" in one.message]
    for number in numbers:
        read.codes.take_back(number, "Ann")
    assert len(of_kind(read)) == 6


def test_an_edge_that_a_mended_clock_has_moved_is_another_proposal(read: Workspace) -> None:
    """Refused by a clock that was an hour off; by the right one it is worth another look."""
    for row in (2, 12):  # without the codes of the phone, the edges come from the camera's clock
        photo = next(p for p in read.view("P1").photos if p.file == f"IMG_{row:04}.JPG")
        with read._database.begin(Raises.NOTHING) as connection:
            put_read(connection, [Read(photo.id)], codes.METHOD)
    old, _ = of_kind(read, "set_out") + of_kind(read, "picked_up")
    assert isinstance(old.proposal, codes.EdgeProposal)
    assert old.proposal.at == OUT - HOUR
    read.codes.refuse(old, "Ann")
    assert of_kind(read, "set_out") == []
    log = "placement,camera_showed,true_time\nP1,2026-03-14 17:00:00,2026-03-14 18:00:00\n"
    read.load(LogKind.CLOCKS, log.encode(), "clocks.csv")
    [new] = of_kind(read, "set_out")
    assert isinstance(new.proposal, codes.EdgeProposal)
    assert (new.key, new.proposal.at) == (old.key, OUT)


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
    [doubt] = read.codes.waiting("P1").contradictions
    assert len(doubt.photos) == 2
    number = read.codes.put_aside("P1", doubt, "Ann")
    assert read.codes.waiting("P1").contradictions == ()
    assert not [one for one in read.check() if "shows the card of" in one.message]
    read.codes.take_back(number, "Ann")
    assert read.codes.waiting("P1").contradictions == (doubt,)


def test_two_phones_that_disagree_are_named(study: Workspace, tmp_path: Path) -> None:
    """A second phone, an hour off, twenty seconds later: both are shown, and nothing is chosen."""
    shown = datetime(2026, 3, 14, 17, 3, 20)  # noqa: DTZ001  what a camera showed
    wrong = OUT + timedelta(hours=1, seconds=20)
    write(tmp_path / "card" / "IMG_0020.JPG", shown, ClockCode(wrong), 0.5)
    study.scan(tmp_path / "card", "P1")
    study.codes.survey("P1")
    doubts = study.codes.waiting("P1").contradictions
    assert "or a phone's clock was wrong" in doubts[0].message
    files = {p.id: p.file for p in study.view("P1").photos}
    assert [files[photo] for photo in doubts[0].photos] == ["IMG_0002.JPG", "IMG_0020.JPG"]
    assert study.clocks.checks("P1") == []
    assert doubts[0].message in [one.message for one in study.check() if one.serious]


def test_forgetting_a_card_forgets_what_was_read(read: Workspace) -> None:
    """The photos are gone, so nothing waits; what people decided is kept."""
    read.codes.refuse(of_kind(read)[0], "Ann")
    read.forget_card(read.cards()[0].id)
    assert of_kind(read) == []
    assert len(read.codes.history("P1")) == 1


def test_nobody_cannot_decide(read: Workspace) -> None:
    """A decision needs a name; what is not there cannot be taken back."""
    first = of_kind(read)[0]
    for decide in (read.codes.accept, read.codes.refuse):
        with pytest.raises(LastbiteError, match="Say who decides"):
            decide(first, " ")
    with pytest.raises(StudyError, match="is not in the study"):
        read.codes.take_back(7, "Ann")


def test_the_command_looks_and_says_what_it_found(
    study: Workspace, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: all placements, then one; a second time there is nothing left to look at."""
    wanted = "P1: 12 of 12 photos looked at, 4 with codes; 6 proposals on the Clocks page\n"
    cli.main(["codes", str(study.folder)])
    assert capsys.readouterr().out == wanted
    cli.main(["codes", str(study.folder), "--placement", "P1"])
    assert capsys.readouterr().out == wanted
    with pytest.raises(SystemExit) as end:
        cli.main(["codes", str(study.folder), "--placement", "P9"])
    assert end.value.code == 1
    assert "Placement 'P9' has no photos" in capsys.readouterr().err


def test_the_command_says_what_is_not_at_hand_and_is_stopped_by_ctrl_c(
    study: Workspace, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """With the card out it says so; stopped, the same command goes on."""
    (tmp_path / "card").rename(tmp_path / "away")
    cli.main(["codes", str(study.folder)])
    assert "12 not at hand: put the card in" in capsys.readouterr().out
    (tmp_path / "away").rename(tmp_path / "card")
    whole, seen = codes.read_photo, list[Path]()

    def stopped(path: Path) -> codes.Reading:
        seen.append(path)
        if len(seen) == 4:
            raise KeyboardInterrupt
        return whole(path)

    monkeypatch.setattr(codes, "read_photo", stopped)
    with pytest.raises(SystemExit) as end:
        cli.main(["codes", str(study.folder)])
    assert end.value.code == 1
    assert "run the same command to go on" in capsys.readouterr().err
    assert study.codes.state("P1").looked_at == 3
    cli.main(["codes", str(study.folder)])
    assert "12 of 12 photos looked at" in capsys.readouterr().out
    assert len(seen) == 4 + 9
