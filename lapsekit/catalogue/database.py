"""The SQLite file: opened, brought to its version, read, and changed in one transaction."""

import sqlite3
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

from lapsekit.catalogue import schema
from lapsekit.errors import CatalogueError

_TRIES = 100
_DISK = ("full", "disk I/O", "unable to open", "readonly")
_DAMAGE = ("malformed", "not a database", "disk image", "file is encrypted")


class Database:
    """An open catalogue file; the tables' own modules add what is asked of it.

    Messages name `original`, where the file is a copy of that.
    """

    def __init__(self, path: Path, original: Path | None = None):
        self._path = original or path
        self._copy = path if original else None
        self._one_at_a_time = threading.RLock()
        with self._told():
            self._db = sqlite3.connect(
                path, timeout=30, isolation_level=None, check_same_thread=False
            )
            try:
                self._write_ahead()
                self._db.execute("PRAGMA synchronous = NORMAL")
                self._db.execute("PRAGMA foreign_keys = ON")
                self._migrate()
            except BaseException:
                self._db.close()
                raise

    def close(self) -> None:
        """Close the file; the catalogue cannot be used after."""
        self._db.close()

    def _write_ahead(self) -> None:
        """Switch to write-ahead logging; two first openings at once must not trip each other."""
        for _ in range(_TRIES):
            try:
                self._db.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if "locked" not in str(error):
                    raise
                time.sleep(0.1)

    def _migrate(self) -> None:
        with self._transaction() as db:
            (version,) = db.execute("PRAGMA user_version").fetchone()
            if version > schema.SCHEMA_VERSION:
                raise CatalogueError(
                    f"{self._path}: written by a newer lapsekit (catalogue version {version}, this "
                    f"one knows {schema.SCHEMA_VERSION}); update lapsekit, or move the file away "
                    "and run lapsekit index --rebuild"
                )
            for number, script in enumerate(schema.MIGRATIONS[version:], start=version + 1):
                for statement in _statements(script):
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {number}")

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._told():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
            except BaseException:
                if self._db.in_transaction:  # a full disk rolls back by itself
                    self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")

    def _read(self, query: str, values: Sequence[object] = ()) -> list[tuple]:
        with self._told(), closing(self._db.execute(query, values)) as cursor:
            return cursor.fetchall()

    @contextmanager
    def _told(self) -> Iterator[None]:
        with told(self._path, self._copy), self._one_at_a_time:
            yield


@contextmanager
def told(path: Path, copy: Path | None = None) -> Iterator[None]:
    """Tell what went wrong with a catalogue, or with the copy that stands in for it."""
    try:
        yield
    except sqlite3.Error as error:
        remedy = "run lapsekit index --rebuild, which puts this file aside, then measure"
        if "locked" in str(error):
            remedy = "another process is writing; run the same command again"
        elif any(sign in str(error) for sign in _DISK):
            remedy = _of_its_disk(copy)
        raise CatalogueError(f"{path}: {error}. The frames are safe; {remedy}") from error


def _of_its_disk(copy: Path | None) -> str:
    if copy is not None:
        return (
            f"it is read as a copy in {copy.parent.parent}, since its folder cannot be written "
            "to; set TMPDIR to a folder with room"
        )
    return (
        "check whether the disk is full or read-only (lapsekit check), and run the same command "
        "again"
    )


def is_damaged(path: Path) -> bool:
    """Whether the catalogue in a file is broken; one that cannot be read just now is not."""
    try:
        with closing(sqlite3.connect(path, timeout=5)) as db:
            return db.execute("PRAGMA quick_check(1)").fetchone() != ("ok",)
    except sqlite3.DatabaseError as error:
        return any(sign in str(error) for sign in _DAMAGE)


def judge_from(db: sqlite3.Connection, camera: str, taken_at: str) -> None:
    """Say that a camera's frames have to be judged anew from an instant on."""
    db.execute(
        "UPDATE judging SET open_from = min(coalesce(open_from, ?1), ?1) WHERE camera = ?2",
        (taken_at, camera),
    )


def _statements(script: str) -> Iterator[str]:
    """The statements of a script one by one; those of a trigger stay within it."""
    statement = ""
    for part in script.split(";"):
        statement += f"{part};"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def where(**conditions: str | None) -> tuple[str, tuple[str, ...]]:
    """The WHERE of those columns that shall have a value, and the values."""
    given = {column: value for column, value in conditions.items() if value is not None}
    text = " AND ".join(f"{column} = ?" for column in given)
    return (f"WHERE {text}" if text else ""), tuple(given.values())
