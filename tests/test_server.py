"""The server of the pages: who is answered, what a picture's address gives, and how it ends."""

import http.client
import io
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from builders import write_burst
from PIL import Image, ImageChops
from starlette.responses import FileResponse
from test_cards_thumbnails import exif_block, photo, small_picture
from test_cli import DAY

from app import server, viewer
from core.errors import StudyError
from core.workspace import Workspace


class Answer(NamedTuple):
    status: int
    headers: dict[str, str]
    body: bytes


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    folder = tmp_path_factory.mktemp("served")
    write_burst(folder / "card", DAY, 3)
    (folder / "card" / "IMG_0003.JPG").write_bytes(
        (folder / "card" / "IMG_0003.JPG").read_bytes()[:400]
    )
    (folder / "card" / "notes.txt").write_text("<script>", encoding="utf-8")
    with Workspace.create(folder / "study", "Africa/Johannesburg") as workspace:
        workspace.scan(folder / "card", "P1")
        yield workspace


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((server.ADDRESS, 0))
        port: int = probe.getsockname()[1]
        return port


def started(folder: Path, port: int) -> "subprocess.Popen[str]":
    command = [sys.executable, "-m", "app.cli", "page", str(folder), "--no-browser"]
    process = subprocess.Popen(
        [*command, "--port", str(port)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(server.__file__).parent.parent,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    for _ in range(240):
        try:
            if ask(port, "/_stcore/health").status == 200:
                return process
        except OSError:
            time.sleep(0.25)
    process.kill()
    raise AssertionError(f"The server did not start: {process.communicate()}")


def ask(port: int, path: str, **headers: str) -> Answer:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    request = urllib.request.Request(f"http://{server.ADDRESS}:{port}{path}", headers=named)
    try:
        with urllib.request.urlopen(request, timeout=20) as found:
            return Answer(found.status, dict(found.headers), found.read())
    except urllib.error.HTTPError as refused:
        return Answer(refused.code, dict(refused.headers), refused.read())


@pytest.fixture(scope="module")
def port(study: Workspace) -> Iterator[int]:
    chosen = free_port()
    process = started(study.folder, chosen)
    yield chosen
    process.terminate()
    process.communicate(timeout=20)


def ids(study: Workspace) -> dict[str, int]:
    return {photo.file: photo.id for photo in study.view("P1").photos}


def named(study: Workspace, size: str, file: str) -> str:
    """Give the address by which pages ask for a photo."""
    photo, study_name = ids(study)[file], viewer.study_name(study.ticket_secret())
    edition = study.previews.editions([photo])[photo]
    return f"/photo/{size}/{photo}?of={study_name}&edition={edition}"


@pytest.mark.parametrize("size", ["review", "strip", "original"])
def test_a_picture_is_served_to_the_page_alone(study: Workspace, port: int, size: str) -> None:
    """A JPEG that no other site may read, that is not guessed to be anything else, and kept."""
    answer = ask(port, named(study, size, "IMG_0001.JPG"))
    assert answer.status == 200
    assert answer.body[:2] == b"\xff\xd8"
    headers = {name.lower(): value for name, value in answer.headers.items()}
    assert headers["content-type"] == "image/jpeg"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"].startswith("private")
    assert "access-control-allow-origin" not in headers


def test_a_photo_of_another_study_is_not_shown_in_its_place(study: Workspace, port: int) -> None:
    """Pages name their study in the address, by which a browser keeps pictures."""
    path = f"/photo/review/{ids(study)['IMG_0001.JPG']}"
    mine = viewer.study_name(study.ticket_secret())
    assert ask(port, f"{path}?of={mine}").status == 200
    other = ask(port, f"{path}?of=0123456789abcdef")
    assert (other.status, other.body) == (404, b"That photo is of another study.")


@pytest.mark.parametrize("left_out", ["of", "edition", "of edition"])
def test_a_picture_is_kept_only_under_its_whole_name(
    study: Workspace, port: int, left_out: str
) -> None:
    """Without the study or the edition the same address may mean another picture tomorrow."""
    path, _, query = named(study, "review", "IMG_0001.JPG").partition("?")
    words = [one for one in query.split("&") if one.partition("=")[0] not in left_out.split()]
    answer = ask(port, f"{path}?{'&'.join(words)}")
    assert (answer.status, answer.headers["cache-control"]) == (200, "no-store")


def test_a_photo_s_edition_changes_with_its_file(tmp_path: Path) -> None:
    """Scanned again after its file was replaced, it has the same number and another edition."""
    [path] = write_burst(tmp_path / "card", DAY, 1)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos
        first = workspace.previews.editions([photo.id])
        workspace.scan(tmp_path / "card", "P1")
        assert workspace.previews.editions([photo.id]) == first
        os.utime(path, (1, 1))
        workspace.scan(tmp_path / "card", "P1")
        assert workspace.previews.editions([photo.id]).keys() == first.keys()
        assert workspace.previews.editions([photo.id]) != first


@pytest.mark.parametrize("size", ["review", "original"])
def test_an_original_that_was_damaged_since_says_so(tmp_path: Path, size: str) -> None:
    """The last copy is shown whole, with words below it; nobody takes it for the file as it is."""
    [path] = write_burst(tmp_path / "card", DAY, 1)
    with Image.open(path) as opened:
        exif = opened.getexif()
    Image.effect_noise((640, 480), 60).convert("RGB").save(path, exif=exif)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos
        copy = server.answer(workspace, "review", photo.id)
        assert isinstance(copy, FileResponse)
        with Image.open(copy.path) as opened:
            whole = opened.convert("RGB")
        path.write_bytes(path.read_bytes()[:-20_000])
        answer = server.answer(workspace, size, photo.id)
        assert (answer.media_type, answer.headers["cache-control"]) == ("image/jpeg", "no-store")
        with Image.open(io.BytesIO(bytes(answer.body))) as opened:
            shown = opened.convert("RGB")
        assert shown.width == whole.width
        assert shown.height > whole.height
        same = ImageChops.difference(shown.crop((0, 0, *whole.size)), whole)
        assert np.asarray(same).max() < 40  # packed anew, nothing hidden
        [photo] = workspace.view("P1").photos
        assert photo.problem.startswith("cannot be shown: it is damaged")
        (tmp_path / "card").rename(tmp_path / "away")
        assert isinstance(server.answer(workspace, size, photo.id), FileResponse)


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_sites_are_not_answered(study: Workspace, port: int, site: str) -> None:
    """A picture that another site's page asks for is refused."""
    path = f"/photo/review/{ids(study)['IMG_0001.JPG']}"
    assert ask(port, path, Sec_Fetch_Site=site).status == 403
    assert ask(port, path, Sec_Fetch_Site="same-origin").status == 200


def test_a_foreign_host_name_is_refused(study: Workspace, port: int) -> None:
    """Another name that leads to this computer is not answered, for pictures and pages alike."""
    path = f"/photo/review/{ids(study)['IMG_0001.JPG']}"
    assert ask(port, path, Host="elsewhere.example").status == 400
    assert ask(port, "/", Host="elsewhere.example").status == 400
    assert ask(port, "/", Host=f"localhost:{port}").status == 200


@pytest.mark.parametrize(
    "path",
    [
        "/photo/huge/1", "/photo/review/x", "/photo/", "/photo/review/1/2", "/photo/review/-1",
        "/photo/review/1.jpg", "/photo/review/0x1", "/photo/review/1%00", "/photo/review/%31%2F1",
    ],
)  # fmt: skip
def test_an_address_that_names_no_picture_is_not_found(port: int, path: str) -> None:
    """A size that does not exist, and anything but a number, is refused in words."""
    answer = ask(port, path)
    assert answer.status in {400, 404}
    assert b"<" not in answer.body


SECRET = b"[study]"


@pytest.mark.parametrize(
    "path",
    [
        "/photo/review/../../study.toml", "/photo/review/..%2F..%2Fstudy.toml",
        "/photo/original/%2e%2e/%2e%2e/study.toml", "/photo/original/..%5C..%5Cstudy.toml",
        "/photo/..%2Fstudy.toml/1", "/photo/../study.toml", "/photo/original//etc/passwd",
        "/photo/original/%2Fetc%2Fpasswd", "/photo/review/..;/..;/study.toml",
        "/photo/original/..%252F..%252Fstudy.toml", "/photo/original/{folder}/study.toml",
        "/photo/original/{encoded}%2Fstudy.toml", "/photo/previews/00000", "/previews/00000/",
        "/photo/original/file:%2F%2F{encoded}%2Fstudy.toml",
    ],
)  # fmt: skip
def test_no_path_leads_to_a_file(study: Workspace, port: int, path: str) -> None:
    """Paths, dots, and slashes written in any way reach no file: photos are served by number."""
    folder = str(study.folder)
    asked = path.format(folder=folder, encoded=urllib.parse.quote(folder, safe=""))
    status, body = raw(port, asked)
    assert SECRET in (study.folder / "study.toml").read_bytes()
    assert SECRET not in body
    assert b"root:" not in body
    assert status in {301, 400, 404} or b"<!doctype html>" in body.lower()  # the page itself


def raw(port: int, path: str) -> tuple[int, bytes]:
    """Ask for a path just as it is written: no client takes its dots away."""
    connection = http.client.HTTPConnection(server.ADDRESS, port, timeout=20)
    connection.putrequest("GET", path, skip_accept_encoding=True)
    connection.endheaders()
    answer = connection.getresponse()
    return answer.status, answer.read()


@pytest.mark.parametrize("number", ["0", "999999", "9" * 30])
@pytest.mark.parametrize("size", ["review", "strip", "original"])
def test_a_number_that_is_no_photo_s_gives_words(port: int, size: str, number: str) -> None:
    """A number beyond all photos, or beyond what a database can hold, is no photo."""
    answer = ask(port, f"/photo/{size}/{number}")
    assert (answer.status, answer.body[:4]) == (200, b"\x89PNG")


@pytest.mark.parametrize(
    ("size", "name"),
    [("review", "IMG_0003.JPG"), ("review", "notes.txt"), ("original", "notes.txt")],
)
def test_what_cannot_be_shown_gives_a_picture_of_words(
    study: Workspace, port: int, name: str, size: str
) -> None:
    """A damaged photo and a text file give a drawn picture that is not kept; no text is served."""
    answer = ask(port, f"/photo/{size}/{ids(study)[name]}")
    assert (answer.status, answer.body[:4]) == (200, b"\x89PNG")
    assert answer.headers["cache-control"] == "no-store"


def test_a_photo_that_is_not_at_hand_gives_a_picture_of_words(tmp_path: Path) -> None:
    """With the card taken out the address gives words; with it back, the photo."""
    write_burst(tmp_path / "card", DAY, 1)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos
        (tmp_path / "card").rename(tmp_path / "away")
        assert server.answer(workspace, "review", photo.id).media_type == "image/png"
        assert server.answer(workspace, "review", photo.id + 1).media_type == "image/png"
        (tmp_path / "away").rename(tmp_path / "card")
        assert server.answer(workspace, "review", photo.id).media_type == "image/jpeg"


def test_copies_are_kept_and_made_anew_when_the_original_changes(tmp_path: Path) -> None:
    """One copy a size; a changed file gets another; a deleted folder comes back."""
    [path] = write_burst(tmp_path / "card", DAY, 1)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos

        def copy() -> Path:
            answer = server.answer(workspace, "strip", photo.id)
            assert isinstance(answer, FileResponse)
            return Path(answer.path)

        first = copy()
        assert first == copy()
        assert first.is_relative_to(workspace.folder / "previews")
        os.utime(path, (1, 1))
        assert copy() != first
        first.unlink()
        os.utime(path, None)
        assert copy().is_file()


def test_a_picture_is_shown_when_copies_cannot_be_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a full disk the copy comes from memory, and is not kept by the browser either."""
    write_burst(tmp_path / "card", DAY, 1)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [photo] = workspace.view("P1").photos
        monkeypatch.setattr(os, "replace", full)
        for size in ("strip", "review"):
            answer = server.answer(workspace, size, photo.id)
            assert bytes(answer.body)[:2] == b"\xff\xd8"
            assert answer.headers["cache-control"] == "no-store"


def test_a_strip_comes_from_the_header_until_its_copy_is_made(tmp_path: Path) -> None:
    """The small picture that the camera wrote is there at once; it is not kept by the browser."""
    small = small_picture()
    photo(tmp_path / "card" / "IMG_0001.JPG", exif_block(small, 1))
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [only] = workspace.view("P1").photos
        first = server.answer(workspace, "strip", only.id)
        assert bytes(first.body) == small
        assert (first.media_type, first.headers["cache-control"]) == ("image/jpeg", "no-store")
        assert not workspace.previews.folder.exists()
        review = server.answer(workspace, "review", only.id)  # makes both copies
        strip = server.answer(workspace, "strip", only.id)
        assert isinstance(review, FileResponse)
        assert isinstance(strip, FileResponse)
        assert [Image.open(one.path).size for one in (review, strip)] == [(1280, 960), (320, 240)]
        assert strip.headers["cache-control"].startswith("private")
        assert [one.hashed for one in (workspace.previews.original(only.id),)] == [True]


def test_a_strip_without_a_small_picture_is_made_at_once(tmp_path: Path) -> None:
    """Some cameras write none: then the first look makes the copy."""
    write_burst(tmp_path / "card", DAY, 1)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [only] = workspace.view("P1").photos
        assert isinstance(server.answer(workspace, "strip", only.id), FileResponse)


def test_a_forgotten_photo_is_not_served(tmp_path: Path) -> None:
    """With its card the photo leaves the study, and its number leads to words alone."""
    write_burst(tmp_path / "card", DAY, 1)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        [only] = workspace.view("P1").photos
        assert server.answer(workspace, "review", only.id).media_type == "image/jpeg"
        workspace.forget_card(workspace.card_in(tmp_path / "card").id)
        for size in ("review", "strip", "original"):
            assert server.answer(workspace, size, only.id).media_type == "image/png"


def test_a_busy_port_is_said_in_words(study: Workspace) -> None:
    """The port is named, and what to do instead."""
    with socket.socket() as taken:
        taken.bind((server.ADDRESS, 0))
        taken.listen()
        busy = taken.getsockname()[1]
        with pytest.raises(StudyError, match=rf"Port {busy} cannot be used .* Leave --port out"):
            server.serve(study.folder, busy, open_browser=False)


def test_no_study_no_server(tmp_path: Path) -> None:
    """A folder that is no study is refused before anything is served."""
    with pytest.raises(StudyError, match="is no study"):
        server.serve(tmp_path, free_port(), open_browser=False)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT to send to one process")
def test_ctrl_c_ends_it_quietly(study: Workspace) -> None:
    """The address is said once; Ctrl-C ends with 0 and no traceback."""
    process = started(study.folder, free_port())
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "Ctrl-C ends it." in out
    assert "Traceback" not in err


PRESSED = """
import signal, sys
loading = sys.argv.pop(1)
class Pressed:
    def find_spec(self, name, *_):
        if name == loading:
            signal.raise_signal(signal.SIGINT)
signal.signal(signal.SIGINT, signal.default_int_handler)
sys.meta_path.insert(0, Pressed())
from app.cli import main
main()
"""


def page_command(study: Path, *before: str) -> "subprocess.Popen[str]":
    """Start the page as on a terminal of its own, with what Python is told before."""
    return subprocess.Popen(
        [sys.executable, *before, "page", str(study), "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(server.__file__).parent.parent,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
        start_new_session=os.name != "nt",
    )


@pytest.mark.skipif(os.name == "nt", reason="Windows has no code for a program that Ctrl-C ended")
@pytest.mark.parametrize(
    "module", ["click", "core.errors", "sqlalchemy", "numpy", "app.server", "streamlit", "uvicorn"]
)
def test_ctrl_c_while_it_loads_ends_it_without_a_word(study: Workspace, module: str) -> None:
    """Whatever is loaded just then: the shell's 130, no traceback, and nothing is served."""
    process = page_command(study.folder, "-c", PRESSED, module)
    try:
        out, err = process.communicate(timeout=60)
    finally:
        process.kill()
    assert (out, err) == ("", "")
    assert process.returncode in {130, -signal.SIGINT}  # which a shell shows as 130


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT to send to one group")
@pytest.mark.parametrize("moment_s", [0, 0.1, 0.2, 0.4])
def test_ctrl_c_as_soon_as_it_is_served_ends_it_without_a_word(
    tmp_path: Path, moment_s: float
) -> None:
    """The processes that begin to make copies just then say nothing either."""
    write_burst(tmp_path / "card", DAY, 3)
    with Workspace.create(tmp_path / "study", "Africa/Johannesburg") as workspace:
        workspace.scan(tmp_path / "card", "P1")
    process = page_command(tmp_path / "study", "-m", "app.cli")
    assert process.stdout is not None
    assert "Ctrl-C ends it." in process.stdout.readline()
    time.sleep(moment_s)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")


WORKER = """
import os, signal, sys, time
from core.workers import background
if __name__ == "__main__":
    signal.signal(signal.SIGINT, lambda *_: None)
    first, second = background(time.sleep, 0.1), background(time.sleep, 0.1)
    os.killpg(0, signal.SIGINT)
    first.join(), second.join()
    print(first.exitcode, second.exitcode)
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT to send to one group")
def test_a_process_that_is_just_starting_does_not_hear_ctrl_c() -> None:
    """Neither the first one, beside which Python starts one of its own, nor the next."""
    done = subprocess.run(
        [sys.executable, "-c", WORKER],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        cwd=Path(server.__file__).parent.parent,
        start_new_session=True,
    )
    assert (done.stdout, done.stderr) == ("0 0\n", "")


def test_nothing_but_this_computer_is_served_and_nothing_is_sent() -> None:
    """Only this computer's address and names, no usage numbers, no tracebacks, small uploads."""
    settings = server.config(8600)
    assert settings["server.address"] == "127.0.0.1"
    assert settings["server.allowedHosts"] == ["127.0.0.1", "localhost"]
    assert settings["browser.gatherUsageStats"] is False
    assert settings["client.showErrorDetails"] == "type"
    assert settings["server.enableStaticServing"] is False
    assert settings["server.maxUploadSize"] == 20


def test_a_copy_made_before_is_shown_while_the_card_is_out(tmp_path: Path) -> None:
    """The study keeps working without its originals, with the copies that it has."""
    write_burst(tmp_path / "card", DAY, 2)
    with Workspace.create(tmp_path / "study", "UTC") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        seen, unseen = (photo.id for photo in workspace.view("P1").photos)
        made = server.answer(workspace, "review", seen)
        assert isinstance(made, FileResponse)
        (tmp_path / "card").rename(tmp_path / "taken out")
        kept = server.answer(workspace, "review", seen)
        assert isinstance(kept, FileResponse)
        assert kept.path == made.path
        assert server.answer(workspace, "review", unseen).media_type == "image/png"  # words
