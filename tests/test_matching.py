"""What of another copy is the same, what is new and what conflicts: of files, lines and tags."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from builders import LATER, NOON, tag_of

from core.matching import (
    File,
    Held,
    Turn,
    is_another_study,
    match_files,
    match_rows,
    match_tags,
    said,
)
from core.model import Placement

# --- files ---------------------------------------------------------------------------------------


def file(number: int, name: str = "", **values: Any) -> File:
    """Give a file whose content is that of its number."""
    dull = File(number, "P1", "/cards/a", name or f"{number}.jpg", 1000, f"content {number}")
    return replace(dull, **values)


def theirs(one: File, **values: Any) -> File:
    """Give the same file as it is held by another computer: another number, another folder."""
    return replace(one, id=one.id + 100, folder="/media/usb", **values)


def test_files_are_the_same_by_content_and_not_by_path() -> None:
    """Another folder and another name are no other photo; the same name is no same photo."""
    ours = [file(1), file(2)]
    found = match_files(ours, [theirs(file(1, "renamed.jpg")), theirs(file(3, "2.jpg"))])
    assert (found.same, found.new, found.conflicts) == ({101: 1}, [103], [])


def test_the_whole_hash_decides_where_both_have_it() -> None:
    """Two files may agree in size and fingerprint and be two; a missing hash says nothing."""
    ours = [file(1, content_hash="a")]
    other = [
        theirs(file(1, content_hash="b")),
        replace(theirs(file(1, "x.jpg")), id=150),
        replace(theirs(file(1, "y.jpg", content_hash="a")), id=151),
    ]
    found = match_files(ours, other)
    assert (found.same, found.new) == ({150: 1, 151: 1}, [101])


def test_of_two_files_of_one_content_the_name_tells() -> None:
    """A copy on the card goes with the copy, the original with the original."""
    ours = [file(1, "a.jpg"), replace(file(1, "b.jpg"), id=2)]
    found = match_files(ours, [theirs(file(1, "b.jpg")), replace(theirs(file(1, "c.jpg")), id=150)])
    assert found.same == {101: 2, 150: 1}


def test_a_photo_that_is_a_copy_here_is_the_one_that_counts_here() -> None:
    """A tag on a copy would count nowhere."""
    ours = [file(1, "a.jpg"), replace(file(1, "b.jpg"), id=2, copy_of=1)]
    assert match_files(ours, [theirs(file(1, "b.jpg"))]).same == {101: 1}


def test_a_file_that_could_not_be_read_is_the_same_by_its_place() -> None:
    """Without a fingerprint the placement, the name and the size have to do."""
    ours = [file(1, fingerprint=""), file(2)]
    other = [theirs(file(1, fingerprint="")), theirs(file(3, fingerprint="")), theirs(file(2))]
    found = match_files(ours, other)
    assert (found.same, found.new) == ({101: 1, 102: 2}, [103])


def test_photos_that_are_under_another_placement_here_are_a_conflict() -> None:
    """The card was put under two placements: no file can tell which is right."""
    found = match_files([file(1), file(2)], [theirs(file(1), placement="P2")])
    assert (found.same, found.new) == ({}, [])
    [words] = found.conflicts
    assert words == (
        "1 photo of placement P2 there are under placement P1 here. Move the card in one of the "
        "two, then merge again."
    )


def test_a_picture_that_is_on_two_placements_there_comes_in() -> None:
    """There, too, it stands on the placement that it stands on here."""
    other = [theirs(file(1)), replace(theirs(file(1), placement="P2"), id=150)]
    found = match_files([file(1)], other)
    assert (found.same, found.new, found.conflicts) == ({101: 1}, [150], [])


def test_a_placement_with_other_photos_is_a_conflict_unless_the_logs_agree() -> None:
    """Two cameras may have been called P1; the same line in both logs says that it is one."""
    ours, other = [file(1)], [theirs(file(2)), theirs(file(3))]
    found = match_files(ours, other)
    assert (found.same, found.new) == ({}, [])
    assert "Placement P1 has 2 photos there and none of them here" in found.conflicts[0]
    agreed = match_files(ours, other, {"P1"})
    assert (agreed.new, agreed.conflicts) == ([102, 103], [])


def test_another_photo_of_the_same_path_is_a_conflict() -> None:
    """A file was written anew on one of the two; the one here stays."""
    ours = [file(1), file(2)]
    other = [replace(file(1), id=101), replace(file(3, "2.jpg"), id=102)]
    found = match_files(ours, other)
    assert (found.same, found.new) == ({101: 1}, [])
    assert "1 file of placement P1 in /cards/a (2.jpg) are not the same" in found.conflicts[0]


# --- logs ----------------------------------------------------------------------------------------


def test_lines_that_are_missing_come_in_and_those_that_differ_are_told() -> None:
    """Each column that differs is named, with both values."""
    ours = [Placement("P1", camera="old", start=NOON), Placement("P2")]
    other = [
        Placement("P1", camera="new", start=LATER, trays=("T1", "T2")),
        *ours[1:],
        Placement("P3"),
    ]
    rows = match_rows("cameras", ours, other, lambda row: row.placement, lambda row: row.placement)
    assert [row.placement for row in rows.new] == ["P3"]
    [words] = rows.differ
    assert words == (
        "cameras: P1 has camera 'old' here and 'new' there, trays '' here and 'T1; T2' there, "
        "start 2026-03-14 12:00:00+00:00 here and 2026-03-14 13:00:00+00:00 there. The line here "
        "was left as it is."
    )


# --- tags ----------------------------------------------------------------------------------------

PLACE = {"P1": {number: number for number in range(1, 50)}}


def held(number: int, first: int, last: int | None = None, **values: Any) -> Held:
    """Give a tag made by an act of its own, named by `act`."""
    act, turns = values.pop("act", f"act {number}"), tuple(values.pop("turns", ()))
    back = bool(turns) and turns[-1].taken_back
    return Held(tag_of(first, last, number=number, taken_back=back, **values), act, turns)


def match(ours: Sequence[Held], other: Sequence[Held]) -> Any:
    """Match tags, each named by its species."""
    return match_tags(ours, other, PLACE, lambda tag: tag.species)


UNDONE = Turn(True, NOON, "ann", "undo")
REDONE = Turn(False, LATER, "ann", "redo")


def test_a_tag_is_the_same_by_its_act() -> None:
    """Whatever number it has there; the others come in as they were made, in their order."""
    ours = [held(1, 1), held(2, 2)]
    new = [held(8, 9), held(9, 7, made_at=NOON - timedelta(hours=9))]
    found = match(ours, [held(7, 1, act="act 1"), *new])
    assert (found.new, found.same, found.turns, found.conflicts) == (new, 1, [], [])


def test_a_tag_from_a_log_is_the_same_where_it_says_the_same() -> None:
    """Each computer loaded the log at a time of its own; a line more is one that is new."""
    ours = [held(1, 1, act=None), held(2, 2, act=None)]
    loaded = held(5, 1, act=None, made_at=LATER, origin="tags.csv")
    more = held(6, 3, act=None)
    found = match(ours, [loaded, more])
    assert (found.new, found.same, found.conflicts) == ([more], 1, [])


def test_what_was_undone_there_is_undone_here() -> None:
    """What became of a tag since comes in; where here is further, nothing does."""
    here, there = held(1, 1), held(4, 1, act="act 1", turns=[UNDONE])
    assert match([here], [there]).turns == [(1, (UNDONE,))]
    further = held(1, 1, turns=[UNDONE, REDONE])
    assert match([further], [there]).turns == []
    assert match([here], [replace(there, turns=(UNDONE, REDONE))]).turns == [(1, (UNDONE, REDONE))]


def test_undone_here_and_let_hold_again_there_is_a_conflict() -> None:
    """Two ways to two ends are told; two ways to one end are not worth a word."""
    mine = Turn(True, LATER, "bob", "other undo")
    here = held(1, 1, turns=[mine])
    other = held(4, 1, act="act 1", turns=[UNDONE, REDONE])
    found = match([here], [other])
    assert found.turns == []
    assert "was taken back in one of the two" in found.conflicts[0]
    assert match([here], [held(4, 1, act="act 1", turns=[UNDONE])]).conflicts == []


@pytest.mark.parametrize(("first", "last"), [(5, 8), (8, 12), (6, 7), (1, 20), (8, 5)])
def test_one_taggers_words_on_the_same_photos_of_both_are_a_conflict(first: int, last: int) -> None:
    """Neither clock can tell which is later: here stays, wherever the runs overlap."""
    found = match([held(1, 5, 8)], [held(7, first, last, species="m")])
    assert found.new == []
    [words] = found.conflicts
    assert words == (
        "1 tag by ann on placement P1 covers photos of which ann says something else here (there: "
        "m; here: g). What is here holds; the rest was left out. Look at these photos again."
    )


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(held(7, 9, 12), id="other photos"),
        pytest.param(held(7, 5, 8, tagger="bob", species="m"), id="another tagger"),
        pytest.param(held(7, 5, 8, ruling=True, species="m"), id="a ruling"),
        pytest.param(held(7, 5, 8, species="m", turns=[UNDONE]), id="taken back there"),
    ],
)
def test_what_contradicts_nobody_comes_in(other: Held) -> None:
    """Two people may differ, as they do; a ruling is nobody's tag."""
    assert match([held(1, 5, 8)], [other]).new == [other]


