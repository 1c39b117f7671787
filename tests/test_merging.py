"""Two laptops' copies of a study come together: photos, lines, tags; twice is the same as once."""

import shutil
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from builders import NOON, write_burst, write_photo
from stores import KINDS, POSTGRESQL, empty_schema
from test_store import run_child

from app import copywords
from core.clockfaults import ClockCorrection, ClockFault
from core.copies import Merged, restore
from core.coverage.rows import StretchRuling, Why
from core.errors import StudyError
from core.handout import Handout
from core.logs import LogKind
from core.model import Outline, Span, Tag, Where
from core.store import codes, copying, corrections, rulings
from core.store import tags as tag_store
from core.workspace import NewTag, Workspace

SPECIES = b"key,name,role\ng,gerbil,forager\nm,mouse,forager\n"
CAMERAS = b"placement,camera,trays,start,end\nP1,cam,T1,2026-03-14 11:00,2026-03-15 11:00\n"
TRAYS = (
    b"deployment,tray,set_out,picked_up,food_start_g,food_left_g\n"
    b"D1,T1,2026-03-14 11:30,2026-03-15 06:00,10,4\n"
)
BEGIN = NOON.replace(tzinfo=None)


@dataclass
class Laptop:
    """Somebody's copy of the study, with the photos where they copied them."""

    workspace: Workspace
    cards: Path

    def card(self, placement: str = "P1") -> Path:
        """Give where the card of a placement lies."""
        return self.cards / placement

    def ids(self, placement: str = "P1") -> dict[str, int]:
        """Give the photos of a placement by their names."""
        return {photo.file: photo.id for photo in self.workspace.base(placement).ordered}

    def tag(
        self, first: int, last: int, tagger: str = "ann", species: str = "g", **more: Any
    ) -> int:
        """Tag photos by their numbers on the card."""
        ids = self.ids(placement := str(more.pop("placement", "P1")))
        where = None if species in {"blank", "handler"} else Where.FED
        begin, end = (ids[f"IMG_{number:04}.JPG"] for number in (first, last))
        act = uuid.uuid4().hex
        new = NewTag(placement, begin, end, tagger, species, 1, where, action=act, **more)
        return self.workspace.tag(new, "Tag page")

    def undo(self, number: int, by: str = "ann") -> None:
        """Take a tag back."""
        self.workspace.turn([number], by, taken_back=True, own=False, action=uuid.uuid4().hex)

    def merge(self, other: "Laptop", *, only_look: bool = False) -> Merged:
        """Bring in what another laptop has."""
        return self.workspace.copies.merge(other.workspace.folder, only_look=only_look)

    def tags(self, tagger: str = "") -> list[Tag]:
        """Give the tags of somebody, or of all, in the order made."""
        with self.workspace._database.read() as connection:
            found = tag_store.tags(connection)
        return [tag for tag in found if not tagger or tag.tagger == tagger]

    def content(self) -> dict[str, copying.Digest]:
        """Give the digest of each table."""
        with self.workspace._database.read() as connection:
            return copying.digests(connection)


def laptop(folder: Path, *, photos: int = 9, database: str = "") -> Laptop:
    """Make a study with one card of its own folder."""
    workspace = Workspace.create(folder / "study", "UTC", "dunes", database)
    for kind, log in (
        (LogKind.SPECIES, SPECIES),
        (LogKind.CAMERAS, CAMERAS),
        (LogKind.TRAYS, TRAYS),
    ):
        workspace.load(kind, log, f"{kind}.csv")
    made = Laptop(workspace, folder / "cards")
    if photos:
        write_burst(made.card(), BEGIN, photos)
        workspace.scan(made.card(), "P1")
    return made


@pytest.fixture(params=KINDS)
def here(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Laptop]:
    """Give the instructor's study, in a file and on a server."""
    if request.param != POSTGRESQL:
        made = laptop(tmp_path / "here")
        yield made
        made.workspace.close()
        return
    with empty_schema() as address:
        made = laptop(tmp_path / "here", database=address)
        yield made
        made.workspace.close()


@pytest.fixture
def there(tmp_path: Path) -> Iterator[Laptop]:
    """Give a student's copy, with the same card somewhere else."""
    made = laptop(tmp_path / "there")
    yield made
    made.workspace.close()


def told(tags: list[Tag]) -> list[tuple[str, str, object, bool]]:
    """Give of tags what has to come through a merge."""
    return [(tag.tagger, tag.species, tag.made_at, tag.taken_back) for tag in tags]


