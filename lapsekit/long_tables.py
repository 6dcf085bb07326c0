"""Tables that are longer than memory: written part by part, CSV and Parquet."""

import hashlib
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Self

from lapsekit.safely import part_of
from lapsekit.tables import (
    Column,
    arrow_of,
    csv_header,
    csv_lines,
    has_parquet,
    parquet,
    schema_of,
)

_ROWS_TOGETHER = 10_000
"""Rows that a group of a Parquet file holds at least: each costs some kilobytes."""


class TableFile:
    """A table that is written part by part, so that it need not fit into memory.

    CSV, and Parquet where pyarrow is installed. Entered, it writes under temporary names; left
    without an error, the files have their own.

    Parameters
    ----------
    folder : pathlib.Path
        Where to; it exists.
    name, title, key, columns
        As those of `Table`.

    Attributes
    ----------
    size, sha256 : int, str
        Of the CSV file, once it is whole.
    written : list of pathlib.Path
    """

    def __init__(
        self, folder: Path, name: str, title: str, key: tuple[str, ...], columns: tuple[Column, ...]
    ):
        self.name, self.title, self.key, self.columns = name, title, key, columns
        self.size, self._hash = 0, hashlib.sha256()
        kinds = ("csv", "parquet") if has_parquet() else ("csv",)
        self.written = [folder / f"{name}.{kind}" for kind in kinds]
        self._stack = ExitStack()
        self._waiting: list[tuple] = []

    @property
    def sha256(self) -> str:
        """Hash of the CSV file."""
        return self._hash.hexdigest()

    def __enter__(self) -> Self:
        csv_file, *parquet_file = self.written
        with ExitStack() as stack:
            for file in self.written:
                stack.callback(part_of(file).unlink, missing_ok=True)
            self._csv = stack.enter_context(part_of(csv_file).open("wb"))
            self._schema = schema_of(self.columns) if parquet_file else None
            self._parquet = [
                stack.enter_context(parquet().ParquetWriter(part_of(file), self._schema))
                for file in parquet_file
            ]
            self._put(csv_header(self.columns))
            self._stack = stack.pop_all()
        return self

    def add(self, rows: Sequence[tuple]) -> None:
        """Write more rows."""
        if rows:
            self._put(csv_lines(rows))
        if self._parquet:
            self._waiting += rows
            if len(self._waiting) >= _ROWS_TOGETHER:
                self._write_waiting()

    def __exit__(self, kind: object, *_: object) -> None:
        with self._stack:
            if kind is None:
                self._write_waiting()
                for each in (*self._parquet, self._csv):
                    each.close()
                for file in self.written:
                    part_of(file).replace(file)

    def _write_waiting(self) -> None:
        for writer in self._parquet:
            writer.write_table(arrow_of(self._waiting, self._schema))
        self._waiting = []

    def _put(self, lines: bytes) -> None:
        self._csv.write(lines)
        self._hash.update(lines)
        self.size += len(lines)
