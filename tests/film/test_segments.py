"""Segments: made once, whole by themselves, the same whoever makes them and in whatever order."""

import threading

import av
import numpy as np
import pytest

from lapsekit.errors import FilmError
from lapsekit.film.encoding import RECIPES
from lapsekit.film.segments import Job, make_segments, prune
from tests.film.made_films import PER_SECOND, job, jobs_of, number_of, numbered, segments_of

COUNTS = [12, 1, 2, 3, 30]


def made(folder, jobs, **options):
    return make_segments(folder, jobs, RECIPES["web"], PER_SECOND, **options)


def bytes_of(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("recipe", RECIPES)
def test_each_segment_plays_by_itself(tmp_path, recipe):
    first = 0
    for segment in segments_of(tmp_path, COUNTS, recipe):
        with av.open(str(segment.path)) as film:
            seen = [number_of(f.to_ndarray(format="rgb24")) for f in film.decode(video=0)]
        assert seen == list(range(first, first + segment.count))
        first += segment.count


def test_what_is_there_is_not_painted_again(tmp_path):
    segments_of(tmp_path, COUNTS)
    before = bytes_of(tmp_path)

    def never():
        raise AssertionError("painted again")

    again = made(tmp_path, [Job(each.key, each.count, never) for each in jobs_of(COUNTS)])
    assert [each.count for each in again] == COUNTS and bytes_of(tmp_path) == before


def test_only_what_changed_is_made_again(tmp_path):
    jobs = jobs_of(COUNTS)
    before = made(tmp_path, jobs)
    jobs[2] = job(500, 2)
    told = []

    def track(items, total, label):
        for item in items:
            told.append(total)
            yield item

    after = made(tmp_path, jobs, track=track)
    assert told == [1]
    assert [a == b for a, b in zip(before, after, strict=True)] == [True, True, False, True, True]


def test_another_pace_or_another_recipe_is_another_segment(tmp_path):
    names = set()
    for recipe, pace in (("web", 24), ("web", 30), ("prores", 24)):
        (segment,) = make_segments(tmp_path, [job(0, 2)], RECIPES[recipe], pace)
        names.add(segment.path.name)
    assert len(names) == 3


@pytest.mark.parametrize("recipe", RECIPES)
def test_files_do_not_depend_on_how_many_work_on_them(tmp_path, recipe):
    segments_of(tmp_path / "one", COUNTS, recipe, workers=1)
    for turn in range(3):
        make_segments(
            tmp_path / f"{turn}", jobs_of(COUNTS)[::-1], RECIPES[recipe], PER_SECOND, workers=4
        )
        assert bytes_of(tmp_path / "one") == bytes_of(tmp_path / f"{turn}")


def test_no_more_are_painted_at_once_than_there_are_workers(tmp_path):
    lock, now, most = threading.Lock(), 0, 0

    def painted(first):
        nonlocal now, most
        with lock:
            now += 1
            most = max(most, now)
        yield from map(numbered, range(first, first + 3))
        with lock:
            now -= 1

    jobs = [Job(f"{n}", 3, lambda n=n: painted(n)) for n in range(12)]
    made(tmp_path, jobs, workers=2)
    assert 1 <= most <= 2


def test_a_segment_that_is_shown_twice_is_made_once(tmp_path):
    calls = []

    def card():
        calls.append(1)
        return [numbered(9)] * 4

    first, second = made(tmp_path, [Job("card", 4, card), Job("card", 4, card)])
    assert first == second and calls == [1]


def test_a_failure_keeps_what_was_done_and_leaves_nothing_half(tmp_path):
    def breaking():
        yield numbered(0)
        raise FilmError("frame gone")

    jobs = [*jobs_of(COUNTS), Job("bad", 2, breaking)]
    with pytest.raises(FilmError, match="frame gone"):
        made(tmp_path, jobs, workers=1)
    assert len(bytes_of(tmp_path)) == len(COUNTS)
    assert not [name for name in bytes_of(tmp_path) if name.startswith(".part-")]


def test_a_part_that_is_not_as_long_as_it_said_is_none(tmp_path):
    for count in (3, 5):
        with pytest.raises(FilmError, match=f"4 pictures came for a part of a film of {count}"):
            made(tmp_path, [Job("x", count, lambda: map(numbered, range(4)))])
    assert bytes_of(tmp_path) == {}


def test_views_of_every_picture_are_kept_beside(tmp_path):
    def view(picture):
        return picture[-8, 8::16].astype(np.float16)

    first, second = segments_of(tmp_path, [3, 2], view=view)
    assert first.views().shape == (3, 12, 3) and first.views().dtype == np.float16
    truth = np.stack([view(numbered(n)) for n in range(3, 5)])
    assert (second.views() == truth).all()
    second.views_path.unlink()
    with pytest.raises(FilmError, match="film again"):
        second.views()
    assert (segments_of(tmp_path, [3, 2], view=view)[1].views() == truth).all()


def test_what_a_film_no_longer_shows_goes(tmp_path):
    keep = segments_of(tmp_path, [2, 3], view=lambda picture: picture[0, 0])
    made(tmp_path, [job(100, 2)])
    (tmp_path / ".part-1-x.mp4").write_bytes(b"x")
    assert prune(tmp_path, keep) == 2
    paths = {path for each in keep for path in (each.path, each.views_path)}
    assert set(tmp_path.iterdir()) == paths
