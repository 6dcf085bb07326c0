"""Does a follower's browser find the canopy that `lapsekit mask` finds, and how soon?

    LAPSEKIT_PHOTOS=DIR python -m tests.bench.browser_canopy [--each 20]

Builds a site of one day, serves it, opens its follower's page in Chromium under the page's own
policy and gives sample frames and real photographs to its worker. Times are those of this machine
with all that else runs on it; processor time is said beside them. Prints how far areas differ from
`lapsekit mask` on the same files (and from the areas that a season would count), the seconds that a
photo of 12 and one of 48 megapixels take, decoding included, in a page just opened and once it has
measured before, the longest time for which the page could do nothing else, and what was sent.
"""

import argparse
import math
import os
import shutil
import statistics
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image
from playwright.sync_api import sync_playwright

from lapsekit.masking import mask_file
from lapsekit.resources import shipped_model_text
from lapsekit.site.build import build_site
from lapsekit.vision.canopy import CanopyModel
from tests.browsing import CHROMIUM_ARGUMENTS
from tests.site.measuring_page import ASK, WATCHED, cover_by_python, put_beside, served
from tests.site.small_season import FIRST, add_day, found

NEEDS = "photographs (LAPSEKIT_PHOTOS=DIR) and Chromium"

FRAMES = Path(__file__).parents[2] / "sample_frames" / "frames" / "bench"
LARGE = {"12 megapixels": (4000, 3000), "48 megapixels": (8000, 6000)}


def spread_over(files, count):
    """So many files, evenly over a sorted list."""
    return [files[round(k * (len(files) - 1) / (count - 1))] for k in range(count)]


def by_python(picture, model, folder):
    """Pixels of the mask that `lapsekit mask` writes, and the area that a season counts."""
    found = mask_file(picture, folder / "mask.png")
    cover = cover_by_python(picture, model)
    return found.cover * math.prod(found.size), float(cover.sum(dtype=np.float64))


def agreement(page, site, pictures, model, folder):
    """Relative differences of masks and of areas, in the order of the pictures."""
    masks, areas = [], []
    for address, picture in zip(put_beside(site, *pictures), pictures, strict=True):
        got = page.evaluate(ASK, {"picture": address})
        mask, area = by_python(picture, model, folder)
        masks.append(abs(got["maskPixels"] - mask) / max(mask, 1))
        areas.append(abs(got["pixels"] - area) / max(area, 1))
    return masks, areas


def tell_agreement(name, differences, pictures):
    """One line for a set of pictures: the worst by name, and the median."""
    for what, each in zip(("mask", "area"), differences, strict=True):
        worst = int(np.argmax(each))
        print(
            f"{name}, {what}: worst {100 * each[worst]:.4f} % ({pictures[worst].name}), "
            f"median {100 * statistics.median(each):.4f} %, {len(each)} pictures"
        )


def large(frame, size, file):
    """A sample frame as a phone's photo: enlarged, with grain."""
    with Image.open(frame) as image:
        pixels = np.asarray(image.resize(size, Image.Resampling.BICUBIC), np.int16)
    grain = np.random.default_rng(1).integers(-6, 7, pixels.shape, np.int16)
    Image.fromarray(np.clip(pixels + grain, 0, 255).astype(np.uint8)).save(file, quality=92)


def processor_seconds():
    """Processor time that this program's children and theirs, the browser's, have used so far."""
    parents, spent = {}, {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:  # ended meanwhile
            continue
        pid = int(stat.parent.name)
        parents[pid], spent[pid] = int(fields[1]), int(fields[11]) + int(fields[12])
    below = {os.getpid()}
    while more := {pid for pid, parent in parents.items() if parent in below} - below:
        below |= more
    return sum(spent.get(pid, 0) for pid in below - {os.getpid()}) / os.sysconf("SC_CLK_TCK")


def tell_time(opened, site, folder, repeats):
    """Seconds for large photos, in a fresh page and after; the longest block of the page."""
    for name, size in LARGE.items():
        file = folder / f"{size[0]}.jpg"
        large(sorted((FRAMES / "2026-05-01").glob("*.jpg"))[2], size, file)
        (address,) = put_beside(site, file)
        page, requests = opened()
        began, runs, spent = processor_seconds(), [], []
        for _ in range(repeats + 1):
            runs.append(page.evaluate(WATCHED, {"picture": address}))
            now = processor_seconds()
            spent.append(now - began)
            began = now
        seconds = [run["seconds"] for run in runs]
        blocks = [run["longest"] for run in runs]
        sent = sum(len(each.post_data_buffer or b"") for each in requests)
        print(
            f"{name} ({file.stat().st_size / 1e6:.1f} MB, measured at {runs[0]['width']} × "
            f"{runs[0]['height']}): first {seconds[0]:.2f} s, then {min(seconds[1:]):.2f} to "
            f"{max(seconds[1:]):.2f} s; processor time of the whole browser {spent[0]:.2f} s, then "
            f"{min(spent[1:]):.2f} to {max(spent[1:]):.2f} s; page blocked at most "
            f"{1000 * max(blocks):.0f} ms; {sent} bytes sent in {len(requests)} requests, "
            f"methods {sorted({each.method for each in requests})}"
        )
        page.close()


def main():
    """Run it all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=20, help="pictures of each kind")
    parser.add_argument("--repeats", type=int, default=4)
    asked = parser.parse_args()
    model = CanopyModel.from_json(shipped_model_text())
    folder = Path(tempfile.mkdtemp())
    season = found(folder / "season")
    add_day(season, FIRST)
    build_site(season)
    season.catalogue.close()
    with served(season.site) as root, sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=CHROMIUM_ARGUMENTS
        )
        print(f"Chromium {browser.version}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")

        def opened():
            page, requests = browser.new_page(), []
            page.on("request", lambda request: requests.append(request))
            page.goto(f"{root}yours/index.html")
            page.locator("#yours:not([hidden])").wait_for()
            return page, requests

        tell_time(opened, season.site, folder, asked.repeats)
        page, _ = opened()
        frames = spread_over(sorted(FRAMES.glob("*/*.jpg")), asked.each)
        tell_agreement("frames", agreement(page, season.site, frames, model, folder), frames)
        if photos := os.environ.get("LAPSEKIT_PHOTOS"):
            images = sorted(Path(photos, "field-wheat", "img").glob("*.png"))
            chosen = spread_over(images, asked.each)
            tell_agreement("photos", agreement(page, season.site, chosen, model, folder), chosen)
        else:
            print("photos: LAPSEKIT_PHOTOS names no folder, none were measured")
        browser.close()
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()
