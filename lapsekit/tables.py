"""Tables for others to read: CSV, Parquet, and the data package that describes them.

A data package (the Frictionless standard) tells each column's type, unit and meaning, so that a
table can be read years from now without asking anyone. Units are UCUM codes.
"""

import csv
import hashlib
import importlib.util
import io
import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Protocol

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes a cell for a formula by."""


@dataclass(frozen=True)
class Column:
    """One column: its name, its type (a Frictionless one), what it holds and its UCUM unit.

    `trait` and `method` are given for what was observed of a plant: with the unit they make an
    observed variable as MIAPPE describes one.
    """

    name: str
    kind: str
    about: str
    unit: str = ""
    trait: str = ""
    method: str = ""


class Described(Protocol):
    """What a data package tells of a table: its columns, and the CSV file that it is."""

    name: str
    title: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    size: int
    sha256: str


@dataclass(frozen=True)
class Table:
    """A table with a row for each combination of its `key` columns."""

    name: str
    title: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    rows: Sequence[tuple] = field(repr=False)

    @cached_property
    def csv(self) -> bytes:
        """A CSV file: a header, then the rows; nothing where there is no value."""
        return csv_header(self.columns) + csv_lines(self.rows)

    @property
    def size(self) -> int:
        """Bytes of the CSV file."""
        return len(self.csv)

    @property
    def sha256(self) -> str:
        """Hash of the CSV file."""
        return hashlib.sha256(self.csv).hexdigest()

    def as_parquet(self) -> bytes:
        """The same with types; each column's unit and meaning are in its metadata."""
        out = io.BytesIO()
        schema = schema_of(self.columns)
        with parquet().ParquetWriter(out, schema) as writer:
            writer.write_table(arrow_of(self.rows, schema))
        return out.getvalue()


def has_parquet() -> bool:
    """Whether tables can be written as Parquet too."""
    return importlib.util.find_spec("pyarrow") is not None


def csv_header(columns: Iterable[Column]) -> bytes:
    """The first line of a CSV file."""
    return _csv([[column.name for column in columns]])


def csv_lines(rows: Sequence[tuple]) -> bytes:
    """Rows as lines of a CSV file."""
    return _csv(zip(*map(_cells, zip(*rows, strict=True)), strict=True))


def _csv(lines: Iterable[Iterable[str]]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(lines)
    return out.getvalue().encode()


def parquet() -> Any:
    """The library that writes Parquet."""
    # Its own allocator maps a gigabyte before it needs a byte, which no limit of memory bears
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
    import pyarrow.parquet

    return pyarrow.parquet


def schema_of(columns: Iterable[Column]) -> Any:
    """Columns as pyarrow knows them, each with its unit and meaning."""
    parquet()
    import pyarrow as pa

    kinds = {"string": pa.string(), "integer": pa.int64(), "date": pa.date32()}
    kinds |= {"number": pa.float64(), "boolean": pa.bool_()}
    return pa.schema(
        [
            pa.field(c.name, kinds[c.kind], metadata={"about": c.about, "unit": c.unit})
            for c in columns
        ]
    )


def arrow_of(rows: Sequence[tuple], schema: Any) -> Any:
    """Rows as a table of pyarrow's."""
    import pyarrow as pa

    columns = zip(*rows, strict=True) if rows else [()] * len(schema)
    arrays = [pa.array(each, kind.type) for each, kind in zip(columns, schema, strict=True)]
    return pa.Table.from_arrays(arrays, schema=schema)


def _cells(column: Sequence[object]) -> list[str]:
    """A column's cells; numbers, which most are, without asking `cell`."""
    return [f"{value:.6g}" if type(value) is float else cell(value) for value in column]


def cell(value: object) -> str:
    """A value as a cell of a CSV file; text that a spreadsheet would run is made harmless."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    text = str(value)
    is_text = isinstance(value, str)
    return f"'{text}" if is_text and text.startswith(FORMULA) and not _is_number(text) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text == text.strip()


def data_package(name: str, title: str, tables: Iterable[Described]) -> str:
    """The text of ``datapackage.json`` for tables that lie beside it as CSV files."""
    tables = list(tables)
    content = {
        "profile": "tabular-data-package",
        "name": name,
        "title": title,
        "resources": [_resource(table) for table in tables],
        "observed_variables": [
            {"name": c.name, "trait": c.trait, "method": c.method, "scale": c.unit}
            for table in tables
            for c in table.columns
            if c.trait
        ],
    }
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def _resource(table: Described) -> dict[str, object]:
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "title": table.title,
        "path": f"{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": table.size,
        "hash": f"sha256:{table.sha256}",
        "schema": {
            "fields": [_field(column) for column in table.columns],
            "missingValues": [""],
            "primaryKey": list(table.key),
        },
    }


def _field(column: Column) -> dict[str, str]:
    unit = {"unit": column.unit} if column.unit else {}
    return {"name": column.name, "type": column.kind, "description": column.about, **unit}


def row_of(thing: object, columns: Iterable[Column]) -> tuple:
    """A row out of an object's attributes of the columns' names."""
    return tuple(getattr(thing, column.name) for column in columns)
