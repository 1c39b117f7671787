"""The clocks of a whole study: found, supposed, accepted, taken back; checks made from photos."""

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
import seasons
from builders import NOON, new_photo, write_burst, write_photo
from seasons import BRUSSELS, DUNES, HOUR, SYDNEY, Card, Habits, Place

from app import cli
from core.clockfaults import ClockFault, Proposal, changed_outcomes
from core.errors import ClockError, LogError
from core.logs import LogKind
from core.model import Header, Outcome, Photo, Reason, Species, SpeciesRole, TimeSource, Where
from core.store import Database, Raises, cards
from core.store import logs as log_store
from core.store.tables import SCORES
from core.workspace import NewTag, Workspace

SPECIES = [Species("g", "Gerbil", SpeciesRole.FORAGER)]
FED = NewTag("", 0, 0, "ann", "g", where=Where.FED)
QUIET = Habits(nights=3, dies=0, unseen=0, trips=0, test_shots=0, walk=0, car=0)


def study_of(folder: Path, *held: Card) -> Workspace:
    """Make a study of these cards, each photo of them tagged alike."""
    workspace = Workspace.create(folder, held[0].place.zone.key)
    database = Database.open(folder / "lastbite.db")
    with database.begin() as connection:
        log_store.put_species(connection, SPECIES)
        for card in held:
            log_store.put_placements(connection, [card.placement])
            log_store.put_tray_deployments(connection, card.trays)
            log_store.put_clock_checks(connection, card.checks)
            name = card.placement.placement
            row = cards.put_card(connection, name, f"/cards/{name}", NOON)
            photos = [
                new_photo(one.file, fingerprint=f"{name}-{one.file}",
                          header=Header(one.camera_time, time_source=TimeSource.ORIGINAL))
                for one in card.photos
            ]  # fmt: skip
            cards.add_photos(connection, row, photos)
    database.dispose()
    for card in held:
        name = card.placement.placement
        ids = [photo.id for photo in workspace.view(name).photos]
        one = replace(FED, placement=name)
        workspace.tag_all([replace(one, first_photo=id_, last_photo=id_) for id_ in ids])
    return workspace


def told(outcomes: Sequence[Outcome]) -> list[tuple[object, ...]]:
    """Give what people read of outcomes first."""
    return [
        (one.deployment.deployment, one.status, one.reason, one.forager, one.visits)
        for one in outcomes
    ]


def right(seed: int = 1, place: Place = DUNES, first: date = date(2026, 3, 2)) -> Card:
    """Make a card without a fault whose photos lie where the logs say."""
    return seasons.clean(Random(seed), first, QUIET, place)


def chosen(workspace: Workspace, placement: str = "P1") -> Proposal:
    """Give the one proposal of the one finding."""
    [finding] = workspace.clocks.findings(placement)
    assert finding.chosen is not None, finding
    return finding.chosen


def test_a_right_clock_has_no_finding_and_nothing_is_kept(tmp_path: Path) -> None:
    """A clean card: nothing to decide, no history."""
    with study_of(tmp_path / "study", right()) as workspace:
        assert workspace.clocks.findings("P1") == []
        assert workspace.clocks.history() == []


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (seasons.one_hour, ClockFault.ONE_HOUR),
        (seasons.twelve_hours, ClockFault.TWELVE_HOURS),
        (seasons.a_year, ClockFault.YEARS),
        (seasons.day_month, ClockFault.DAY_MONTH),
        (seasons.whole_days, ClockFault.DAYS),
    ],
)
@pytest.mark.parametrize(
    ("place", "first"),
    [
        (DUNES, date(2026, 3, 2)),
        # The night in which Brussels went to winter time, and a year's change in Sydney's summer.
        (BRUSSELS, date(2026, 10, 24)),
        (SYDNEY, date(2026, 12, 30)),
    ],
    ids=["dunes", "end of summer time", "new year in the south"],
)
def test_what_is_accepted_makes_the_outcomes_of_the_right_clock(
    tmp_path: Path,
    fault: Callable[[Card, Random], Card],
    kind: ClockFault,
    place: Place,
    first: date,
) -> None:
    """Found, supposed, accepted: outcomes as with the true clock; taken back: as before."""
    true = right(4, place, first)
    with study_of(tmp_path / "true", true) as workspace:
        wanted = told(workspace.outcomes())
    with study_of(tmp_path / "study", fault(true, Random(2))) as workspace:
        whole = workspace.outcomes()
        before = told(whole)
        proposal = chosen(workspace)
        assert proposal.kind is kind
        supposed = workspace.clocks.suppose("P1", proposal)
        assert told(workspace.outcomes()) == before
        assert workspace.clocks.history() == []
        numbers = workspace.clocks.accept(proposal, " Ann  Lee ", "the watch in the first photo")
        assert told(workspace.outcomes()) == wanted
        assert supposed.changes == tuple(changed_outcomes(whole, workspace.outcomes()))
        held = [photo.true_time for photo in workspace.view("P1").ordered]
        assert supposed.times.tolist() == [one.timestamp() for one in held if one]
        assert workspace.clocks.findings("P1") == []
        [kept] = workspace.clocks.history("P1")
        assert (kept.by, kept.kind, kept.taken_back) == ("Ann Lee", kind, None)
        assert kept.why.endswith(". the watch in the first photo")
        assert kept.made_at is not None
        assert datetime.now(UTC) - kept.made_at < timedelta(minutes=5)
        workspace.clocks.take_back(numbers, "Ben")
        assert told(workspace.outcomes()) == before
        [gone] = workspace.clocks.history("P1")
        assert gone.taken_back is not None
        assert gone.taken_back_by == "Ben"
        assert chosen(workspace).kind is kind


