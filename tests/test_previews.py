"""Copies of photos: where they are, which are missing, made many at once, deleted at any time."""

import hashlib
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from pathlib import Path

import pytest
from builders import write_burst
from PIL import Image
from test_cli import DAY

from core import pictures, previews, workers
from core.errors import CardError, StudyError
from core.pictures import REVIEW_PX, STRIP_PX
from core.previews import Made, Original
from core.workspace import Workspace

PHOTOS = 12


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    write_burst(folder, DAY, PHOTOS)
    return folder


@pytest.fixture
def study(tmp_path: Path, card: Path) -> Iterator[Workspace]:
    """A study with one card of twelve photos, none looked at yet."""
    with Workspace.create(tmp_path / "study", "Africa/Johannesburg") as workspace:
        workspace.scan(card, "P1")
        yield workspace


def make_all(study: Workspace, placement: str = "P1") -> list[Made]:
    return list(study.previews.make(study.previews.stock(placement).missing, workers=2))


def files(study: Workspace) -> dict[str, int]:
    """Every file below the study's previews, with the time of its last change."""
    found = study.previews.folder.rglob("*")
    return {path.name: path.stat().st_mtime_ns for path in found if path.is_file()}


def damage(path: Path) -> None:
    """Cut a photo's end off; its time of change stays new."""
    path.write_bytes(path.read_bytes()[:-60])


def problems(study: Workspace) -> dict[str, str]:
    return {photo.file: photo.problem for photo in study.view("P1").photos}


def one(study: Workspace, file: str = "IMG_0001.JPG") -> Original:
    return study.previews.original({p.file: p.id for p in study.view("P1").photos}[file])


# --- what is missing -----------------------------------------------------------------------------


def test_every_photo_that_counts_gets_both_copies(study: Workspace, card: Path) -> None:
    """Copies of other files and files that are no photos get none; they are never looked at."""
    shutil.copy(card / "IMG_0001.JPG", card / "again.JPG")
    (card / "notes.txt").write_text("dry sand", encoding="utf-8")
    study.scan(card, "P1")
    before = study.previews.stock("P1")
    assert [original.file for original in before.missing] == sorted(
        path.name for path in card.glob("IMG*")
    )
    assert (before.total, before.made, before.damaged, before.away) == (PHOTOS, 0, 0, 0)
    make_all(study)
    after = study.previews.stock("P1")
    assert (after.total, after.made, after.missing) == (PHOTOS, PHOTOS, ())
    assert len(files(study)) == 2 * PHOTOS
    sizes = {Image.open(path).size for path in study.previews.folder.rglob("*.jpg")}
    assert sizes == {(64, 48)}  # as small as the originals


def test_they_are_told_in_the_order_given(study: Workspace) -> None:
    """What is asked for first is made first, whichever worker is quicker."""
    missing = study.previews.stock("P1").missing[::-1]
    made = list(study.previews.make(missing, workers=2))
    assert [told.original for told in made] == list(missing)
    assert sum(told.size for told in made) == study.previews.size()
    assert multiprocessing.active_children() == []


def test_what_was_made_is_not_made_again(study: Workspace) -> None:
    """Stopped after some photos, the making goes on with the others alone."""
    making = study.previews.make(study.previews.stock("P1").missing, workers=1)
    told = list(islice(making, 3))
    making.close()
    assert multiprocessing.active_children() == []
    before = files(study)
    left = study.previews.stock("P1").missing
    assert {one.original.id for one in told}.isdisjoint(original.id for original in left)
    assert PHOTOS - 3 - 2 <= len(left) <= PHOTOS - 3  # at most two more were in work
    make_all(study)
    after = files(study)
    known = {one.original.id for one in told}
    assert all(after[name] == changed for name, changed in before.items() if int(name[0]) in known)
    assert study.previews.stock("P1").made == PHOTOS


def test_only_a_few_are_taken_ahead(study: Workspace) -> None:
    """What comes first may change while others are made, so little is handed out in advance."""
    asked: list[int] = []

    def handed_out() -> Iterator[Original]:
        for original in study.previews.stock("P1").missing:
            asked.append(original.id)
            yield original

    making = study.previews.make(handed_out(), workers=1)
    next(making)
    assert len(asked) <= 3
    making.close()


