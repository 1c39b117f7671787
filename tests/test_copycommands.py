"""Back-up, restoring, moving and merging as people run them, in their words."""

import contextlib
import re
import shutil
import sqlite3
from pathlib import Path

import pytest
from stores import ON_SERVER, empty_schema
from test_cli import TAG, Run, log, run, study

__all__ = ["run", "study"]

TAGS = TAG + "P1,IMG_0001.JPG,IMG_0003.JPG,{who},{species},fed\n"


def test_a_student_gets_a_copy_and_hands_it_in(run: Run, study: Path, tmp_path: Path) -> None:
    """Back-up, restore, tag, back-up, merge; then a second time, which brings nothing."""
    first, handed_in, copy = (tmp_path / name for name in ("out.lastbite", "in.lastbite", "copy"))
    code, said, _ = run("backup", study, first)
    assert code == 0
    assert said.startswith(f"Wrote {first}: 3 files of cards, 0 tags, ")
    assert said.endswith(" rows in all. Read again and compared, row by row.\n")
    code, said, _ = run("restore", first, copy)
    assert code == 0
    assert said.startswith(f"Made the study {copy} from {first} of 20")
    run("load", copy, "tags", log(tmp_path, "tags", TAGS.format(who="Ann", species="m")))
    assert run("backup", copy, handed_in)[0] == 0
    code, said, _ = run("merge", study, handed_in, "--dry-run")
    assert said.splitlines() == [
        "Would bring in: 0 files on 0 new cards (3 were here), 1 tag (0 were here).",
        "Log lines: none. Clock corrections: 0. Undos of tags that were here: 0.",
        "Nothing was stored.",
    ]
    code, said, _ = run("merge", study, handed_in)
    assert said.startswith("Brought in: 0 files on 0 new cards (3 were here), 1 tag")
    code, said, _ = run("merge", study, handed_in)
    assert said.startswith("Brought in: 0 files on 0 new cards (3 were here), 0 tags (1 was here)")
    assert run("visits", study, "--csv", "-")[1] == run("visits", copy, "--csv", "-")[1]


