"""Loggers' files come into weather.csv: understood, refused cell by cell, and nothing lost."""

import csv
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from lapsekit import logger_header
from lapsekit.errors import SettingsError
from lapsekit.logger_columns import Columns
from lapsekit.logger_file import bring_weather_in, read_logger
from lapsekit.weather import read_weather

ZONE = ZoneInfo("CET")
TWO = Columns(("Time",), "Temp")
PLAIN = Columns(("Time",), "Temp", "Hum")


@pytest.fixture
def logger(tmp_path):
    """Writes a logger's file and reads it."""

    def read(text, columns=PLAIN, encoding="utf-8"):
        (tmp_path / "logger.csv").write_bytes(text.encode(encoding))
        return read_logger(tmp_path / "logger.csv", columns, ZONE)

    return read


@pytest.fixture
def bring(tmp_path):
    def brought(text, columns=PLAIN, dry_run=False):
        (tmp_path / "logger.csv").write_text(text, encoding="utf-8")
        weather = tmp_path / "weather.csv"
        return bring_weather_in(tmp_path / "logger.csv", columns, ZONE, weather, dry_run)

    return brought


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("Time,Temp,Hum\n2031-04-17 13:00,21.5,60\n", "utf-8"),
        ("Time;Temp;Hum\r\n17.04.2031 13:00;21,5;60\r\n", "utf-8"),
        (
            "Serial;4711\nSite;roof °\n\nNo;Time;Temp;Hum\n1;2031/04/17 13:00:00;21,5;60 %\n",
            "cp1252",
        ),
        ("Time\tTemp\tHum\n2031-04-17T11:00:00Z\t21.5\t60\n", "utf-16"),
        ('"Time","Temp","Hum"\n"2031-04-17T13:00+02:00","21,5","60"\n', "utf-8-sig"),
    ],
)
def test_loggers_of_several_kinds_tell_the_same(logger, text, encoding):
    found = logger(text, encoding=encoding)
    assert [(r.at, r.temp_c, r.humidity) for r in found.readings] == [
        (utc(2031, 4, 17, 11), 21.5, 60.0)
    ]
    assert found.refused == []


def test_what_was_understood_is_said(logger):
    found = logger("Device;x\nTime;Temp;Hum\n17.04.2031 13:00;21,5;60\n")
    assert (found.header_line, found.separator, found.decimal) == (2, "semicolons", "comma")
    assert (found.rows, found.with_offset, found.encoding) == (1, 0, "UTF-8")


def test_bad_cells_are_named_with_line_column_and_value_and_the_others_come_in(logger):
    rows = ["2031-04-17 13:00,21,60", "nonsense,21,60", "2031-04-17 14:00,999,60",
            "2031-04-17 15:00,,60", "2031-04-17 16:00,20,105", "1970-01-01 00:00,20,50",
            "2031-04-17 17:00,ERR,60", "2031-04-17 18:00,nan,60"]  # fmt: skip
    found = logger("Time,Temp,Hum\n" + "\n".join(rows))
    assert [r.at.hour for r in found.readings] == [11, 14]
    assert found.readings[1].humidity is None
    assert [(r.line, r.column, r.value) for r in found.refused] == [
        (3, "Time", "nonsense"), (4, "Temp", "999"), (5, "Temp", ""), (6, "Hum", "105"),
        (7, "Time", "1970-01-01 00:00"), (8, "Temp", "ERR"), (9, "Temp", "nan"),
    ]  # fmt: skip
    assert "never set" in found.refused[4].why
    assert "-60 to 70 °C" in found.refused[1].why


def test_a_date_that_could_mean_two_days_is_refused_until_its_form_is_given(logger):
    text = "Time,Temp,Hum\n04/05/2031 01:00 PM,20,50\n"
    with pytest.raises(SettingsError) as refused:
        logger(text)
    asked = '--time-form "%d/%m/%Y %I:%M %p" or --time-form "%m/%d/%Y %I:%M %p"'
    assert str(refused.value).endswith(
        f'times of "Time" could mean two days, like "04/05/2031 01:00 PM"; say which with {asked}'
    )
    given = Columns(("Time",), "Temp", "Hum", form="%m/%d/%Y %I:%M %p")
    assert logger(text, given).readings[0].at == utc(2031, 4, 5, 11)


