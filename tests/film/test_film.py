"""A film shows the frames of its days at their seconds, and nothing that no frame shows."""

import json
from datetime import date, timedelta

import cv2
import numpy as np
import pytest

from lapsekit.errors import FilmError
from lapsekit.film.face.cards import gap_card
from lapsekit.film.making import make_film
from lapsekit.film.records import Films
from lapsekit.film.withdrawing import withdraw
from lapsekit.language.words import Words
from lapsekit.lettering import PAPER
from tests.film.coded_season import (
    FIRST,
    FPS,
    HEIGHT,
    PLAIN,
    WIDTH,
    code_of,
    coded,
    coded_season,
    file_days,
    file_frame,
    level_of,
    noon,
    pictures_of,
    reopened,
)
from tests.film.made_films import probed


@pytest.fixture
def opened():
    """Opens coded seasons, and closes them in the end."""
    seasons = []

    def make(*arguments, **options):
        seasons.append(coded_season(*arguments, **options))
        return seasons[-1]

    yield make
    for season in seasons:
        season.catalogue.close()


def apart(one, other):
    return float(np.abs(one.astype(float) - other).mean())


def test_at_every_second_the_day_is_seen_that_record_and_captions_tell(opened, tmp_path):
    season = opened(tmp_path / "bench")
    file_days(season, range(6))
    report = make_film(season)
    film = pictures_of(report.path)
    days = Films(season).record("bench").days
    assert (report.frames, report.pictures, len(film)) == (6, 60, 60)
    assert [day for day, _, _ in days] == [f"{FIRST + timedelta(n)}" for n in range(6)]
    for number, (_, start, end) in enumerate(days):
        shown = film[round(start * FPS) : round(end * FPS)]
        assert len(shown) == 10
        assert {code_of(picture) for picture in shown} == {number}
        assert max(apart(picture, coded(number)) for picture in shown) < 3


