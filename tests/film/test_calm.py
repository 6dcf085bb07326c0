"""A film that grows is looked at for flashes as if it were looked at whole."""

import numpy as np
import pytest

from lapsekit.film.calm import flashes_of
from lapsekit.film.segments import LOOKED_AT, Segment, prune
from lapsekit.vision.flashes import flashes

FPS = 12
CALM = [0.2, 0.22, 0.24, 0.25] * 3
BURST = [0.1, 0.6] * 6


def part(folder, number, levels):
    """A part of a film whose pictures are even and so bright."""
    found = Segment(folder / f"part{number}.mp4", len(levels))
    found.path.write_bytes(b"")
    views = [np.full((27, 48, 3), level, np.float16) for level in levels]
    np.save(found.views_path, np.stack(views))
    return found


def whole(segments):
    return flashes((view for each in segments for view in each.views()), FPS)


@pytest.mark.parametrize("bursts", [set(), {3}, {18}, {39}, {17, 18}])
def test_day_by_day_it_comes_to_the_same_as_a_look_at_all_of_it(tmp_path, bursts):
    segments = [part(tmp_path, n, BURST if n in bursts else CALM) for n in range(40)]
    for count in range(1, 41):
        found = flashes_of(tmp_path, segments[:count], FPS)
        assert found == whole(segments[:count])
    assert bool(found) == bool(bursts)


def test_parts_that_were_found_calm_are_not_read_again(tmp_path):
    segments = [part(tmp_path, n, CALM) for n in range(30)]
    flashes_of(tmp_path, segments, FPS)
    prune(tmp_path, segments)
    for each in segments[:10]:
        each.views_path.unlink()
    assert flashes_of(tmp_path, [*segments, part(tmp_path, 30, BURST)], FPS)


def test_a_part_that_changed_or_a_note_that_is_torn_is_looked_at_anew(tmp_path):
    segments = [part(tmp_path, n, CALM) for n in range(30)]
    flashes_of(tmp_path, segments, FPS)
    changed = [*segments[:4], part(tmp_path, 99, BURST), *segments[5:]]
    assert flashes_of(tmp_path, changed, FPS) == whole(changed)
    assert not flashes_of(tmp_path, segments, FPS)
    (tmp_path / LOOKED_AT).write_bytes((tmp_path / LOOKED_AT).read_bytes()[:300])
    assert not flashes_of(tmp_path, segments, FPS)