def test_tags_come_in_with_who_when_and_what_became_of_them(here: Laptop, there: Laptop) -> None:
    """In the order in which they were made there, on the same photos by their content."""
    here.tag(1, 3, "bob")
    there.undo(there.tag(1, 3))
    there.tag(1, 3, species="m")
    there.tag(4, 6, "ike", ruling=True, comment="a tail")
    done = here.merge(there)
    assert (done.tags, done.photos, done.photos_same, done.conflicts) == (3, 0, 9, [])
    assert list(done.rulings_by) == ["ike"]
    assert told(here.tags("ann")) == told(there.tags("ann"))
    assert [tag.taken_back for tag in here.tags("ann")] == [True, False]
    [ruling] = here.tags("ike")
    ids = here.ids()
    assert (ruling.first_photo, ruling.last_photo) == (ids["IMG_0004.JPG"], ids["IMG_0006.JPG"])
    assert ruling.comment == "a tail"


def test_twice_is_the_same_as_once(here: Laptop, there: Laptop) -> None:
    """Not a row changes the second time, and the same conflicts are told."""
    here.tag(1, 3)
    there.tag(1, 2, species="m")
    there.undo(there.tag(4, 6, "bob"), "bob")
    write_burst(there.card("P2"), BEGIN, 3, first=50)
    there.workspace.scan(there.card("P2"), "P2")
    there.workspace.load(LogKind.SPECIES, b"key,name,role\nf,fox,other\nm,vole,forager\n", "s.csv")
    once = here.merge(there)
    assert (once.tags, once.photos, once.lines["species"]) == (1, 3, 1)
    before, version = here.content(), here.workspace.version()
    twice = here.merge(there)
    assert here.content() == before
    assert here.workspace.version() == version
    assert (twice.tags, twice.tags_same, twice.photos, twice.photos_same) == (0, 1, 0, 12)
    assert list(twice.conflicts) == list(once.conflicts)


def test_both_ways_round_both_hold_the_same_words(here: Laptop, there: Laptop) -> None:
    """Merged here and then there, every tag of both is in both."""
    here.tag(1, 3, "bob")
    there.tag(4, 6)
    here.merge(there)
    there.merge(here)
    words = [sorted(map(str, told(one.tags()))) for one in (here, there)]
    assert words[0] == words[1]
    assert len(words[0]) == 2


def test_the_other_is_not_changed(here: Laptop, there: Laptop) -> None:
    """Neither its file nor its settings; it may be open, and tagged in, all the while."""
    there.tag(1, 3)
    before = there.content()
    here.merge(there)
    assert there.content() == before
    assert sorted(one.name for one in there.workspace.folder.iterdir() if "-" not in one.name) == [
        "lastbite.db", "study.toml",
    ]  # fmt: skip


def test_a_look_stores_nothing(here: Laptop, there: Laptop) -> None:
    """It says the same as the merge then does."""
    there.tag(1, 3)
    before = here.content()
    look = here.merge(there, only_look=True)
    assert here.content() == before
    assert replace(look, only_looked=False) == here.merge(there)


def test_a_back_up_is_as_good_as_the_study(here: Laptop, there: Laptop, tmp_path: Path) -> None:
    """It is what a student hands in."""
    there.tag(1, 3)
    there.workspace.copies.backup(tmp_path / "ann.lastbite")
    assert here.workspace.copies.merge(tmp_path / "ann.lastbite").tags == 1
    assert here.merge(there).tags == 0


def test_clocks_of_laptops_that_are_hours_apart_change_no_order(
    here: Laptop, there: Laptop
) -> None:
    """A student's last word there is their last word here, whatever the clocks said."""
    for species, hours in (("g", 0), ("m", -9)):
        there.tag(1, 9, species=species)
        shift_last_tag(there, timedelta(hours=hours))
    here.merge(there)
    [visit] = here.workspace.view("P1").visits
    assert [tag.species for tag in here.tags()] == ["g", "m"]
    assert visit.answer.species == ("m",)


def shift_last_tag(one: Laptop, by: timedelta) -> None:
    """Make the last tag as if the laptop's clock had been wrong."""
    with one.workspace._database.begin() as connection:
        tag = tag_store.tags(connection)[-1]
        assert tag.made_at is not None
        at = (tag.made_at + by).isoformat()
        connection.exec_driver_sql("DROP TRIGGER IF EXISTS tags_are_not_changed")
        connection.exec_driver_sql("UPDATE tags SET made_at = ? WHERE number = ?", (at, tag.number))


