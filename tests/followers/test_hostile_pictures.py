"""A few of the thousands that tests/bench/hostile_pictures.py opens."""

import pytest

from lapsekit.followers.making import jpeg_of
from lapsekit.followers.opening import Refused, open_picture
from tests.hostile import CANARY, LADEN, damaged, polyglots, require_clean, strangers

#: Whole pictures that carry something else too; what begins as anything else is none.
WHOLE = {"html.jpg", "comment.jpg", "app-html.jpg", "php.png", "behind.png", "zip.jpg", *LADEN}
SOUND = [(kind, make(2)) for kind, make in LADEN.items()]
NO_PICTURES = list(strangers(2))[:22]
FEW = [*SOUND, *polyglots(2), *NO_PICTURES]
DAMAGED = list(damaged(2, 2))[::6]


def opened(name, data):
    """The kept picture as a JPEG; None if it was refused, in words that repeat nothing of it."""
    try:
        made = open_picture(data, 1600)
    except Refused as refused:
        assert CANARY.decode() not in str(refused), name
        return None
    return jpeg_of(made.width, made.height, made.pixels)


@pytest.mark.parametrize("part", range(6))
def test_what_is_a_picture_comes_out_clean_and_what_only_says_so_is_refused(part):
    for name, data in FEW[part::6]:
        kept = opened(name, data)
        assert (kept is not None) == (name in WHOLE), name
        if kept is not None:
            require_clean(kept, data)


@pytest.mark.parametrize("part", range(3))
def test_damaged_files_are_refused_or_come_out_as_clean_pictures(part):
    outcomes = [(opened(name, data), data) for name, data in DAMAGED[part::3]]
    for kept, data in outcomes:
        if kept is not None:
            require_clean(kept, data)
    assert {kept is None for kept, _ in outcomes} == {True, False}
