"""Growth across benches: the numbers are the plants', the plot is one page, blocks are benches."""

import csv
import hashlib
import json
import re
import xml.etree.ElementTree as ElementTree
from datetime import date
from itertools import pairwise
from math import exp, log

import pytest

from lapsekit.collecting.growth import grow_all
from lapsekit.collecting.members import open_collection
from lapsekit.collecting.plot import MOST_LINES
from lapsekit.errors import SeasonError, SettingsError
from lapsekit.measuring import measure
from lapsekit.telling_collection import grown, grown_facts
from tests.collecting.benches import basil_cm2, collection, drawn, written
from tests.scenes import make_season

pyarrow = pytest.importorskip("pyarrow")
FED, PLAIN, FACTOR = 0.10, 0.10, 1.5
SLOWED = 0.4
"""So that the drawn plants stay small over twelve days."""
BENCHES = {"north-2030": 1.0, "north-2031": 3.0, "south-2031": 0.4}


def pots(bench):
    """Areas by region on a bench: plants of a crop treated in two ways, 1.5 apart."""
    scatter = [0.93, 1.0, 1.02, 1.06]
    fed = {f"oats-{n}": (2 * bench * s * FACTOR, FED) for n, s in enumerate(scatter)}
    return fed | {f"oats-{n + 4}": (2 * bench * s, PLAIN) for n, s in enumerate(scatter)}


GROUPS = {f"oats-{n}": "fed" if n < 4 else "plain" for n in range(8)}


@pytest.fixture(scope="module")
def grown_all(tmp_path_factory):
    """Three written benches, a drawn and measured one, one that is broken; and what was found."""
    folder = tmp_path_factory.mktemp("benches")
    for name, factor in BENCHES.items():
        sown = date(int(name[-4:]), 3, 25)
        season = written(folder / name, f"Oats {name}", pots(factor), sown, GROUPS)
        season.reopen_catalogue()
    own = drawn(folder / "herbs", "=HYPERLINK(1)", days=12, growth=SLOWED)
    measure(own)
    own.reopen_catalogue()
    (folder / "lost").mkdir()
    file = collection(folder, '[[season]]\nfolder = "*-20*"\n[[season]]\nfolder = "herbs"\n'
                      '[[season]]\nfolder = "lost"\n')  # fmt: skip
    return folder / "growth", grow_all(open_collection(file), folder / "growth")


def rows_of(out, name):
    return list(csv.DictReader((out / f"{name}.csv").read_text().splitlines()))


def test_the_drawn_basil_has_the_area_that_was_drawn_and_its_rate(grown_all):
    out, _ = grown_all
    (basil,) = [row for row in rows_of(out, "plants") if row["region"] == "basil"]
    assert float(basil["area_cm2"]) == pytest.approx(basil_cm2(34 * SLOWED), rel=0.04)
    assert (basil["season"], basil["bench"], basil["crop"]) == ("herbs", "herbs", "basil")
    days = [row for row in rows_of(out, "days") if row["region"] == "basil"]
    areas = [float(row["area_cm2"]) for row in days]
    assert [log(b / a) for a, b in pairwise(areas)] == pytest.approx(
        [6 * SLOWED * log(1.04)] * 11, abs=0.03
    )


def test_the_written_plants_grow_by_their_rate_and_double_in_its_time(grown_all):
    out, report = grown_all
    oats = [row for row in rows_of(out, "plants") if row["crop"] == "oats"]
    assert len(oats) == 24 and report.crops["oats"].plants == 24
    for row in oats:
        start, rate = pots(BENCHES[row["season"]])[row["region"]]
        assert float(row["area_cm2"]) == pytest.approx(start * exp(29 * rate), rel=0.05)
        assert float(row["rgr_per_day"]) == pytest.approx(rate, abs=0.015)
        assert float(row["doubling_days"]) == pytest.approx(log(2) / rate, rel=0.2)
        assert row["plant_age_days"] == "36" and row["pauses"] == "0"


