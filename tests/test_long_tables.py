"""A table written part by part is the table written at once, or is not there."""

from datetime import date

import pytest

from lapsekit.long_tables import TableFile
from lapsekit.tables import Column, Table

COLUMNS = (
    Column("plant", "string", "which"),
    Column("day", "date", "when"),
    Column("area_cm2", "number", "how much", "cm2"),
)
ROWS = [(f"=p{n}", date.fromordinal(740_000 + n), None if n % 3 else n / 7) for n in range(50)]
TOLD = ("days", "Days", ("plant",), COLUMNS)


def test_parts_give_the_csv_and_parquet_of_the_whole(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    with TableFile(tmp_path, *TOLD) as long:
        for part in (ROWS[:20], [], ROWS[20:21], ROWS[21:]):
            long.add(part)
    whole = Table(*TOLD, ROWS)
    assert (tmp_path / "days.csv").read_bytes() == whole.csv
    assert (long.size, long.sha256) == (whole.size, whole.sha256)
    (tmp_path / "whole.parquet").write_bytes(whole.as_parquet())
    tables = [parquet.read_table(tmp_path / f"{n}.parquet") for n in ("days", "whole")]
    assert tables[0].equals(tables[1], check_metadata=True) and tables[0].num_rows == 50


def test_a_table_without_a_row_has_its_header(tmp_path):
    with TableFile(tmp_path, *TOLD):
        pass
    assert (tmp_path / "days.csv").read_text() == "plant,day,area_cm2\n"


def test_one_that_is_broken_off_leaves_the_files_before_it_and_nothing_else(tmp_path):
    with TableFile(tmp_path, *TOLD) as long:
        long.add(ROWS)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(KeyboardInterrupt), TableFile(tmp_path, *TOLD) as long:
        long.add(ROWS[:3])
        raise KeyboardInterrupt
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
