"""What was measured on a cluster, a Parquet file for each camera and day.

``measured/CAMERA/2031-04-17.parquet`` in the season folder has a row for each frame, with its
regions in it, and the marks of the settings that made them. It is derived and may be deleted. What
stands in it, by today's settings and of the file's very bytes, is not measured again.
"""

import io
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import fields
from datetime import date
from pathlib import Path

from lapsekit.catalogue import Measurement, Placement, Screening
from lapsekit.errors import MissingExtra
from lapsekit.ruler import Rows
from lapsekit.safely import write_safely

FOLDER = "measured"
_SCREENING = [field.name for field in fields(Screening)]
_MEASUREMENT = [field.name for field in fields(Measurement) if field.name != "path"]
_WHOLE = {"region_px", "canopy_px"}
_WORDS = {"region", "mark"}

Known = Mapping[str, tuple[str, Rows]]
"""SHA-256 and rows of frames, by path."""


class DayTables:
    """The tables of one season.

    Parameters
    ----------
    season_folder : pathlib.Path
    """

    def __init__(self, season_folder: Path):
        self._root = season_folder / FOLDER

    def path(self, camera: str, day: date) -> Path:
        """Where the table of a camera's day lies."""
        return self._root / camera / f"{day.isoformat()}.parquet"

    def write(self, camera: str, day: date, known: Known) -> None:
        """Write a day's table, whole or not at all."""
        path = self.path(camera, day)
        path.parent.mkdir(parents=True, exist_ok=True)
        write_safely(path, as_parquet(known))

    def read(self, camera: str, day: date) -> dict[str, tuple[str, Rows]]:
        """A day's table; nothing where there is none, or one that is damaged."""
        try:
            content = self.path(camera, day).read_bytes()
        except OSError:
            return {}
        return dict(from_parquet(content))


def as_parquet(known: Known) -> bytes:
    """A day's rows as a Parquet file; numbers keep every bit."""
    pa, pq = _arrow()
    rows = [_flat(*known[path]) for path in sorted(known)]
    table = pa.Table.from_pylist(rows, schema=_schema(pa))
    out = io.BytesIO()
    pq.write_table(table, out, compression="zstd")
    return out.getvalue()


def from_parquet(content: bytes) -> Iterator[tuple[str, tuple[str, Rows]]]:
    """What `as_parquet` wrote; nothing of a file that is none of ours, or damaged."""
    pa, pq = _arrow()
    with suppress(pa.ArrowException, OSError, KeyError, TypeError):
        rows = pq.read_table(io.BytesIO(content)).to_pylist()
        found = [(row["path"], (row["sha256"], _deep(row))) for row in rows]
        yield from found


def _flat(sha256: str, rows: Rows) -> dict[str, object]:
    screening, placement, measurements, figures = rows
    row = {name: getattr(screening, name) for name in _SCREENING}
    row |= {"sha256": sha256, "reasons": list(screening.reasons), "figures": figures}
    row["placement"] = placement and {
        "matrix": placement.matrix and list(placement.matrix),
        "residual_px": placement.residual_px,
        "error_px": placement.error_px,
        "how": placement.how,
    }
    row["regions"] = [{name: getattr(m, name) for name in _MEASUREMENT} for m in measurements]
    return row


def _deep(row: Mapping) -> Rows:
    path, told = row["path"], row["placement"]
    told_of_frame = {name: row[name] for name in _SCREENING} | {"reasons": tuple(row["reasons"])}
    matrix = told and told["matrix"] and tuple(told["matrix"])
    placement = told and Placement(path, **{**told, "matrix": matrix})
    measurements = [Measurement(path, **region) for region in row["regions"]]
    return Screening(**told_of_frame), placement, measurements, row["figures"]


def _schema(pa):
    words, number = pa.string(), pa.float64()
    placed = [("matrix", pa.list_(number)), ("residual_px", number), ("error_px", number)]
    kind_of = dict.fromkeys(_WORDS, words) | dict.fromkeys(_WHOLE, pa.int64())
    region = pa.struct([(name, kind_of.get(name, number)) for name in _MEASUREMENT])
    return pa.schema(
        [
            *(("path", words), ("sha256", words), ("mark", words)),
            ("reasons", pa.list_(words)),
            *(("luminance", number), ("clipped", number), ("blur", number)),
            *(("told", words), ("watched", pa.bool_()), ("figures", words)),
            ("placement", pa.struct([*placed, ("how", words)])),
            ("regions", pa.list_(region)),
        ]
    )


def _arrow():
    try:
        import pyarrow
        import pyarrow.parquet

        return pyarrow, pyarrow.parquet
    except ImportError as error:
        raise MissingExtra("measuring on a cluster", "cluster") from error