def test_a_changed_original_gets_another_copy(study: Workspace, card: Path) -> None:
    """Another size or time of change is another name, so an old copy is never shown for it."""
    make_all(study)
    first = study.previews.kept(one(study), REVIEW_PX)
    assert first is not None
    Image.new("RGB", (64, 48), "red").save(card / "IMG_0001.JPG")
    assert study.previews.kept(one(study), REVIEW_PX) is None
    study.scan(card, "P1")
    assert [original.file for original in study.previews.stock("P1").missing] == ["IMG_0001.JPG"]
    make_all(study)
    second = study.previews.kept(one(study), REVIEW_PX)
    assert second is not None
    assert Image.open(second).convert("RGB").getpixel((9, 9)) != Image.open(first).getpixel((9, 9))
    assert previews.newest(study.previews.folder, [one(study).id], REVIEW_PX) == {
        one(study).id: second
    }


def test_the_name_holds_what_tells_originals_apart() -> None:
    """Number, size and time, the last two in hexadecimal digits; a thousand photos to a folder."""
    path = previews.copy_path(Path("p"), 12_345, 255, 16, STRIP_PX)
    assert path == Path("p/00012/12345-ff-10-320.jpg")


def test_an_empty_copy_is_none(study: Workspace) -> None:
    """A computer that lost its power may leave empty files behind."""
    make_all(study)
    path = study.previews.kept(one(study), STRIP_PX)
    assert path is not None
    path.write_bytes(b"")
    assert study.previews.kept(one(study), STRIP_PX) is None
    assert study.previews.last(one(study).id, STRIP_PX) is None
    assert [original.id for original in study.previews.stock("P1").missing] == [one(study).id]
    make_all(study)
    assert path.stat().st_size > 0


def test_what_was_left_half_written_is_swept_out(study: Workspace) -> None:
    """The part of a killed process goes after an hour; one that is being written stays."""
    make_all(study)
    folder = study.previews.folder / "00000"
    old, new = folder / "1-a-b-320.jpg.0123.part", folder / "1-a-b-320.jpg.4567.part"
    for part in (old, new):
        part.write_bytes(b"half")
    os.utime(old, (time.time() - 3700, time.time() - 3700))
    assert study.previews.stock("P1").made == PHOTOS
    assert (old.exists(), new.exists()) == (False, True)


def test_a_placement_without_photos_is_said(study: Workspace) -> None:
    """The words name those that have some."""
    assert study.previews.placements() == ["P1"]
    with pytest.raises(CardError, match=r"'P2' has no photos\. .* or name one of: P1\."):
        study.previews.placements("P2")


# --- what the study is told ----------------------------------------------------------------------


def test_the_hash_of_each_photo_is_kept_and_changes_no_result(study: Workspace, card: Path) -> None:
    """Hashes come from the same reading; views and outcomes made before stay as they were."""
    before = (study.version(), study.view("P1"))
    made = {one.original.file: one.content_hash for one in make_all(study)}
    assert made == {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in card.iterdir()
    }
    assert all(original.hashed for original in map(one, [study] * 2, made))
    assert study.version() == before[0]
    assert study.view("P1") is before[1]


def test_copies_without_a_hash_are_made_again(study: Workspace, card: Path) -> None:
    """A program that ended between the copy and the note of it finds the photo missing."""
    originals = study.previews.stock("P1").missing
    targets = [
        previews.copy_path(
            study.previews.folder, originals[0].id, originals[0].size, originals[0].changed_ns, px
        )
        for px in (REVIEW_PX, STRIP_PX)
    ]
    pictures.write_copies(card / "IMG_0001.JPG", *targets)
    assert len(study.previews.stock("P1").missing) == PHOTOS
    make_all(study)
    assert study.previews.stock("P1").made == PHOTOS