def test_a_tagger_of_one_name_on_both_is_told(here: Laptop, there: Laptop) -> None:
    """Where they said other things of the same photos, here stays; elsewhere theirs come in."""
    here.tag(1, 3, "Nomsa")
    there.tag(2, 2, "nomsa", species="m")
    there.tag(6, 7, "nomsa", species="m")
    done = here.merge(there)
    assert done.tags == 1
    assert told(here.tags())[1][:2] == ("Nomsa", "m")
    [words] = done.conflicts
    assert "1 tag by Nomsa on placement P1 covers photos of which Nomsa says" in words
    assert "(there: mouse, fed, from IMG_0002.JPG; here: gerbil, fed, from " in words


def test_two_rulings_that_differ_name_both_instructors(here: Laptop, there: Laptop) -> None:
    """Who rules here and there, and what: here stays."""
    here.tag(1, 3, "ike", ruling=True)
    there.tag(2, 2, "prof", species="m", ruling=True)
    [words] = here.merge(there).conflicts
    assert "an instructor says something else here (there: mouse, " in words
    assert ", by prof; here: gerbil, " in words
    assert ", by ike)" in words


def test_what_a_student_goes_on_to_say_of_a_copy_comes_in(here: Laptop, tmp_path: Path) -> None:
    """A copy was handed out with tags; what was changed in it since is no conflict."""
    first = here.tag(1, 3)
    here.workspace.copies.backup(tmp_path / "out")
    restore(tmp_path / "out", tmp_path / "copy")
    with Workspace.open(tmp_path / "copy") as workspace:
        copy = Laptop(workspace, here.cards)
        copy.tag(1, 3, species="m")
        copy.undo(first)
        done = here.merge(copy)
    assert (done.tags, done.tags_same, done.undone, done.conflicts) == (1, 1, 1, [])
    assert [(tag.species, tag.taken_back) for tag in here.tags()] == [("g", True), ("m", False)]


# --- photos --------------------------------------------------------------------------------------


def test_photos_come_in_and_are_found_when_their_card_is_scanned_here(
    here: Laptop, there: Laptop
) -> None:
    """A card that only the student scanned; its folder there is not at hand here."""
    write_burst(there.card("P2"), BEGIN, 4, first=50)
    there.workspace.scan(there.card("P2"), "P2")
    there.tag(50, 53, placement="P2")
    done = here.merge(there)
    assert (done.photos, done.cards, done.tags) == (4, 1, 1)
    shutil.move(there.card("P2"), here.card("P2"))
    report = here.workspace.scan(here.card("P2"), "P2")
    assert (report.moved_here, report.new) == (4, 0)
    assert [tag.placement for tag in here.tags()] == ["P2"]
    assert "P2" not in here.workspace.missing_originals()


def test_further_photos_of_a_card_come_in(here: Laptop, there: Laptop) -> None:
    """The student copied the card again when it was full."""
    write_burst(there.card(), BEGIN + timedelta(hours=1), 2, first=10)
    there.workspace.scan(there.card(), "P1")
    there.tag(10, 11)
    done = here.merge(there)
    assert (done.photos, done.photos_same, done.tags, done.conflicts) == (2, 9, 1, [])
    assert len(here.ids()) == 11


def test_copies_stay_copies(here: Laptop, there: Laptop) -> None:
    """A photo that is twice on a card that comes in counts once."""
    write_photo(there.card("P2") / "a.jpg", BEGIN, shade=70)
    shutil.copy(there.card("P2") / "a.jpg", there.card("P2") / "b.jpg")
    there.workspace.scan(there.card("P2"), "P2")
    assert here.merge(there).photos == 2
    assert len(here.ids("P2")) == 1
    [card] = [card for card in here.workspace.cards() if card.placement == "P2"]
    assert (card.files, card.copies) == (2, 1)


def test_one_folder_of_two_placements_on_two_laptops(
    here: Laptop, there: Laptop, tmp_path: Path
) -> None:
    """Cards are mounted at the same place everywhere: the folder is told to be elsewhere."""
    usb = tmp_path / "usb"
    write_burst(usb, BEGIN, 3, first=30)
    here.workspace.scan(usb, "P3")
    shutil.rmtree(usb)
    write_burst(usb, BEGIN, 3, first=60)
    there.workspace.scan(usb, "P4")
    assert here.merge(there).photos == 3
    folders = {card.placement: card.folder for card in here.workspace.cards()}
    assert (folders["P3"], folders["P4"]) == (str(usb), f"{usb} (another computer)")
    assert here.workspace.card_in(usb).placement == "P3"