def test_a_reset_on_the_way_is_parted_there(tmp_path: Path) -> None:
    """Default dates after a battery change: only those photos move, what came before stays."""
    true = right(4)
    fallen = seasons.reset(true, Random(3))
    with study_of(tmp_path / "study", fallen) as workspace:
        was = {p.file: p.true_time for p in workspace.view("P1").photos}
        proposal = chosen(workspace)
        assert proposal.kind is ClockFault.DEFAULT_DATE
        workspace.clocks.accept(proposal, "Ann")
        now = {p.file: p.true_time for p in workspace.view("P1").photos}
        moved = {file for file, moment in now.items() if moment != was[file]}
        wrong = {photo.file for photo in fallen.photos if photo.id in fallen.touched}
        assert moved == wrong


def test_two_faults_at_two_cameras_are_decided_apart(tmp_path: Path) -> None:
    """A year at one placement, an hour at another: one is accepted, the other stays open."""
    one = seasons.a_year(right(4), Random(2))
    other = seasons.one_hour(
        seasons.clean(Random(8), date(2026, 3, 2), QUIET, name="P2", tray="T2"), Random(1)
    )
    with study_of(tmp_path / "study", one, other) as workspace:
        was = workspace.base("P2")
        workspace.clocks.accept(chosen(workspace, "P1"), "Ann")
        assert workspace.clocks.findings("P1") == []
        assert chosen(workspace, "P2").kind is ClockFault.ONE_HOUR
        # What no correction touches is as it was, to the bit.
        now = workspace.base("P2")
        assert now is not was
        assert now.timed.seconds.tobytes() == was.timed.seconds.tobytes()
        assert now.timed.flags == was.timed.flags
        assert (now.clock, now.corrections) == (was.clock, ())


def test_what_a_proposal_would_change_at_a_tray_that_two_cameras_watch(tmp_path: Path) -> None:
    """The other camera's visits stay, so only what this clock changes is told, and nothing else."""
    one = right(4)
    beside = seasons.twin(one, Random(5))
    far = seasons.clean(Random(9), date(2026, 3, 2), QUIET, name="P3", tray="T3")
    wrong = seasons.twelve_hours(one, Random(2))
    with study_of(tmp_path / "study", wrong, beside, far) as workspace:
        whole = workspace.outcomes()
        assert workspace.clocks.findings("P3") == []
        proposal = chosen(workspace, "P1")
        supposed = workspace.clocks.suppose("P1", proposal)
        assert supposed.changes
        assert {str(one)[:3] for one in supposed.changes} == {"T1-"}
        workspace.clocks.accept(proposal, "Ann")
        assert supposed.changes == tuple(changed_outcomes(whole, workspace.outcomes()))


def test_taggers_are_told_of_no_answer_that_waits(tmp_path: Path) -> None:
    """What a clock would change is told to them as if nobody had tagged what is not settled."""
    with study_of(tmp_path / "study", seasons.whole_days(right(4), Random(2))) as workspace:
        file = workspace.folder / "study.toml"
    text = file.read_text("utf-8")
    file.write_text(text.replace("taggers_needed = 1", "taggers_needed = 2"), "utf-8")
    with Workspace.open(file.parent) as workspace:
        proposal = chosen(workspace)
        whole = workspace.clocks.suppose("P1", proposal).changes
        assert {one.after.reason for one in whole if one.after} == {Reason.MORE_TAGGERS}
        shown = workspace.as_all_may_see().clocks.suppose("P1", proposal).changes
        assert [one.deployment for one in shown] == [one.deployment for one in whole]
        assert {one.after.reason for one in shown if one.after} == {Reason.UNTAGGED}