def test_a_damaged_original_is_noted_beside_what_was_known(study: Workspace, card: Path) -> None:
    """What the header said stays; the fault follows it; it is not tried again and again."""
    damage(card / "IMG_0002.JPG")
    study.scan(card, "P1")
    known = problems(study)["IMG_0002.JPG"]
    assert "cut short" in known
    before = study.version()
    [told] = [made for made in make_all(study) if made.fault]
    assert told.original.file == "IMG_0002.JPG"
    assert problems(study)["IMG_0002.JPG"] == f"{known}; {told.fault}"
    assert set(problems(study).values()) == {"", f"{known}; {told.fault}"}
    assert study.version() == before + 1
    stock = study.previews.stock("P1")
    assert (stock.made, stock.damaged, stock.missing) == (PHOTOS - 1, 1, ())
    assert [f for f in files(study) if f.startswith(f"{told.original.id}-")] == []


def test_a_fault_that_is_known_changes_nothing(study: Workspace, card: Path) -> None:
    """Looked at again, a damaged photo is told again, and the study stays as it is."""
    damage(card / "IMG_0002.JPG")
    study.scan(card, "P1")
    make_all(study)
    before, known = study.version(), problems(study)
    for _ in range(2):
        with pytest.raises(CardError, match=r"IMG_0002\.JPG cannot be shown: it is damaged"):
            study.previews.copy(one(study, "IMG_0002.JPG"), STRIP_PX)
    assert (study.version(), problems(study)) == (before, known)


def test_a_photo_that_was_mended_loses_its_fault(study: Workspace, card: Path) -> None:
    """Copied from the card again with its old date and size, it is shown and no longer at fault."""
    path = card / "IMG_0002.JPG"
    whole, when = path.read_bytes(), path.stat().st_mtime_ns
    path.write_bytes(whole[:200] + bytes(len(whole) - 200))
    os.utime(path, ns=(when, when))
    make_all(study)
    assert "cannot be shown" in problems(study)["IMG_0002.JPG"]
    path.write_bytes(whole)
    os.utime(path, ns=(when, when))
    assert isinstance(study.previews.copy(one(study, "IMG_0002.JPG"), STRIP_PX), Path)
    assert problems(study)["IMG_0002.JPG"] == ""
    assert study.previews.stock("P1").made == PHOTOS


def test_many_faults_are_noted_together(study: Workspace, card: Path) -> None:
    """Each note changes what `photos` lists and makes results anew, so there are few."""
    for path in card.iterdir():
        damage(path)
    study.scan(card, "P1")
    before = study.version()
    assert len([made for made in make_all(study) if made.fault]) == PHOTOS
    assert study.version() == before + 1
    assert study.previews.stock("P1").damaged == PHOTOS


# --- what goes wrong -----------------------------------------------------------------------------


def test_a_card_pulled_out_in_mid_work(study: Workspace, card: Path) -> None:
    """The photos that are away are told so and noted nowhere; with the card back, they are made."""
    making = study.previews.make(study.previews.stock("P1").missing, workers=1)
    next(making)
    card.rename(card.with_name("pulled"))
    rest = list(making)
    away = [told for told in rest if told.away]
    assert len(away) >= PHOTOS - 1 - 3
    assert not any(told.fault or told.content_hash for told in away)
    stock = study.previews.stock("P1")
    assert (stock.away, stock.missing, stock.damaged) == (len(away), (), 0)
    assert set(problems(study).values()) == {""}
    card.with_name("pulled").rename(card)
    make_all(study)
    assert study.previews.stock("P1").made == PHOTOS


def test_a_card_pulled_out_while_one_photo_is_asked_for(study: Workspace, card: Path) -> None:
    """Gone between being found and being read: words, as for any photo that is away."""
    original = one(study)
    card.rename(card.with_name("pulled"))
    with pytest.raises(CardError, match=r"IMG_0001\.JPG is not at hand\. Put the card in"):
        study.previews.copy(original, REVIEW_PX)
    with pytest.raises(CardError, match="is not at hand"):
        study.previews.original(original.id)


