"""The diary takes what was done and seen, keeps what stands in it, and refuses what cannot be."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from lapsekit.diary import Event, parse_diary, read_diary
from lapsekit.diary_lines import with_event
from lapsekit.edits.diary_text import with_changed_event
from lapsekit.errors import SettingsError
from lapsekit.noting import Figures, add_events, list_events
from lapsekit.season import Season
from tests.scenes import make_season

NOW = datetime(2031, 5, 20, 22, 30, tzinfo=UTC)  # 21 May in the season's zone


@pytest.fixture
def bench(tmp_path):
    """A season sown on 25 March 2031, on the night to 21 May."""
    folder = make_season(tmp_path / "bench").folder
    return Season(folder, clock=lambda: NOW)


def diary(season):
    return season.folder / "diary.csv"


def add(season, day="2031-04-17", what="fed", regions=("basil",), note="", **figures):
    return add_events(season, day, what, regions, note, Figures(**figures))


def refusal(*arguments, **options):
    with pytest.raises(SettingsError) as refused:
        add(*arguments, **options)
    return str(refused.value)


def test_a_first_event_makes_the_file(bench):
    add(bench, note='into 14 cm, "tight" roots')
    assert diary(bench).read_text() == (
        'date,region,event,note\n2031-04-17,basil,fed,"into 14 cm, ""tight"" roots"\n'
    )
    (event,), problems = read_diary(diary(bench))
    assert event == Event(date(2031, 4, 17), "basil", "fed", 'into 14 cm, "tight" roots')
    assert problems == []


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_every_line_and_comment_that_is_there_stays_byte_for_byte(bench, end, mark):
    lines = [
        "# mine",
        "",
        "note,event,date,weather,region",
        '"two',
        'lines",moved,2031-04-01,,basil',
        "nonsense",
        "# rain, all week",
        "late,fed,2031-05-01,wet,",
    ]
    before = mark + end.join(lines).encode()
    diary(bench).write_bytes(before)
    add(bench, note="x")
    assert diary(bench).read_bytes() == before + (f"{end}x,fed,2031-04-17,,basil{end}".encode())
    assert [e.what for e in read_diary(diary(bench))[0]] == ["moved", "fed", "fed"]


def test_an_open_quotation_mark_would_swallow_the_line_and_is_refused(bench):
    text = 'date,region,event,note\n2031-04-01,basil,fed,"open\n'
    diary(bench).write_text(text)
    assert "quotation mark" in refusal(bench)
    assert diary(bench).read_text() == text


def test_a_diary_of_other_columns_is_refused_and_left_alone(bench):
    diary(bench).write_text("date,event\n2031-04-01,fed\n")
    assert "no column region" in refusal(bench)
    add(bench, regions=())
    assert diary(bench).read_text().endswith("\n2031-04-17,fed\n")


def test_several_regions_get_a_line_each_and_none_means_the_bench(bench):
    add(bench, regions=("basil", "chives"))
    add(bench, regions=(), what="watered")
    assert [(e.region, e.what) for e in read_diary(diary(bench))[0]] == [
        ("basil", "fed"), ("chives", "fed"), ("", "watered"),
    ]  # fmt: skip


def test_figures_stand_in_the_note_and_are_read_back(bench):
    add(bench, what="harvest", note="leaves", weight_g=1250, bbch=49)
    add(bench, what="First Flower", bbch=6)
    add(bench, what="height", height_cm=12.5)
    diary(bench).write_text(diary(bench).read_text() + '2031-05-01,basil,harvest,"0,8 kg"\n')
    events, _ = read_diary(diary(bench))
    assert [(e.what, e.note) for e in events[:3]] == [
        ("harvest", "1250 g, BBCH 49; leaves"), ("first flower", "BBCH 06"), ("height", "12.5 cm"),
    ]  # fmt: skip
    assert [e.bbch for e in events] == [49, 6, None, None]
    assert [e.weight_g for e in events] == [1250, None, None, 800]


@pytest.mark.parametrize(
    ("note", "grams"),
    [
        ("1250 g", 1250), ("1.5 kg of leaves", 1500), ("1,250 kg", 1250), ("1 250 g", 1250),
        ("12,5 g", 12.5), ("outer leaves, 80g", 80), ("1\u202f250 g, washed", 1250),
        ("0.125 g", 0.125), ("tray 350 g", 350), ("BBCH 49; 80 g", 80),
        ("1/2 kg", None), ("1 1/2 kg", None), ("tray 3 350 g", None), ("1 - 2 kg", None),
        ("1 to 2 kg", None), ("350 – 400 g", None), ("3 x 350 g", None), ("1½ kg", None),
        ("350 g and 200 g", None), ("1,250 g", None), ("1.250 g", None),
        ("-5 g", None), ("3-5 g", None), ("1.250,5 g", None),
    ],
)  # fmt: skip
def test_a_weight_counts_only_where_it_can_be_read_in_one_way(bench, note, grams):
    (event,), hints = add(bench, what="harvest", note=note)
    assert event.weight_g == grams
    assert [note in hint for hint in hints] == ([True] if grams is None else [])


@pytest.mark.parametrize(
    ("what", "note", "stage"),
    [
        ("watered", "BBCH 61", 61), ("watered", "at bbch09", 9), ("watered", "BBCH soon", None),
        ("watered", "BBCH 611", "told"), ("watered", "BBCH -1", "told"), ("BBCH 61", "", "told"),
    ],
)  # fmt: skip
def test_a_growth_stage_that_counts_for_nothing_is_told(bench, what, note, stage):
    (event,), hints = add(bench, what=what, note=note)
    assert event.bbch == (None if stage == "told" else stage)
    about = [hint for hint in hints if "they run from 00 to 99" in hint]
    assert [(note or what) in hint for hint in about] == ([True] if stage == "told" else [])


@pytest.mark.parametrize(
    ("note", "cm"),
    [
        ("12", 12), ("12 cm", 12), ("12,5cm to the tip", 12.5), ("12 cm; 3 leaves", 12),
        ("120 mm", 12), ("0.12 m", 12), ("0,125 m", 12.5), ("1 200 mm", 120), ("12 inches", 30.48),
        ("12 Inch", 30.48), ("12 in", 30.48), ("12 in, staked", 30.48), ('12"', 30.48),
        ("12 Zoll", 30.48), ("12 CM", 12), ("12 cm - leggy", 12), ("12 – leggy", 12),
        ("12 ft", None), ("12 hands", None), ("12-14 cm", None), ("12 cm to", 12),
        ("12 to 14 cm", None), ("1 m 20", None), ("5' 3", None), ("5 1/2 in", None),
        ("12½ cm", None), ("12 in the pot", None), ("1,200 mm", None), ("1.250 cm", None),
        ("12 cm²", None), ("-12 cm", None), ("1.200.000 mm", None), ("tall", None), ("", None),
        ("12 cm - 14 cm", None), ("12 — 14", None),
    ],
)  # fmt: skip
def test_a_height_counts_in_the_unit_it_is_told_in_and_others_are_refused(bench, note, cm):
    """Through the command, and, where a hand wrote the line, in the list of the diary."""
    if cm is None:
        said = "a height" if not note else f'note "{note}" of a height tells no length in one way'
        assert said in refusal(bench, what="height", note=note)
        cell = note.replace('"', '""')
        diary(bench).write_text(f'date,region,event,note\n2031-04-17,basil,height,"{cell}"\n')
        (problem,) = list_events(bench).problems
        assert "line 2" in problem and "120 mm" in problem
    else:
        (event,), hints = add(bench, what="height", note=note)
        assert event.height_cm == pytest.approx(cm) and hints == []
        assert list_events(bench).problems == []


@pytest.mark.parametrize("cm", [12, 12.5, 12.125, 0.25])
def test_a_height_that_was_given_is_read_back(bench, cm):
    (event,), hints = add(bench, what="height", height_cm=cm, note="3 leaves")
    assert event.height_cm == pytest.approx(cm, abs=0.01) and hints == []


@pytest.mark.parametrize("grams", [1250, 12.5, 12.125, 0.25, 99999])
def test_a_weight_that_was_given_is_read_back(bench, grams):
    (event,), hints = add(bench, what="harvest", weight_g=grams, bbch=49, note="outer leaves")
    assert event.weight_g == pytest.approx(grams, abs=0.01) and hints == []


def test_what_counts_for_nothing_is_told_with_its_line(bench):
    add(bench, note="half strength")
    diary(bench).write_text(diary(bench).read_text() + '2031-05-01,basil,harvest,"1,250 g"\n')
    (told,) = list_events(bench).problems
    assert "line 3" in told and "1250 g" in told


@pytest.mark.parametrize("regions", [["basil"], []])
def test_the_same_line_is_not_taken_twice_but_told_with_its_place(bench, regions):
    add(bench, what="moved", regions=["chives"])
    add(bench, what="fed", regions=regions, note="half strength")
    before = diary(bench).read_text()
    told = refusal(bench, what="Fed", regions=regions, note="half  strength")
    assert f"{diary(bench)}: 2031-04-17, {'basil' if regions else 'whole bench'}, fed" in told
    assert "already stands in line 3" in told and "note" in told
    assert "line 3" in refusal(bench, what="fed", regions=[*regions], note="half strength")
    assert diary(bench).read_text() == before
    add(bench, what="fed", regions=regions, note="half strength, in the evening")
    add(bench, day="2031-04-18", what="fed", regions=regions, note="half strength")
    assert len(diary(bench).read_text().splitlines()) == 5


def test_of_several_regions_those_that_lack_an_event_get_it_and_the_others_are_named(bench):
    add(bench, what="fed", regions=["chives"])
    events, (hint,) = add(bench, what="fed", regions=["basil", "chives"])
    assert [event.region for event in events] == ["basil"]
    assert "already in the diary, not written again: chives (line 2)" in hint
    before = diary(bench).read_text()
    assert before.count("fed") == 2
    told = refusal(bench, what="fed", regions=["basil", "chives"])
    assert "2031-04-17, fed: already stands for basil (line 3), chives (line 2)" in told
    assert diary(bench).read_text() == before


def test_a_region_that_is_named_twice_gets_one_line(bench):
    events, _ = add(bench, regions=["basil", "basil"])
    assert len(events) == 1 and diary(bench).read_text().count("basil") == 1


def test_a_photograph_more_of_the_same_is_another_line_and_none_more_is_not():
    text = with_event(Path("diary.csv"), "", Event(date(2031, 4, 1), "basil", "pest", ""))
    shown = Event(date(2031, 4, 1), "basil", "pest", "", pictures=("diary/1.jpg",))
    text = with_event(Path("diary.csv"), text, shown)
    assert text.count("pest") == 2
    with pytest.raises(SettingsError, match="line 3"):
        with_event(Path("diary.csv"), text.replace(",pest,,,", ",cut,,,"), shown)


def test_a_line_is_not_changed_into_another_that_stands_there():
    text = "date,region,event,note\n2031-04-01,basil,fed,\n2031-04-02,basil,fed,\n"
    (first, second), _ = parse_diary(text, Path("diary.csv"))
    with pytest.raises(SettingsError, match="already stands in line 2"):
        with_changed_event(text, second, replace(second, day=first.day))
    assert "2031-04-02,basil,cut," in with_changed_event(text, second, replace(second, what="cut"))


def test_a_day_of_the_year_before_is_asked_about(bench):
    assert add(bench, day="2031-04-17")[1] == []
    (hint,) = add(bench, day="2030-12-01")[1]
    assert "days before sowing" in hint and "year" in hint


def test_a_line_of_a_day_to_come_is_asked_about(bench):
    add(bench)
    diary(bench).write_text(diary(bench).read_text() + "2031-12-30,,harvest,\n")
    (told,) = list_events(bench).problems
    assert "line 3, date = 2031-12-30 has not come yet" in told
    (bench.folder / "catalogue.sqlite").write_bytes(b"no catalogue at all" * 99)
    assert list_events(Season(bench.folder, clock=lambda: NOW)).problems == [told]


def test_a_sowing_of_an_unknown_region_shifts_no_other_ages(bench):
    add(bench)
    diary(bench).write_text(diary(bench).read_text() + "2031-04-02,nosuch,sown,\n")
    (told,) = list_events(bench).problems
    assert "nosuch" in told and "season.toml" not in told


def test_a_sowing_on_another_day_than_ages_count_from_is_told(bench):
    """regions.toml and season.toml decide; the diary's word alone would change no age."""
    assert add(bench, "2031-03-25", "sown", ())[1] == []
    assert add(bench, "2031-03-25", "sown", ("basil",))[1] == []
    _, hints = add(bench, "2031-03-28", "sown", ("basil", "chives"))
    assert [("sown = 2031-03-28 into regions.toml" in h, "2031-03-25" in h) for h in hints] == [
        (True, True)
    ] * 2
    assert "basil" in hints[0] and "chives" in hints[1]
    _, hints = add(bench, "2031-03-20", "sown", ())
    assert len(hints) == 1 and "into season.toml" in hints[0]
    told = list_events(bench).problems
    for line, whose in zip(told, ("plants", "basil", "chives"), strict=True):
        assert "diary.csv: line" in line and f"the age of {whose} counts" in line