def test_tags_of_photos_that_are_left_out_are_left_out(here: Laptop, there: Laptop) -> None:
    """The card was scanned under another placement there: told, and nothing guessed."""
    there.workspace.move_card(there.workspace.cards()[0].id, "P2")
    there.tag(1, 3, placement="P2")
    before = here.content()
    done = here.merge(there)
    assert here.content() == before
    assert [words.split(". ")[0] for words in done.conflicts] == [
        "9 photos of placement P2 there are under placement P1 here",
        "1 tags on placement P2 are on photos that were left out",
    ]


# --- logs and clocks -----------------------------------------------------------------------------


def test_lines_come_in_and_those_that_differ_are_told(here: Laptop, there: Laptop) -> None:
    """The line here stays, in every log."""
    load = there.workspace.load
    load(LogKind.CAMERAS, CAMERAS.replace(b"P1,cam", b"P1,new"), "c.csv")
    load(LogKind.CAMERAS, CAMERAS.replace(b"P1", b"P9"), "c.csv")
    load(LogKind.TRAYS, TRAYS.replace(b"10,4", b"10,5"), "t.csv")
    load(LogKind.TRAYS, TRAYS.replace(b"D1", b"D9"), "t.csv")
    done = here.merge(there)
    assert {log: many for log, many in done.lines.items() if many} == {"cameras": 1, "trays": 1}
    assert [words.split(" here ")[0] for words in done.conflicts] == [
        "cameras: P1 has camera 'cam'", "trays: D1 has food_left_g '4'",
    ]  # fmt: skip
    assert [one.deployment for one in here.workspace.trays()] == ["D1", "D9"]
    assert str(here.workspace.trays()[0].food_left_g) == "4"


def test_a_key_that_means_another_animal_there_brings_no_tags(here: Laptop, there: Laptop) -> None:
    """A tag says a key: brought in, it would name the wrong animal."""
    rows = [
        {"key": "g", "name": "genet", "role": "other"},
        {"key": "x", "name": "Mouse", "role": "forager"},
    ]
    there.workspace.save_rows(LogKind.SPECIES, rows)
    there.tag(1, 2)
    there.tag(3, 4, species="x")
    done = here.merge(there)
    assert (done.tags, done.lines["species"]) == (0, 0)
    words = " ".join(done.conflicts)
    assert "1 tags say 'g', which is genet there and gerbil here" in words
    assert "Mouse (x) there is too like mouse (m) here" in words


def test_clock_checks_that_contradict_are_left_out(here: Laptop, there: Laptop) -> None:
    """Together they would run backwards; then the whole clock log could not be used."""
    head = b"placement,camera_showed,true_time\n"
    here.workspace.load(LogKind.CLOCKS, head + b"P1,2026-03-14 12:00:00,2026-03-14 13:00:00\n", "c")
    there.workspace.load(
        LogKind.CLOCKS, head + b"P1,2026-03-14 12:30:00,2026-03-14 12:10:00\n", "c"
    )
    done = here.merge(there)
    assert done.lines["clocks"] == 0
    assert "the checks of P1 there and those here contradict each other" in done.conflicts[0]
    there.workspace.load(
        LogKind.CLOCKS, head + b"P1,2026-03-14 12:30:00,2026-03-14 13:31:00\n", "c"
    )
    assert here.merge(there).lines["clocks"] == 1
    assert len(here.workspace.clock_checks()) == 2


def check(one: Laptop, showed: str, true: str) -> None:
    """Hold a clock check of the first day."""
    line = f"P1,2026-03-14 {showed},2026-03-14 {true}\n"
    log = f"placement,camera_showed,true_time\n{line}".encode()
    one.workspace.load(LogKind.CLOCKS, log, "clocks.csv")


def test_clock_corrections_come_in_where_nobody_corrected_here(here: Laptop, there: Laptop) -> None:
    """With their piece, who and when; where both corrected in other ways, it is told."""
    first = there.ids()["IMG_0002.JPG"]
    correct(there, ClockCorrection("P1", ClockFault.MINUTES, 3600, first_photo=first))
    done = here.merge(there)
    assert (done.corrections, done.conflicts) == (1, [])
    with here.workspace._database.read() as connection:
        [brought] = corrections.corrections(connection)
    assert (brought.first_photo, brought.shift_s, brought.by, brought.made_at) == (
        here.ids()["IMG_0002.JPG"], 3600, "ike", NOON,
    )  # fmt: skip
    assert here.merge(there).corrections == 0
    correct(there, ClockCorrection("P1", ClockFault.MINUTES, -60))
    done = here.merge(there)
    assert done.corrections == 0
    assert "The clock corrections of placement P1 there are not those of here" in done.conflicts[0]