def test_what_vanishes_while_it_is_counted_counts_nothing(
    study: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A part is listed and gets its real name, a copy is listed and deleted: no fault."""
    make_all(study)
    listed = previews._listed

    def late(folder: Path) -> "list[os.DirEntry[str]]":
        found = listed(folder)
        for entry in found:
            if entry.is_file() and entry.name.startswith(("1-", "2-")):
                Path(entry.path).unlink()
        return found

    (study.previews.folder / "00000" / "2-a.jpg.part").write_bytes(b"half")
    monkeypatch.setattr(previews, "_listed", late)
    left = {original.id for original in study.previews.stock("P1").missing}
    assert left == {1, 2}
    make_all(study)
    assert study.previews.size() > 0
    make_all(study)
    assert previews.newest(study.previews.folder, [1, 3], STRIP_PX).keys() == {3}


def test_copies_that_cannot_be_written_are_said(study: Workspace) -> None:
    """Where no folder can be made (or the disk is full), the words say so; no process is left."""
    study.previews.folder.write_text("in the way", encoding="utf-8")
    with pytest.raises(StudyError, match="Copies of photos cannot be kept in"):
        make_all(study)
    assert multiprocessing.active_children() == []
    # They are shown all the same, as long as somebody looks.
    assert isinstance(study.previews.copy(one(study), STRIP_PX), bytes)


def test_a_worker_that_is_killed(study: Workspace) -> None:
    """Where the system kills a worker, what it had is made without it, and nothing is lost."""
    making = study.previews.make(study.previews.stock("P1").missing, workers=2)
    told = [next(making)]
    for child in multiprocessing.active_children():
        child.kill()
    told += making
    assert [one.original.id for one in told] == sorted(one.original.id for one in told)
    assert len(told) == PHOTOS
    assert not any(one.away or one.fault for one in told)
    assert study.previews.stock("P1").made == PHOTOS
    assert multiprocessing.active_children() == []


@pytest.mark.skipif(os.name == "nt", reason="Windows has classes of priority in place of numbers")
def test_workers_in_the_background_let_everything_else_go_first() -> None:
    """Copies are made as nicely as a process can be; a scan that people wait for is not."""
    own = os.nice(0)
    for background, nice in ((True, 19), (False, own)):
        with workers.pool(1, background=background) as pool:
            assert pool.submit(os.nice, 0).result() == nice


def test_many_look_at_one_photo_at_once(study: Workspace) -> None:
    """Eight that ask together for a copy that is not there all get it whole; no part is left."""
    original = one(study)
    with ThreadPoolExecutor(8) as threads:
        found = list(threads.map(lambda _: study.previews.copy(original, STRIP_PX), range(8)))
    assert {Path(str(path)).name for path in found} & files(study).keys()
    assert len(set(found)) == 1
    assert sorted(path.suffix for path in study.previews.folder.rglob("*.*")) == [".jpg", ".jpg"]
    assert one(study).hashed


@pytest.mark.parametrize("photo", [0, -1, 999, 1 << 62, 1 << 63, -(1 << 80)])
def test_a_photo_that_the_study_does_not_have(study: Workspace, photo: int) -> None:
    """A number that is nobody's has no original, no copy and no placement."""
    with pytest.raises(CardError, match=f"no photo number {photo}"):
        study.previews.original(photo)
    assert study.previews.last(photo, REVIEW_PX) is None
    assert study.previews.placement_of(photo) == ""


def test_a_file_that_is_no_photo_has_no_copy(study: Workspace, card: Path) -> None:
    """It is not even opened: a film of gigabytes may bear any name."""
    (card / "notes.txt").write_text("dry sand", encoding="utf-8")
    study.scan(card, "P1")
    notes = one(study, "notes.txt")
    with pytest.raises(CardError, match=r"notes\.txt is no photo: not a picture\."):
        study.previews.copy(notes, REVIEW_PX)
    assert problems(study)["notes.txt"] == "not a picture"


# --- deleting ------------------------------------------------------------------------------------


def test_all_can_be_deleted_at_any_time(study: Workspace) -> None:
    """Nothing of the folder is left, and everything is made again; deleting nothing is no fault."""
    study.previews.clear()
    make_all(study)
    assert study.previews.size() == sum(
        path.stat().st_size for path in study.previews.folder.rglob("*.jpg")
    )
    study.previews.clear()
    assert (files(study), study.previews.size()) == ({}, 0)
    assert len(study.previews.stock("P1").missing) == PHOTOS
    shutil.rmtree(study.previews.folder)
    make_all(study)
    assert study.previews.stock("P1").made == PHOTOS


def test_a_forgotten_card_leaves_no_copies(study: Workspace, card: Path) -> None:
    """Whoever takes a card out of the study takes its pictures out; others stay."""
    write_burst(card.with_name("other"), DAY, 2, first=50)
    study.scan(card.with_name("other"), "P2")
    make_all(study)
    make_all(study, "P2")
    gone = one(study)
    study.forget_card(study.card_in(card).id)
    assert len(files(study)) == 4
    assert study.previews.last(gone.id, REVIEW_PX) is None
    assert study.previews.stock("P2").made == 2


def test_a_copy_of_a_forgotten_photo_is_not_shown(study: Workspace, card: Path) -> None:
    """Should its file still be there (somebody had it open), its number no longer leads to it."""
    make_all(study)
    gone = one(study)
    path = study.previews.kept(gone, REVIEW_PX)
    assert path is not None
    content = path.read_bytes()
    study.forget_card(study.card_in(card).id)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content)
    assert study.previews.last(gone.id, REVIEW_PX) is None


