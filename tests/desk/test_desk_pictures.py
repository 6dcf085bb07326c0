"""Pictures that the desk shows hold pixels alone."""

import io

from PIL import Image

from lapsekit.desk import pictures


def test_a_small_picture_says_nothing_that_its_file_said():
    picture = Image.new("RGB", (800, 400), "white")
    picture.paste("red", (0, 0, 400, 400))
    exif = picture.getexif()
    exif[0x0112], exif[0x010E] = 6, "SECRET PLACE"
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif, comment=b"SECRET WORDS")
    small = pictures.small(out.getvalue(), 240)
    assert b"SECRET" in out.getvalue() and b"SECRET" not in small
    with Image.open(io.BytesIO(small)) as shown:
        assert shown.size == (120, 240)
        assert shown.getpixel((60, 40))[1] < 60  # red is up, once it is turned
