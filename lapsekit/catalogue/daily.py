"""Rows of daily values."""

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from lapsekit.catalogue.database import Database, where
from lapsekit.catalogue.rows import Daily, Measurement, flat


class DailyValues(Database):
    """What is asked of daily values."""

    def daily_days(self, region: str) -> set[date]:
        """Days for which the value of `region` is worked out."""
        rows = self._read("SELECT day FROM daily WHERE region = ?", (region,))
        return {date.fromisoformat(day) for (day,) in rows}

    def store_daily(self, rows: Sequence[Daily], measurements: Sequence[Measurement] = ()) -> None:
        """Store daily values, replacing those of the same region and day.

        With them, in one transaction, what the day's frames say of these regions now that their
        canopy is divided; frames and regions without measurement stay so.
        """
        with self._transaction() as db:
            db.executemany(
                "INSERT OR REPLACE INTO daily VALUES"
                " (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (
                        d.region,
                        d.day.isoformat(),
                        *flat(d)[2:9],
                        json.dumps(d.left_out, sort_keys=True),
                        json.dumps(d.parts),
                        json.dumps(d.touches),
                        *flat(d)[12:],
                    )
                    for d in rows
                ],
            )
            db.executemany(
                "UPDATE measurement SET canopy_px = ?, cover = ?, area_cm2 = ?, faded_share = ?"
                " WHERE region = ? AND frame_id = (SELECT id FROM frame WHERE path = ?)",
                [
                    (m.canopy_px, m.cover, m.area_cm2, m.faded_share, m.region, m.path)
                    for m in measurements
                ],
            )

    def rest_daily_on(self, marks: Mapping[str, str]) -> None:
        """Say what regions' daily values rest on beside their frames; drop those of other marks."""
        with self._transaction() as db:
            for region, mark in marks.items():
                known = db.execute("SELECT mark FROM daily_basis WHERE region = ?", (region,))
                if (known.fetchone() or ("",))[0] == mark:
                    continue
                db.execute("DELETE FROM daily WHERE region = ?", (region,))
                db.execute("INSERT OR REPLACE INTO daily_basis VALUES (?, ?)", (region, mark))

    def daily_basis(self) -> dict[str, str]:
        """What regions' daily values rest on beside their frames, by region."""
        return dict(self._read("SELECT region, mark FROM daily_basis"))

    def forget_days(self, days: Iterable[date]) -> None:
        """Forget the values of all regions on `days`, whose frames are about to be measured."""
        with self._transaction() as db:
            db.executemany("DELETE FROM daily WHERE day = ?", [(d.isoformat(),) for d in days])

    def forget_daily(self, region: str, days: Iterable[date]) -> None:
        """Forget the values of `region` on `days` (before its first outline, say)."""
        with self._transaction() as db:
            db.executemany(
                "DELETE FROM daily WHERE region = ? AND day = ?",
                [(region, day.isoformat()) for day in days],
            )

    def daily(self, region: str | None = None, day: date | None = None) -> list[Daily]:
        """Daily values in order of region and day."""
        condition, values = where(region=region, day=day and day.isoformat())
        rows = self._read(f"SELECT * FROM daily {condition} ORDER BY region, day", values)
        return [_daily(row) for row in rows]

    def last_daily(self, region: str) -> Daily | None:
        """The last daily value of a region that has a cover; None where none has."""
        rows = self._read(
            "SELECT * FROM daily WHERE region = ? AND cover IS NOT NULL ORDER BY day DESC LIMIT 1",
            (region,),
        )
        return _daily(rows[0]) if rows else None

    def first_daily_day(self) -> date | None:
        """The first day on which any region has a cover; None where none has."""
        rows = self._read("SELECT day FROM daily WHERE cover IS NOT NULL ORDER BY day LIMIT 1")
        return date.fromisoformat(rows[0][0]) if rows else None

    def settled_growth(self, region: str) -> dict[str, str]:
        """What is kept of a region's growth, by the mark of what it rests on."""
        rows = "SELECT mark, content FROM settled_growth WHERE region = ?"
        return dict(self._read(rows, (region,)))

    def keep_settled_growth(self, region: str, content: Mapping[str, str]) -> None:
        """Keep this of a region's growth, by its marks, and nothing else."""
        with self._transaction() as db:
            db.execute("DELETE FROM settled_growth WHERE region = ?", (region,))
            db.executemany(
                "INSERT INTO settled_growth VALUES (?, ?, ?)",
                [(region, mark, plain) for mark, plain in content.items()],
            )


def _daily(row: Sequence) -> Daily:
    return Daily(
        row[0],
        date.fromisoformat(row[1]),
        *row[2:9],
        {} if row[9] == "{}" else json.loads(row[9]),
        json.loads(row[10]),
        () if row[11] == "[]" else tuple(json.loads(row[11])),
        bool(row[12]),
        *row[13:],
    )