def test_a_height_written_here_corrects_areas_there(bench):
    from lapsekit.heights import Heights

    add(bench, what="height", height_cm=12)
    text = (bench.folder / "season.toml").read_text()
    text = text.replace('method = "exgr"', 'method = "exgr"\ncorrect_height = true')
    text = text.replace("px_per_cm = 10", "px_per_cm = 10\nheight_cm = 120")
    (bench.folder / "season.toml").write_text(text)
    season = Season(bench.folder, bench.clock)
    region = season.regions.by_name["basil"]
    assert Heights(season).correction(region, date(2031, 4, 17)).factor == pytest.approx(0.81)


@pytest.mark.parametrize(
    ("region", "near"), [("basel", "basil"), ("Chive", "chives"), ("Basil", "basil")]
)
def test_a_wrong_region_is_refused_with_the_nearest(bench, region, near):
    message = refusal(bench, regions=[region])
    assert f'--region "{region}" is no region of regions.toml; did you mean "{near}"?' in message
    assert not diary(bench).exists()


@pytest.mark.parametrize(
    ("day", "why", "near"),
    [
        ("2031-04-31", "is no day: month 4 of 2031 has 30 days", "2031-04-30"),
        ("2013-04-17", "is more than a year before the first sowing", "2031-04-17"),
        ("2031-05-22", "has not come yet (today is 2031-05-21)", "2031-05-2"),
    ],
)
def test_a_wrong_date_is_refused_with_the_nearest(bench, day, why, near):
    message = refusal(bench, day=day)
    assert f'date "{day}" {why}' in message
    assert f"did you mean {near}" in message


