"""Which files a card holds, how many are read at once, and real files with known times."""

import csv
import io
import itertools
import multiprocessing
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Self

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from core.cards import FoundFile, ReadFile, find_files, many, read_file, read_files
from core.errors import CardError
from core.model import TimeSource

SHARED = Path(os.environ.get("LASTBITE_SHARED", ""))
needs_shared = pytest.mark.skipif(
    "LASTBITE_SHARED" not in os.environ, reason="LASTBITE_SHARED names no folder with the corpora"
)
needs_links = pytest.mark.skipif(os.name == "nt", reason="links need a right on Windows")


def put(folder: Path, *files: str, content: bytes = b"x") -> Path:
    """Write files below a folder."""
    for file in files:
        path = folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def names(folder: Path) -> list[str]:
    """Give the files of a card in the order they are found."""
    return [found.file for found in find_files(folder)]


def problems(folder: Path) -> dict[str, str]:
    """Give the files of a card that have a problem."""
    return {found.file: found.problem for found in find_files(folder) if found.problem}


# --- which files there are -----------------------------------------------------------------------


def test_every_file_is_found(tmp_path: Path) -> None:
    """Nested, hidden and empty files are found, whatever their letters' case, sorted by path."""
    files = ["DCIM/100/IMG_1.JPG", "DCIM/101/IMG_1.JPG", "DCIM-2/a.jpg", "DCIM.txt", ".hid/.x"]
    files += ["img_2.jpg", "IMG_2.Jpeg", "ä.jpg", "._a.JPG", "a b.jpg"]
    put(tmp_path, *files)
    put(tmp_path, "empty", content=b"")
    (tmp_path / "no files").mkdir()
    assert names(tmp_path) == sorted([*files, "empty"])
    assert problems(tmp_path) == {}


def test_what_is_known_of_a_file(tmp_path: Path) -> None:
    """A file has its path, its size in bytes and its last change in nanoseconds."""
    put(tmp_path, "b/a.jpg", content=b"1234")
    path = tmp_path / "b" / "a.jpg"
    os.utime(path, ns=(5, 1_700_000_000_123_456_700))
    assert list(find_files(tmp_path)) == [FoundFile(path, "b/a.jpg", 4, 1_700_000_000_123_456_700)]


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    parts=st.lists(st.lists(st.sampled_from(["a", "a-", "a.b", "é", "B"]), min_size=1), max_size=9)
)
def test_the_order_is_that_of_whole_paths(
    tmp_path_factory: pytest.TempPathFactory, parts: list[list[str]]
) -> None:
    """However names and folders begin, the files come sorted by their whole path, each once."""
    folder = tmp_path_factory.mktemp("card")
    files = {"/".join([*some, "f"]) for some in parts}
    put(folder, *files)
    assert names(folder) == sorted(files)


def test_a_spelling_is_kept(tmp_path: Path) -> None:
    """A name of letter and accent apart stays so: the file is opened by it."""
    put(tmp_path, "a\u0308.jpg")
    assert [path.name for path in tmp_path.iterdir()] == names(tmp_path)


@needs_links
def test_links(tmp_path: Path) -> None:
    """No link is followed; each is one row that says where it leads."""
    card = put(tmp_path / "card", "DCIM/a.jpg")
    put(tmp_path / "elsewhere", "b.jpg")
    put(tmp_path / "card-2", "c.jpg")  # begins like the card's own name
    for name, target in {
        "out": tmp_path / "elsewhere" / "b.jpg",
        "beside": tmp_path / "card-2" / "c.jpg",
        "out folder": tmp_path / "elsewhere",
        "in": card / "DCIM" / "a.jpg",
        "in folder": card / "DCIM",
        "DCIM/up": card,
        "round": card / "round",
        "nowhere": card / "gone",
    }.items():
        (card / name).symlink_to(target)
    leads_out = "a link that leads out of the card; copy the file itself onto the card"
    nowhere = "a link that leads nowhere: copy the file itself onto the card"
    assert problems(card) == {
        "DCIM/up": "a link to another folder of the card",
        "beside": leads_out,
        "in": "a link to another file of the card",
        "in folder": "a link to another folder of the card",
        "nowhere": nowhere,
        "out": leads_out,
        "out folder": leads_out,
        "round": nowhere,
    }
    assert len(names(card)) == 9
    linked = next(read for read in read_files(find_files(card)) if read.found.file == "in")
    assert (linked.header.is_photo, linked.header.camera_time, linked.fingerprint) == (
        False,
        None,
        "",
    )
    (tmp_path / "link to card").symlink_to(card)
    assert names(tmp_path / "link to card") == names(card)


