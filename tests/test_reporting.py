"""The growth tables say what was measured, leave gaps empty, and agree in every format."""

import csv
import hashlib
import json
from datetime import date, timedelta
from math import ceil, log

import numpy as np
import pytest

from lapsekit.catalogue import Daily
from lapsekit.edits.regions_text import end_region
from lapsekit.errors import SettingsError
from lapsekit.growth_tables import DAILY
from lapsekit.measuring import measure
from lapsekit.reporting import report_growth, work_out
from lapsekit.season import Season
from lapsekit.telling_growth import foretold
from tests.scenes import FIRST_DAY, SETTINGS, disc_px, fill, make_season


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


def store_areas(season, areas):
    """Basil's areas in cm², one a day from the first on, in a region of 320."""
    season.catalogue.store_daily(
        [
            Daily("basil", FIRST_DAY + timedelta(day), a / 320, a / 330, a / 310, a, a * 0.96,
                  a * 1.04, 5, {})
            for day, a in enumerate(areas)
        ]
    )  # fmt: skip


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
    last = work_out(grown).by_region["basil"][-1]
    assert last.day == date(2031, 4, 9)
    assert last.rgr_per_day == pytest.approx(6 * log(1.04), rel=0.02)
    assert last.rgr_low < 6 * log(1.04) < last.rgr_high
    assert last.doubling_days == pytest.approx(log(2) / (6 * log(1.04)), rel=0.02)


def test_parquet_and_csv_say_the_same(grown):
    parquet = pytest.importorskip("pyarrow.parquet")
    report_growth(grown)
    table = parquet.read_table(grown.tables / "daily.parquet")
    assert table.column_names == [column.name for column in DAILY]
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
    fill(season, days=7)
    measure(season, workers=1)
    rows = work_out(season).by_region["basil"]
    season.catalogue.close()
    assert {r.area_cm2 for r in rows} == {None}
    assert rows[0].cover == pytest.approx(disc_px(10 * 1.04) / (160 * 240), rel=0.03)
    assert rows[-1].rgr_per_day == pytest.approx(6 * log(1.04), rel=0.05)


def test_the_same_rows_give_the_same_plot_to_the_byte(grown):
    report_growth(grown)
    first = {p.name: p.read_bytes() for p in grown.tables.iterdir()}
    assert {"growth.svg", "growth.png", "rates.svg", "rates.png"} <= set(first)
    for path in grown.tables.iterdir():
        path.unlink()
    report_growth(grown)
    assert {p.name: p.read_bytes() for p in grown.tables.iterdir()} == first


def test_nothing_measured_makes_an_empty_table_and_no_plot(season):
    report = report_growth(season)
    assert report.rows == []
    assert (season.tables / "daily.csv").read_text().strip() == ",".join(
        column.name for column in DAILY
    )
    assert not (season.tables / "growth.svg").exists()


def test_the_package_describes_every_table_and_holds_its_hash(grown):
    """The descriptor is read as the Frictionless standard says; each table is what it says."""
    report_growth(grown)
    package = json.loads((grown.tables / "datapackage.json").read_text())
    assert package["profile"] == "tabular-data-package"
    names = [resource["name"] for resource in package["resources"]]
    assert names == ["daily", "pauses", "losses", "laws", "reached"]
    for resource in package["resources"]:
        content = (grown.tables / resource["path"]).read_bytes()
        assert resource["bytes"] == len(content)
        assert resource["hash"] == f"sha256:{hashlib.sha256(content).hexdigest()}"
        header = content.decode().splitlines()[0].split(",")
        assert header == [field["name"] for field in resource["schema"]["fields"]]
        assert set(resource["schema"]["primaryKey"]) <= set(header)
    units = {f["name"]: f.get("unit") for f in package["resources"][0]["schema"]["fields"]}
    assert (units["area_cm2"], units["rgr_per_day"], units["region"]) == ("cm2", "/d", None)
    variables = {v["name"]: (v["trait"], v["scale"]) for v in package["observed_variables"]}
    assert variables["area_cm2"] == ("projected canopy area", "cm2")


def test_the_curve_follows_the_discs_and_leaves_the_gap_open(grown):
    rows = work_out(grown).by_region["basil"]
    gap = rows.pop(4)
    assert (gap.area_cm2, gap.curve_cm2, gap.rgr_per_day) == (None, None, None)
    for row in rows:
        true = row.area_cm2  # discs differ from their pixels by less than their interval
        assert row.curve_low_cm2 < true < row.curve_high_cm2


def test_final_areas_and_covers_are_those_of_the_law_that_was_drawn(tmp_path):
    """A logistic plant of 200 cm² in a region of 320: it covers half on day 40 + 6 ln 4."""
    season = make_season(tmp_path / "bench")
    days = np.arange(70)
    noise = np.exp(np.random.default_rng(5).normal(0, 0.02, 70))
    areas = 200 / (1 + np.exp((40 - days) / 6)) * noise
    store_areas(season, areas)
    report = report_growth(season, (0.5, 0.6, 0.9))
    final, reached = report.foretold["basil"].final, report.foretold["basil"].reached
    season.catalogue.close()
    assert final.low_cm2 <= 200 <= final.high_cm2
    assert "logistic" in final.by
    half, more, never = reached
    true = FIRST_DAY + timedelta(days=ceil(40 + 6 * log(160 / (200 - 160))))
    assert half.by == "measured" and half.day_low <= true <= half.day_high
    assert more.day is not None and never.day is None
    assert never.note == "the curve stays below a cover of 90%"


