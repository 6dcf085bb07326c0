"""Followers' pictures filed in a season, drawn here: nothing of them has to be opened."""

import hashlib
import io
from datetime import UTC, date, datetime

from PIL import Image, ImageDraw

from lapsekit.followers.arrivals import Consent
from lapsekit.followers.records import PictureFacts, Record, add_record, new_id, writing

UPLOAD = "https://herbs.example/yours/"
FOLLOWERS = f"""\
[followers]
contact = "the school's office, plants@herbs.example"
address = "plants@herbs.example"
upload = "{UPLOAD}"
"""
CAME = datetime(2031, 5, 9, 7, 30, tzinfo=UTC)
AGREED = Consent(
    wording="0123abcd",
    language="en",
    agreed_at=CAME,
    how="ticked",
    is_adult=False,
    parent="Secretparent",
)


def photograph(number, size=(600, 800)):
    """A green rosette on a window sill; each number another one. JPEG bytes."""
    picture = Image.new("RGB", size, (196 - 3 * (number % 20), 182, 160))
    draw = ImageDraw.Draw(picture)
    x, y = size[0] // 2, size[1] // 2
    for ring in range(6, 0, -1):
        reach = ring * min(size) // 15
        ink = (40 + 15 * ring, 120 + 9 * ring - number % 30, 40)
        draw.ellipse((x - reach, y - reach, x + reach, y + reach), fill=ink, outline=(30, 70, 30))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90)
    return out.getvalue()


def add_follower(season, picture=None, state="shown", **told):
    """File a picture; gives its id. `told` are fields of its record."""
    picture = photograph(0) if picture is None else picture
    with Image.open(io.BytesIO(picture)) as opened:
        facts = PictureFacts(*opened.size, hashlib.sha256(picture).hexdigest())
    known = {
        "came_at": CAME,
        "by": "mail",
        "file_name": "IMG_secretfile.HEIC",
        "contact": "secret@mail.example",
        "consent": AGREED,
        "name": "Mia",
        "plant": "Basil",
        "region": "basil",
        "sown": date(2031, 4, 1),
        "taken_on": date(2031, 4, 12),
        "age_days": 11,
    }
    record = Record(**{**known, **told}, id=new_id(), state=state, picture=facts)
    with writing(season):
        add_record(season, record, picture)
    return record.id