def correct(one: Laptop, row: ClockCorrection) -> None:
    """Hold a correction that the instructor made."""
    with one.workspace._database.begin() as connection:
        corrections.add_corrections(connection, [replace(row, by="ike", made_at=NOON)])


# --- outlines, watched time, and what stays there ------------------------------------------------

ROUND = Outline("T1", 0.5, 0.4, 0.2, 0.1, 0.0, "ann")


def test_outlines_come_in_where_nobody_drew_here(here: Laptop, there: Laptop) -> None:
    """As drawn; drawn further from ours it comes in too; drawn in both it is told, ours stays."""
    there.workspace.set_outline("P1", ROUND)
    done = here.merge(there)
    assert (done.outlines, done.conflicts) == (1, [])
    assert here.workspace.outlines("P1") == [ROUND]
    assert "Outlines of trays: 1" in "\n".join(copywords.merged(done))
    before = here.content()
    assert here.merge(there).outlines == 0
    assert here.content() == before
    further = replace(ROUND, cx=0.6, by="ben")
    there.workspace.set_outline("P1", further)
    assert here.merge(there).outlines == 1
    assert here.workspace.outlines("P1") == [further]
    here.workspace.set_outline("P1", replace(ROUND, cx=0.3))
    assert (here.merge(there).outlines, there.merge(here).outlines) == (0, 1)
    there.workspace.set_outline("P1", replace(ROUND, cx=0.9, by="ben"))
    here.workspace.set_outline("P1", replace(ROUND, cx=0.8))
    done = here.merge(there)
    assert done.outlines == 0
    assert "was drawn by ann here and by ben there. That of here holds" in done.conflicts[0]
    assert here.workspace.outlines("P1") == [replace(ROUND, cx=0.8)]


def say_of_time(one: Laptop, *, accepted: bool, by: str, hours: int = 1) -> StretchRuling:
    """Hold what somebody said of a blocked lens."""
    span = Span(NOON, NOON + timedelta(hours=hours))
    looked_at = (one.ids()["IMG_0002.JPG"],)
    said = StretchRuling(
        "P1", Why.LENS_BLOCKED, span, accepted, "leaf", by, NOON, look_at=looked_at
    )
    with one.workspace._database.begin() as connection:
        return replace(said, number=rulings.add_ruling(connection, said))


def test_what_was_said_of_suspected_time_comes_in(here: Laptop, there: Laptop) -> None:
    """With its photos, who and when, and that it was taken back later; twice is once."""
    said = say_of_time(there, accepted=True, by="ike")
    done = here.merge(there)
    assert (done.stretches, done.conflicts) == (1, [])
    with here.workspace._database.read() as connection:
        [brought] = rulings.rulings(connection)
    assert brought == replace(said, number=brought.number, look_at=(here.ids()["IMG_0002.JPG"],))
    assert here.merge(there).stretches == 0
    with there.workspace._database.begin() as connection:
        rulings.take_back(connection, said.number, NOON + timedelta(days=1), "ike")
    assert here.merge(there).stretches == 1
    with here.workspace._database.read() as connection:
        [brought] = rulings.rulings(connection)
    assert (brought.taken_back, brought.taken_back_by) == (NOON + timedelta(days=1), "ike")
    before = here.content()
    assert here.merge(there).stretches == 0
    assert here.content() == before


def test_a_yes_against_a_no_over_the_same_time_is_told(here: Laptop, there: Laptop) -> None:
    """Ours stays; the same word by somebody else, or another time, is no conflict."""
    say_of_time(here, accepted=False, by="ada")
    say_of_time(there, accepted=True, by="ike", hours=2)
    done = here.merge(there)
    assert done.stretches == 0
    assert "ada says not so here, ike says so there. That of here holds" in done.conflicts[0]
    say_of_time(there, accepted=False, by="ike", hours=3)
    assert here.merge(there).stretches == 1


