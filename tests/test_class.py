"""A small class tags for a few seconds on a served study that is killed once: nothing is lost."""

import os
from pathlib import Path

import pytest
from benchmarks.bench_class import make, run
from stores import KINDS, POSTGRESQL, empty_schema


@pytest.mark.skipif(os.name != "posix", reason="a server is killed the POSIX way")
@pytest.mark.parametrize("kind", KINDS)
def test_no_tag_is_lost_doubled_or_on_another_visit(kind: str, tmp_path: Path) -> None:
    """Every tag that was answered is there once, though some were sent again after the kill."""
    if kind == POSTGRESQL:
        with empty_schema() as address:
            check(make(tmp_path, address))
    else:
        check(make(tmp_path))


def check(study: Path) -> None:
    """Six taggers, one tag each 0.3 s, one kill, four openings of the page at once."""
    found = run(study, taggers=6, seconds=3, every_s=0.3, kills=1, openings=4)
    assert found.faults == []
    assert found.tags >= 12
    assert found.again > 0
    assert (found.lost, found.doubled, found.misplaced, found.strange) == (0, 0, 0, 0)
    assert len(found.opened_s) == 4