@pytest.mark.parametrize(
    ("name", "cell", "given", "unit"),
    [
        ("Temp", "68", "°F", "°F"),
        ("Temp (°F)", "68", None, "°F"),
        ("Temp (F)", "68", None, "°F"),
        ("air_temp_f", "68", None, "°F"),
        ("Temperature degF", "68", None, "°F"),
        ("fahrenheit", "68", None, "°F"),
        ("Temp", "68 °F", None, "°F"),
        ("Temp [K]", "293.15", None, "K"),
        ("Sensor F", "20", None, "°C"),
        ("Temp. °C", "20", None, "°C"),
        ("Temp F", "20", "°C", "°C"),
        ("Temp (°C) probe F", "20", None, "°C"),
        ("Temp (C) F", "20", None, "°C"),
        ("Temperature in Celsius K", "20", None, "°C"),
    ],
)
def test_temperatures_come_in_as_celsius_by_the_unit_that_name_cell_or_grower_tell(
    logger, name, cell, given, unit
):
    columns = Columns(("Time",), name, temp_unit=given)
    found = logger(f"Time,{name}\n2031-04-17 13:00,{cell}\n2031-04-17 14:00,{cell}\n", columns)
    assert found.temp_unit == unit
    assert found.extremes("temp_c") == (20.0, 20.0)


def test_a_line_of_units_below_the_names_is_read_as_such(logger):
    found = logger("Time,Temp,Hum\n,°F,%\n2031-04-17 13:00,68,50\n")
    assert (found.rows, found.refused, found.readings[0].temp_c) == (1, [], 20.0)


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"light": "Light (lux)"}, '--light "Light \\(lux\\)": is no PPFD .* leave --light out'),
        ({"light": "Solar W/m²"}, "is no PPFD"),
        ({"humidity": "Vapour kPa"}, "is no relative humidity in %"),
    ],
)
def test_units_that_cannot_be_worked_out_are_refused_by_the_column_s_name(columns, said):
    with pytest.raises(SettingsError, match=said):
        Columns(("Time",), "Temp", **columns)


def test_days_and_times_of_day_may_stand_in_two_columns(logger):
    text = "Date,Time,Temp\n10/13/2031,12:30 AM,20\n10/14/2031,01:00 PM,21\n"
    found = logger(text, Columns(("Date", "Time"), "Temp"))
    assert [r.at for r in found.readings] == [utc(2031, 10, 12, 22, 30), utc(2031, 10, 14, 11)]
    assert found.form == "%m/%d/%Y %I:%M %p"
    with pytest.raises(SettingsError, match=r"without their day, .*: --time Date --time Time$"):
        logger(text, Columns(("Time",), "Temp"))
    with pytest.raises(SettingsError, match=r"without a time of day, .*: --time Date --time Time$"):
        logger(text + "10/14/2031,02:00 PM,21\n", Columns(("Date",), "Temp"))
    with pytest.raises(SettingsError, match="mean --time Date --time Time --temp Temp"):
        logger(text, Columns(("time",), "temp_c"))


@pytest.mark.parametrize(
    ("times", "hours"),
    [
        (["05/10/2031 07:00", "13/10/2031 07:00", "n/a"],
         [utc(2031, 10, 5, 5), utc(2031, 10, 13, 5)]),
        (["05/10/2031 07:00:30", "05/13/2031 07:00:30"],
         [utc(2031, 5, 10, 5, 0, 30), utc(2031, 5, 13, 5, 0, 30)]),
        (["05.10.2031 07:00", "06.10.2031 07:00"], [utc(2031, 10, 5, 5), utc(2031, 10, 6, 5)]),
        (["10/13/31 07:00"], [utc(2031, 10, 13, 5)]),
    ],
)  # fmt: skip
def test_day_and_month_are_told_apart_by_the_whole_column(logger, times, hours):
    found = logger("Time,Temp\n" + "\n".join(f"{each},20" for each in times), TWO)
    assert [reading.at for reading in found.readings] == hours
    assert [each.value for each in found.refused] == [t for t in times if t == "n/a"]


@pytest.mark.parametrize(
    ("times", "said"),
    [
        (["13/10/2031 07:00", "10/13/2031 07:00"], "not all written in one way"),
        (["1921171200"] * 30, 'cannot be understood, like "1921171200"; say with --time-form'),
    ],
)
def test_a_column_of_which_no_time_can_be_read_is_refused_once(logger, times, said):
    with pytest.raises(SettingsError, match=said):
        logger("Time,Temp\n" + "\n".join(f"{each},20" for each in times), TWO)