def test_the_same_word_of_the_same_tagger_is_not_said_twice() -> None:
    """Nothing is told of it either: both agree."""
    found = match([held(1, 5, 8)], [held(7, 5, 8, made_at=LATER)])
    assert (found.new, found.said_here, found.conflicts) == ([], 1, [])


def test_a_later_word_there_on_what_both_have_comes_in() -> None:
    """It replaces what it replaced there, and is no conflict: nothing was said here since."""
    both, later = held(1, 5, 8), held(9, 5, 8, species="m")
    assert match([both], [held(4, 5, 8, act="act 1"), later]).new == [later]
    since = held(2, 5, 8, species="f")
    assert match([both, since], [held(4, 5, 8, act="act 1"), later]).new == []


def test_two_instructors_rulings_on_the_same_photos_are_a_conflict() -> None:
    """A later ruling replaces an earlier one whoever ruled, so none comes in over ours."""
    mine = held(1, 5, 8, tagger="ike", ruling=True)
    found = match([mine], [held(7, 5, 8, tagger="ada", ruling=True, species="m")])
    assert found.new == []
    assert "1 ruling on placement P1 covers photos of which an instructor" in found.conflicts[0]


def test_a_name_with_words_of_its_own_in_both_is_told() -> None:
    """It may be two people; who only goes on in a copy is one."""
    assert match([held(1, 5)], [held(7, 9)]).in_both == ["ann"]
    assert match([held(1, 5)], [held(4, 5, act="act 1"), held(7, 9)]).in_both == []
    assert match([held(1, 5)], [held(7, 9, tagger="bob")]).in_both == []