def test_groups_are_compared_within_benches_and_the_factor_between_them_is_found(grown_all):
    out, report = grown_all
    (found,) = report.compared
    assert (found.contrast.first, found.contrast.second) == ("fed", "plain")
    assert found.ratio(found.contrast.estimate) == pytest.approx(1 / FACTOR, rel=0.02)
    assert found.ratio(found.contrast.low) < 1 / FACTOR < found.ratio(found.contrast.high)
    assert set(found.blocks) == set(BENCHES) and found.contrast.is_claimed
    told = "\n".join(grown(report))
    assert re.search(r"plain against fed, area at 36 days: × 0\.6[67].* within 3 seasons", told)
    assert found.contrast.p_corrected < 0.001 and ", p below 0.001 by permutation" in told
    assert grown_facts(report)["compared"][0]["p_corrected"] == found.contrast.p_corrected
    (row,) = rows_of(out, "contrasts")
    assert float(row["p_corrected"]) == pytest.approx(found.contrast.p_corrected, rel=1e-6)
    assert "where a whole tray was treated, its place on the bench may be what differs" in told


def test_a_season_that_cannot_be_read_is_told(grown_all):
    _, report = grown_all
    assert [each.key for each in report.broken] == ["lost"]
    assert report.seasons == 4 and report.waiting == {}


def test_the_package_describes_every_table_and_parquet_holds_the_same(grown_all):
    from frictionless import Package

    out, report = grown_all
    told = Package(str(out / "datapackage.json"))
    assert told.validate().valid
    for resource in json.loads((out / "datapackage.json").read_text())["resources"]:
        data = (out / resource["path"]).read_bytes()
        assert resource["bytes"] == len(data)
        assert resource["hash"] == f"sha256:{hashlib.sha256(data).hexdigest()}"
        table = pyarrow.parquet.read_table(out / f"{resource['name']}.parquet")
        assert table.num_rows == len(rows_of(out, resource["name"]))
        assert table.column_names == [field["name"] for field in resource["schema"]["fields"]]
    assert {"days", "plants", "pauses", "contrasts"} == {r.name for r in told.resources}
    assert report.days == len(rows_of(out, "days")) == 24 * 30 + 2 * 12


def test_a_title_that_a_spreadsheet_would_run_is_harmless(grown_all):
    out, _ = grown_all
    titles = {row["title"] for row in rows_of(out, "plants")}
    assert "'=HYPERLINK(1)" in titles and not any(title.startswith("=") for title in titles)


def test_the_plot_has_a_panel_a_crop_and_names_seasons_in_a_vector_file(grown_all):
    out, report = grown_all
    text = (out / "crops.svg").read_text()
    ElementTree.fromstring(text)
    for told in ("oats", "basil", "chives", "24 plants", "Oats north-2030", "=HYPERLINK(1), 2031"):
        assert f">{told}<" in text, told
    assert {path.name for path in report.written} == {p.name for p in out.iterdir()}


def test_the_same_seasons_give_the_same_files_again(grown_all, tmp_path):
    out, _ = grown_all
    file = out.parent / "collection.toml"
    grow_all(open_collection(file), tmp_path / "again")
    for name in ("days.csv", "plants.csv", "contrasts.csv", "datapackage.json", "crops.svg"):
        assert (tmp_path / "again" / name).read_bytes() == (out / name).read_bytes(), name


def test_by_date_the_plot_tells_months(grown_all, tmp_path):
    out, _ = grown_all
    grow_all(open_collection(out.parent / "collection.toml"), tmp_path, by_age=False)
    text = (tmp_path / "crops.svg").read_text()
    assert ">Apr<" in text and "Below: date" in text


def test_groups_of_different_benches_are_refused_with_the_reason(tmp_path):
    for name, group in (("a-1", "fed"), ("b-1", "plain")):
        areas = {f"oats-{n}": (2.0 + n, 0.1) for n in range(4)}
        season = written(tmp_path / name, name, areas, groups=dict.fromkeys(areas, group))
        season.reopen_catalogue()
    file = collection(tmp_path, '[[season]]\nfolder = "*-1"\n')
    report = grow_all(open_collection(file), tmp_path / "out")
    told = "\n".join(grown(report))
    assert "plain against fed: not compared: no bench has measured plants of both" in told
    assert rows_of(tmp_path / "out", "contrasts")[0]["ratio"] == ""


