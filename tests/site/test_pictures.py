"""The site's pictures: their sizes, their kinds, what is in them, and when they are made anew."""

from datetime import date, timedelta

import numpy as np
import pytest
from PIL import Image

from lapsekit.compute import spread
from lapsekit.site import pictures
from lapsekit.site.build import build_site
from lapsekit.site.gallery import Shown
from lapsekit.site.ribbon import Strip, strips
from lapsekit.site.strips import strip_centre
from tests.site.small_season import FIRST, add_day

GREEN, BROWN = (70, 140, 48), (96, 72, 52)
KINDS = {f".{kind}" for kind in pictures.KINDS}


def files_of(season):
    return {p: p.stat().st_mtime_ns for p in season.site.glob("pictures/**/*") if p.is_file()}


def colour(image, x, y):
    """Mean colour of 5 by 5 pixels."""
    return np.asarray(image.convert("RGB"), float)[y - 2 : y + 3, x - 2 : x + 3].mean((0, 1))


@pytest.mark.parametrize(
    ("size", "widths", "fallback"),
    [
        ((320, 240), (320,), (320,)),
        ((960, 720), (480, 760, 960), (960,)),
        ((850, 700), (480, 850), (850,)),
        ((1700, 1200), (480, 760, 1700), (760,)),
        ((2464, 3280), (480, 760, 1600, 2464), (760, 1600)),
        ((4056, 3040), (480, 760, 1600, 2560), (760, 1600)),
    ],
)
def test_a_picture_has_the_widths_that_are_worth_a_file_and_never_its_own_exceeded(
    size, widths, fallback
):
    sizes = pictures.sizes(*size)
    assert tuple(width for width, _ in sizes) == widths
    assert all(abs(w * size[1] / size[0] - h) <= 0.5 for w, h in sizes)
    assert pictures.fallback_widths(widths) == fallback
    assert set(fallback) <= set(widths)


def test_names_tell_the_day_and_the_width_and_a_page_can_choose_among_them():
    shown = Shown("pictures/bench/2031-04-17-0a", ((480, 360), (1600, 1200)), (1600,))
    assert shown.srcset("../", "jpg") == "../pictures/bench/2031-04-17-0a-1600.jpg 1600w"
    assert shown.srcset("", shown.modern).count("w,") == 1
    assert shown.largest == (f"pictures/bench/2031-04-17-0a-1600.{shown.modern}", 1600, 1200)
    assert shown.jpeg == ("pictures/bench/2031-04-17-0a-1600.jpg", 1600, 1200)


def test_where_avif_cannot_be_written_there_is_webp():
    assert (pictures.modern_kind(True), pictures.modern_kind(False)) == ("avif", "webp")
    picture = Image.new("RGB", (40, 30), GREEN)
    assert pictures.encode(picture, "webp")[8:12] == b"WEBP"


def test_pictures_are_upright_never_enlarged_and_carry_nothing_of_the_camera(tiny):
    build_site(tiny)
    files = [p for p in files_of(tiny) if p.suffix in KINDS]
    assert len(files) == len(files_of(tiny))
    for file in files:
        assert b"SECRET" not in file.read_bytes()
        with Image.open(file) as image:
            assert not dict(image.getexif()), file
            assert not {"exif", "comment", "icc_profile", "xmp"} & set(image.info)
            assert max(image.size) <= 320 or "ribbon" in file.name
    (turned,) = tiny.site.glob(f"pictures/bench/{FIRST}-*.jpg")
    with Image.open(turned) as image:
        assert image.size == (240, 320)


def test_every_kind_of_file_shows_the_plants_in_their_colours(tiny):
    build_site(tiny)
    for kind in pictures.KINDS:
        (file,) = tiny.site.glob(f"pictures/bench/2031-04-10-*-320.{kind}")
        with Image.open(file) as image:
            assert colour(image, 85, 125) == pytest.approx(GREEN, abs=6), kind
            assert colour(image, 250, 125) == pytest.approx(BROWN, abs=6), kind


