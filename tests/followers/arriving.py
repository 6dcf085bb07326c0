"""Pictures that arrive, at a season that takes some in."""

import io
from datetime import UTC, date, datetime

import numpy as np
from PIL import Image

from lapsekit.followers.arrivals import Arrival, Consent
from lapsekit.season import Season
from tests.scenes import SETTINGS, make_season

NOW = datetime(2031, 5, 20, 10, 0, tzinfo=UTC)
FOLLOWERS = '\n[followers]\ncontact = "School office, 12"\n'
QUARTERS = ((200, 40, 40), (40, 160, 60), (50, 60, 190), (210, 200, 60))


class Dial:
    """A clock that is set by hand."""

    def __init__(self, now=NOW):
        self.now = now

    def __call__(self):
        return self.now


def followed(folder, more=""):
    """A season that takes followers' pictures in, and its clock."""
    dial = Dial()
    make_season(folder, SETTINGS + FOLLOWERS + more)
    return Season(folder, dial), dial


def quarters(size=(320, 240)):
    """Four colours: red, green; blue, yellow."""
    picture = np.zeros((size[1], size[0], 3), np.uint8)
    half_y, half_x = size[1] // 2, size[0] // 2
    for number, colour in enumerate(QUARTERS):
        rows = slice(0, half_y) if number < 2 else slice(half_y, None)
        columns = slice(0, half_x) if number % 2 == 0 else slice(half_x, None)
        picture[rows, columns] = colour
    return Image.fromarray(picture)


def encoded(picture, form="JPEG", **options):
    out = io.BytesIO()
    picture.save(out, form, **options)
    return out.getvalue()


def scene(seed):
    """A picture with shapes of its own."""
    coarse = np.random.default_rng(seed).integers(0, 255, (6, 8, 3), dtype=np.uint8)
    return Image.fromarray(coarse).resize((320, 240), Image.Resampling.BICUBIC)


def consent(**changed):
    told = {
        "wording": "0",
        "language": "en",
        "agreed_at": NOW,
        "how": "ticked on the upload page",
        "is_adult": True,
    }
    return Consent(**(told | changed))


def arrival(seed=1, **changed):
    told = {
        "data": encoded(scene(seed), quality=92),
        "came_at": NOW,
        "by": "upload",
        "source": f"upload {seed}",
        "name": "Ada",
        "plant": "Basil",
        "sown": date(2031, 4, 1),
        "taken_on": date(2031, 5, 19),
        "consent": consent(),
    }
    return Arrival(**(told | changed))
