"""A few of the thousands that tests/bench/hostile_pictures.py opens."""

import pytest

from lapsekit.followers.making import jpeg_of
from lapsekit.followers.opening import Refused, open_picture
from tests.hostile import CANARY, damaged, polyglots, require_clean, strangers

FEW = [*polyglots(2), *list(strangers(2))[:22], *list(damaged(2, 2))[::6]]


@pytest.mark.parametrize("part", range(6))
def test_hostile_files_are_refused_or_come_out_as_clean_pictures(part):
    kept = 0
    for name, data in FEW[part::6]:
        try:
            made = open_picture(data, 1600)
        except Refused as refused:
            assert CANARY.decode() not in str(refused), name
            continue
        require_clean(jpeg_of(made.width, made.height, made.pixels), data)
        kept += 1
    assert len(FEW) >= 60 and kept < len(FEW)