def test_a_frame_much_larger_than_it_is_shown_is_decoded_smaller_and_looks_the_same():
    source = Image.new("RGB", (5200, 400), BROWN)
    source.paste(GREEN, (2600, 0, 5200, 400))
    data = pictures.encode(source, "jpg")
    decoded = pictures.decode(data, 5200, (2560, 197))
    assert decoded.size == (2560, 197)
    assert colour(decoded, 600, 100) == pytest.approx(BROWN, abs=4)
    assert colour(decoded, 2000, 100) == pytest.approx(GREEN, abs=4)


def test_pictures_encoded_side_by_side_are_those_encoded_alone():
    """Pillow keeps the options on the picture while it saves: threads must not share one."""
    noise = np.random.default_rng(1).integers(0, 255, (120, 160, 3), np.uint8)
    picture = Image.fromarray(noise)
    alone = {kind: pictures.encode(picture, kind) for kind in pictures.KINDS}
    jobs = [(picture, kind) for _ in range(60) for kind in pictures.KINDS]
    for (_, kind), data in zip(jobs, spread(lambda j: pictures.encode(*j), jobs), strict=True):
        assert data == alone[kind]


def shows(file):
    """What a file under pictures/ stands for: the day, or the month of a camera's strip."""
    return file.stem.rsplit("-", 1)[0] if file.name.startswith("ribbon") else file.name[:10]


def test_a_new_day_writes_its_own_pictures_and_its_months_strip_alone(tiny, monkeypatch):
    add_day(tiny, date(2031, 5, 1))
    build_site(tiny)
    before, encoded, plain = files_of(tiny), [], pictures.encode
    counted = lambda *a, **k: encoded.append(a) or plain(*a, **k)  # noqa: E731
    monkeypatch.setattr(pictures, "encode", counted)
    add_day(tiny, date(2031, 5, 2))
    build_site(tiny)
    after = files_of(tiny)
    new, gone = after.keys() - before.keys(), before.keys() - after.keys()
    strips_of_may = {"ribbon-bench-2031-05", "ribbon-trough-2031-05"}
    assert {shows(file) for file in new} == {"2031-05-02", *strips_of_may}
    assert strips_of_may <= {shows(file) for file in gone}
    assert {file.parent.name for file in gone} <= {"pictures", "crops"}, "yesterday's was the last"
    assert all(after[p] == before[p] for p in before.keys() & after.keys())
    assert len(encoded) == len(new), "nothing is encoded that is there already"


def test_a_picture_that_is_up_is_not_decoded_again(tiny, monkeypatch):
    build_site(tiny)
    monkeypatch.setattr(pictures, "decode", lambda *_: pytest.fail("decoded"))
    assert build_site(tiny).written == []


def test_a_strip_has_the_days_of_its_month_that_have_a_picture_in_order():
    days = [date(2031, 4, 28) + timedelta(n) for n in range(30)]
    seen = {days[0], days[2], *days[6:]}
    april, may = strips(days, seen)
    assert april == Strip("2031-04", (days[0], days[2]))
    assert may == Strip("2031-05", tuple(days[6:]))


def test_seasons_of_weekly_pictures_or_of_few_days_have_wide_columns():
    days = [FIRST + timedelta(n) for n in range(30)]
    (april,) = strips(days, set(days[::7]))
    assert april.wide and list(april.days) == days[::7]
    assert strips(days[:22], set(days))[0].wide
    assert not strips(days[:23], set(days))[0].wide


def test_a_strip_shows_each_days_slice_in_its_column(tiny):
    build_site(tiny)
    shown = sorted(tiny.daily_pictures()["bench"])
    (file,) = tiny.site.glob("pictures/ribbon-bench-2031-04-*.jpg")
    with Image.open(file) as image:
        assert image.size == (72 * len(shown), 185)
        seen = {day: colour(image, 72 * n + 36, 82) for n, day in enumerate(shown)}
    for day in shown:
        if day > date(2031, 4, 4):  # the square has grown into the slice
            assert seen[day] == pytest.approx(GREEN, abs=8), day
    assert seen[date(2031, 4, 2)] != pytest.approx(GREEN, abs=20)


def test_slices_run_through_the_plants(tiny):
    assert strip_centre([tiny.regions.by_name["basil"]], 320) == pytest.approx(75 / 320)
    assert strip_centre([tiny.regions.by_name["cress"]], 320) == 0.5