def test_what_a_merge_never_brings_in_is_told(here: Laptop, there: Laptop) -> None:
    """People, shares, reference photos, words on codes: how many stay there, and whose."""
    assert here.merge(there).left_there == []
    here.workspace.people.add("Nomsa")
    for name in ("nomsa", "Piet"):
        there.workspace.people.add(name)
    there.workspace.people.hand_out(Handout(), "ike")
    photo = there.ids()["IMG_0001.JPG"]
    there.workspace.people.turn_reference(photo, "g", "ike")
    with there.workspace._database.begin() as connection:
        codes.add_decision(
            connection, codes.Decision("P1", "x", False, "a clock check", made_at=NOON)
        )
    done = here.merge(there)
    shares = len(there.workspace.people.shares())
    assert shares > 0
    assert list(done.left_there) == [
        "1 people on its list who are not on this one: Piet",
        f"{shares} shares that were handed out",
        "1 reference photos",
        "1 words on proposals from codes (what was accepted is in the logs and tags)",
    ]
    [words] = [one for one in copywords.merged(done) if one.startswith("Left there")]
    assert "Piet" in words
    here.workspace.people.turn_reference(here.ids()["IMG_0001.JPG"], "g", "ike")
    assert not [one for one in here.merge(there).left_there if "reference" in one]


# --- whole studies -------------------------------------------------------------------------------


def test_a_different_study_is_refused(here: Laptop, tmp_path: Path) -> None:
    """It has no placement and no tray in common; nothing comes in."""
    other = Laptop(Workspace.create(tmp_path / "other", "UTC"), tmp_path)
    other.workspace.load(LogKind.CAMERAS, CAMERAS.replace(b"P1", b"Q").replace(b"T1", b"U"), "c")
    before = here.content()
    with pytest.raises(StudyError, match="is another study"):
        here.merge(other)
    assert here.content() == before
    other.workspace.close()


def test_an_empty_study_takes_all(there: Laptop, tmp_path: Path) -> None:
    """A class server that was just set up."""
    there.tag(1, 3)
    with Workspace.create(tmp_path / "new", "UTC") as workspace:
        done = Laptop(workspace, tmp_path).merge(there)
        assert (done.tags, done.photos, done.conflicts) == (1, 9, [])
        assert dict(done.lines) == {"species": 2, "cameras": 1, "trays": 1, "clocks": 0}
        assert len(list(workspace.outcome_rows())) == 1


def test_settings_that_differ_are_told(here: Laptop, there: Laptop) -> None:
    """Those that results hang on; ours hold."""
    toml = there.workspace.folder / "study.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace("gap_s = 120", "gap_s = 60"), "utf-8")
    [words] = here.merge(there).conflicts
    assert words == "study.toml: gap is 0:02:00 here and 0:01:00 there. That of here holds."


def test_what_is_no_study_is_said(here: Laptop, tmp_path: Path) -> None:
    """A folder without settings, and a file that is no back-up."""
    (tmp_path / "note.txt").write_text("x", encoding="utf-8")
    with pytest.raises(StudyError, match="is no study: it has no"):
        here.workspace.copies.merge(tmp_path)
    with pytest.raises(StudyError, match="is no back-up"):
        here.workspace.copies.merge(tmp_path / "note.txt")


FULL = """
    import sys
    from pathlib import Path
    from sqlalchemy import event
    from sqlalchemy.engine import Engine
    from core.errors import StudyError
    from core.workspace import Workspace

    ours, theirs = map(Path, sys.argv[1:])

    @event.listens_for(Engine, "connect")
    def limit(connection, _record):
        if Path(connection.execute("PRAGMA database_list").fetchone()[2]).parent == ours:
            connection.execute("PRAGMA max_page_count = 1")

    with Workspace.open(ours) as workspace:
        try:
            workspace.copies.merge(theirs)
        except StudyError as fault:
            print(fault)
"""


def test_a_full_disk_leaves_both_as_they_were(there: Laptop, tmp_path: Path) -> None:
    """SQLite's own page limit stands in for it: words, nothing half brought in, then all of it."""
    made = laptop(tmp_path / "ours", photos=0)
    write_burst(there.card("P2"), BEGIN, 300)
    there.workspace.scan(there.card("P2"), "P2")
    there.tag(1, 3)
    before, theirs = made.content(), there.content()
    child = run_child(FULL, str(made.workspace.folder), str(there.workspace.folder))
    said, _ = child.communicate(timeout=60)
    assert "the disk is full. Nothing of this step was stored" in said
    assert (made.content(), there.content()) == (before, theirs)
    assert made.merge(there).photos == 309
    made.workspace.close()