@pytest.mark.parametrize(
    ("day", "told"),
    [
        ("2031-4-7", "is not written YYYY-MM-DD; write 2031-04-07"),
        ("2031-04-7", "is not written YYYY-MM-DD; write 2031-04-07"),
        ("20310417", "is not written YYYY-MM-DD; write 2031-04-17"),
        ("17.04.2031", "is not written YYYY-MM-DD; write 2031-04-17"),
        ("4/5/2031", "write 2031-05-04, or 2031-04-05 if the month stands first"),
        ("5/5/2031", "is not written YYYY-MM-DD; write 2031-05-05"),
        ("2031-13-5", "is no day: the month is 13; write YYYY-MM-DD, such as 2031-05-13"),
        ("4/17/2031", "is no day: the month is 17; write YYYY-MM-DD, such as 2031-04-17"),
        ("2031-31-15", "is no day: the month is 31; write YYYY-MM-DD, such as 2031-05-21"),
        ("2031-13-12", "is no day: the month is 13; write YYYY-MM-DD, such as 2031-05-21"),
        ("2031-04-00", "is no day: the day is 0; write YYYY-MM-DD, such as 2031-05-21"),
        ("0000-04-01", "is no day: the year is 0; write YYYY-MM-DD, such as 2031-05-21"),
        ("31-4-7", "is no day; write YYYY-MM-DD, such as 2031-05-21"),
        ("", "is no day; write YYYY-MM-DD, such as 2031-05-21"),
    ],
)
def test_a_date_that_is_none_is_told_with_what_was_meant(bench, day, told):
    assert refusal(bench, day=day).startswith(f'date "{day}" ')
    assert refusal(bench, day=day).endswith(told)


