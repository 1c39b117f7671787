"""The commands as people run them: what goes in, what comes out, and every fault in words."""

import csv
import io
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from builders import write_burst
from packages import Package

from app import cli
from app.demo import SOURCE
from core.exports import tables

Run = Callable[..., tuple[int, str, str]]
DAY = datetime(2026, 3, 14, 8, 30)  # noqa: DTZ001  what a camera shows has no zone

SPECIES = "key,name,role\nm,Mouse,forager\nx,Fox,other\n"
CAMERAS = "placement,camera,trays,start,end\nP1,c1,T1,2026-03-14 07:00,2026-03-14 16:00\n"
TRAYS = (
    "deployment,tray,set_out,picked_up,food_start_g,food_left_g\n"
    "D1,T1,2026-03-14 08:00,2026-03-14 15:00,10.0,4.0\n"
)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*arguments: str | Path) -> tuple[int, str, str]:
        code = 0
        try:
            cli.main([str(one) for one in arguments])
        except SystemExit as ended:
            code = int(ended.code or 0)
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


@pytest.fixture
def study(tmp_path: Path, run: Run) -> Path:
    """A study with a species list, a camera, a tray and a card of three photos."""
    folder = tmp_path / "study"
    assert run("new", folder, "--timezone", "Africa/Johannesburg")[0] == 0
    for kind, text in (("species", SPECIES), ("cameras", CAMERAS), ("trays", TRAYS)):
        assert run("load", folder, kind, log(tmp_path, kind, text))[0] == 0
    write_burst(tmp_path / "card", DAY, 3)
    assert run("scan", folder, tmp_path / "card", "--placement", "P1")[0] == 0
    return folder


def log(folder: Path, kind: str, text: str) -> Path:
    file = folder / f"{kind}.csv"
    file.write_text(text, encoding="utf-8")
    return file


def everything(study: Path) -> list[str]:
    """Everything the database holds, to see whether anything was half done."""
    with sqlite3.connect(study / "lastbite.db") as connection:
        return list(connection.iterdump())


TAG = "placement,first_photo,last_photo,tagger,species,where\n"

FAULTS = [
    ("trays", TRAYS.replace(",tray,", ",").replace(",T1,", ","), "'tray'|\"tray\"", "missing col"),
    ("trays", TRAYS.replace("set_out", "set_outt"), "set_out", "misspelt column"),
    ("trays", TRAYS.replace("2026-03-14 08:00", "2026-02-30 08:00"), "2026-02-30", "no such day"),
    ("trays", TRAYS.replace("2026-03-14 08:00", "03/04/2026 08:00"), "2026-03-04", "day or month"),
    ("trays", TRAYS.replace("08:00", "16:00"), "16:00", "set out after pick-up"),
    ("trays", TRAYS.replace("08:00", "15:00"), "15:00", "set out at pick-up"),
    ("trays", TRAYS.replace(",4.0", ",-4.0"), "-4.0", "negative mass"),
    ("trays", TRAYS.replace(",10.0,", ",10000000,"), "10000000", "absurd mass"),
    ("trays", TRAYS.replace(",4.0", ",four"), "four", "no number"),
    ("trays", TRAYS + TRAYS.splitlines()[1] + "\n", "D1", "duplicate id"),
    ("trays", "", "trays.csv", "empty file"),
    ("species", SPECIES + "m,Vole,forager\n", "'m'", "duplicate key"),
    ("tags", TAG + "P9,IMG_0001.JPG,IMG_0003.JPG,ann,m,fed\n", "P9", "unknown placement"),
    ("tags", TAG + "P1,IMG_0001.JPG,IMG_0009.JPG,ann,m,fed\n", "IMG_0009.JPG", "unknown photo"),
    ("tags", TAG + "P1,IMG_0001.JPG,IMG_0003.JPG,ann,q,fed\n", "'q'", "unknown species"),
    ("tags", TAG + "P1,IMG_0001.JPG,IMG_0003.JPG,ann,m,\n", "where", "where is missing"),
    ("cameras", CAMERAS.replace("16:00", "06:00"), "06:00", "camera ends before it starts"),
]