def test_two_cameras_at_one_tray_that_disagree_are_found(tmp_path: Path) -> None:
    """Eleven minutes between them say so of one of the two, and the other is named."""
    one = right(4)
    late = seasons.shifted(
        seasons.twin(one, Random(5)), timedelta(minutes=-11), ClockFault.CAMERAS_DISAGREE
    )
    with study_of(tmp_path / "study", one, late) as workspace:
        found = [*workspace.clocks.findings("P1"), *workspace.clocks.findings("P2")]
        assert ClockFault.CAMERAS_DISAGREE in {finding.kind for finding in found}


def test_light_speaks_where_the_camera_log_has_a_place(tmp_path: Path) -> None:
    """Infrared frames at high sun are told once photos are scored, and only with a place."""
    wrong = seasons.twelve_hours(right(4), Random(2))
    place = replace(wrong.placement, latitude=DUNES.latitude, longitude=DUNES.longitude)
    with study_of(tmp_path / "study", replace(wrong, placement=place)) as workspace:
        assert "infrared" not in workspace.clocks.findings("P1")[0].saw
        by_file = {photo.file: wrong.infrared[photo.id] for photo in wrong.photos}
        rows = [
            {"photo_id": photo.id, "method": 1, "basis": "copy", "whole": 0.5, "outline": "[]",
             "infrared": by_file[photo.file]}
            for photo in workspace.view("P1").photos
        ]  # fmt: skip
        database = Database.open(tmp_path / "study" / "lastbite.db")
        with database.begin(Raises.NOTHING) as connection:
            connection.execute(SCORES.insert(), rows)
        assert "bursts are infrared at high sun" in workspace.clocks.findings("P1")[0].saw
        with database.begin() as connection:
            log_store.put_placements(connection, [wrong.placement])
        database.dispose()
        assert "infrared" not in workspace.clocks.findings("P1")[0].saw