def test_today_counts_by_the_seasons_own_midnight(bench):
    add(bench, day="2031-05-21")
    assert len(read_diary(diary(bench))[0]) == 1


def test_a_date_like_none_is_refused_without_a_guess(bench):
    message = refusal(bench, day="yesterday")
    assert "is no day" in message
    assert "did you mean" not in message


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"what": "  "}, "write what was done or seen"),
        ({"what": "#fed"}, "write what was done or seen"),
        ({"bbch": 100}, "--bbch 100: growth stages run from 00 to 99"),
        ({"bbch": -1}, "--bbch -1"),
        ({"weight_g": 5}, '--weight belongs to a harvest, not to "fed"'),
        ({"what": "harvest", "weight_g": -5}, "--weight -5"),
        ({"what": "harvest", "weight_g": float("nan")}, "--weight nan"),
        ({"height_cm": 5}, "--height belongs to the event height"),
        ({"what": "height"}, "a height is that of one region's plants"),
        ({"what": "height", "regions": (), "height_cm": 5}, "a height is that of one region's"),
    ],
)
def test_what_means_nothing_is_refused_and_nothing_is_written(bench, arguments, said):
    assert said in refusal(bench, **arguments)
    assert not diary(bench).exists()


def test_words_of_ones_own_are_taken_and_near_misses_told(bench):
    assert add(bench, what="sang to it")[1] == []
    assert add(bench, what="poted on")[1] == [
        '"poted on" is a word of your own; others write "potted on"'
    ]
    assert [e.what for e in read_diary(diary(bench))[0]] == ["sang to it", "poted on"]


