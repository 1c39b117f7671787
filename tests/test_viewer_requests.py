"""Which requests of the viewer are not answered, and with what words."""

import sqlite3
from dataclasses import replace
from typing import Any

import pytest
from asking import Page, tags_by
from sqlalchemy import event
from sqlalchemy.engine import Engine

from app.viewer import bodies, tickets
from core.errors import StudyError
from core.store import tags as tag_store
from core.workspace import Workspace

PLACES: list[tuple[Any, ...]] = [
    ("GET", "/tagging/queue", None, "placement=SK-OPEN"),
    ("POST", "/tagging/runs", {"placement": "SK-OPEN", "runs": []}),
    ("POST", "/tagging/acts", {"acts": []}),
    ("POST", "/tagging/outline", {}),
]


@pytest.mark.parametrize("asked", PLACES)
@pytest.mark.parametrize("ticket", ["", "x", "x.y", "ü"])
def test_without_a_good_ticket_nothing_is_answered(
    thandi: Page, asked: tuple[Any, ...], ticket: str
) -> None:
    """No ticket, or none of ours: 401 and words."""
    status, words = thandi.refusal(*asked, **{tickets.HEADER: ticket})
    assert (status, words.startswith("This page's ticket ")) == (401, True)


@pytest.mark.parametrize("asked", PLACES)
def test_another_studys_ticket_opens_nothing(
    thandi: Page, empty: Workspace, asked: tuple[Any, ...]
) -> None:
    """The same name, signed by another study."""
    ticket = tickets.ticket_for("Thandi", instructor=True)
    foreign = tickets.signed(ticket, empty.ticket_secret())
    assert thandi.refusal(*asked, **{tickets.HEADER: foreign})[0] == 401


@pytest.mark.parametrize("asked", PLACES)
@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_sites_are_not_answered(thandi: Page, asked: tuple[Any, ...], site: str) -> None:
    """A good ticket does not help a page of another site."""
    assert thandi.refusal(*asked, **{"Sec-Fetch-Site": site})[0] == 403
    assert replace(thandi, headers={"Sec-Fetch-Site": "none"}).ask(*PLACES[0]).status == 200


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"acts":' + b"9" * 5000 + b"}",
        b"[]",
        b'"acts"',
        b"null",
        b'{"acts": {}}',
        b'{"acts": [5]}',
        b'{"acts": [{}]}',
        b'{"acts": [{"id": "ABC"}]}',
        b'{"acts": [{"id": null}]}',
        b'{"acts": NaN}',
    ],
    ids=repr,
)
def test_a_body_that_makes_no_sense_keeps_nothing(thandi: Page, body: bytes) -> None:
    """No JSON, too deep, another type, an act without an id: 400, words, nothing kept."""
    status, words = thandi.refusal("POST", "/tagging/acts", body)
    assert (status, words.endswith("Load the page again.")) == (400, True)


def test_one_act_without_an_id_keeps_all_of_them(thandi: Page) -> None:
    """The request cannot be answered act by act, so none is kept."""
    body = {"acts": [thandi.tag(thandi.ends()[0]), {"do": "tag"}]}
    assert thandi.refusal("POST", "/tagging/acts", body)[0] == 400
    assert tags_by(thandi.workspace, "Thandi") == []


def test_a_body_that_is_too_large_is_not_read_on(thandi: Page) -> None:
    """One byte above the limit is refused, one at it is read."""
    filled = b'{"acts":[]}'.ljust(bodies.LARGEST)
    assert thandi.ask("POST", "/tagging/acts", filled).status == 200
    status, words = thandi.refusal("POST", "/tagging/acts", filled + b" ")
    assert status == 413
    assert "1000000 bytes" in words


