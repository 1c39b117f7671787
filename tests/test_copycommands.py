"""Back-up, restoring, moving and merging as people run them, in their words."""

import re
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
    assert said.startswith("Brought in: 0 files on 0 new cards (3 were here), 0 tags (1 were here)")
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
    code, said, _ = run("merge", study, tmp_path / "copy")
    assert code == 0
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