def test_the_walk_back_names_the_correction_and_the_check(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From an outcome down: what the camera showed, who put its clock right and why, true time."""
    card = seasons.shifted(right(4), 12 * HOUR, ClockFault.TWELVE_HOURS)
    with study_of(tmp_path / "study", card) as workspace:
        numbers = workspace.clocks.accept(chosen(workspace), "Ann", "a watch in IMG_0002")
        first = workspace.view("P1").photos[0]
        assert first.camera_time is not None
        assert first.true_time is not None
        at = first.true_time + timedelta(seconds=5)
        workspace.clocks.add_check(workspace.clocks.read_check("P1", first.id, at.isoformat()))
        assert {row["correction"] for row in workspace.photo_rows()} == {"add 12 h, by Ann"}
        cli.main(["explain", str(tmp_path / "study"), "T1-P1-1"])
        said = capsys.readouterr().out
        shown = next(line for line in said.splitlines() if "camera showed" in line)
        assert "true time" in shown
        assert "clock of P1: +12 h on the whole card, accepted by Ann at " in said
        assert ". a watch in IMG_0002" in said
        assert f"clock of P1: clock check: The camera showed {first.camera_time} at " in said
        workspace.clocks.take_back(numbers, "Ann")
        assert {row["correction"] for row in workspace.photo_rows()} == {""}


def test_check_says_what_was_seen_proposed_and_would_change(tmp_path: Path) -> None:
    """One finding: the fault by its name, the photos, the shift in words, the trays, the page."""
    card = seasons.shifted(right(4), 12 * HOUR, ClockFault.TWELVE_HOURS)
    with study_of(tmp_path / "study", card) as workspace:
        [said] = [
            f for f in workspace.check() if f.thing == "placement P1" and "clock" in f.message
        ]
        assert said.serious
        assert said.message.startswith("the clock is twelve hours off: ")
        assert f"Proposed for {len(card.photos)} photos: add 12 h." in said.message
        assert "would change: T1-P1-1: " in said.message
        assert said.message.endswith("Decide on the Clocks page.")


def test_nobody_and_nothing_cannot_accept(tmp_path: Path) -> None:
    """A decision needs a name, and a proposal that corrects something."""
    with study_of(tmp_path / "study", seasons.one_hour(right(4), Random(1))) as workspace:
        proposal = chosen(workspace)
        with pytest.raises(ClockError, match="Say who decides this first"):
            workspace.clocks.accept(proposal, "  ")
        with pytest.raises(ClockError, match="changes nothing"):
            workspace.clocks.accept(replace(proposal, corrections=()), "Ann")
        with pytest.raises(ClockError, match="is not in the study"):
            workspace.clocks.take_back([99], "Ann")
        assert workspace.clocks.history() == []


def test_a_piece_whose_card_was_forgotten_is_refused_whole(tmp_path: Path) -> None:
    """The page was open while somebody forgot the card: nothing is kept."""
    fallen = seasons.reset(right(4), Random(3))
    with study_of(tmp_path / "study", fallen) as workspace:
        proposal = chosen(workspace)
        workspace.forget_card(workspace.cards()[0].id, with_tags=True)
        with pytest.raises(ClockError, match="its card was forgotten or moved"):
            workspace.clocks.accept(proposal, "Ann")
        assert workspace.clocks.history() == []


def test_a_write_that_fails_keeps_nothing(tmp_path: Path) -> None:
    """The database refuses the second of two corrections: the first is not kept either."""
    with study_of(tmp_path / "study", seasons.one_hour(right(4), Random(1))) as workspace:
        proposal = chosen(workspace)
        [one] = proposal.corrections
        with sqlite3.connect(tmp_path / "study" / "lastbite.db") as raw:
            raw.execute(
                "CREATE TRIGGER no_more BEFORE INSERT ON clock_corrections "
                "WHEN (SELECT count(*) FROM clock_corrections) > 0 "
                "BEGIN SELECT RAISE(ABORT, 'no more'); END"
            )
        with pytest.raises(Exception, match="no more"):
            workspace.clocks.accept(replace(proposal, corrections=(one, one)), "Ann")
        assert workspace.clocks.history() == []


# --- clock checks from photos --------------------------------------------------------------------


@pytest.fixture
def watch(tmp_path: Path) -> Workspace:
    """A study whose camera is two minutes slow, by real photos of 14 March 2026, 18:00."""
    write_burst(tmp_path / "card", datetime(2026, 3, 14, 18), 3)  # noqa: DTZ001
    workspace = Workspace.create(tmp_path / "study", "Africa/Johannesburg")
    workspace.load(
        LogKind.CAMERAS,
        b"placement,camera,trays,start,end\nP1,C1,T1,2026-03-14 17:00,2026-03-15 07:00\n",
    )
    workspace.scan(tmp_path / "card", "P1")
    return workspace


@pytest.mark.parametrize(
    "typed",
    ["18:02:00", "2026-03-14 18:02", "2026-03-14 18:02:00", "2026-03-14T16:02:00Z", "18:02"],
)
def test_a_watch_in_a_photo_is_a_clock_check(watch: Workspace, typed: str) -> None:
    """However the time is typed, all photos move by the two minutes; removed, they move back."""
    first = watch.view("P1").photos[0]
    check = watch.clocks.read_check("P1", first.id, typed)
    assert watch.clocks.checks("P1") == []
    watch.clocks.add_check(check)
    assert [check] == watch.clocks.checks("P1")
    assert check.photo == first.file
    moved = watch.view("P1").photos[0].true_time
    assert moved == datetime(2026, 3, 14, 16, 2, tzinfo=UTC)
    watch.clocks.remove_check(check)
    assert watch.view("P1").photos[0].true_time == first.true_time


def test_a_time_of_day_is_read_on_the_nearest_day(tmp_path: Path) -> None:
    """The camera shows 23:58 on the 14th, the watch 00:01: that is the 15th."""
    write_burst(tmp_path / "card", datetime(2026, 3, 14, 23, 58), 1)  # noqa: DTZ001
    with Workspace.create(tmp_path / "study", "Africa/Johannesburg") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos
        check = workspace.clocks.read_check("P1", photo.id, "00:01:00")
        assert check.true_time == datetime(2026, 3, 14, 22, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "The time ''"),
        ("half past six", "'half past six'"),
        ("14/03/2026 18:02", "14/03/2026"),
    ],
)
def test_a_time_that_cannot_be_read_is_refused(watch: Workspace, typed: str, words: str) -> None:
    """Nothing is kept, and the words name what was typed."""
    first = watch.view("P1").photos[0]
    with pytest.raises(ClockError, match=words):
        watch.clocks.read_check("P1", first.id, typed)
    with pytest.raises(ClockError, match="Photo 99 is not on placement 'P1'"):
        watch.clocks.read_check("P1", 99, "18:02")


def test_an_hour_that_clocks_show_twice_is_refused(tmp_path: Path) -> None:
    """In Brussels 02:30 came twice on 25 October 2026; with an offset it is read."""
    write_burst(tmp_path / "card", datetime(2026, 10, 25, 2, 30), 1)  # noqa: DTZ001
    with Workspace.create(tmp_path / "study", "Europe/Brussels") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos
        with pytest.raises(ClockError, match="twice"):
            workspace.clocks.read_check("P1", photo.id, "2026-10-25 02:30")
        check = workspace.clocks.read_check("P1", photo.id, "2026-10-25 02:30+01:00")
        assert check.true_time == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_checks_that_contradict_each_other_are_refused(watch: Workspace) -> None:
    """One photo with two true times, and a watch that runs backwards: the first check stays."""
    first, second, third = watch.view("P1").photos
    kept = watch.clocks.read_check("P1", first.id, "18:02:00")
    watch.clocks.add_check(kept)
    with pytest.raises(ClockError, match="says already that the camera of 'P1' showed"):
        watch.clocks.add_check(watch.clocks.read_check("P1", first.id, "18:09:00"))
    with pytest.raises(ClockError, match="run backwards"):
        watch.clocks.add_check(watch.clocks.read_check("P1", third.id, "17:59:00"))
    assert watch.clocks.checks("P1") == [kept]
    watch.clocks.add_check(kept)
    assert watch.clocks.checks("P1") == [kept]
    assert second.camera_time is not None


def test_a_check_that_was_refused_leaves_nothing_behind(watch: Workspace) -> None:
    """What the refused check would have made of the photos is gone, after other writes too."""
    first, _, third = watch.view("P1").photos
    watch.clocks.add_check(watch.clocks.read_check("P1", first.id, "18:02:00"))
    held = [photo.true_time for photo in watch.view("P1").photos]
    with pytest.raises(ClockError, match="run backwards"):
        watch.clocks.add_check(watch.clocks.read_check("P1", third.id, "17:59:00"))
    watch.load(LogKind.SPECIES, b"key,name,role\nm,mouse,forager\n")
    assert watch.view("P1").clock_fault == ""
    assert [photo.true_time for photo in watch.view("P1").photos] == held


def test_a_photo_without_a_time_is_no_check(tmp_path: Path) -> None:
    """Its display is not known."""
    write_photo(tmp_path / "card" / "A.JPG", None)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos
        with pytest.raises(ClockError, match="has no time of its own"):
            workspace.clocks.read_check("P1", photo.id, "18:00")


def test_the_log_holds_checks_on_both_sides_of_a_reset_once_it_is_accepted(tmp_path: Path) -> None:
    """A watch after the battery change: refused before; then kept, also when the log is saved."""
    true = right(4)
    fallen = seasons.reset(true, Random(3))
    with study_of(tmp_path / "study", fallen) as workspace:
        order = sorted(fallen.photos, key=lambda one: true.true[one.id])
        first, last = order[0], order[-1]
        by_file = {photo.file: photo.id for photo in workspace.view("P1").photos}

        def check(photo: Photo) -> None:
            moment = true.true[photo.id].isoformat()
            clocks = workspace.clocks
            clocks.add_check(clocks.read_check("P1", by_file[photo.file], moment))

        check(first)
        with pytest.raises(ClockError, match="run backwards"):
            check(last)
        [finding] = workspace.clocks.findings("P1")
        workspace.clocks.accept(finding.proposals[0], "Ann")
        check(last)
        assert len(workspace.clocks.checks("P1")) == 2
        times = {photo.file: photo.true_time for photo in workspace.view("P1").photos}
        assert times[last.file] == true.true[last.id]
        rows = workspace.log_rows(LogKind.CLOCKS)
        assert workspace.save_rows(LogKind.CLOCKS, rows).same == 2
        text = "placement,camera_showed,true_time\n" + "".join(
            f"P1,{row['camera_showed']},{row['true_time']}\n" for row in reversed(rows)
        )
        workspace.load(LogKind.CLOCKS, text.encode())


def test_the_clock_log_refuses_what_no_correction_explains(watch: Workspace) -> None:
    """Checks on both sides of a reset run backwards in a log, too."""
    log = (
        b"placement,camera_showed,true_time\n"
        b"P1,2026-03-14 18:00:00,2026-03-14 18:02:00\n"
        b"P1,2026-03-14 18:05:00,2026-03-14 18:01:00\n"
    )
    with pytest.raises(LogError, match="runs back while its camera goes on"):
        watch.load(LogKind.CLOCKS, log)