def test_twice_is_the_same_as_once() -> None:
    """With what came in held here, nothing is new and the same conflicts are told again."""
    ours = [held(1, 1), held(2, 5, 8)]
    other = [held(4, 1, act="act 1", turns=[UNDONE]), held(5, 3), held(6, 6, species="m")]
    once = match(ours, other)
    assert [one.tag.number for one in once.new] == [5]
    now = [replace(ours[0], turns=(UNDONE,)), ours[1], *once.new]
    twice = match(now, other)
    assert (twice.new, twice.turns, twice.conflicts) == ([], [], once.conflicts)


# --- two studies ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ours", "other", "another"),
    [
        ((["P1"], ["T1"]), (["P2"], ["T2"]), True),
        ((["P1"], ["T1"]), (["P1"], ["T2"]), False),
        ((["P1"], ["T1"]), (["P2"], ["T1"]), False),
        ((["P1"], []), ([], []), True),
        (([], []), (["P1"], ["T1"]), False),
    ],
)
def test_another_study_has_no_placement_and_no_tray_in_common(
    ours: Any, other: Any, another: bool
) -> None:
    """A study without any is nobody's yet, so that everything may come in."""
    assert is_another_study(ours, other) is another


def test_a_tag_says_what_it_says_whatever_its_number() -> None:
    """The number, the time and how it came in are not part of what is said."""
    one = tag_of(1, number=4, origin="a", made_at=LATER)
    assert said(one) == said(tag_of(1))
    assert said(one) != said(tag_of(1, comment="eating"))
