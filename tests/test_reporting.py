"""The growth tables say what was measured, leave gaps empty, and agree in every format."""

import csv
from datetime import date
from math import log

import pytest

from lapsekit.measuring import measure
from lapsekit.reporting import COLUMNS, growth_rows, report_growth
from tests.scenes import SETTINGS, disc_px, fill, make_season


@pytest.fixture
def grown(season):
    """Nine days, of which the fifth has no frames."""
    fill(season, days=9)
    for file in (season.folder / "frames/bench/2031-04-05").iterdir():
        file.unlink()
    measure(season, workers=1)
    return season


def read(path):
    with path.open() as file:
        return list(csv.DictReader(file))


def test_every_day_from_first_to_last_has_a_row_and_a_gap_is_empty(grown):
    report_growth(grown)
    rows = [r for r in read(grown.tables / "daily.csv") if r["region"] == "basil"]
    assert [r["day"] for r in rows] == [f"2031-04-0{n}" for n in range(1, 10)]
    assert [r["plant_age_days"] for r in rows] == [str(n) for n in range(7, 16)]
    gap = rows[4]
    assert {gap[c] for c in ("area_cm2", "area_low_cm2", "cover", "cover_high")} == {""}
    assert (gap["frames_used"], gap["frames_left_out"]) == ("0", "0")


def test_the_rate_is_that_of_the_drawn_discs(grown):
    """Basil's radius grows by 4 % a third of a day, its area by 8 % thrice a day."""
    last = growth_rows(grown)["basil"][-1]
    assert last.day == date(2031, 4, 9)
    assert last.rgr_per_day == pytest.approx(6 * log(1.04), rel=0.02)
    assert last.rgr_low < 6 * log(1.04) < last.rgr_high
    assert last.doubling_days == pytest.approx(log(2) / (6 * log(1.04)), rel=0.02)


def test_parquet_and_csv_say_the_same(grown):
    parquet = pytest.importorskip("pyarrow.parquet")
    report_growth(grown)
    table = parquet.read_table(grown.tables / "daily.parquet")
    assert table.column_names == list(COLUMNS)
    for row, text in zip(table.to_pylist(), read(grown.tables / "daily.csv"), strict=True):
        for name, value in row.items():
            if value is None:
                assert text[name] == ""
            elif isinstance(value, float):
                assert float(text[name]) == pytest.approx(value, rel=1e-5)
            else:
                assert text[name] == str(value)


def test_without_a_scale_cover_grows_and_area_stays_empty(tmp_path):
    season = make_season(tmp_path / "bare", SETTINGS.replace("px_per_cm = 10\n", ""))
    fill(season, days=5)
    measure(season, workers=1)
    rows = growth_rows(season)["basil"]
    season.catalogue.close()
    assert {r.area_cm2 for r in rows} == {None}
    assert rows[0].cover == pytest.approx(disc_px(10 * 1.04) / (160 * 240), rel=0.03)
    assert rows[-1].rgr_per_day == pytest.approx(6 * log(1.04), rel=0.05)


def test_the_same_rows_give_the_same_plot_to_the_byte(grown):
    report_growth(grown)
    first = {p.name: p.read_bytes() for p in grown.tables.glob("growth.*")}
    assert set(first) == {"growth.svg", "growth.png"}
    for path in grown.tables.iterdir():
        path.unlink()
    report_growth(grown)
    assert {p.name: p.read_bytes() for p in grown.tables.glob("growth.*")} == first


def test_nothing_measured_makes_an_empty_table_and_no_plot(season):
    report = report_growth(season)
    assert report.rows == []
    assert (season.tables / "daily.csv").read_text().strip() == ",".join(COLUMNS)
    assert not (season.tables / "growth.svg").exists()