# --- the command ---------------------------------------------------------------------------------


def command(study: Path, *more: str) -> "subprocess.Popen[str]":
    """Start `lastbite previews` in a group of its own, as a terminal does."""
    return subprocess.Popen(
        [sys.executable, "-m", "app.cli", "previews", str(study), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(previews.__file__).parent.parent,
        start_new_session=True,
    )


def test_the_command_says_what_it_made(study: Workspace, card: Path) -> None:
    """Photos made, damaged ones, those away, and the room they take; run again, it makes none."""
    damage(card / "IMG_0002.JPG")
    study.scan(card, "P1")
    out, err = command(study.folder).communicate(timeout=60)
    assert err == ""
    one_damaged = "1 are damaged and listed with the files at fault"
    assert out.splitlines()[:2] == [
        f"Made the previews of {PHOTOS} photos.",
        f"{PHOTOS - 1} of {PHOTOS} photos have their previews; {one_damaged}.",
    ]
    assert out.splitlines()[2].startswith("All previews take 0.0 MB in ")
    out, _ = command(study.folder, "--placement", "P1").communicate(timeout=60)
    assert out.startswith("Made the previews of 0 photos.")
    refused = command(study.folder, "--placement", "P9")
    assert "'P9' has no photos" in refused.communicate(timeout=60)[1]
    assert refused.returncode == 1


SLOW = 40


@pytest.fixture(scope="module")
def slow_card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Photos of 12 million pixels, which take their time; each is another file."""
    folder = tmp_path_factory.mktemp("slow")
    noise = folder / "IMG_0000.JPG"
    Image.effect_noise((4000, 3000), 40).convert("RGB").save(noise)
    for number in range(1, SLOW):
        (folder / f"IMG_{number:04}.JPG").write_bytes(noise.read_bytes() + bytes(number))
    return folder


@pytest.fixture
def slow(tmp_path: Path, slow_card: Path) -> Iterator[Workspace]:
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(slow_card, "P1")
        yield workspace


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT to send to one group")
@pytest.mark.parametrize("kind", ["SIGINT", "SIGTERM", "SIGKILL"])
def test_the_command_is_stopped(slow: Workspace, kind: str) -> None:
    """Ctrl-C says how to go on; however it ends no worker is left, and no copy is half there."""
    process = command(slow.folder)
    enough = 2 * 12  # more photos than are in work at one time, so some are told and noted
    while len(list(slow.previews.folder.rglob("*.jpg"))) < enough:
        assert process.poll() is None, process.communicate()
        time.sleep(0.02)
    if kind == "SIGINT":
        os.killpg(process.pid, signal.SIGINT)
    else:
        process.send_signal(getattr(signal, kind))
    # The pipes end when the last process that could write to them has ended.
    out, err = process.communicate(timeout=30)
    if kind == "SIGINT":
        assert err.strip() == "lastbite: stopped; run the same command to go on."
    assert (out, process.returncode != 0, "Traceback" in err) == ("", True, False)
    for path in slow.previews.folder.rglob("*.jpg"):
        Image.open(path).load()
    stock = slow.previews.stock("P1")
    assert 0 < len(stock.missing) < SLOW or kind != "SIGINT"
    assert stock.damaged == 0
