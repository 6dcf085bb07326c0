"""Photographs of the diary stand on the site only where the grower ticked that, pixels alone."""

import io
from datetime import UTC, datetime

from PIL import Image

from lapsekit.season import Season
from lapsekit.site.build import build_site

NAME = "diary/2031-04-03-1.jpg"


def photograph(season):
    """A turned JPEG that says where it was taken."""
    picture = Image.new("RGB", (1600, 800), "white")
    picture.paste("red", (0, 0, 800, 800))
    exif = picture.getexif()
    exif[0x0112], exif[0x010E] = 6, "SECRET PLACE"
    (season.folder / "diary").mkdir()
    picture.save(season.folder / NAME, "JPEG", exif=exif, comment=b"SECRET WORDS")


def built(season, line):
    header = "date,region,event,note,picture,picture_on_site\n"
    (season.folder / "diary.csv").write_text(f"{header}2031-04-03,,cut,,{line}\n")
    season = Season(season.folder, clock=lambda: datetime(2031, 4, 5, tzinfo=UTC))
    report = build_site(season)
    season.catalogue.close()
    shown = sorted((season.site / "diary").rglob("*.jpg"))
    return report, shown, (season.site / "diary/index.html").read_text()


def test_a_photograph_goes_up_when_ticked_without_metadata_and_comes_down_again(season):
    photograph(season)
    _, shown, page = built(season, f"{NAME},")
    assert shown == [] and "<img" not in page.split("cut")[0].split("happened")[-1]

    _, (file,), page = built(season, f"{NAME},yes")
    assert f'src="../diary/photographs/{file.name}"' in page
    assert b"SECRET" not in file.read_bytes()
    with Image.open(io.BytesIO(file.read_bytes())) as picture:
        assert picture.size == (600, 1200) and not picture.getexif()
        assert "comment" not in picture.info
        assert picture.getpixel((300, 100))[1] < 60  # red is up, once it is turned

    report, shown, page = built(season, f"{NAME},no")
    assert shown == [] and "photographs" not in page
    assert [path for path in report.removed if path.endswith(".jpg")] != []


def test_a_photograph_that_is_up_already_is_not_decoded_again(season, monkeypatch):
    photograph(season)
    _, (file,), page = built(season, f"{NAME},yes")
    assert 'width="600" height="1200"' in page
    monkeypatch.setattr("lapsekit.site.photographs.ImageOps.exif_transpose", None)
    report, (again,), page = built(season, f"{NAME},yes")
    assert again == file and 'width="600" height="1200"' in page and report.problems == []


def test_a_path_that_is_none_of_the_diary_s_never_goes_up(season):
    photograph(season)
    (season.folder / "secret.jpg").write_bytes((season.folder / NAME).read_bytes())
    for name in ("secret.jpg", "diary/../secret.jpg", str(season.folder / "secret.jpg")):
        assert built(season, f"{name},yes")[1] == []


def test_a_photograph_that_cannot_be_read_is_told_and_the_rest_goes_on(season):
    photograph(season)
    (season.folder / "diary" / "broken.jpg").write_bytes(b"no picture")
    report, shown, _ = built(season, f"diary/broken.jpg {NAME},yes")
    assert len(shown) == 1
    assert any("broken.jpg: left out of the site" in told for told in report.problems)
