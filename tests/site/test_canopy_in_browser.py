"""The canopy rule in a follower's browser gives what `lapsekit mask` and a season's areas do."""

import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from lapsekit.detail import detail_of
from lapsekit.errors import SettingsError
from lapsekit.masking import mask_file
from lapsekit.resources import shared_folder, shipped_model_text
from lapsekit.season import Season
from lapsekit.site.build import build_site
from lapsekit.site.rule import NUMBERS, STEPS, rule_file
from lapsekit.vision import indices
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.layers import read_layers
from lapsekit.vision.network import Network
from lapsekit.vision.pictures import decode
from tests.site.measuring_page import ASK, START, cover_by_python, put_beside, served
from tests.site.small_season import FIRST, add_day, found

FRAMES = Path(__file__).parents[2] / "sample_frames" / "frames" / "bench"
PROGRAM = shared_folder("site_template") / "canopy"


@pytest.fixture(scope="module")
def model():
    """The shipped model."""
    return CanopyModel.from_json(shipped_model_text())


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A built site of one day on a web server, and its folder."""
    season = found(tmp_path_factory.mktemp("measuring") / "season")
    add_day(season, FIRST)
    build_site(season)
    season.catalogue.close()
    with served(season.site) as root:
        yield root, season.site


@pytest.fixture
def measuring(address, browser):
    """The follower's page, and the site's folder."""
    root, site = address
    page = browser.new_page()
    page.goto(f"{root}yours/index.html")
    page.locator("#yours:not([hidden])").wait_for()
    yield page, site
    page.close()


def frames():
    """A seedling bench, one half grown and one that is full, in different light."""
    return [
        sorted((FRAMES / day).glob("*.jpg"))[2]
        for day in ("2026-03-22", "2026-04-16", "2026-05-12")
    ]


def by_python(picture, model, tmp_path, method="model"):
    """Pixels that `lapsekit mask` finds in a file, and the area that a season would count."""
    found = mask_file(picture, tmp_path / "mask.png", method)
    cover = cover_by_python(picture, model, method)
    return found.cover * math.prod(found.size), float(cover.sum(dtype=np.float64))


@pytest.mark.browser
def test_masks_and_areas_are_those_of_lapsekit_mask(measuring, model, tmp_path):
    page, site = measuring
    pictures = frames()
    for address, picture in zip(put_beside(site, *pictures), pictures, strict=True):
        got = page.evaluate(ASK, {"picture": address})
        mask, cover = by_python(picture, model, tmp_path)
        assert got["maskPixels"] == pytest.approx(mask, rel=0.002), picture
        assert got["pixels"] == pytest.approx(cover, rel=0.002), picture


@pytest.mark.browser
def test_real_photographs_are_measured_as_lapsekit_mask_does(
    measuring, model, tmp_path, photographs
):
    page, site = measuring
    pictures = sorted((photographs / "field-wheat" / "img").glob("*.png"))[7::50]
    pictures += sorted((photographs / "marker-photos").glob("*.JPG"))[:1]  # 8 megapixels, halved
    for address, picture in zip(put_beside(site, *pictures), pictures, strict=True):
        got = page.evaluate(ASK, {"picture": address})
        mask, cover = by_python(picture, model, tmp_path)
        # A scrap that lies on a threshold may fall to the other side: 32 px of 6014 in one
        assert got["maskPixels"] == pytest.approx(mask, rel=0.006), picture
        assert got["pixels"] == pytest.approx(cover, rel=0.005), picture


def enlarged(picture, size, file, orientation=1):
    """A JPEG of another size, lying as a camera stores it that was held turned."""
    with Image.open(picture) as image:
        large = image.resize(size, Image.Resampling.BICUBIC)
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    large.save(file, quality=90, exif=exif)
    return file


@pytest.mark.browser
def test_a_large_turned_picture_stands_upright_and_is_reduced_as_seasons_are(
    measuring, model, tmp_path
):
    page, site = measuring
    turned = enlarged(frames()[1], (4000, 3001), tmp_path / "turned.jpg", orientation=6)
    got = page.evaluate(ASK, {"picture": put_beside(site, turned)[0]})
    mask, cover = by_python(turned, model, tmp_path)
    assert (got["whole"], got["by"]) == ({"width": 3001, "height": 4000}, 4)
    assert (got["width"], got["height"]) == (750, 1000)
    assert got["maskPixels"] == pytest.approx(mask, rel=0.002)
    assert got["pixels"] == pytest.approx(cover, rel=0.002)


@pytest.mark.browser
def test_a_picture_of_a_few_pixels_and_one_without_a_leaf_are_measured_too(
    measuring, model, tmp_path
):
    page, site = measuring
    files = [tmp_path / "few.png", tmp_path / "odd.png"]
    Image.new("RGB", (1, 1), (40, 160, 30)).save(files[0])
    Image.new("RGB", (301, 199), (120, 120, 120)).save(files[1])
    for address, file in zip(put_beside(site, *files), files, strict=True):
        got = page.evaluate(ASK, {"picture": address})
        mask, cover = by_python(file, model, tmp_path)
        assert got["maskPixels"] == mask, file
        assert got["pixels"] == pytest.approx(cover, abs=0.01), file


@pytest.mark.browser
def test_the_browser_reads_of_a_files_colours_what_python_reads(measuring, tmp_path):
    page, site = measuring
    picture = Image.fromarray(np.random.default_rng(2).integers(0, 255, (48, 64, 3), np.uint8))
    ways = {
        **{
            f"{q}-{s}.jpg": {"quality": q, "subsampling": s}
            for q in (60, 83, 97)
            for s in (0, 1, 2)
        },
        "progressive.jpg": {"progressive": True, "optimize": True},
        "exif.jpg": {"exif": b"Exif\0\0" + bytes(60_000)},
        "lossy.webp": {"quality": 80},
        "lossless.webp": {"lossless": True},
        "picture.png": {},
    }
    files = [tmp_path / name for name in ways]
    for file, options in zip(files, ways.values(), strict=True):
        picture.save(file, **options)
    files += [tmp_path / "grey.jpg", tmp_path / "cmyk.jpg"]
    picture.convert("L").save(files[-2])
    picture.convert("CMYK").save(files[-1])
    for address, file in zip(put_beside(site, *files), files, strict=True):
        told = page.evaluate(ASK, {"picture": address})["told"]
        detail = detail_of(file.read_bytes(), decode(file.read_bytes()))
        assert told == pytest.approx([detail.halved, detail.coarseness]), file.name


@pytest.mark.browser
def test_every_colour_index_is_the_same_in_the_browser(measuring, tmp_path):
    page, site = measuring
    pictures = [frames()[1]]
    (address,) = put_beside(site, *pictures)
    (program,) = site.glob("assets/canopy/*.wasm")
    page.evaluate(ASK, {"picture": address})
    for method in indices.INDICES:
        (site / "given" / f"{method}.bin").write_bytes(rule_file(method))
        root = page.url.removesuffix("yours/index.html")
        where = {
            "programAt": f"{root}assets/canopy/{program.name}",
            "ruleAt": f"{root}given/{method}.bin",
        }
        page.evaluate(START, where)
        got = page.evaluate(ASK, {"picture": address})
        mask, cover = by_python(pictures[0], None, tmp_path, method)
        assert got["maskPixels"] == pytest.approx(mask, rel=0.002), method
        assert got["pixels"] == pytest.approx(cover, rel=0.002), method


@pytest.mark.browser
def test_only_what_lies_in_the_box_is_counted_and_the_outline_is_as_long_as_a_discs(
    measuring, tmp_path
):
    """Excess green of a drawn disc: its area and its outline are known."""
    page, site = measuring
    drawn = np.full((400, 600, 3), 110, np.uint8)
    rows, columns = np.mgrid[:400, :600]
    drawn[np.hypot(columns - 200, rows - 200) < 90] = (30, 160, 40)
    drawn[100:150, 450:500] = (30, 160, 40)
    Image.fromarray(drawn).save(tmp_path / "disc.png")
    (address,) = put_beside(site, tmp_path / "disc.png")
    (site / "given" / "exg.bin").write_bytes(rule_file("exg"))
    (program,) = site.glob("assets/canopy/*.wasm")
    root = page.url.removesuffix("yours/index.html")
    page.evaluate(ASK, {"picture": address})
    where = {"programAt": f"{root}assets/canopy/{program.name}", "ruleAt": f"{root}given/exg.bin"}
    page.evaluate(START, where)
    whole = page.evaluate(ASK, {"picture": address})
    boxed = page.evaluate(ASK, {"picture": address, "box": [50, 50, 350, 350]})
    assert whole["pixels"] == pytest.approx(np.pi * 90**2 + 2500, rel=0.002)
    assert boxed["pixels"] == pytest.approx(np.pi * 90**2, rel=0.002)
    assert boxed["outline"] == pytest.approx(2 * np.pi * 90, rel=0.02)


@pytest.mark.browser
def test_questions_about_two_photos_in_a_row_are_answered_one_after_another(measuring):
    page, site = measuring
    pictures = put_beside(site, frames()[2], frames()[0])
    alone = page.evaluate(ASK, {"picture": pictures[1]})
    page.evaluate(ASK, {"picture": pictures[0]})
    both = page.evaluate(
        """async (pictures) => {
      const files = await Promise.all(
        pictures.map(async (each) => (await fetch(each)).blob()));
      const {ask} = lapsekit.measuring;
      const [first, second, area] = await Promise.all([
        ask({what: "measure", picture: files[0]}), ask({what: "measure", picture: files[1]}),
        ask({what: "area", box: [0, 0, 960, 720]})]);
      return [first.maskPixels, second.maskPixels, area.pixels];
    }""",
        pictures,
    )
    assert both[1:] == [alone["maskPixels"], alone["pixels"]]
    assert both[0] > 2 * both[1]


@pytest.mark.browser
def test_the_committed_program_does_what_its_source_says(measuring, tmp_path):
    page, site = measuring
    if shutil.which("clang") is None or shutil.which("wasm-ld") is None:
        pytest.skip("clang and lld are not installed; the program cannot be compiled again")
    subprocess.run([PROGRAM / "build.sh", tmp_path / "again.wasm"], check=True)
    addresses = put_beside(site, *frames()[1:], tmp_path / "again.wasm")
    root = page.url.removesuffix("yours/index.html")
    (rule,) = site.glob("data/canopy-*.bin")
    committed = [page.evaluate(ASK, {"picture": address}) for address in addresses[:-1]]
    where = {"programAt": f"{root}given/2.wasm", "ruleAt": f"{root}data/{rule.name}"}
    page.evaluate(START, where)
    again = [page.evaluate(ASK, {"picture": address}) for address in addresses[:-1]]
    for one, other in zip(committed, again, strict=True):
        assert {**one, "seconds": 0} == {**other, "seconds": 0}


def test_the_program_reads_the_numbers_in_the_order_in_which_they_are_written():
    header = (PROGRAM / "canopy.h").read_text(encoding="utf-8")
    named = re.search(r"enum number \{(.*?)NUMBERS\s*\}", header, re.DOTALL)[1]
    assert tuple(name.lower() for name in re.findall(r"\w+", named)) == NUMBERS


def test_the_rule_is_small_and_another_model_makes_another_file(model):
    content = rule_file("model", model)
    assert len(content) < 400_000
    other = replace(model, threshold=0.4)
    assert rule_file("model", other) != content
    assert rule_file("exg") != rule_file("gli")


def test_a_network_built_otherwise_and_an_unknown_method_are_refused(model):
    steps, layers = read_layers(model.network.content)
    assert steps == STEPS and len(layers) == 17
    assert sum(each.weights.size + each.biases.size for each in layers) == 154_628
    lacking = model.network.content.replace(b"Relu", b"Tanh")
    broken = replace(model)
    object.__setattr__(broken, "network", type("Another", (), {"content": lacking})())
    with pytest.raises(SettingsError, match="built otherwise"):
        rule_file("model", broken)
    with pytest.raises(SettingsError, match="no rule"):
        rule_file("model")
    with pytest.raises(SettingsError, match="cannot be read"):
        read_layers(b"no network at all")


def test_a_season_whose_model_browsers_cannot_run_says_so_to_grower_and_follower(model, tmp_path):
    season = found(tmp_path / "season")
    network = Network(model.network.content.replace(b"Relu", b"Tanh"))
    other = replace(model, network=network)
    (season.folder / "other.json").write_text(other.to_json(), encoding="utf-8")
    settings = season.folder / "season.toml"
    told = settings.read_text(encoding="utf-8") + '[canopy]\nmodel_file = "other.json"\n'
    settings.write_text(told, encoding="utf-8")
    season.catalogue.close()
    season = Season(season.folder)
    add_day(season, FIRST)
    report = build_site(season)
    assert any("followers cannot measure" in problem for problem in report.problems)
    page = (season.site / "yours" / "index.html").read_text(encoding="utf-8")
    assert "data-rule" not in page
    assert not list(season.site.glob("data/canopy-*.bin"))
    season.catalogue.close()