def test_a_folder_of_something_else_is_not_written_into(tmp_path):
    season = written(tmp_path / "a-1", "A", {"oats": (2.0, 0.1)})
    season.reopen_catalogue()
    found = open_collection(collection(tmp_path, '[[season]]\nfolder = "a-1"\n'))
    for out in (season.folder, season.tables):
        with pytest.raises(SettingsError, match="a season's own folder"):
            grow_all(found, out)
    (tmp_path / "theirs").mkdir()
    (tmp_path / "theirs" / "datapackage.json").write_text('{"name": "theirs"}')
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "days.csv").write_text("day,what I saw\n")
    for name, file in (("theirs", "datapackage.json"), ("own", "days.csv")):
        before = (tmp_path / name / file).read_bytes()
        with pytest.raises(SettingsError, match="holds no growth of a collection"):
            grow_all(found, tmp_path / name)
        assert [p.name for p in (tmp_path / name).iterdir()] == [file]
        assert (tmp_path / name / file).read_bytes() == before
    (tmp_path / "no-folder").write_text("mine")
    with pytest.raises(SettingsError, match="name a new folder"):
        grow_all(found, tmp_path / "no-folder")


def test_an_empty_folder_and_one_with_an_earlier_growth_are_written_into(tmp_path):
    written(tmp_path / "a-1", "A", {"oats": (2.0, 0.1)}).reopen_catalogue()
    found = open_collection(collection(tmp_path, '[[season]]\nfolder = "a-1"\n'))
    (tmp_path / "out").mkdir()
    grow_all(found, tmp_path / "out")
    (tmp_path / "out" / "days.csv").write_text("")
    grow_all(found, tmp_path / "out")
    assert len(rows_of(tmp_path / "out", "days")) == 30


@pytest.mark.parametrize("others", ["", '[[season]]\nfolder = "new-1"\n'])
def test_where_no_season_can_be_read_the_tables_stay_as_they_were(tmp_path, others):
    """A disk is not mounted; at most a season that has no day yet can be read."""
    written(tmp_path / "disk" / "a-1", "A", {"oats": (2.0, 0.1)}).reopen_catalogue()
    make_season(tmp_path / "new-1").catalogue.close()
    file = collection(tmp_path, f'[[season]]\nfolder = "disk/a-1"\n{others}')
    out = tmp_path / "out"
    grow_all(open_collection(file), out)
    before = {path: path.read_bytes() for path in out.iterdir()}
    (tmp_path / "disk").rename(tmp_path / "away")
    with pytest.raises(SeasonError, match=r"the tables stay as they were.*is its disk mounted"):
        grow_all(open_collection(file), out)
    assert {path: path.read_bytes() for path in out.iterdir()} == before
    with pytest.raises(SeasonError):
        grow_all(open_collection(file), tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_of_more_crops_than_a_page_holds_those_of_most_seasons_are_shown(tmp_path):
    """And of more plants than lines can be told apart, their median and range."""
    few = {f"{letter}oats": (2.0, 0.1) for letter in "abcdefghijkl"}
    many = {f"rye-{n}": (2.0 + n / 50, 0.1) for n in range(MOST_LINES + 1)}
    for name, areas in (("x-1", few | many), ("y-1", {"loats": (2.0, 0.1)})):
        written(tmp_path / name, name, areas).reopen_catalogue()
    file = collection(tmp_path, '[[season]]\nfolder = "*-1"\n')
    grow_all(open_collection(file), tmp_path / "out")
    text = (tmp_path / "out" / "crops.svg").read_text()
    assert all(f">{told}<" in text for told in ("loats", "rye", f"{MOST_LINES + 1} plants"))
    assert "Not shown: 2 crops." in text and ">joats<" not in text
    ranges = re.findall(r"FillBetweenPolyCollection|PolyCollection_\d+", text)
    assert ranges, "the range of the many is drawn"