@needs_links
def test_a_pipe_is_not_opened(tmp_path: Path) -> None:
    """A pipe would be waited for without end; it is a row with a problem."""
    os.mkfifo(tmp_path / "a.jpg")
    (read,) = read_files(find_files(tmp_path))
    assert "no file" in read.header.problem


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere every name is text")
def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    """A name whose bytes are no text is shown escaped, and can be stored."""
    (tmp_path / os.fsdecode(b"a\xff")).mkdir()
    put(tmp_path, os.fsdecode(b"a\xff/b.jpg"))
    (found,) = find_files(tmp_path)
    assert found.file == "a\\xff/b.jpg"
    assert found.problem.startswith("its name")


def test_no_card(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that is not there, is a file, or cannot be listed is refused at once, by name."""
    put(tmp_path, "a.jpg")
    with pytest.raises(CardError, match=r"gone.* is not there\. Put the card in"):
        find_files(tmp_path / "gone")
    with pytest.raises(CardError, match=r"a\.jpg.* is a file\. Give the folder"):
        find_files(tmp_path / "a.jpg")
    monkeypatch.setattr(os, "scandir", refused)
    with pytest.raises(CardError, match=r"cannot be listed \(Permission denied\)\. Allow"):
        find_files(tmp_path)


def refused(*_: object, **__: object) -> None:
    """Stand in for what a user without permission meets."""
    raise PermissionError(13, "Permission denied")


def test_a_folder_that_cannot_be_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder without permission is one row with a problem; the others are found."""
    put(tmp_path, "a/1.jpg", "b/2.jpg", "c/3.jpg")
    listing, closed = os.scandir, str(tmp_path / "b")
    monkeypatch.setattr(os, "scandir", lambda path: refused() if path == closed else listing(path))
    assert names(tmp_path) == ["a/1.jpg", "b", "c/3.jpg"]
    assert problems(tmp_path) == {
        "b": "this folder cannot be listed (Permission denied): allow reading it"
    }


def test_a_file_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file without permission, or gone since it was found, is a row with a problem."""
    put(tmp_path, "a.jpg", "b.txt")
    photo, note = find_files(tmp_path)
    photo.path.unlink()
    gone = read_file(photo)
    assert gone.header.problem.startswith("cannot be read (No such file")
    assert (gone.header.is_photo, gone.fingerprint) == (True, "")
    monkeypatch.setattr(Path, "open", refused)
    closed = read_file(note)
    assert closed.header.problem.startswith("cannot be read (Permission denied)")
    assert (closed.header.is_photo, closed.fingerprint) == (False, "")


def test_a_file_that_goes_while_it_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file whose facts cannot be had is a row with a problem, and so is the folder's like."""
    put(tmp_path, "a.jpg")

    class Gone:
        name, path = "a.jpg", str(tmp_path / "a.jpg")
        is_dir = stat = staticmethod(refused)

    class Listing(list[Gone]):
        def __enter__(self) -> Self:
            return self

        def __exit__(self, *_: object) -> None:
            pass

    monkeypatch.setattr(os, "scandir", lambda _: Listing([Gone()]))
    assert problems(tmp_path) == {"a.jpg": "cannot be reached (Permission denied): copy it anew"}


@pytest.mark.skipif(os.name == "nt", reason="paths end earlier on Windows")
def test_a_very_deep_card(tmp_path: Path) -> None:
    """Folders in folders, deeper than functions may call each other, are walked."""
    here = Path.cwd()
    try:
        os.chdir(tmp_path)
        for _ in range(400):
            Path("d").mkdir()
            os.chdir("d")
        Path("a.jpg").write_bytes(b"x")
    finally:
        os.chdir(here)
    limit = sys.getrecursionlimit()
    try:
        sys.setrecursionlimit(250)
        found = list(find_files(tmp_path))
    finally:
        sys.setrecursionlimit(limit)
    assert [one.file.strip("d/") for one in found] == ["a.jpg"]


# --- many files ----------------------------------------------------------------------------------


def photos(folder: Path, number: int) -> list[FoundFile]:
    """Write small photos without a header, and notes between them."""
    drawn = io.BytesIO()
    Image.new("RGB", (8, 8)).save(drawn, "JPEG")
    for index in range(number):
        put(folder, f"{index:04}.jpg", content=drawn.getvalue() + bytes(index % 7))
    return list(find_files(folder))


@pytest.fixture
def in_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have even a few files read by other processes."""
    monkeypatch.setattr(many, "FEW_FILES", 2)
    monkeypatch.setattr(many, "CHUNK", 3)


@pytest.mark.usefixtures("in_processes")
@pytest.mark.parametrize("number", [0, 1, 2, 3, 50])
def test_processes_read_the_same(tmp_path: Path, number: int) -> None:
    """Read in two processes or in this one, the rows are the same and in the order given."""
    found = photos(tmp_path, number)[::-1]
    assert list(read_files(found, workers=2)) == [read_file(one) for one in found]
    assert multiprocessing.active_children() == []


@pytest.mark.usefixtures("in_processes")
@pytest.mark.parametrize("taken", [1, 40])
def test_closing_early(tmp_path: Path, taken: int) -> None:
    """Only a few chunks are ahead of what was taken, and closing leaves no process behind."""
    asked = 0

    def endless() -> Iterator[FoundFile]:
        nonlocal asked
        for one in itertools.cycle(photos(tmp_path, 5)):
            asked += 1
            yield one

    reading = read_files(endless(), workers=2)
    got = list(itertools.islice(reading, taken))
    assert len(got) == taken
    assert asked <= taken + 2 + 3 * 2 * (many.CHUNKS_PER_WORKER + 1)
    assert len(multiprocessing.active_children()) == 2
    reading.close()
    assert multiprocessing.active_children() == []


@pytest.mark.usefixtures("in_processes")
def test_a_fault_of_the_caller(tmp_path: Path) -> None:
    """What goes wrong while files are looked for is raised, and no process is left behind."""

    def torn() -> Iterator[FoundFile]:
        yield from photos(tmp_path, 30)
        raise CardError("the card was pulled out")

    with pytest.raises(CardError, match="pulled out"):
        list(read_files(torn(), workers=2))
    assert multiprocessing.active_children() == []


@pytest.mark.usefixtures("in_processes")
def test_a_worker_that_is_killed(tmp_path: Path) -> None:
    """Where the system kills a worker, the rest is read without it and nothing is lost."""
    found = photos(tmp_path, 200)
    reading = read_files(found, workers=2)
    read = [next(reading)]
    for child in multiprocessing.active_children():
        child.kill()
    read += reading
    assert read == [read_file(one) for one in found]


def test_few_files_start_no_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Few files, or one worker, are read in this process."""
    monkeypatch.setattr("core.workers.ProcessPoolExecutor", None)
    found = photos(tmp_path, 3)
    assert len(list(read_files(found, workers=8))) == 3
    monkeypatch.setattr(many, "FEW_FILES", 2)
    assert len(list(read_files(found, workers=1))) == 3
    with pytest.raises(TypeError):
        list(read_files(found, workers=2))


SCRIPT = """
import itertools, sys
from pathlib import Path
from typing import Self
from core.cards import find_files, many, read_files
many.FEW_FILES = 2
print("begun", flush=True)
for at, read in enumerate(read_files(itertools.cycle(find_files(Path(sys.argv[1]))), workers=2)):
    if at == 200:
        print("reading", flush=True)
        if sys.argv[2] == "stop":
            break
"""


def script(folder: Path, what: str) -> "subprocess.Popen[str]":
    """Start a script that reads without end, in a group of its own, and wait until it reads."""
    photos(folder / "card", 5)
    path = folder / "main.py"
    path.write_text(SCRIPT, encoding="utf-8")
    started = subprocess.Popen(
        [sys.executable, str(path), str(folder / "card"), what],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=os.environ | {"PYTHONPATH": str(Path(many.__file__).parents[2])},
    )
    assert started.stdout is not None
    assert [started.stdout.readline(), started.stdout.readline()] == ["begun\n", "reading\n"]
    return started


@needs_links
def test_the_main_script_is_not_run_again(tmp_path: Path) -> None:
    """A worker does not run the caller's script, which may be a whole app without a guard."""
    started = script(tmp_path, "stop")
    assert started.communicate(timeout=20) == ("", "")
    assert started.returncode == 0


@needs_links
@pytest.mark.parametrize("kind", [signal.SIGINT, signal.SIGKILL])
def test_stopping_a_scan(tmp_path: Path, kind: signal.Signals) -> None:
    """Ctrl-C on the terminal, or the end of the parent, ends every worker, and none complains."""
    started = script(tmp_path, "go on")
    if kind is signal.SIGINT:
        os.killpg(started.pid, kind)
    else:
        started.send_signal(kind)
    # The pipe ends when the last process that could write to it has ended.
    _, said = started.communicate(timeout=20)
    assert said.count("Traceback") == (kind is signal.SIGINT)  # the script's own


# --- real files ----------------------------------------------------------------------------------


def read_all(folder: Path) -> dict[str, ReadFile]:
    """Read every file of a folder."""
    return {read.found.file: read for read in read_files(find_files(folder))}


def usable(text: str) -> datetime | None:
    """Read a time of the truth table, which exiftool wrote."""
    try:
        return datetime.fromisoformat(text.replace(":", "-", 2))
    except ValueError:
        return None


@needs_shared
def test_real_files_with_known_times() -> None:
    """55 files have the time, digits, offset and cut end that exiftool and Pillow saw in them."""
    folder = SHARED / "corpora" / "exif"
    with (folder / "truth.csv").open(encoding="utf-8", newline="") as table:
        truth = {row["file"]: row for row in csv.DictReader(table)}
    read = read_all(folder)
    assert len(truth) == 55
    for file, row in truth.items():
        header = read[file].header
        chain = [
            (usable(row["DateTimeOriginal"]), TimeSource.ORIGINAL, row["SubSecTimeOriginal"]),
            (usable(row["CreateDate"]), TimeSource.DIGITIZED, row["SubSecTimeDigitized"]),
            (usable(row["ModifyDate"]), TimeSource.CHANGED, row["SubSecTime"]),
            (None, TimeSource.NONE, ""),
        ]
        shown = next(one for one in chain if one[0] or one[1] is TimeSource.NONE)
        assert (header.camera_time, header.time_source, header.subsec) == shown, file
        assert header.offset == row["OffsetTimeOriginal"], file
        assert header.is_photo == row["MIMEType"].startswith("image/"), file
        assert header.make == row["Make"].strip(), file
        assert header.model == row["Model"].strip(), file
        assert ("cut short" in header.problem) == (row["pillow_status"] == "open-ok/load:OSError")
        assert ("HEIC" in header.problem) == (row["MIMEType"] in {"image/heic", "image/heif"})
        zero = file.startswith(("date-zero", "date-blank"))
        assert ("holds no time" in header.problem) == zero, file
    sources = [read[file].header.time_source for file in truth]
    assert sources.count(TimeSource.CHANGED) == 1
    assert sources.count(TimeSource.ORIGINAL) == sum(
        bool(row["usable_DateTimeOriginal"]) for row in truth.values()
    )


@needs_shared
def test_ten_real_night_frames() -> None:
    """Ten frames of one burst have the published times to the second, at offset +01:00."""
    published = SHARED / "standards" / "camtrap-dp-1.0.2" / "example" / "media.csv"
    with published.open(encoding="utf-8", newline="") as table:
        rows = list(csv.DictReader(table))
    read = read_all(SHARED / "corpora" / "night_burst")
    frames = {file: one.header for file, one in read.items() if file.endswith(".JPG")}
    assert len(frames) == 10
    for file, header in frames.items():
        assert header.camera_time is not None
        ours = f"{header.camera_time.isoformat()}+01:00"
        assert ours in [row["timestamp"] for row in rows if row["fileName"].endswith(file)]
        assert (header.subsec, header.offset, header.problem) == ("", "", "")
        assert header.make == "RECONYX"
    first = frames["RCNX0031.JPG"].camera_time
    assert first == datetime.fromisoformat("2021-04-11T20:43:09")  # Camtrap DP 1.0.2 example


@needs_shared
def test_originals_stay_as_they_are() -> None:
    """Reading changes no byte and no date of a file."""

    def state() -> dict[Path, tuple[bytes, int]]:
        files = [path for path in (SHARED / "corpora").rglob("*") if path.is_file()]
        return {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in files}

    before = state()
    read_all(SHARED / "corpora")
    assert state() == before
