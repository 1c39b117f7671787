"""Decide how a PostgreSQL server is reached, what it has to be, and how its faults are said.

A password is never shown. It is best kept where libpq looks for it: `PGPASSWORD`, the file
`.pgpass`, or a service.
"""

import math
import time
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import (
    ArgumentError,
    DBAPIError,
    DisconnectionError,
    NoSuchModuleError,
    OperationalError,
)

from core.errors import StudyError

BACKEND = "postgresql"
DRIVER = "postgresql+psycopg"
EXAMPLE = "postgresql://name@server/database"
OLDEST = 12
"""Its triggers need PostgreSQL 11; what is older than 12 was never tried (a judgement)."""
REACH_S = 10
"""How long a server has to answer the first time. [s]"""
POOL, MOST = 10, 60
"""Connections that are kept, and that are open at once: a server has about 100 for all (its own
default). Who comes then waits for one."""
FRESH_S = 5.0
"""A connection that lay idle no longer than that is used without asking whether it still holds:
asking takes as long as a statement. [s]"""
ONE_WRITER = 0x4C61737462697465
"""The advisory lock that each writer holds: "Lastbite" in ASCII."""
HIDDEN = "***"

LOST = "Nothing of this step was stored; do it again when the server answers."
REACHING = {
    "password authentication failed": "the server does not take this password (or knows no such "
    "user). Put the right one into PGPASSWORD or the file .pgpass.",
    "no password supplied": "the server asks for a password and none is there. Put it into "
    "PGPASSWORD or the file .pgpass, not into study.toml.",
    "no pg_hba.conf entry": "the server lets nobody in from this computer under this name. Ask "
    "whoever runs it.",
    'role "': "the server knows no user of this name. Mend the name in the address, or ask whoever "
    "runs the server.",
    'database "': "the server has no database of this name. Have it made first (createdb), or "
    "mend the address.",
    "too many clients": "the server has no connection left for us. Wait, or have its "
    "max_connections raised. " + LOST,
    "connection refused": "no server answers there. Start it, or mend host and port. " + LOST,
    "resolve host": "there is no computer of this name. Mend the address, or see that the network "
    "is there. " + LOST,
    "timeout": f"the server did not answer within {REACH_S} s. See that the network is there and "
    "nothing blocks the way. " + LOST,
    "definition of service": "libpq has no service of this name. Write it into pg_service.conf.",
    "server closed the connection": "the server broke the connection off. " + LOST,
}
"""What libpq says, in part and in small letters, and what a person can do."""
STATES = {
    "53100": "the server's disk is full. Nothing of this step was stored; have space made and do "
    "it again.",
    "53300": REACHING["too many clients"],
    "42501": "the database's user may not do this. Give it all rights on the database and its "
    "schema; nothing was stored.",
    "25006": "the database can only be read, so nothing was stored. Give the address of the server "
    "that is written to.",
    "57P01": "the server is being stopped. " + LOST,
    "57P03": "the server is just starting. " + LOST,
}
"""By SQLSTATE."""


def parsed(address: str) -> URL:
    """Read an address; StudyError where it is none."""
    try:
        return make_url(address)
    except (ArgumentError, ValueError):
        raise StudyError(
            f"{_safe(address)!r} is no address of a database. Write it like {EXAMPLE!r}, or leave "
            "it out."
        ) from None


def shown(url: URL) -> str:
    """Write an address as people are shown it: without a password."""
    if "password" in url.query:
        url = url.update_query_dict({"password": HIDDEN})
    return url.render_as_string(hide_password=True)


def has_password(url: URL) -> bool:
    """Say whether an address holds a password in the clear."""
    return bool(url.password) or "password" in url.query