@pytest.mark.parametrize(("kind", "text", "names", "_why"), FAULTS, ids=[one[3] for one in FAULTS])
def test_a_faulty_log_is_refused_whole(
    study: Path, tmp_path: Path, run: Run, kind: str, text: str, names: str, _why: str
) -> None:
    """Exit 1, one message with the thing at fault, and the study is exactly as it was."""
    before = everything(study)
    code, out, err = run("load", study, kind, log(tmp_path, kind, text))
    assert (code, out) == (1, "")
    assert any(name in err for name in names.split("|")), err
    assert "Traceback" not in err
    assert everything(study) == before


def test_all_faults_of_a_log_are_listed_with_their_lines(
    study: Path, tmp_path: Path, run: Run
) -> None:
    """A person mends a spreadsheet once, not fault by fault."""
    text = TRAYS + "D2,T1,2026-03-15 08:00,2026-03-15 07:00,10.0,4.0\nD3,T1,soon,later,-1,4.0\n"
    code, _, err = run("load", study, "trays", log(tmp_path, "trays", text))
    assert code == 1
    assert "line 3" in err
    assert "line 4" in err


def test_more_left_than_put_in_is_no_fault(study: Path, tmp_path: Path, run: Run) -> None:
    """It loads, and is shown raw, never cut to the start mass."""
    text = TRAYS.replace(",4.0", ",11.5")
    assert run("load", study, "trays", log(tmp_path, "trays", text))[0] == 0
    [row] = rows(run("outcomes", study, "--csv", "-")[1])
    assert (row["food_left_g"], row["status"]) == ("11.5", "pending")


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_a_student_tags_and_the_tray_gets_its_forager(
    study: Path, tmp_path: Path, run: Run
) -> None:
    """Pending, then dropped while the camera may have died, then named once it is known to work."""
    [row] = rows(run("outcomes", study, "--csv", "-")[1])
    assert (row["status"], row["unanswered"]) == ("pending", "1")
    text = TAG + "P1,IMG_0001.JPG,IMG_0003.JPG,ann,m,fed\n"
    assert run("load", study, "tags", log(tmp_path, "tags", text))[0] == 0
    [row] = rows(run("outcomes", study, "--csv", "-")[1])
    assert (row["status"], row["reason"]) == (
        "drop",
        "the tray was not watched after the last visit",
    )
    cameras = CAMERAS.replace("end\n", "end,working_at_pickup\n").replace("16:00\n", "16:00,yes\n")
    assert run("load", study, "cameras", log(tmp_path, "cameras", cameras))[0] == 0
    [row] = rows(run("outcomes", study, "--csv", "-")[1])
    assert (row["status"], row["forager"], row["gud_g"]) == ("caution", "Mouse", "4")
    # 08:00:00 to 08:30:00 of 7 hours was not watched: the first photo is the first proof.
    assert float(row["watched_share"]) == pytest.approx(6.5 / 7, abs=1e-4)


def test_loading_the_same_tags_again_adds_nothing(study: Path, tmp_path: Path, run: Run) -> None:
    """The same file twice is the same as once."""
    file = log(tmp_path, "tags", TAG + "P1,IMG_0001.JPG,IMG_0003.JPG,ann,m,fed\n")
    run("load", study, "tags", file)
    assert "0 new, 0 changed, 1 as before" in run("load", study, "tags", file)[1]


@pytest.mark.parametrize("table", ["photos", "visits", "outcomes"])
def test_a_table_goes_to_standard_output_or_to_a_file(
    study: Path, tmp_path: Path, run: Run, table: str
) -> None:
    """`-` is standard output; the columns are those that are promised."""
    columns = {
        "photos": tables.PHOTO_COLUMNS, "visits": tables.VISIT_COLUMNS,
        "outcomes": tables.OUTCOME_COLUMNS,
    }[table]  # fmt: skip
    code, out, _ = run(table, study, "--csv", "-")
    assert (code, tuple(out.splitlines()[0].split(","))) == (0, columns)
    file = tmp_path / f"{table}.csv"
    assert run(table, study, "--csv", file)[:2] == (0, "")
    assert file.read_text(encoding="utf-8") == out


def test_a_table_that_cannot_be_written_says_so(study: Path, tmp_path: Path, run: Run) -> None:
    """A missing folder is named, and nothing is left behind."""
    code, _, err = run("outcomes", study, "--csv", tmp_path / "nowhere" / "out.csv")
    assert code == 1
    assert "nowhere" in err
    assert not (tmp_path / "nowhere").exists()


