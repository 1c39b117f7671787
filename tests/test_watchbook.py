"""Watched time of a whole study: suspected from real photos, ruled on, and what trays make."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from builders import write_photo
from pages import opened, press, words
from PIL import Image

from app import session
from core import coverage
from core.clockfaults import ClockCorrection, ClockFault, Proposal
from core.coverage import State, Why, lens
from core.errors import StudyError
from core.logs import LogKind
from core.model import Outcome, Reason, Span, Status, Where
from core.watchbook import Watchbook
from core.windows import window_of
from core.workspace import NewTag, Workspace

START = datetime(2026, 3, 14, 18)  # noqa: DTZ001  what the camera showed, UTC
CAMERAS = (
    "placement,camera,trays,start,end,working_at_pickup{more}\n"
    "P1,C1,T1,2026-03-14 17:50,2026-03-15 06:05,yes{cells}\n"
)
TRAYS = (
    "deployment,tray,set_out,picked_up,food_start_g,food_left_g\n"
    "D1,T1,2026-03-14 18:00,2026-03-15 06:00,10,4\n"
)
SPECIES = "key,name,role\ng,Gerbil,forager\n"


def moment(at: int, *, steady: bool = False) -> datetime:
    """Give when a photo was taken: about every 20 minutes, or to the minute."""
    return START + timedelta(minutes=20 * at + (0 if steady else at * 7 % 11))


def picture(path: Path, shown: datetime, *, dark: bool, shade: int) -> None:
    """Write a photo as a camera does: bright and patterned, or black but for its printed strip."""
    write_photo(path, shown, shade=shade)
    exif = Image.open(path).getexif()
    rng = np.random.default_rng(shade)
    pixels = rng.integers(0, 6 if dark else 255, (240, 320, 3), dtype=np.uint8)
    pixels[216:] = 255
    Image.fromarray(pixels).save(path, exif=exif, quality=85)


def study(
    folder: Path,
    dark: range,
    more: str = "",
    cells: str = "",
    *,
    steady: bool = False,
    many: int = 37,
) -> Workspace:
    """Make a night with a photo about every 20 minutes, some of which show nothing but black."""
    for at in range(many):
        shown = moment(at, steady=steady)
        picture(folder / "card" / f"IMG_{at:04}.JPG", shown, dark=at in dark, shade=at)
    workspace = Workspace.create(folder / "study", "UTC")
    workspace.load(LogKind.SPECIES, SPECIES.encode(), "species.csv")
    workspace.load(LogKind.CAMERAS, CAMERAS.format(more=more, cells=cells).encode(), "cameras.csv")
    workspace.load(LogKind.TRAYS, TRAYS.encode(), "trays.csv")
    workspace.scan(folder / "card", "P1")
    photos = workspace.view("P1").photos
    tags = [NewTag("P1", p.id, p.id, "ann", "blank") for p in photos[1:]]
    tags.append(NewTag("P1", photos[0].id, photos[0].id, "ann", "g", where=Where.FED))
    workspace.tag_all(tags)
    return workspace


@pytest.fixture
def blocked(tmp_path: Path) -> Iterator[Workspace]:
    """From 21:00 to 00:20 the photos are black; they are looked at as the page would."""
    with study(tmp_path, range(9, 20)) as workspace:
        yield measured(workspace)


def measured(workspace: Workspace) -> Workspace:
    """Look at its photos as the page would."""
    list(workspace.previews.make(workspace.previews.stock("P1").missing))
    workspace.score("P1")
    return workspace


def outcome(workspace: Workspace) -> Outcome:
    [found] = workspace.outcomes()
    return found


def test_how_dark_and_how_plain_a_picture_is() -> None:
    """Black is 0, white is 1; half black and half white has a contrast of one half; no strip."""
    white = np.full((100, 64, 3), 255, dtype=np.uint8)
    assert lens.measure(white) == (1, 0)
    half = white.copy()
    half[:, :32] = 0
    assert lens.measure(half) == (0.5, 0.5)
    printed = np.zeros((100, 64), dtype=np.uint8)
    printed[90:] = 255
    printed[:8] = 255
    assert lens.measure(printed) == (0, 0)


def test_a_blocked_lens_is_suspected_and_makes_the_tray_a_caution(blocked: Workspace) -> None:
    """From the last clear photo to the next clear one; the cell stays, nobody has looked yet."""
    [one] = blocked.watching.suspicions(blocked.view("P1"))
    assert one.why is Why.LENS_BLOCKED
    assert one.span == Span(*(moment(at).replace(tzinfo=UTC) for at in (8, 20)))
    now = outcome(blocked)
    assert (now.status, now.reason) == (Status.CAUTION, Reason.WATCH_IN_DOUBT)
    assert now.watched_share == 1
    assert now.cell.endswith("C1")
    [said] = blocked.check()
    assert said.thing == "placement P1"
    assert "the lens was blocked, perhaps: 11 photos in a row" in said.message
    assert "IMG_0009.JPG and IMG_0019.JPG" in said.message


def test_before_the_photos_are_looked_at_nothing_is_suspected(tmp_path: Path) -> None:
    """Scanned and not scored yet: as without any suspicion; once scored, outcomes follow."""
    with study(tmp_path, range(9, 20)) as workspace:
        assert outcome(workspace).status is Status.KEEP
        measured(workspace)
        assert outcome(workspace).status is Status.CAUTION


def test_accepted_the_stretch_is_unwatched_and_taken_back_it_is_in_doubt(
    blocked: Workspace,
) -> None:
    """The animal came before it, so a gap after the last visit: the last feeder is not known."""
    [one] = blocked.watching.suspicions(blocked.view("P1"))
    number = blocked.watching.rule(one, " Ann ", accepted=True, because="a leaf")
    now = outcome(blocked)
    assert (now.status, now.reason) == (Status.DROP, Reason.GAP_AFTER_LAST)
    assert now.watched_share == pytest.approx(1 - (moment(20) - moment(8)) / timedelta(hours=12))
    [kept] = blocked.watching.history("P1")
    assert (kept.by, kept.because, kept.accepted) == ("Ann", "a leaf", True)
    assert blocked.watching.open(blocked.view("P1")) == []
    assert blocked.check() == []
    blocked.watching.take_back(number, "Ben")
    assert outcome(blocked).reason is Reason.WATCH_IN_DOUBT
    [gone] = blocked.watching.history()
    assert gone.taken_back_by == "Ben"


def test_refused_all_is_as_if_nothing_had_been_suspected(blocked: Workspace) -> None:
    """It was a dark night: the tray is kept, and the suspicion is not asked again."""
    [one] = blocked.watching.suspicions(blocked.view("P1"))
    blocked.watching.rule(one, "Ann", accepted=False)
    now = outcome(blocked)
    assert (now.status, now.watched_share) == (Status.KEEP, 1)
    assert blocked.check() == []


def test_a_second_camera_that_saw_takes_the_doubt_away(blocked: Workspace, tmp_path: Path) -> None:
    """Both watch the tray: what one may have missed, the other watched."""
    for at in range(37):
        shown = moment(at) + timedelta(seconds=5)
        picture(tmp_path / "second" / f"IMG_{at:04}.JPG", shown, dark=False, shade=100 + at)
    log = CAMERAS.format(more="", cells="").replace("P1,C1", "P2,C2")
    blocked.load(LogKind.CAMERAS, log.encode(), "cameras.csv")
    blocked.scan(tmp_path / "second", "P2")
    for photo in blocked.view("P2").photos:
        blocked.tag(NewTag("P2", photo.id, photo.id, "ann", "blank"))
    now = outcome(blocked)
    assert now.reason is not Reason.WATCH_IN_DOUBT
    assert str(Reason.WATCH_IN_DOUBT) not in now.notes


def test_the_account_and_the_verdict_agree(blocked: Workspace) -> None:
    """Before and after a ruling: what is told as watched is what the verdict counts."""
    [one] = blocked.watching.suspicions(blocked.view("P1"))
    for accepted in (None, True):
        if accepted is not None:
            blocked.watching.rule(one, "Ann", accepted=accepted)
        now = outcome(blocked)
        account = blocked.watching.account(now)
        window = window_of(now.deployment)
        assert account is not None
        assert window is not None
        seen = account.total(State.WATCHED) + account.total(State.UNTRUSTED)
        assert seen / (window.end - window.start) == pytest.approx(now.watched_share)
        gaps = coverage.gaps(window, now.watched)
        unwatched = [s.span for s in account.stretches if s.state is State.UNWATCHED]
        assert gaps == unwatched


def test_photos_that_show_something_change_no_outcome(tmp_path: Path) -> None:
    """While a clean card is scored behind the page, no outcome is worked out again."""
    with study(tmp_path, range(0)) as workspace:
        before = workspace.outcomes()
        measured(workspace)
        assert workspace.outcomes() is before


def test_a_ruling_follows_its_photos_through_a_clock_correction(blocked: Workspace) -> None:
    """Put right by an hour, the stretch that somebody accepted lies an hour later too."""
    [one] = blocked.watching.suspicions(blocked.view("P1"))
    blocked.watching.rule(one, "Ann", accepted=True)
    hour = timedelta(hours=1)
    correction = ClockCorrection("P1", ClockFault.ONE_HOUR, 3600)
    blocked.clocks.accept(Proposal(ClockFault.ONE_HOUR, "add 1 h", (correction,)), "Ann")
    [moved] = blocked.watching.suspicions(blocked.view("P1"))
    assert moved.span == Span(one.span.start + hour, one.span.end + hour)
    assert blocked.watching.ruled(moved) is not None
    assert blocked.watching.open(blocked.view("P1")) == []
    window = window_of(outcome(blocked).deployment)
    assert window is not None
    assert coverage.gaps(window, outcome(blocked).watched) == [
        Span(window.start, window.start + hour),
        moved.span,
    ]


def test_a_clock_in_doubt_is_drawn_as_untrusted_time(tmp_path: Path) -> None:
    """Something clear speaks against the clock: what it watched may belong to another time."""
    with study(tmp_path, range(0)) as workspace:
        doubting = Watchbook(
            workspace._database,
            workspace.settings,
            workspace.placements,
            workspace.view,
            lambda placement: placement == "P1",
        )
        account = doubting.account(outcome(workspace))
        assert account is not None
        assert {one.why for one in account.stretches} == {Why.CLOCK}
        assert account.total(State.UNTRUSTED) == timedelta(hours=12)
        assert "see the Clocks page" in account.stretches[0].said


def test_quiet_time_is_told_and_stays_a_caution(tmp_path: Path) -> None:
    """A camera that rests ten minutes after each trigger: told as untrusted, never a drop."""
    with study(tmp_path, range(0), ",quiet_s", ",600") as workspace:
        now = outcome(workspace)
        assert (now.status, now.reason) == (Status.CAUTION, Reason.SHORT_VISITS_MISSED)
        account = workspace.watching.account(now)
        assert account is not None
        blind = [one for one in account.stretches if one.why is Why.QUIET]
        assert len(blind) == 36
        assert all(one.span.end - one.span.start == timedelta(minutes=10) for one in blind)
        assert "visits shorter than 10 min could have been missed" in account.sentence


def test_a_rhythm_that_the_log_does_not_mention_is_proposed(tmp_path: Path) -> None:
    """A photo every 20 minutes all night: said by `check` as good to know, nothing is changed."""
    with study(tmp_path, range(0), steady=True) as workspace:
        [said] = workspace.check()
        assert not said.serious
        assert "write 20 under timelapse_every_min" in said.message
        assert len(workspace.view("P1").visits) == 37


def test_a_card_that_filled_up_is_suspected(tmp_path: Path) -> None:
    """A last file cut off, hours before pick-up: from there on the camera may have had no room."""
    with study(tmp_path, range(0), "", "") as workspace:
        assert workspace.watching.suspicions(workspace.view("P1")) == ()
    folder = tmp_path / "full"
    folder.mkdir()
    workspace = study(folder, range(0))
    card = folder / "card"
    for at in range(20, 37):
        (card / f"IMG_{at:04}.JPG").unlink()
    last = card / "IMG_0019.JPG"
    last.write_bytes(last.read_bytes()[:3000])
    workspace.forget_card(workspace.cards()[0].id, with_tags=True)
    workspace.scan(card, "P1")
    with workspace:
        [one] = workspace.watching.suspicions(workspace.view("P1"))
        assert one.why is Why.CARD_FULL
        assert one.span.end == datetime(2026, 3, 15, 6, 5, tzinfo=UTC)


def test_a_battery_that_died_though_the_log_says_it_worked(tmp_path: Path) -> None:
    """Every 20 minutes until 00:20, then nothing till pick-up; accepted, it is a gap at the end."""
    with study(tmp_path, range(0), steady=True, many=20) as workspace:
        [one] = workspace.watching.suspicions(workspace.view("P1"))
        assert one.why is Why.BATTERY_DEAD
        assert one.span == Span(
            datetime(2026, 3, 15, 0, 20, tzinfo=UTC), datetime(2026, 3, 15, 6, 5, tzinfo=UTC)
        )
        assert outcome(workspace).reason is Reason.WATCH_IN_DOUBT
        said, rhythm = workspace.check()
        assert "17 photos of a rhythm of 20 min are missing there, at most 0 before" in said.message
        assert not rhythm.serious
        workspace.watching.rule(one, "Ann", accepted=True)
        assert outcome(workspace).reason is Reason.GAP_AFTER_LAST
        assert workspace.check() == [rhythm]


def test_what_is_suspected_of_unwatched_time_is_only_told(tmp_path: Path) -> None:
    """The log says that the camera was dead at pick-up: a full card would change no tray."""
    folder = tmp_path / "dead"
    with study(folder, range(0), many=20) as workspace:
        last = folder / "card" / "IMG_0019.JPG"
        last.write_bytes(last.read_bytes()[:3000])
        workspace.forget_card(workspace.cards()[0].id, with_tags=True)
        workspace.scan(folder / "card", "P1")
        dead = CAMERAS.format(more="", cells="").replace("yes", "no")
        workspace.load(LogKind.CAMERAS, dead.encode(), "cameras.csv")
        view = workspace.view("P1")
        assert [one.why for one in workspace.watching.suspicions(view)] == [Why.CARD_FULL]
        assert workspace.watching.open(view) == []
        told = [one for one in workspace.check() if "the card was full, perhaps" in one.message]
        assert [one.serious for one in told] == [False]


def test_nobody_cannot_rule(blocked: Workspace) -> None:
    """A ruling needs a name; one that is not there cannot be taken back."""
    [one] = blocked.watching.suspicions(blocked.view("P1"))
    with pytest.raises(StudyError, match="Say who looked"):
        blocked.watching.rule(one, " ", accepted=True)
    with pytest.raises(StudyError, match="is not in the study"):
        blocked.watching.take_back(5, "Ann")
    assert blocked.watching.history() == []


def test_the_trays_page_asks_and_keeps_what_somebody_saw(
    blocked: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The account in words, the photos to look at, yes, and taken back."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(blocked.folder))
    at = opened("trays", own_tagger="Nomsa")
    said = words(at)
    assert "Placement P1: was it so that the lens was blocked?" in said
    assert "4 h 7 min not trusted" in said
    press(at, "rule-True-")
    assert "Yes: not watched, says Nomsa." in words(at)
    assert outcome(blocked).reason is Reason.GAP_AFTER_LAST
    press(at, "unrule-")
    assert outcome(blocked).reason is Reason.WATCH_IN_DOUBT


def test_the_trays_page_proposes_a_rhythm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Photos that look like time-lapse are told where the tray is walked down."""
    with study(tmp_path, range(0), steady=True) as workspace:
        monkeypatch.setenv(session.STUDY_VARIABLE, str(workspace.folder))
        assert "write 20 under timelapse_every_min in the camera log" in words(opened("trays"))