def engine(url: URL, busy_s: float) -> Engine:
    """Reach for a server; StudyError where it is of another kind or its driver is not here.

    Writers wait for one another up to `busy_s` [s], at the beginning of their transaction.
    """
    if url.get_backend_name() != BACKEND:
        raise StudyError(
            f"{shown(url)}: databases of kind {url.get_backend_name()!r} are not supported. Give "
            f"an address like {EXAMPLE!r}."
        )
    if url.drivername == BACKEND:
        url = url.set(drivername=DRIVER)
    given: dict[str, Any] = {"application_name": "lastbite", "client_encoding": "utf8"}
    if "connect_timeout" not in url.query:
        given["connect_timeout"] = REACH_S
    try:
        made = create_engine(url, connect_args=given, pool_size=POOL, max_overflow=MOST - POOL)
    except (ImportError, NoSuchModuleError) as fault:
        raise StudyError(
            f"{shown(url)}: its driver is not installed ({fault}). Install it with: "
            "python -m pip install 'psycopg[binary]'"
        ) from None
    wait_ms = max(1, math.ceil(busy_s * 1000))

    def prepare(connection: Any, _record: Any) -> None:
        connection.execute(f"SET lock_timeout = {wait_ms}")
        connection.commit()

    def look(connection: Any, record: Any, _proxy: Any) -> None:
        idle_s = time.monotonic() - record.info.get("given_back", 0.0)
        if idle_s > FRESH_S and not _answers(made, connection):
            raise DisconnectionError  # the pool makes another one

    def note(_connection: Any, record: Any) -> None:
        record.info["given_back"] = time.monotonic()

    event.listen(made, "connect", prepare)
    event.listen(made, "checkout", look)
    event.listen(made, "checkin", note)
    event.listen(made, "begin", _wait_for_writers)
    return made


def _answers(made: Engine, connection: Any) -> bool:
    try:
        return made.dialect.do_ping(connection)
    except made.dialect.loaded_dbapi.Error:
        return False


def refuse_unfit(connection: Connection, name: str) -> None:
    """Refuse a server that is too old, or a database that cannot hold every letter."""
    asked = "SELECT current_setting('server_version_num'), current_setting('server_encoding')"
    version, encoding = connection.exec_driver_sql(asked).one()
    if int(version) // 10_000 < OLDEST:
        raise StudyError(
            f"{name} is PostgreSQL {int(version) // 10_000}, which is too old. Use PostgreSQL "
            f"{OLDEST} or newer."
        )
    if encoding != "UTF8":
        raise StudyError(
            f"{name} is kept in {encoding}, which does not hold every letter. Have a database made "
            "with ENCODING 'UTF8'."
        )


def others(connection: Connection) -> int:
    """Count the programs of ours, this connection left out, that have the database open."""
    asked = text(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
        "AND application_name = 'lastbite' AND pid <> pg_backend_pid()"
    )
    return int(connection.execute(asked).scalar_one())


def in_words(name: str, fault: DBAPIError, busy_s: float, *, writing: bool) -> StudyError | None:
    """Say what a person can do about a server's fault; None: it is a bug."""
    state = getattr(fault.orig, "sqlstate", None) or ""
    said = " ".join(str(fault.orig).split()).rstrip(".")
    words = STATES.get(state)
    if state == "55P03":
        words = (
            f"another program has kept it locked for {busy_s:g} s. Nothing was stored; wait or "
            "close the other program, and do it again."
        )
    elif state == "25006" and not writing:
        return None  # somebody wrote through `read()`
    elif "NUL (0x00)" in said:
        words = (
            "a text holds the letter NUL, which a server cannot store. Nothing was stored; mend "
            "the text."
        )
    elif words is None and isinstance(fault, OperationalError):
        words = _reaching(said)
    return None if words is None else StudyError(f"{name}: {words}")


def _reaching(said: str) -> str:
    for part, words in REACHING.items():
        if part in said.lower():
            return words
    return f"the database server did not answer as it should ({said}). Check its address."


def _safe(address: str) -> str:
    """Give a text that is no address without what may be its password."""
    start, at, rest = address.rpartition("@")
    return f"{start.partition(':')[0]}{at and f':{HIDDEN}@'}{rest}"


def _wait_for_writers(connection: Connection) -> None:
    """Let one write at a time, as an SQLite file does: numbers then rise as they are seen."""
    if connection.get_execution_options().get("lastbite_writes"):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({ONE_WRITER})")