def test_visits_can_be_grouped_by_another_gap(study: Path, run: Run) -> None:
    """The photos are one second apart: a gap of half a second makes three visits."""
    assert len(rows(run("visits", study, "--csv", "-")[1])) == 1
    assert len(rows(run("visits", study, "--gap", "0.5", "--csv", "-")[1])) == 3


@pytest.mark.parametrize(
    "arguments",
    [("nonsense",), ("visits",), ("load", "S", "birds", "f.csv"), ("visits", "S", "--gap", "0"),
     ("scan", "S", "F"), ("new", "S")],
    ids=" ".join,
)  # fmt: skip
def test_wrong_usage_is_exit_2(run: Run, arguments: tuple[str, ...]) -> None:
    """The command line itself is wrong: usage is shown."""
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert err


def test_a_missing_study_is_named_and_no_file_made(tmp_path: Path, run: Run) -> None:
    """A mistyped folder stays what it is: nothing."""
    code, out, err = run("outcomes", tmp_path / "stduy")
    assert (code, out) == (1, "")
    assert "stduy" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("zone", "says"), [("Africa/Johanesburg", "Africa/Johannesburg"), ("Mars/Base", "IANA")]
)
def test_a_zone_that_is_not_known(tmp_path: Path, run: Run, zone: str, says: str) -> None:
    """The likely zone is suggested, and no study is made."""
    code, _, err = run("new", tmp_path / "s", "--timezone", zone)
    assert code == 1
    assert says in err
    assert not (tmp_path / "s").exists()


def test_a_study_is_never_made_over_another(study: Path, run: Run) -> None:
    """The second `new` is refused and the first study stays."""
    before = everything(study)
    code, _, err = run("new", study, "--timezone", "UTC")
    assert code == 1
    assert "study already" in err
    assert everything(study) == before


def test_a_setting_that_is_misspelt_is_named(study: Path, run: Run) -> None:
    """A typing error in study.toml does not silently mean the default."""
    file = study / "study.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("gap_s", "gap_seconds"), encoding="utf-8")
    code, _, err = run("visits", study)
    assert code == 1
    assert "gap_seconds" in err


def test_explain_walks_down_to_the_photos(study: Path, tmp_path: Path, run: Run) -> None:
    """Deployment, tray, status, reason, cell, photos, who said what, both times."""
    text = TAG + "P1,IMG_0001.JPG,IMG_0003.JPG,ann,m,fed\n"
    run("load", study, "tags", log(tmp_path, "tags", text))
    code, out, _ = run("explain", study, "D1")
    assert code == 0
    for words in (
        "D1", "T1", "drop", "the tray was not watched after the last visit", "T1 V1 C3",
        "IMG_0001.JPG", "IMG_0003.JPG", "ann", "Mouse", "fed", "2026-03-14 08:30:00",
        "2026-03-14T08:30:00+02:00",
    ):  # fmt: skip
        assert words in out
    code, _, err = run("explain", study, "D2")
    assert code == 1
    assert "D2" in err


def test_check_lists_what_shows_only_when_logs_meet(study: Path, tmp_path: Path, run: Run) -> None:
    """A tray nobody watches and a camera whose tray is in no log load, and are listed."""
    trays = TRAYS + "D2,T2,2026-03-14 08:00,2026-03-14 15:00,10.0,4.0\n"
    assert run("load", study, "trays", log(tmp_path, "trays", trays))[0] == 0
    more = "P2,c2,T9,2026-03-14 07:00,2026-03-14 16:00\n"
    assert run("load", study, "cameras", log(tmp_path, "cameras", CAMERAS + more))[0] == 0
    code, out, err = run("check", study)
    assert code == 1
    assert "T2" in out
    assert "T9" in out
    assert "put right" in err


def test_check_of_a_sound_study_is_exit_0(study: Path, run: Run) -> None:
    """Nothing to put right: say so."""
    code, out, _ = run("check", study)
    assert code == 0
    assert "Nothing has to be put right" in out


def test_a_card_is_moved_and_forgotten_as_a_whole(study: Path, tmp_path: Path, run: Run) -> None:
    """Scanned under the wrong placement: move it; not ours at all: forget it."""
    card = tmp_path / "card"
    assert run("scan", study, card, "--placement", "P2")[0] == 1
    assert run("scan", study, card, "--placement", "P2", "--move")[0] == 0
    assert {row["placement"] for row in rows(run("photos", study, "--csv", "-")[1])} == {"P2"}
    assert run("scan", study, card, "--forget")[0] == 0
    assert rows(run("photos", study, "--csv", "-")[1]) == []
    assert len(list(card.iterdir())) == 3


