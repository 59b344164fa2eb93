"""Open a logbook file and write to it: whole entries or nothing."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from raysim.base.errors import RaysimError
from raysim.logbook.schema import APPLICATION_ID, SCHEMA_VERSION, statements

LONGEST_WAIT = 20.0  # s for another writer to finish
CLOCKS_APART = timedelta(minutes=2)  # of two machines that share a logbook; own choice


class LogbookError(RaysimError):
    """A logbook that cannot be used, or an entry that it refuses."""


def new_logbook(path: Path) -> None:
    """Make an empty logbook, also where a killed process has begun one.

    Raises
    ------
    LogbookError
        Where something stands there already, or the place cannot be written.
    """
    taken = LogbookError(f"{path}: it exists already. Mend: use it, or name another file")
    stands = path.exists()
    if stands and not _is_unfinished(path):
        raise taken
    if not path.absolute().parent.is_dir():
        raise LogbookError(f"{path}: its folder does not exist. Mend: make the folder first")
    with _told(path), closing(_connect(path, "rwc")) as connection, writing(connection):
        empty = not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if stands and not empty:
            raise taken
        if empty:  # else another process was quicker
            for statement in statements():
                connection.execute(statement)


def _is_unfinished(path: Path) -> bool:
    """Whether a file holds nothing yet, or SQLite will take back what was not finished in it."""
    journal = path.with_name(f"{path.name}-journal")
    return path.is_file() and (path.stat().st_size == 0 or journal.exists())


@contextmanager
def open_logbook(path: Path) -> Iterator[sqlite3.Connection]:
    """Connection to an existing logbook; closed at the end of the block.

    Raises
    ------
    LogbookError
        Where there is none, it is no logbook, or another program holds it too long.
    """
    if not path.is_file():
        raise LogbookError(f"{path}: there is no such logbook. Mend: 'raysim log new' makes one")
    with _told(path), closing(_connect(path, "rw")) as connection:
        _check_identity(connection, path)
        yield connection


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[None]:
    """One transaction: what is read in it still holds when rows are written.

    The write lock is taken at once, so two writers come one after the other.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def add_entry(
    connection: sqlite3.Connection,
    kind: str,
    operator: str,
    note: str,
    at: datetime | None,
    **details: object,
) -> int:
    """Add a row of `entry`, and its `details` by column to the table of this `kind`.

    `at` is when it happened, now by default. Returns the number of the entry.
    """
    if not operator.strip():
        raise LogbookError("an entry needs its operator. Mend: give --operator, your initials")
    now = datetime.now(UTC)
    if at is not None and at > now:
        raise LogbookError(f"{stamp(at)} has not come yet. Mend: correct --at, or this clock")
    if at is None and kind != "respirator":
        _refuse_clock_set_back(connection, now)
    times = {"written": stamp(now), "at": stamp(at or now)}
    number = _insert(
        connection, "entry", kind=kind, **times, operator=operator.strip(), note=note.strip()
    )
    _insert(connection, kind, entry=number, **details)
    return number


def _refuse_clock_set_back(connection: sqlite3.Connection, now: datetime) -> None:
    """Refuse a time that lies before an entry: hours of lamps go by the order of times."""
    last = connection.execute("SELECT max(written) FROM entry").fetchone()[0]
    if last is not None and now < unstamp(last) - CLOCKS_APART:
        raise LogbookError(
            f"by this clock it is {stamp(now)}, but an entry was written at {last}. Mend: set the "
            "clock right; where it is right now, give the time with --at"
        )


def _insert(connection: sqlite3.Connection, table: str, **row: object) -> int:
    places = ", ".join("?" * len(row))
    text = f"INSERT INTO {table} ({', '.join(row)}) VALUES ({places})"  # noqa: S608 - own names
    return int(connection.execute(text, tuple(row.values())).lastrowid or 0)


def stamp(time: datetime) -> str:
    """A time as the logbook stores it: UTC, to the second."""
    return time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def unstamp(text: str) -> datetime:
    """Inverse of `stamp`."""
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=LONGEST_WAIT,
        isolation_level=None,  # transactions are begun and ended by `writing` alone
    )
    connection.row_factory = sqlite3.Row
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = EXTRA")
    return connection


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])


def _check_identity(connection: sqlite3.Connection, path: Path) -> None:
    if _pragma(connection, "application_id") != APPLICATION_ID:
        raise LogbookError(f"{path}: this is no logbook of raysim. Mend: name another file")
    version = _pragma(connection, "user_version")
    if version != SCHEMA_VERSION:
        raise LogbookError(
            f"{path}: written in form {version} of the logbook, but this program knows form "
            f"{SCHEMA_VERSION}. Mend: use the raysim that wrote it"
        )


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn an error of SQLite into one clear line."""
    try:
        yield
    except sqlite3.OperationalError as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in (
            sqlite3.SQLITE_BUSY,
            sqlite3.SQLITE_LOCKED,
        ):
            mend = "close the other program that holds it, then enter it again"
            raise LogbookError(f"{path}: another program holds it. Mend: {mend}") from None
        raise LogbookError(
            f"{path}: {error}; nothing was entered. Mend: check rights and room on the disk"
        ) from None
    except sqlite3.DatabaseError as error:
        raise LogbookError(
            f"{path}: not a readable logbook ({error}). Mend: go back to the last copy"
        ) from None
