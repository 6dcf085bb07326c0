"""Where days lie in a film, its chapters, and its text tracks read back."""

import re
from datetime import date, timedelta

import pytest

from lapsekit.film.tracks import Cue, chapters, clipped, clock, days_of, second_of, vtt

FIRST = date(2031, 4, 1)
#: Ten days, the fourth and the fifth without a frame, the second with three.
NUMBERS = [0, 1, 1, 1, 2, 5, 6, 7, 8, 9]
SHOWS = [f"frames/bench/{FIRST + timedelta(n)}/x{k}.jpg" for k, n in enumerate(NUMBERS)]


def day(number):
    return FIRST + timedelta(number)


@pytest.fixture
def days():
    return days_of(SHOWS, 4)


def parsed(data):
    """A WebVTT file by its rules: times in seconds, and the text with its escapes undone."""
    header, *blocks = data.decode().split("\n\n")
    assert header == "WEBVTT"
    cues = []
    for block in blocks:
        _, times, *lines = block.strip("\n").split("\n")
        assert re.fullmatch(r"(\d\d:\d\d:\d\d\.\d{3}) --> (\d\d:\d\d:\d\d\.\d{3})", times)
        assert len(lines) == 1 and "-->" not in lines[0] and "<" not in lines[0]
        text = lines[0].replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
        cues.append(Cue(*map(seconds, times.split(" --> ")), text))
    return cues


def seconds(stamp):
    hours, minutes, rest = stamp.split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(rest)


def test_each_day_is_shown_as_long_as_it_has_frames(days):
    assert [(d.day, d.start_s, d.end_s) for d in days[:3]] == [
        (day(0), 0, 0.25),
        (day(1), 0.25, 1.0),
        (day(2), 1.0, 1.25),
    ]
    assert days[-1].end_s == 2.5


def test_a_day_without_a_frame_is_where_the_next_one_is(days):
    assert second_of(days, day(3)) == second_of(days, day(5)) == 1.25
    assert second_of(days, day(-1)) is None and second_of(days, day(10)) is None


def test_chapters_begin_at_what_happened_and_fill_the_film(days):
    told = [(day(-5), "sown"), (day(3), "fed"), (day(5), "cut"), (day(9), "end"), (day(30), "no")]
    assert chapters(days, told, "begins") == [
        Cue(0.0, 1.25, "begins"),
        Cue(1.25, 2.25, "fed; cut"),
        Cue(2.25, 2.5, "end"),
    ]
    assert chapters(days, [(day(0), "out")], "begins") == [Cue(0.0, 2.5, "out")]
    assert chapters([], told, "begins") == []


@pytest.mark.parametrize(
    "text",
    ["plain", "<script>alert(1)</script>", "00:00 --> 00:01 & more", "\u202eturned\u202c", "&lt;"],
)
def test_tracks_are_read_back_as_they_were_written(text):
    cues = [Cue(0, 1.5, text), Cue(1.5, 3725.25, "then")]
    assert parsed(vtt(cues)) == cues


def test_a_text_of_many_lines_stays_in_its_cue():
    (cue,) = parsed(vtt([Cue(0, 1, "one\n\n2\n00:00:01.000 --> 00:00:02.000\nmine\x00\u2028")]))
    assert cue.text == "one 2 00:00:01.000 --> 00:00:02.000 mine"
    assert parsed(vtt([Cue(0, 1, "\n")]))[0].text == "–"


def test_long_texts_are_clipped_and_times_said_to_a_tenth():
    assert len(clipped("x" * 10_000)) == 120 and clipped("short") == "short"
    assert [clock(s) for s in (0, 0.3, 59.95, 61.5)] == ["0:00.0", "0:00.3", "0:59.9", "1:01.5"]