def test_the_list_names_lines_whose_region_is_none(bench):
    diary(bench).write_text(
        "date,region,event,note\n2031-05-01,basel,fed,\n2031-04-01,chives,cut,\n"
        "2031-04-02,,watered,\nsoon,basil,fed,\n"
    )
    found = list_events(bench)
    assert [f"{e.day:%m-%d}" for e in found.events] == ["04-01", "04-02", "05-01"]
    assert "line 5 is passed over" in found.problems[0]
    assert 'line 2, region = "basel" is no region' in found.problems[1]
    assert 'did you mean "basil"?' in found.problems[1]
    assert [e.what for e in list_events(bench, "chives").events] == ["cut", "watered"]
    april = list_events(bench, None, date(2031, 4, 2), date(2031, 4, 30))
    assert [e.what for e in april.events] == ["watered"]


def test_a_note_keeps_what_follows_its_commas_without_quotation_marks(bench):
    lines = "date,region,event,note\n2031-04-26,,fed,a, b,c\n2031-04-27,,fed,whole,,\n"
    diary(bench).write_text(lines)
    events, problems = read_diary(diary(bench))
    assert ([e.note for e in events], problems) == (["a, b,c", "whole"], [])


def test_a_note_with_commas_is_changed_and_gets_photographs_as_a_whole():
    text = "date,region,event,note\n2031-04-26,,fed,a, b,c\n"
    (was,), _ = parse_diary(text, Path("diary.csv"))
    changed = with_changed_event(text, was, replace(was, note="d"))
    assert changed == "date,region,event,note\n2031-04-26,,fed,d\n"
    shown = with_event(Path("diary.csv"), text, replace(was, pictures=("diary/1.jpg",)))
    assert [e.note for e in parse_diary(shown, Path("diary.csv"))[0]] == ["a, b,c"] * 2