def test_conflicts_and_rulings_are_told(run: Run, study: Path, tmp_path: Path) -> None:
    """Each on a line of its own, marked, with what was done about it."""
    run("backup", study, tmp_path / "out")
    run("restore", tmp_path / "out", tmp_path / "copy")
    run("load", study, "tags", log(tmp_path, "tags", TAGS.format(who="Ann", species="m")))
    header, line = TAGS.format(who="Ann", species="x").splitlines()
    rules = "P1,IMG_0001.JPG,IMG_0003.JPG,Ike,x,fed,yes"
    both = f"{header},ruling\n{line},\n{rules}\n"
    run("load", tmp_path / "copy", "tags", log(tmp_path, "tags", both))
    code, _, told = run("merge", study, tmp_path / "copy", "--dry-run")
    told_dry = "lastbite: 1 conflict has to be looked at (marked !). Nothing was stored.\n"
    assert (code, told) == (1, told_dry)
    code, said, told = run("merge", study, tmp_path / "copy")
    told_once = "lastbite: 1 conflict has to be looked at (marked !). The rest is in the study.\n"
    assert (code, told) == (1, told_once)  # as `check` does, so that a script can tell
    assert "Rulings came in, by Ike." in said
    assert "1 conflict, nothing of it was changed here:\n! 1 tag by Ann on placement P1" in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("backup", "{study}", "{study}/study.toml"), "is there already"),
        (("backup", "{study}", "{study}/none/x"), "cannot be written"),
        (("restore", "{study}/none", "{study}/new"), "There is no file"),
        (("restore", "{study}/study.toml", "{study}/new"), "is no (back-up|SQLite database)"),
        (("merge", "{study}", "{study}/none"), "There is no file"),
        (("move", "{study}", "--to", "sqlite"), "already"),
        (("move", "{study}", "--to", "nowhere"), "is no address of a database"),
        (("move", "{study}", "--to", "mysql://server/x"), "'mysql' are not supported"),
        (("new", "{study}/new", "--timezone", "UTC", "--database", "x"), "is no address"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_message(
    run: Run, study: Path, arguments: tuple[str, ...], words: str
) -> None:
    """Exit code 1, words with the way out, and the study is as it was."""
    before = sorted(one.name for one in study.iterdir())
    code, said, told = run(*(one.replace("{study}", str(study)) for one in arguments))
    assert (code, said) == (1, "")
    assert told.startswith("lastbite: ")
    assert re.search(words, told)
    assert sorted(one.name for one in study.iterdir()) == before
    assert run("outcomes", study)[0] == 0


def test_another_study_is_named_as_it_was_given(run: Run, study: Path, tmp_path: Path) -> None:
    """A folder or a back-up, not the copy of it that is read; so is a back-up with new settings."""
    other, kept = tmp_path / "other", tmp_path / "other.lastbite"
    run("new", other, "--timezone", "UTC")
    run("load", other, "cameras", log(tmp_path, "cameras", "placement,camera,trays\nQ1,c9,U1\n"))
    run("backup", other, kept)
    for one in (other, kept):
        code, said, told = run("merge", study, one)
        assert (code, said) == (1, "")
        assert told.startswith(f"lastbite: {one} is another study: it has no placement")
    with contextlib.closing(sqlite3.connect(kept)) as connection:
        connection.execute("UPDATE backup_notes SET value = 'new = 1' WHERE name = 'settings'")
        connection.commit()
    assert run("merge", study, kept)[2].startswith(f"lastbite: {kept} has a setting ")


@pytest.mark.parametrize(
    ("made", "words"),
    [
        ("INSERT INTO schema_steps VALUES (999, 'x', 'x')", " was made by a newer Lastbite"),
        ("DROP TABLE schema_steps", " is a database, but not one of a study"),
        ("UPDATE photos SET card_id = 999", " is damaged"),
        ("", ": the database is damaged"),
    ],
)
def test_a_fault_of_the_other_is_told_of_the_other(
    run: Run, study: Path, tmp_path: Path, made: str, words: str
) -> None:
    """Not of the copy that is read, nor of ours, which is sound."""
    other = tmp_path / "other"
    shutil.copytree(study, other)
    file = other / "lastbite.db"
    with contextlib.closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.executescript(made)
        [at, size] = connection.execute(
            "SELECT rootpage, (SELECT page_size FROM pragma_page_size) FROM sqlite_master "
            "WHERE name = 'photos'"
        ).fetchone()
    if not made:
        content = bytearray(file.read_bytes())
        content[(at - 1) * size : at * size] = b"\xff" * size
        file.write_bytes(content)
    code, said, told = run("merge", study, other)
    assert (code, said) == (1, "")
    assert told.startswith(f"lastbite: {other}{words}")


@ON_SERVER
def test_a_study_on_a_server_is_worked_with_as_any_other(
    run: Run, study: Path, tmp_path: Path
) -> None:
    """Made there, moved there, backed up from there: the outcomes are the same."""
    before = run("outcomes", study, "--csv", "-")[1]
    with empty_schema() as address, empty_schema() as other:
        code, said, _ = run("move", study, "--to", address)
        assert code == 0
        assert "that is as it was" in said
        assert str(study / "lastbite.db") in said
        assert run("outcomes", study, "--csv", "-")[1] == before
        assert run("backup", study, tmp_path / "x")[0] == 0
        new = tmp_path / "class"
        code, said, _ = run("new", new, "--timezone", "Africa/Johannesburg", "--database", other)
        assert code == 0
        assert run("merge", new, tmp_path / "x")[0] == 0
        assert run("outcomes", new, "--csv", "-")[1] == before
        code, _, told = run("new", tmp_path / "b", "--timezone", "UTC", "--database", other)
        assert code == 1
        assert "holds a study already" in told
