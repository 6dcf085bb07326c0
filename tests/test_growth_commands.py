"""diary, weather, contrast, responses and plan as a grower types them."""

import json

import pytest

from tests.scenes import SETTINGS, make_season
from tests.test_cli import lapsekit, refused, succeeded

PAST = SETTINGS.replace("sown = 2031-03-25", "sown = 2024-03-25")
"""The commands go by the machine's own clock, and a diary tells of the past."""


@pytest.fixture
def bench(tmp_path):
    make_season(tmp_path / "bench", settings=PAST).catalogue.close()
    return tmp_path / "bench"


def test_an_event_is_added_and_listed(bench):
    said = succeeded("diary", "add", "2024-04-17", "potted on", "--region", "basil", "-s", bench)
    assert said == "noted: 2024-04-17  basil             potted on\n"
    succeeded("diary", "add", "2024-04-18", "harvest", "--weight", 12, "--bbch", 49, "-s", bench)
    facts = json.loads(succeeded("diary", "--json", "-s", bench))
    assert facts["problems"] == []
    assert [(e["date"], e["region"], e["event"]) for e in facts["events"]] == [
        ("2024-04-17", "basil", "potted on"), ("2024-04-18", None, "harvest"),
    ]  # fmt: skip
    assert (facts["events"][1]["weight_g"], facts["events"][1]["bbch"]) == (12, 49)
    assert succeeded("diary", "--region", "chives", cwd=bench).count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("2024-04-17", "fed", "--region", "basel"), 'did you mean "basil"?'),
        (("2024-4-17", "fed"), "write 2024-04-17"),
    ],
)
def test_a_wrong_region_or_date_ends_with_78(bench, arguments, said):
    assert said in refused("diary", "add", *arguments, "-s", bench, code=78)
    assert not (bench / "diary.csv").exists()


def test_a_loggers_file_is_tried_brought_in_and_listed(bench, tmp_path):
    logger = tmp_path / "roof.csv"
    rows = [f"17.04.2024 {h:02}:00;{12 + h / 4:.2f}".replace(".", ",") for h in range(24)]
    rows = [r.replace("17,04,2024", "17.04.2024") for r in rows]
    logger.write_text("\n".join(["Zeit;Grad", *rows, "18.04.2024 00:00;warm"]) + "\n")
    command = ("weather", logger, "--time", "Zeit", "--temp", "Grad", "-s", bench)
    dry = lapsekit(*command, "--dry-run")
    assert dry.returncode == 65
    assert "would add 24 readings" in dry.stdout
    assert "columns between semicolons, named in line 1; decimal comma" in dry.stdout
    assert f'{logger}: line 26, Grad = "warm" is no number' in dry.stderr
    assert not (bench / "weather.csv").exists()
    assert "added 24 readings; 0 were there already" in lapsekit(*command).stdout
    told = json.loads(succeeded("weather", "--base", 10, "--json", "-s", bench))["days"][0]
    assert (told["day"], told["min_c"], told["max_c"]) == ("2024-04-17", 12.0, 17.75)
    assert told["degree_days"] == pytest.approx((12 + 17.75) / 2 - 10)
    assert "near frost" not in succeeded("weather", "-s", bench)


def test_days_of_too_few_readings_are_told_once_with_what_they_would_need(bench):
    hours = {16: range(24), 17: (3, 9, 15), 19: range(24)}
    rows = [f"2024-04-{day}T{h:02}:30:00+02:00,12\n" for day in hours for h in hours[day]]
    (bench / "weather.csv").write_text("time,temp_c\n" + "".join(rows))
    said = succeeded("weather", "--base", 10, "-s", bench)
    assert said.count("more than 3 hours open") == 1
    assert "on 2024-04-17 (3 readings), 2024-04-18 (0 readings); a day needs one at least" in said
    assert "no degree days from 2024-04-17 on" in said
    (bench / "weather.csv").write_text("time,temp_c\n" + "".join(rows[:24]))
    whole = succeeded("weather", "--base", 10, "-s", bench)
    assert "12.0" in whole
    assert " open on " not in whole and "no degree days" not in whole


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--time", "Zeit", "--temp", "Gard"), "did you mean --temp Grad?"),
        (("--time", "Zeit", "--temp", "Grad", "--zone", "Roof"), '--zone "Roof"'),
    ],
)
def test_a_loggers_file_that_is_not_understood_ends_with_78(bench, tmp_path, options, said):
    (tmp_path / "roof.csv").write_text("Zeit,Grad\n2024-04-17 12:00,20\n")
    assert said in refused("weather", tmp_path / "roof.csv", *options, "-s", bench, code=78)
    assert not (bench / "weather.csv").exists()


def test_of_many_refused_cells_the_first_are_shown_and_json_has_them_all(bench, tmp_path):
    (tmp_path / "roof.csv").write_text("time,temp_c\n" + "2024-04-17 12:00,warm\n" * 30)
    done = lapsekit("weather", tmp_path / "roof.csv", "-s", bench)
    assert (done.returncode, len(done.stderr.splitlines())) == (65, 4)
    assert "and 27 more like that" in done.stderr
    told = lapsekit("weather", tmp_path / "roof.csv", "-s", bench, "--json")
    assert len(json.loads(told.stdout)["refused"]) == 30


def test_a_loggers_file_that_is_not_there_is_named(bench, tmp_path):
    missing = tmp_path / "none.csv"
    assert f"{missing}: cannot be read" in refused("weather", missing, "-s", bench, code=78)


def test_a_plan_needs_no_season_where_the_scatter_is_given(tmp_path):
    said = succeeded("plan", "--ratio", 1.2, "--scatter", 0.2, cwd=tmp_path)
    assert "found with 20 plants a side" in said
    assert json.loads(succeeded("plan", "--scatter", 0.2, "--json"))["plan"]["least_plants"] == 4
    for wrong in (("--ratio", 1), ("--ratio", -2), ("--power", 1)):
        assert "give" in refused("plan", "--scatter", 0.2, *wrong, code=78)


def test_a_season_without_groups_or_acts_is_told_so(bench):
    assert "two groups are needed" in refused("contrast", "-s", bench, code=78)
    assert "give one with --scatter" in refused("plan", "-s", bench, code=78)
    assert "nothing that was done" in succeeded("responses", "-s", bench)
    assert "no readings yet" in succeeded("weather", "-s", bench)
    assert "no events yet" in succeeded("diary", "-s", bench)


def test_a_group_stands_for_its_regions_in_the_diary(tmp_path):
    season = make_season(tmp_path / "bench", settings=PAST)
    text = (season.folder / "regions.toml").read_text()
    for name in ("basil", "chives"):
        text = text.replace(f'name = "{name}"', f'name = "{name}"\ngroup = "Herbs"')
    (season.folder / "regions.toml").write_text(text)
    season.catalogue.close()
    succeeded("diary", "add", "2025-04-02", "fed", "--region", "Herbs", cwd=season.folder)
    lines = (season.folder / "diary.csv").read_text().splitlines()[1:]
    assert lines == ["2025-04-02,basil,fed,", "2025-04-02,chives,fed,"]
    assert "is no region" in refused(
        "diary", "add", "2025-04-02", "fed", "--region", "Herb", cwd=season.folder, code=78
    )