def test_a_form_that_fits_no_time_is_refused_once(logger):
    with pytest.raises(SettingsError, match=r'fits --time-form %d, not "2031-04-17 13:00" either'):
        logger("Time,Temp\n2031-04-17 13:00,20\n", Columns(("Time",), "Temp", form="%d"))


def test_a_column_of_times_is_proposed_by_what_it_holds(logger):
    table = "Datum/Zeit;Temp. °C;Batterie\n17.04.2031 13:00;21,5;ok\n"
    with pytest.raises(SettingsError, match=r"mean --time Datum/Zeit --temp 'Temp. °C'"):
        logger("Export\n\n" + table, Columns(("time",), "temp_c"))


def test_what_is_no_text_is_told_so_and_not_printed(logger):
    with pytest.raises(SettingsError, match=r"logger\.csv: is no text"):
        logger("\0\x01\x02a,b\n")


@pytest.mark.parametrize("newest_first", [False, True])
def test_the_hour_that_autumn_repeats_is_read_twice_and_in_order(logger, newest_first):
    clock = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    rows = [f"2031-10-26 {at},{n},50" for n, at in enumerate(clock)]
    found = logger("\n".join(["Time,Temp,Hum", *(rows[::-1] if newest_first else rows)]))
    moments = [r.at for r in found.readings]
    assert moments == [utc(2031, 10, 25, 23, 30) + timedelta(minutes=30 * n) for n in range(6)]
    assert [r.temp_c for r in found.readings] == [0, 1, 2, 3, 4, 5]


def test_the_hour_that_spring_skips_is_refused_with_a_way_out(logger):
    found = logger("Time,Temp,Hum\n2031-03-30 02:30,5,50\n")
    assert found.readings == []
    assert "--zone Etc/GMT-1" in found.refused[0].why


def test_a_column_that_is_not_there_is_refused_with_the_nearest(logger):
    with pytest.raises(SettingsError, match=r"did you mean --temp 'Temp °C'\?"):
        logger("Time,Temp °C\n", Columns(("Time",), "temperature"))
    with pytest.raises(SettingsError, match='names "Temp" 2 times'):
        logger("Time,Temp,Temp,Hum\n")


@pytest.mark.parametrize(
    "above",
    [
        "North shelf,v1.2,UTC+1,4711\nSerial,4711\n\n",
        "North shelf\nSerial;4711;x;y\n\n",
        "Serial,4711\n",
        "",
    ],
)
def test_names_are_looked_for_below_what_a_logger_writes_above_its_table(logger, above):
    table = "Time,Temperature,RH %\n2031-04-17 13:00,21.5,60\n2031-04-17 14:00,-2,61\n"
    with pytest.raises(SettingsError) as refused:
        logger(above + table, Columns(("time",), "temp_c"))
    line = above.count("\n") + 1
    assert str(refused.value).endswith(
        f'no column "time", "temp_c"; line {line} names "Time", "Temperature", "RH %"; did you '
        "mean --time Time --temp Temperature?"
    )


def test_no_column_is_guessed_to_be_two_and_a_file_without_columns_is_told_so(logger):
    with pytest.raises(SettingsError, match=r"mean --time COLUMN --temp Temp\?"):
        logger("Temp;Uhr\n20,5;1\n", Columns(("time",), "temp_c"))
    with pytest.raises(SettingsError, match=r"with --time COLUMN --temp COLUMN$"):
        logger("Zeit,Wert\n", Columns(("at",), "grad"))
    with pytest.raises(SettingsError, match="export it as CSV"):
        logger("Logger 4711\n", Columns(("time",), "temp_c"))


def test_short_names_that_share_a_few_letters_by_chance_are_not_proposed(logger):
    with pytest.raises(SettingsError, match=r"mean --time COLUMN --temp Temp\?"):
        logger("Name,Temp\nroof,20.5\n", Columns(("time",), "temp_c"))


def test_a_cell_of_any_length_is_read(logger):
    before = csv.field_size_limit(131072)
    found = logger(f"{'x' * 140_000},y\nTime,Temp,Hum\n2031-04-17 13:00,21.5,60\n")
    assert (found.header_line, len(found.readings)) == (2, 1)
    csv.field_size_limit(131072)
    with pytest.raises(SettingsError, match=r'no column "Time", "Temp", "Hum"'):
        logger(f"{'x' * 140_000},y\n")
    csv.field_size_limit(before)