@pytest.fixture
def package(tmp_path: Path) -> Path:
    """A package of two placements, P1 and P2, in one folder; only photos of P1 have tags."""
    made = Package()
    made.tables["observations"] = [
        one for one in made.tables["observations"] if one["deploymentID"] == "P1"
    ]
    return made.write(tmp_path / "package")


@pytest.fixture
def read(tmp_path: Path, package: Path, run: Run) -> Path:
    """A study into which that package was loaded."""
    assert run("new", tmp_path / "read", "--timezone", "Africa/Johannesburg")[0] == 0
    assert run("load", tmp_path / "read", "camtrap", package)[0] == 0
    return tmp_path / "read"


def test_a_folder_of_several_placements_is_forgotten_whole(
    read: Path, package: Path, run: Run
) -> None:
    """Each of its cards is named; one with tags stays, unless they may go, and is told: exit 1."""
    code, out, err = run("scan", read, package, "--forget")
    assert (code, out) == (1, f"Forgot the card {package} of P2; 0 tags were set aside.\n")
    assert err.startswith(f"lastbite: Card {package} of 'P1' has 4 tags on its photos.")
    code, out, _ = run("scan", read, package, "--forget", "--with-tags")
    assert (code, out) == (0, f"Forgot the card {package} of P1; 4 tags were set aside.\n")
    assert run("scan", read, package, "--forget")[0] == 1


def test_one_card_of_such_a_folder_is_named_or_refused(read: Path, package: Path, run: Run) -> None:
    """Forgotten by its placement, the other stays; a move, which names another, takes neither."""
    code, _, err = run("scan", read, package, "--forget", "--placement", "P3", "--with-tags")
    assert code == 1
    assert "is no card of placement 'P3'. It is one of: P1, P2. Name" in err
    code, _, err = run("scan", read, package, "--move", "--placement", "P3")
    assert code == 1
    assert "is the card of several placements: P1, P2. Nothing was moved" in err
    assert placements_of(read, run) == {"P1", "P2"}
    assert run("scan", read, package, "--forget", "--placement", "P1", "--with-tags")[0] == 0
    assert placements_of(read, run) == {"P2"}


def placements_of(study: Path, run: Run) -> set[str]:
    return {row["placement"] for row in rows(run("photos", study, "--csv", "-")[1])}


def test_a_full_disk_is_said_and_nothing_is_half_done(
    study: Path, tmp_path: Path, run: Run
) -> None:
    """SQLite's own page limit stands in for a full disk."""
    from sqlalchemy import event  # noqa: PLC0415
    from sqlalchemy.engine import Engine  # noqa: PLC0415

    @event.listens_for(Engine, "connect")
    def limit(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute("PRAGMA max_page_count = 1")

    try:
        before = everything(study)
        write_burst(tmp_path / "more", DAY.replace(hour=9), 400)
        code, _, err = run("scan", study, tmp_path / "more", "--placement", "P3")
        assert code == 1
        assert "full" in err
    finally:
        event.remove(Engine, "connect", limit)
    assert everything(study) == before


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="permissions of this kind are Unix's")
def test_a_folder_that_may_not_be_written_is_said(tmp_path: Path) -> None:
    """A study cannot be made there; as root the check runs as a user who may not."""
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o555)
    code = (
        "import os, sys\n"
        "from app import cli\n"
        "from core import workspace\n"
        "os.geteuid() or os.setuid(65534)\n"
        f"cli.main(['new', {str(locked / 'study')!r}, '--timezone', 'UTC'])\n"
    )
    for folder in (tmp_path, *tmp_path.parents):
        if folder.owner() == Path.home().owner() and folder != Path(folder.anchor):
            folder.chmod(folder.stat().st_mode | 0o055)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False,
        cwd=SOURCE.parent,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert "study" in done.stderr
    assert "Traceback" not in done.stderr
    assert list(locked.iterdir()) == []


def test_the_demo_prints_its_outcomes(tmp_path: Path, run: Run) -> None:
    """The command of the README runs every stage and says that all is invented."""
    code, out, _ = run("demo", tmp_path / "demo")
    assert code == 0
    assert "12 trays: 6 with a density, 6 set aside." in out
    assert "invented" in out