def test_a_final_area_is_no_surer_than_the_days_it_rests_on(tmp_path):
    """A plant of 200 cm² that is read 6 % too large on every day, each sure to 10 %."""
    season = make_season(tmp_path / "bench")
    days = np.arange(70)
    noise = np.exp(np.random.default_rng(5).normal(0, 0.01, 70))
    areas = 1.06 * 200 / (1 + np.exp((40 - days) / 6)) * noise
    season.catalogue.store_daily(
        [
            Daily("basil", FIRST_DAY + timedelta(int(day)), a / 320, a / 350, a / 290, a, a * 0.9,
                  a * 1.1, 5, {})
            for day, a in zip(days, areas, strict=True)
        ]
    )  # fmt: skip
    final = report_growth(season).foretold["basil"].final
    season.catalogue.close()
    assert final.area_cm2 == pytest.approx(212, rel=0.02)
    assert final.low_cm2 <= 200 <= final.high_cm2
    assert final.high_cm2 - final.low_cm2 < 0.24 * final.area_cm2


@pytest.mark.parametrize(
    ("days", "creeps", "said"), [(60, 0.0, "levels off at"), (75, 0.04, "has levelled off, at")]
)
def test_a_level_that_the_plant_stands_at_is_nothing_to_come(tmp_path, days, creeps, said):
    """A logistic plant of 200 cm²: on day 60 it has 7 cm² to go, later it creeps over its level."""
    season = make_season(tmp_path / "bench")
    at = np.arange(days)
    noise = np.exp(np.random.default_rng(5).normal(0, 0.01, days))
    over = 1 + creeps * np.clip((at - 60) / 10, 0, 1)
    store_areas(season, 200 / (1 + np.exp((40 - at) / 6)) * over * noise)
    report = report_growth(season)
    final, curve = report.foretold["basil"].final, report.growths["basil"].curve
    (line,) = [line for line in foretold(report.foretold, season) if said in line]
    season.catalogue.close()
    assert final.is_reached == (curve.area_cm2[-1] >= final.area_cm2) == (creeps > 0)
    assert f"{said} {final.area_cm2:.0f} cm² (" in line


def test_nothing_is_foretold_of_days_after_a_plant_ended(tmp_path):
    """Logistic to 300 cm², followed up to half of its region of 320, which it would outgrow."""
    season = make_season(tmp_path / "bench")
    days = np.arange(44)
    areas = 300 / (1 + np.exp((40 - days) / 6))
    store_areas(season, areas)
    true = FIRST_DAY + timedelta(days=ceil(40 + 6 * log(0.7 * 320 / (300 - 0.7 * 320))))
    (ahead,) = report_growth(season, (0.7,)).foretold["basil"].reached
    assert ahead.day_low <= true <= ahead.day_high
    for end, told in ((FIRST_DAY + timedelta(43), None), (ahead.day, ahead.day)):
        path = season.folder / "regions.toml"
        path.write_text(end_region(path.read_text(), "basil", end, "harvested"))
        season.catalogue.close()
        season = Season(season.folder)
        (found,) = report_growth(season, (0.7,)).foretold["basil"].reached
        assert found.day == told
        if told is None:
            assert found.note == f"it ended on {end} before it came to a cover of 70%"
    season.catalogue.close()


def test_a_cover_above_one_is_refused(grown):
    with pytest.raises(SettingsError, match=r"--cover 1\.2: give a share"):
        report_growth(grown, (1.2,))


def test_a_first_day_of_dark_frames_makes_tables_and_no_plot(season):
    row = Daily("basil", FIRST_DAY, None, None, None, None, None, None, 0, {"dark": 3})
    season.catalogue.store_daily([row])
    report = report_growth(season)
    assert "growth.png" not in {path.name for path in report.written}
    assert report.rows[0].left_out_because == "3 dark"


def test_a_cover_that_was_there_on_the_first_day_or_came_in_a_gap_says_so(season):
    """20 cm² growing by 5 % a day in a region of 320: a tenth on day 10, a fifth on day 24."""
    days = [day for day in range(40) if not 18 <= day < 28]
    rows = []
    for day in days:
        a = 20 * 1.05**day
        rows.append(
            Daily("basil", FIRST_DAY + timedelta(day), a / 320, a / 325, a / 315, a, a * 0.985,
                  a * 1.015, 5, {})
        )  # fmt: skip
    season.catalogue.store_daily(rows)
    first, seen, unseen = report_growth(season, (0.05, 0.1, 0.2)).foretold["basil"].reached
    assert first.day_low is None and "or before" in first.note
    assert seen.day_low <= FIRST_DAY + timedelta(10) <= seen.day_high
    assert unseen.day == FIRST_DAY + timedelta(28)
    assert unseen.day_low <= FIRST_DAY + timedelta(24) <= unseen.day_high


def test_a_plant_that_still_doubles_is_not_said_to_level_off(tmp_path):
    """Eleven days of 6 % growth a day, whatever a law of four parameters makes of their noise."""
    told = []
    for seed in range(12):
        season = make_season(tmp_path / str(seed))
        noise = np.exp(np.random.default_rng(seed).normal(0, 0.03, 20))
        areas = 8 * np.exp(0.06 * np.arange(20)) * noise
        season.catalogue.store_daily(
            [
                Daily("basil", FIRST_DAY + timedelta(day), a / 320, a / 330, a / 310, a, a * 0.94,
                      a * 1.06, 5, {})
                for day, a in enumerate(areas)
            ]
        )  # fmt: skip
        told.append(report_growth(season).foretold["basil"].final)
        season.catalogue.close()
    assert told == [None] * 12


def test_a_season_of_one_day_is_drawn_without_a_warning(season):
    fill(season, days=1)
    measure(season, workers=1)
    report_growth(season)
    assert (season.tables / "growth.png").stat().st_size > 1000