def test_a_long_file_is_not_read_to_its_end_for_names_that_are_not_there(tmp_path, monkeypatch):
    seen = []
    monkeypatch.setattr(logger_header, "_cells", lambda line, _: seen.append(line) or [line, ""])
    with pytest.raises(SettingsError, match="no column"):
        logger_header.find_header(tmp_path, "Zeit,Wert\n" + "1,2\n" * 50_000, [("--time", "time")])
    assert 0 < len(seen) < 1000


def test_readings_are_laid_among_those_that_are_there_and_nothing_is_lost(bring, tmp_path):
    weather = tmp_path / "weather.csv"
    weather.write_text(
        "# the roof's logger\ntime,temp_c,rain\n2031-04-17T12:00:00Z,20.50,0.2\n"
        "# battery changed\n2031-04-17T13:00:00+00:00,21,\n# end\n"
    )
    rows = ["2031-04-17 13:00,19.5,55", "2031-04-17 14:00,20.5,54", "2031-04-17 15:00,23,53"]
    found = bring("Time,Temp,Hum\n" + "\n".join(rows))
    assert weather.read_text() == (
        "# the roof's logger\ntime,temp_c,rain,humidity\n2031-04-17T11:00:00Z,19.5,,55\n"
        "2031-04-17T12:00:00Z,20.50,0.2,54\n# battery changed\n"
        "2031-04-17T13:00:00+00:00,21,,53\n# end\n"
    )
    assert (found.laid.added, found.laid.filled, found.written) == (1, 2, True)
    assert found.laid.kept == [(utc(2031, 4, 17, 13), "temp_c", 21.0, 23.0)]


def test_the_same_file_again_changes_nothing(bring, tmp_path):
    text = "Time,Temp,Hum\n2031-04-17 13:00,19.5,55\n2031-04-17 14:00,20.123456789,54\n"
    bring(text)
    before = (tmp_path / "weather.csv").read_bytes()
    found = bring(text)
    assert (found.laid.added, found.laid.there, found.written) == (0, 2, False)
    assert (tmp_path / "weather.csv").read_bytes() == before


def test_a_dry_run_writes_nothing_and_says_the_same(bring, tmp_path):
    text = "Time,Temp,Hum\n2031-04-17 13:00,19.5,55\n"
    dry = bring(text, dry_run=True)
    assert not (tmp_path / "weather.csv").exists()
    assert dry.laid == bring(text).laid


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("when,temp\n", 'line 1 = "when,temp"'),
        ("time,temp_c\n2031-04-17 12:00,20\n", 'line 2, time = "2031-04-17 12:00"'),
        ("time,temp_c\n2031-04-17T12:00:00Z,warm\n", 'line 2, temp_c = "warm" is no number'),
        ("time,temp_c\n2031-04-17T12:00:00Z,20,5\n", "decimal point"),
    ],
)
def test_a_weather_file_that_cannot_be_read_is_left_as_it_is(bring, tmp_path, text, said):
    (tmp_path / "weather.csv").write_text(text)
    with pytest.raises(SettingsError) as refused:
        bring("Time,Temp,Hum\n2031-04-17 13:00,19.5,55\n")
    assert said in str(refused.value)
    assert (tmp_path / "weather.csv").read_text() == text


def test_the_sample_seasons_weather_is_read_whole():
    from tests.conftest import CHECKOUT

    path = CHECKOUT / "sample_frames" / "weather.csv"
    table = read_weather(path)
    assert len(table.readings) == len(path.read_text().splitlines()) - 1
    assert table.text == path.read_text()


def test_a_reading_of_a_day_that_has_not_come_is_refused(tmp_path):
    """A wrong year in one line; clocks that run ahead by some hours are let be."""
    (tmp_path / "logger.csv").write_text(
        "Time,Temp,Hum\n2031-04-17 13:00,21,60\n2041-04-17 14:00,22,61\n2031-04-18 02:00,9,70\n"
    )
    now = utc(2031, 4, 17, 18)
    found = read_logger(tmp_path / "logger.csv", PLAIN, ZONE, now)
    assert [r.temp_c for r in found.readings] == [21, 9]
    (refused,) = found.refused
    assert refused.line == 3 and "2041" in refused.value and "not come" in refused.why
