"""Make the README's pictures again from the demo's own season.

    python tests/readme_pictures.py [--season DIR]

Writes sample_frames/pictures/front-page.webp (a screenshot of the site's front page), canopy.webp
(a frame with the canopy that `lapsekit measure` counts outlined), growth.webp (the growth plot) and
films.webp (stills from every kind of film).
Needs the [test] extra and a Chromium. With --season, a season that the demo made before is used.
"""

import argparse
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw

CHECKOUT = Path(__file__).parent.parent
sys.path.insert(0, str(CHECKOUT))

from lapsekit.detail import detail_of  # noqa: E402
from lapsekit.ruler import load_model  # noqa: E402
from lapsekit.season import Season  # noqa: E402
from lapsekit.serving import open_server  # noqa: E402
from lapsekit.vision.canopy import cover_and_doubt  # noqa: E402
from lapsekit.vision.pictures import decode  # noqa: E402
from tests.browsing import CHROMIUM_ARGUMENTS, running  # noqa: E402
from tests.film_sheet import film_sheet  # noqa: E402

PICTURES = CHECKOUT / "sample_frames" / "pictures"
WIDTH, HEIGHT = 1100, 1000
OUTLINE, REGION = (250, 246, 236), (43, 38, 34)


def front_page(season: Season) -> Image.Image:
    """Screenshot of the top of the front page."""
    from playwright.sync_api import sync_playwright

    with (
        running(open_server(season.site, 0)) as address,
        sync_playwright() as play,
        tempfile.TemporaryDirectory() as scratch,
    ):
        program = shutil.which("chromium") or shutil.which("chromium-browser")
        browser = play.chromium.launch(executable_path=program, args=CHROMIUM_ARGUMENTS)
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        page.clock.set_fixed_time("2026-05-25T06:30:00Z")  # the morning after the last day
        page.goto(address, wait_until="networkidle")
        page.locator(".ribbon.drawn").wait_for()
        file = Path(scratch, "page.png")
        page.screenshot(path=file)
        browser.close()
        return Image.open(file).convert("RGB")


def canopy(season: Season) -> Image.Image:
    """A late daily picture with the canopy and the regions outlined."""
    pictures = season.daily_pictures()[next(iter(season.settings.cameras))]
    frame = pictures[sorted(pictures)[-12]]
    data = season.archive.read(frame.path)
    picture = decode(data)
    settings = season.settings.canopy
    model = load_model(settings, season.folder)
    detail = detail_of(data, picture)
    mask = cover_and_doubt(picture, settings.method, model, detail=detail)[0] > 0.5
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    shown = cv2.drawContours(picture.copy(), contours, -1, OUTLINE, 1, cv2.LINE_AA)
    shown = Image.fromarray(shown)
    draw = ImageDraw.Draw(shown)
    for region in season.regions.region:
        outline = region.outline_on(frame.day)
        if outline is not None and outline.points is not None:
            draw.line([*outline.points, outline.points[0]], REGION, 2)
    return shown


def main() -> None:
    """Make the pictures."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", type=Path, help="a season that the demo made")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.season or Path(scratch, "season")
        if given.season is None:
            command = [sys.executable, "-m", "lapsekit", "demo", "--no-serve", "--folder", folder]
            subprocess.run(command, check=True, cwd=CHECKOUT)
        season = Season(folder)
        PICTURES.mkdir(exist_ok=True)
        front_page(season).save(PICTURES / "front-page.webp", quality=82, method=6)
        canopy(season).save(PICTURES / "canopy.webp", quality=82, method=6)
        plot = Image.open(season.tables / "growth.png").convert("RGB")
        plot.save(PICTURES / "growth.webp", quality=85, method=6)
        season.catalogue.close()
        film_sheet(folder).save(PICTURES / "films.webp", quality=82, method=6)
    print(f"written: {PICTURES}")


if __name__ == "__main__":
    main()