@pytest.mark.parametrize(
    ("said", "status", "words"),
    [
        ({"placement": "SK-OPN"}, 404, "Did you mean 'SK-OPEN'?"),
        ({}, 404, "Placement '' is not known"),
        ({"placement": 5}, 400, "`placement` is 5, not a text"),
        ({"runs": [[1, 2]] * 61}, 400, "61 runs are asked for at once"),
        ({"runs": [[1]]}, 400, "A run is [1], not the ids"),
        ({"runs": [[1, "2"]]}, 400, "not the ids of its first and its last photo"),
        ({"runs": [[1, True]]}, 400, "not the ids of its first and its last photo"),
        ({"runs": [{"first": 1}]}, 400, "not the ids of its first and its last photo"),
        ({"runs": [[1, 2**70]]}, 400, "not the ids of its first and its last photo"),
        ({"runs": 7}, 400, "`runs` is 7, not a list"),
    ],
)
def test_runs_that_cannot_be_asked_for(
    thandi: Page, said: dict[str, Any], status: int, words: str
) -> None:
    """Thing, value and way out, and no copy is made."""
    body = {"placement": "SK-OPEN"} | said if said.keys() == {"runs"} else said
    found = thandi.refusal("POST", "/tagging/runs", body)
    assert found[0] == status
    assert words in found[1]
    assert thandi.maker.wanted == []


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("", 404, "Placement '' is not known"),
        ("placement=nowhere", 404, "Placement 'nowhere' is not known"),
        ("placement=%ED%A0%80", 404, "is not known"),
        ("placement=SK-OPEN&show=mine", 400, "`show` is none of: not tagged by me"),
        ("placement=SK-OPEN&show=species", 400, "`show` is none of"),
        ("placement=SK-OPEN&show=species:", 400, "`show` is none of"),
        ("placement=SK-OPEN&order=random", 400, "`order` is none of: time, changed, quiet"),
    ],
)
def test_queues_that_cannot_be_asked_for(thandi: Page, query: str, status: int, words: str) -> None:
    """Thing, value and way out."""
    found = thandi.refusal("GET", "/tagging/queue", None, query)
    assert found[0] == status
    assert words in found[1]


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/tagging/"),
        ("GET", "/tagging/runs"),
        ("POST", "/tagging/queue"),
        ("POST", "/tagging/x"),
    ],
)
def test_another_address_has_nothing(thandi: Page, method: str, path: str) -> None:
    """It is said in JSON as everything is, not by the page."""
    assert thandi.refusal(method, path)[0] == 404


def test_a_study_that_cannot_be_written_says_so_and_the_act_may_come_again(
    thandi: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A locked database is no fault of the act: 503, not refused, and later it is kept once."""
    acts = [thandi.tag(pair, "blank") for pair in thandi.ends()[:3]]
    keep, calls = Workspace.tag, []

    def locked(*args: Any, **kwargs: Any) -> int:
        calls.append(1)
        if len(calls) == 2:
            raise StudyError("lastbite.db: another program has kept it locked for 10 s.")
        return keep(*args, **kwargs)

    monkeypatch.setattr(Workspace, "tag", locked)
    status, words = thandi.refusal("POST", "/tagging/acts", {"acts": acts})
    assert (status, words) == (503, "lastbite.db: another program has kept it locked for 10 s.")
    assert len(thandi.keep(*acts)) == 3
    assert len(tags_by(thandi.workspace, "Thandi")) == 3


def test_on_a_full_disk_every_tag_waits_and_is_kept_once_when_there_is_room(
    demo: Workspace,
) -> None:
    """SQLite's own page limit stands in for it: what was kept is kept, the rest may come again."""
    limits = [1]

    def limit(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {limits[0]}")

    event.listen(Engine, "connect", limit)
    try:
        with Workspace.open(demo.folder) as full:
            thandi = Page(full)
            ends = thandi.ends()[0]
            acts = [thandi.tag(ends, "blank", comment="c" * 500) for _ in range(60)]
            status, words = thandi.refusal("POST", "/tagging/acts", {"acts": acts})
            assert status == 503
            assert "the disk is full. Nothing of this step was stored; free some space" in words
            before = len(tags_by(full, "Thandi"))
            assert before < 60
    finally:
        event.remove(Engine, "connect", limit)
    with Workspace.open(demo.folder) as roomy:
        thandi = Page(roomy)
        assert len(thandi.keep(*acts)) == 60
        with roomy._database.read() as connection:
            made = [one for one in tag_store.tags(connection) if one.tagger == "Thandi"]
        assert len(made) == 60


def test_answers_are_the_pages_alone_and_are_not_kept(thandi: Page) -> None:
    """No other site may read them, no browser keeps them, none guesses what they are."""
    answer = thandi.ask("GET", "/tagging/queue", query="placement=SK-OPEN")
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "access-control-allow-origin" not in answer.headers
