"""A study in an SQLite file: what can befall a file is said in words, and nothing is lost."""

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from builders import card_with
from sqlalchemy import Connection, text
from sqlalchemy.exc import OperationalError
from stores import SQLITE, place_of

from core.errors import StudyError
from core.store import Database, cards, migrations


@pytest.fixture
def path(tmp_path: Path) -> Iterator[Path]:
    """Give a path for a database, with the characters that break addresses."""
    with place_of(SQLITE, tmp_path) as place:
        yield Path(place)


@pytest.fixture
def database(path: Path) -> Iterator[Database]:
    """Give the database of a new study."""
    made = Database.create(path)
    yield made
    made.dispose()


def test_a_study_is_one_file_when_it_is_closed(path: Path) -> None:
    """Nothing is left beside it, and making it a second time is refused."""
    Database.create(str(path)).dispose()
    with pytest.raises(StudyError, match="is there already"):
        Database.create(path)
    assert [file.name for file in path.parent.iterdir()] == ["lastbite.db"]


def test_a_study_that_cannot_be_made_leaves_no_file(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the first step breaks, the new file is removed again."""

    def s01_broken(connection: Connection) -> None:
        connection.exec_driver_sql("CREATE TABLE weather (rain TEXT)")
        raise RuntimeError("half-way")

    monkeypatch.setattr(migrations, "STEPS", [s01_broken])
    with pytest.raises(RuntimeError, match="half-way"):
        Database.create(path)
    assert list(path.parent.iterdir()) == []


def test_an_address_may_be_written_out(tmp_path: Path) -> None:
    """An SQLAlchemy address of an SQLite file does as well as its path."""
    address = f"sqlite:///{tmp_path.as_posix()}/x.db"
    Database.create(address).dispose()
    Database.open(address).dispose()
    assert (tmp_path / "x.db").is_file()


def test_a_missing_study_is_not_made_by_opening(path: Path) -> None:
    """Opening a study that is not there names the path and leaves no file behind."""
    with pytest.raises(StudyError, match=r"There is no study at .*lastbite\.db"):
        Database.open(path)
    assert list(path.parent.iterdir()) == []


def test_a_study_cannot_be_made_in_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """Making a study in a missing folder is said in words."""
    with pytest.raises(StudyError, match="cannot be made"):
        Database.create(tmp_path / "none" / "lastbite.db")


def test_a_file_deleted_while_open_is_not_made_anew(database: Database, path: Path) -> None:
    """Where the file goes away between two uses, it is an error and no empty one appears."""
    database.dispose()
    path.unlink()
    with pytest.raises(StudyError, match="cannot be opened"), database.read():
        pass
    assert not path.exists()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"deployment,tray\n" * 1000, "is no SQLite database"),
        (b"", "not one of a study"),
    ],
)
def test_a_file_that_is_no_study_is_left_alone(path: Path, content: bytes, words: str) -> None:
    """A file of another kind is refused in words and not written into."""
    path.write_bytes(content)
    with pytest.raises(StudyError, match=words):
        Database.open(path)
    assert path.read_bytes() == content


def test_another_programs_database_is_left_alone(path: Path) -> None:
    """An SQLite database that no Lastbite made is refused, and no table is added to it."""
    with contextlib.closing(sqlite3.connect(path)) as foreign:
        foreign.execute("CREATE TABLE songs (title)")
    with pytest.raises(StudyError, match="not one of a study"):
        Database.open(path)
    with contextlib.closing(sqlite3.connect(path)) as foreign:
        assert foreign.execute("SELECT name FROM sqlite_master").fetchall() == [("songs",)]


def test_a_damaged_study_is_said_in_words(database: Database, path: Path) -> None:
    """Pages overwritten by a failing disk give words, not a traceback."""
    with database.begin() as connection:
        card_with(connection, "P1", *(f"{number}.jpg" for number in range(2000)))
    database.dispose()
    content = bytearray(path.read_bytes())
    content[8192:] = b"\xa5" * (len(content) - 8192)
    path.write_bytes(content)
    with pytest.raises(StudyError, match="the database is damaged"):
        read_photos(path)


def read_photos(path: Path) -> None:
    """Open a study and fetch its photos."""
    database = Database.open(path)
    with contextlib.ExitStack() as stack:
        stack.callback(database.dispose)
        cards.photos(stack.enter_context(database.read()), "P1")


def test_a_full_disk_is_said_in_words(database: Database, path: Path) -> None:
    """Where no page is left, the change is undone whole and the words name the file."""
    with database.begin() as connection:
        pages = connection.execute(text("PRAGMA page_count")).scalar_one()
    with pytest.raises(StudyError, match="the disk is full") as full:
        add_many(database, pages + 5)
    assert str(path) in str(full.value)
    with database.begin() as connection:
        assert cards.cards(connection) == []
        connection.execute(text("PRAGMA max_page_count = 1000000"))
        card_with(connection, "P1", "1.jpg")


def add_many(database: Database, pages: int) -> None:
    """Add more photos than go into a file of so many pages."""
    with database.begin() as connection:
        connection.execute(text(f"PRAGMA max_page_count = {pages}"))
        card_with(connection, "P1", *(f"{number}.jpg" for number in range(5000)))


@pytest.fixture
def no_rights() -> Iterator[Path]:
    """Give a study's path in a folder where the user of the test may not write."""
    if os.name != "posix":
        pytest.skip("read-only folders are set up the POSIX way")
    folder = Path(tempfile.mkdtemp())
    path = folder / "lastbite.db"
    Database.create(path).dispose()
    path.chmod(0o444)
    folder.chmod(0o555)
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    if root:
        os.seteuid(65534)  # nobody: root may write anywhere
    try:
        if os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids):
            pytest.skip("this system lets the user write into a read-only folder")
        yield path
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o755)
        path.chmod(0o644)
        shutil.rmtree(folder)


def test_a_read_only_folder_is_said_in_words(no_rights: Path) -> None:
    """A study that may not be written names the file and what to allow; a new one likewise."""
    with pytest.raises(StudyError, match=r"cannot be (written|opened)") as refused:
        add_photo(no_rights)
    assert str(no_rights) in str(refused.value)
    with pytest.raises(StudyError, match="cannot be made"):
        Database.create(no_rights.with_name("other.db"))


def add_photo(path: Path) -> None:
    """Open a study and add a photo."""
    database = Database.open(path)
    with contextlib.ExitStack() as stack:
        stack.callback(database.dispose)
        card_with(stack.enter_context(database.begin()), "P1", "1.jpg")


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (sqlite3.SQLITE_READONLY, "it cannot be written"),
        (sqlite3.SQLITE_READONLY_DBMOVED, "it cannot be written"),
        (sqlite3.SQLITE_IOERR_WRITE, "the disk gave a fault"),
        (sqlite3.SQLITE_CANTOPEN, "it cannot be opened"),
    ],
)
def test_faults_that_need_a_broken_disk(database: Database, code: int, words: str) -> None:
    """A fault of the file system in the middle of a change is said in words, and undone."""
    fault = sqlite3.OperationalError("as SQLite says it")
    fault.sqlite_errorcode = code
    with pytest.raises(StudyError, match=words):
        add_and_fail(database, OperationalError("INSERT", {}, fault))
    with database.read() as connection:
        assert cards.cards(connection) == []


def add_and_fail(database: Database, fault: Exception) -> None:
    """Add a photo, then meet a fault in the same change."""
    with database.begin() as connection:
        card_with(connection, "P1", "1.jpg")
        raise fault