def test_a_picture_fades_into_the_next_in_the_second_half_of_its_time_and_shows_no_third(
    opened, tmp_path
):
    season = opened(tmp_path / "bench", PLAIN.replace("hold", "fade"))
    for number, code in enumerate((0, 20, 5)):
        file_frame(season, noon(number), coded(code))
    film = pictures_of(make_film(season).path)
    levels = [float(picture[HEIGHT // 2, WIDTH // 2].mean()) for picture in film]
    assert levels[:6] == pytest.approx([level_of(0)] * 6, abs=3)
    assert levels[5:15] == sorted(levels[5:15])
    assert levels[10:16] == pytest.approx([level_of(20)] * 6, abs=3)
    assert levels[20:] == pytest.approx([level_of(5)] * 10, abs=3)
    assert level_of(10) < levels[9] < level_of(20)  # nearly over when the next day begins


def test_days_without_a_frame_are_a_card_and_every_picture_about_it_is_a_frame_under_paper(
    opened, tmp_path
):
    season = opened(tmp_path / "bench", PLAIN.replace("hold", "fade"))
    file_days(season, [0, 1, 6, 7])
    report = make_film(season)
    film, days = pictures_of(report.path), Films(season).record("bench").days
    assert [date.fromisoformat(day).day for day, _, _ in days] == [1, 2, 7, 8]
    ends, starts = round(days[1][2] * FPS), round(days[2][1] * FPS)
    gap = film[ends:starts]
    assert 1.2 * FPS <= len(gap) <= 3 * FPS
    first, last = FIRST + timedelta(2), FIRST + timedelta(5)
    card = gap_card((WIDTH, HEIGHT), "picture", Words(), first, last).astype(float)
    hidden = [apart(picture, card) < 4 for picture in gap]
    assert sum(hidden) > len(gap) / 3
    for frame, half in ((coded(1), gap[: hidden.index(True)]), (coded(6), gap[::-1])):
        for picture in half[: hidden.index(True)]:
            under = card - frame
            share = ((picture - frame) * under).sum() / (under**2).sum()
            assert apart(picture, frame + share * under) < 5
    told = Films(season).file("bench").with_name("bench-captions.vtt").read_text()
    assert "Wednesday, 2 April" in told and "3 April" not in told and "6 April" not in told


def test_one_single_frame_makes_a_film_of_its_day(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN + 'pace = "growth"\n')
    file_days(season, [4])
    report = make_film(season)
    film = pictures_of(report.path)
    assert (report.frames, len(film)) == (1, 10)
    assert {code_of(picture) for picture in film} == {4}


@pytest.mark.parametrize("between", ["fade", "motion"])
def test_with_all_that_can_be_asked_for_every_day_still_begins_with_its_own_frame(
    opened, tmp_path, between
):
    look = f'short_side_px = {HEIGHT}\nframes_per_second = {FPS}\nday_seconds = 1\nfit = "whole"\n'
    more = f'between = "{between}"\nshows = ["date", "curve", "diary", "names", "thread"]\n'
    season = opened(tmp_path / "bench", look + more)
    for number in range(5):
        file_frame(season, noon(number), coded(number), placed=np.eye(3))
    film = pictures_of(make_film(season).path)
    assert [code_of(film[10 * number]) for number in range(5)] == [0, 1, 2, 3, 4]


def test_every_frame_of_a_day_is_seen_in_order_where_all_are_asked_for(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN + 'frames = "all"\n')
    for code in range(10):
        file_frame(season, noon(code // 5) + timedelta(hours=code % 5 - 2), coded(code))
    film = pictures_of(make_film(season).path)
    assert [code_of(picture) for picture in film] == [n // 2 for n in range(20)]


def test_of_each_day_the_frame_is_chosen_whose_light_is_like_that_of_other_days(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN + 'frames = "alike"\n')
    for number in range(6):
        glare = (0.45, 1.3)[number % 2]
        for hour, code, gain in ((0, 0, glare), (1, 9, 1.0), (2, 0, 1.5 - glare / 2)):
            picture = np.clip(gain * coded(code).astype(float), 0, 255).astype(np.uint8)
            file_frame(season, noon(number) + timedelta(hours=hour), picture)
    report = make_film(season)
    assert report.frames == 6
    assert {code_of(picture) for picture in pictures_of(report.path)} == {9}


def test_a_frame_of_another_size_covers_the_view_undistorted(opened, tmp_path):
    season = opened(tmp_path / "bench")
    file_days(season, [0])
    wide = np.full((240, 480, 3), 90, np.uint8)
    cv2.circle(wide, (240, 120), 60, (250, 250, 250), -1)
    file_frame(season, noon(1), wide)
    film = pictures_of(make_film(season).path)
    y, x = np.nonzero(film[15].mean(axis=2) > 170)
    assert np.ptp(x) + 1 == pytest.approx(64, abs=2)
    assert np.ptp(y) + 1 == pytest.approx(64, abs=2)
    assert (x.mean(), y.mean()) == pytest.approx((WIDTH / 2, HEIGHT / 2), abs=1)


def test_the_films_shape_is_the_reference_views_whatever_the_first_frame_has(opened, tmp_path):
    named = f'reference = "frames/bench/{FIRST + timedelta(1)}/20310402T100000Z.png"\n'
    cameras = '[cameras.bench]\nkind = "files"\n' + named
    season = opened(tmp_path / "bench", cameras=cameras)
    file_frame(season, noon(0), np.full((120, 120, 3), 90, np.uint8))
    file_days(season, [1, 2])
    film = pictures_of(make_film(season).path)
    assert film[0].shape == (HEIGHT, WIDTH, 3)


@pytest.mark.parametrize(("steady", "moves"), [(True, 0), (False, 8)])
def test_frames_of_a_camera_that_sways_and_is_knocked_show_things_where_they_were_if_wished(
    opened, tmp_path, steady, moves
):
    film = PLAIN.replace("steady = false", f"steady = {f'{steady}'.lower()}")
    season = opened(tmp_path / "bench", film)
    for number in range(8):
        knocked = 8 * (number >= 4)
        shift = (0.4 * (number % 2) + knocked, -knocked / 2)
        moved = np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1]], float)
        picture = cv2.warpPerspective(
            coded(0), moved, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REPLICATE
        )
        file_frame(season, noon(number), picture, placed=moved)
    film = pictures_of(make_film(season).path)
    edges = [np.diff(picture[HEIGHT // 2].mean(axis=1)).argmin() for picture in film]
    assert len(edges) == 80
    assert max(edges) - min(edges) == pytest.approx(moves, abs=1)


def test_an_unreadable_frame_is_left_out_and_told_and_shown_once_it_is_whole_again(
    opened, tmp_path
):
    season = opened(tmp_path / "bench")
    paths = file_days(season, range(4))
    file = season.folder / paths[2]
    whole = file.read_bytes()
    file.write_bytes(whole[:200])
    report = make_film(season)
    (told,) = report.left_out
    assert told.startswith(f"{paths[2]}: ")
    assert report.frames == 3 and paths[2] not in Films(season).record("bench").shows
    assert 2 not in {code_of(picture) for picture in pictures_of(report.path)[:20]}
    file.write_bytes(whole)
    again = make_film(season)
    assert (again.frames, again.left_out, again.made) == (4, [], True)
    assert [code_of(picture) for picture in pictures_of(again.path)[::10]] == [0, 1, 2, 3]


def test_where_no_frame_can_be_read_there_is_no_film_and_the_command_says_what_to_do(
    opened, tmp_path
):
    season = opened(tmp_path / "bench")
    for path in file_days(season, range(2)):
        (season.folder / path).write_bytes(b"no picture")
    with pytest.raises(FilmError, match=r"no usable frame.*lapsekit measure, then film again"):
        make_film(season)
    assert not Films(season).file("bench").exists()


def test_frames_that_were_let_go_leave_the_film_and_their_day_is_a_gap(opened, tmp_path):
    season = opened(tmp_path / "bench")
    paths = file_days(season, range(3))
    make_film(season)
    (season.folder / paths[1]).unlink()
    season.index()
    film = pictures_of(make_film(season).path)
    assert apart(film[15], np.array(PAPER)) < 20
    assert 1 not in {code_of(picture) for picture in film}


def test_a_no_takes_a_frame_out_of_the_film_and_until_then_the_film_is_not_shown(opened, tmp_path):
    season = opened(tmp_path / "bench")
    paths = file_days(season, range(4))
    file_frame(season, noon(3) + timedelta(hours=1), coded(12))
    make_film(season)
    assert Films(season).may_be_shown("bench")
    (season.folder / "verdicts.csv").write_text(f"frame,verdict\n{paths[3]},no\n")
    assert not Films(season).may_be_shown("bench")
    make_film(season)
    assert Films(season).may_be_shown("bench")
    parts = list((season.films / ".parts" / "bench").glob("*.mp4"))
    for path in [Films(season).file("bench"), *parts]:
        assert 3 not in {code_of(picture) for picture in pictures_of(path)}
    poster = cv2.imread(str(season.films / "bench-poster.jpg"))
    assert code_of(poster) == 12


def test_a_no_to_a_frame_that_had_no_time_in_the_film_does_not_take_the_film_down(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN.replace("day_seconds = 1", "day_seconds = 0.05"))
    paths = file_days(season, range(8))
    report = make_film(season)
    shown = set(Films(season).record("bench").shows)
    assert (report.frames, report.pictures, len(shown)) == (4, 4, 4)
    unseen = next(path for path in paths if path not in shown)
    (season.folder / "verdicts.csv").write_text(f"frame,verdict\n{unseen},no\n")
    assert Films(season).may_be_shown("bench")


def test_a_length_for_the_whole_is_kept_with_gaps_in_it(opened, tmp_path):
    film = PLAIN.replace("day_seconds = 1", "length_seconds = 8")
    season = opened(tmp_path / "bench", film)
    file_days(season, [0, 1, 2, 5, 6, 12, 13])
    assert make_film(season).seconds == pytest.approx(8, abs=0.2)


def test_days_of_summer_time_begin_and_end_by_the_clock_on_the_wall(opened, tmp_path):
    film = PLAIN.replace("shows = []", 'shows = ["date"]') + 'frames = "all"\n'
    season = opened(tmp_path / "bench", film)
    night = noon(0).replace(hour=22, minute=30)  # half an hour after local midnight
    file_frame(season, night, coded(3))
    report = make_film(season, "day")
    assert Films(season).record("day").days[0][0] == f"{FIRST + timedelta(1)}"
    assert {code_of(picture) for picture in pictures_of(report.path)} == {3}


def test_chapters_captions_and_title_are_in_the_file_and_beside_it(opened, tmp_path):
    season = opened(tmp_path / "bench")
    file_days(season, range(5))
    diary = f"date,region,event,note\n{FIRST + timedelta(2)},,potted on,\n"
    (season.folder / "diary.csv").write_text(diary)
    path = make_film(season).path
    told = probed(path)
    kinds = {stream["codec_type"]: stream for stream in told["streams"]}
    assert (kinds["video"]["codec_name"], kinds["video"]["pix_fmt"]) == ("h264", "yuv420p")
    assert kinds["video"]["nb_read_frames"] == "50"
    assert kinds["subtitle"]["tags"]["language"] == "eng"
    assert told["format"]["tags"]["title"] == "Coded bench"
    assert [(float(c["start_time"]), c["tags"]["title"]) for c in told["chapters"]] == [
        (0, "The film begins, day 7"),
        (2, "3 Apr: Potted on"),
    ]
    beside = {file.name for file in season.films.glob("bench-*")}
    assert beside == {"bench-poster.jpg", "bench-chapters.vtt", "bench-captions.vtt"}
    assert "Thursday, 3 April 2031, day 9; Potted on" in path.with_name(
        "bench-captions.vtt"
    ).read_text("utf-8")


def test_captions_tell_neither_days_to_come_nor_what_happened_to_no_plant(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN + f"until = {FIRST + timedelta(9)}\n")
    file_days(season, range(3))
    lines = [(1, "", "potted on"), (1, "nobody", "fed"), (2, "", "cold"), (5, "", "cut")]
    diary = [f"{FIRST + timedelta(day)},{whom},{what}," for day, whom, what in lines]
    (season.folder / "diary.csv").write_text("\n".join(["date,region,event,note", *diary, ""]))
    path = make_film(season).path
    told = path.with_name("bench-captions.vtt").read_text("utf-8")
    told += path.with_name("bench-chapters.vtt").read_text("utf-8")
    assert "Potted on" in told and "cold" in told.lower()
    assert not any(word in told.lower() for word in ("nobody", "fed", "cut"))


OWN_GERMAN = """\
msgid ""
msgstr "Content-Type: text/plain; charset=UTF-8\\nLanguage: de\\n"

msgid "no picture"
msgstr "nichts zu sehen"

msgid "The film begins, {age}"
msgstr "Los geht es, {age}"
"""


def test_a_seasons_own_words_are_on_the_picture_and_in_the_tracks(opened, tmp_path):
    season = opened(tmp_path / "bench")
    file_days(season, [0, 3])
    english = pictures_of(make_film(season).path)
    words = season.folder / "site_template" / "words"
    words.mkdir(parents=True)
    (words / "de.po").write_text(OWN_GERMAN, encoding="utf-8")
    settings = season.folder / "season.toml"
    settings.write_text(settings.read_text() + '[site]\nlanguage = "de"\n')
    season = reopened(season)
    path = make_film(season).path
    told, own = probed(path), Words("de", [words])
    assert own.text("no picture") == "nichts zu sehen"
    cards = [
        gap_card((WIDTH, HEIGHT), "picture", words, FIRST + timedelta(1), FIRST + timedelta(2))
        for words in (own, Words())
    ]
    words_there = (cards[0] != cards[1]).any(axis=2)
    for film, (same, other) in ((pictures_of(path), cards), (english, cards[::-1])):
        shown = min(film, key=lambda picture: apart(picture, same))[words_there]
        assert apart(shown, same[words_there]) < 0.5 * apart(shown, other[words_there])
    streams = [s for s in told["streams"] if s["codec_type"] in ("video", "subtitle")]
    languages = {s["tags"]["language"] for s in streams}
    assert languages == {"deu"}
    assert told["chapters"][0]["tags"]["title"].startswith("Los geht es")
    season.catalogue.close()


def test_flashes_are_refused_with_the_remedy_which_helps_and_the_film_before_stays(
    opened, tmp_path
):
    film = PLAIN.replace("frames_per_second = 10", "frames_per_second = 24")
    season = opened(tmp_path / "bench", film)
    for number in range(24):
        light = np.full((HEIGHT, WIDTH, 3), 255 * (number % 2), np.uint8)
        file_frame(season, noon(number), light)
    path = make_film(season).path
    before = path.read_bytes(), Films(season).record("bench")
    quick = reopened(season)
    text = (quick.folder / "season.toml").read_text()
    (quick.folder / "season.toml").write_text(text.replace("day_seconds = 1", "day_seconds = 0.1"))
    quick = reopened(quick)
    with pytest.raises(FilmError, match=r"flashes within a second.*WCAG.*day_seconds.*between"):
        make_film(quick)
    assert (path.read_bytes(), Films(quick).record("bench")) == before
    assert Films(quick).may_be_shown("bench")
    remedied = make_film(quick, "season", {"day_seconds": 0.5})
    assert remedied.path.exists() and remedied.path != path
    quick.catalogue.close()


def test_what_is_asked_for_beside_the_film_shows_the_same_pictures(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN.replace("day_seconds = 1", "day_seconds = 0.5"))
    file_days(season, range(5))
    asked = {"files": ("small", "master", "stills", "teaser")}
    report = make_film(season, "season", asked)
    names = {path.name for path in report.files if not path.name.startswith("bench-poster")}
    assert names >= {"bench.small.mp4", "bench.master.mov", "bench-stills", "bench-teaser.webp"}
    film = pictures_of(report.path)
    for other in ("bench.small.mp4", "bench.master.mov"):
        shown = pictures_of(season.films / other)
        assert [code_of(picture) for picture in shown] == [code_of(p) for p in film]
    stills = sorted((season.films / "bench-stills").iterdir())
    assert [still.name for still in stills[::5]] == [
        f"{1 + 5 * n:05}-{FIRST + timedelta(n)}.png" for n in range(5)
    ]
    assert [code_of(cv2.imread(str(still))) for still in stills] == [code_of(p) for p in film]
    again = make_film(season, "season", asked)
    assert (again.made, again.files, again.encoded) == (False, [], 0)


def test_what_stands_beside_is_made_anew_after_a_film_that_was_made_without_it(opened, tmp_path):
    season = opened(tmp_path / "bench")
    file_days(season, range(2))
    make_film(season, "season", {"files": ("stills",)})
    file_days(season, [2])
    make_film(season)
    assert not make_film(season).made
    report = make_film(season, "season", {"files": ("stills",)})
    assert not report.made
    assert [path.name for path in report.files] == ["bench-stills"]
    assert len(list((season.films / "bench-stills").iterdir())) == 30


def test_a_preview_is_small_and_touches_nothing_else(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN.replace("128", "400") + 'files = ["stills"]\n')
    file_days(season, range(3))
    path = make_film(season).path
    before = path.read_bytes(), Films(season).record("bench")
    report = make_film(season, preview=True)
    assert report.path.name == "bench.preview.mp4"
    assert pictures_of(report.path)[0].shape[0] == 270
    assert (path.read_bytes(), Films(season).record("bench")) == before


def test_the_record_is_plain_and_read_back_as_it_was_written(opened, tmp_path):
    season = opened(tmp_path / "bench")
    paths = file_days(season, range(3))
    make_film(season)
    told = json.loads((season.films / ".bench.json").read_text())
    assert told["shows"] == paths and told["size"] == [WIDTH, HEIGHT]
    assert not make_film(reopened(season)).made


def test_a_no_takes_along_every_film_that_shows_the_frame_and_what_lies_beside_it(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN.replace("day_seconds = 1", "day_seconds = 0.5"))
    file_days(season, range(3))
    make_film(season, "season", {"files": ("stills", "teaser")})
    make_film(season, "season", {"shape": "square"})
    make_film(season, preview=True)
    make_film(season, "day")  # of the last day, which stays
    held = next(f.path for f in season.catalogue.frames() if f.day.day == 1)
    (season.folder / "verdicts.csv").write_text(f"frame,verdict,note\n{held},no,\n")
    assert withdraw(season) != []
    left = {path.name for path in season.films.iterdir() if not path.name.startswith(".")}
    assert {name.partition("-")[0].partition(".")[0] for name in left} == {"day"}
    assert {path.name for path in (season.films / ".parts").iterdir()} == {"day"}
    assert list(Films(season).records()) == ["day"]
    assert withdraw(season) == []
