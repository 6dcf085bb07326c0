"""Evening out light: known casts and exposures laid on frames of the sample season, and undone.

    python tests/prove_light.py --season DIR [--frames 24] [--json]

DIR is a season folder with truth/frames.csv and truth/camera.csv. Frames are laid onto the
reference view (the first usable frame) by their true matrices, given casts of up to 20 % a channel
and exposures of up to 30 %, and evened out. Printed: what of the known factors is left, how far
the canopy of the shipped model moves with and without evening out, and, on frames as the season's
own light made them, how far measured areas scatter about their true ones, with and without.
"""

import argparse
import csv
import json
from datetime import date
from pathlib import Path

import cv2
import numpy as np

from lapsekit.detail import detail_of
from lapsekit.resources import shipped_model_text
from lapsekit.settings import load_regions, load_settings
from lapsekit.vision.canopy import CanopyModel, classify
from lapsekit.vision.light import Light, corrected, even_out
from lapsekit.vision.pictures import decode
from lapsekit.vision.regions import region_mask

CASTS = [(1.2, 1.0, 0.8, 1.0), (0.8, 1.0, 1.2, 1.0), (1.0, 0.85, 1.15, 1.3), (1.0, 1.0, 1.0, 0.7),
         (1.0, 1.0, 1.0, 1.3), (1.15, 0.9, 0.95, 0.8)]  # fmt: skip
LARGE_PX = 750  # 15 cm²
CARD = [(216, 632), (262, 634), (258, 668), (212, 664)]


def usable_frames(folder: Path) -> list[tuple[Path, np.ndarray]]:
    """Paths and true matrices (reference view to frame) of the usable frames."""
    with (folder / "truth" / "camera.csv").open() as file:
        matrices = {
            row["taken_at"]: np.array([float(row[f"m{r}{c}"]) for r in "012" for c in "012"])
            for row in csv.DictReader(file)
        }
    with (folder / "truth" / "frames.csv").open() as file:
        rows = [r for r in csv.DictReader(file) if r["state"] == "usable"]
    return [(folder / r["path"], matrices[r["taken_at"]].reshape(3, 3)) for r in rows]


def in_reference_view(path: Path, matrix: np.ndarray) -> np.ndarray:
    picture = decode(path.read_bytes())
    size = picture.shape[1::-1]
    return cv2.warpPerspective(
        picture, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip


def lit(picture: np.ndarray, cast) -> np.ndarray:
    """The picture under a cast: what `corrected` does, the other way round."""
    *gains, exposure = cast
    return corrected(picture, Light(tuple(gains), exposure, "known", 0.0))


def factors(light: Light) -> np.ndarray:
    return np.log(np.array(light.gains) * light.exposure)


def prove(folder: Path, count: int) -> dict:
    """Errors of ratios and exposure, and canopy shifts, over frames and casts."""
    settings = load_settings(folder / "season.toml")
    regions = load_regions(folder / "regions.toml", settings)
    frames = usable_frames(folder)
    reference = in_reference_view(*frames[0])
    still = np.ones(reference.shape[:2], bool)
    for region in regions.region:
        outline = region.outline_on(date(9999, 1, 1))
        still &= ~region_mask(still.shape, outline.points)
    model = CanopyModel.from_json(shipped_model_text())

    def mask(picture, detail):
        return classify(picture, "model", model, detail=detail)

    ratio, exposure, with_it, without, methods, natural = [], [], [], [], {}, []
    scatter = []
    chosen = frames[len(frames) // 3 :: max(1, len(frames) * 2 // 3 // count)]
    for number, (path, matrix) in enumerate(chosen):
        data = path.read_bytes()
        picture = decode(data)
        detail = detail_of(data, picture)
        plain = even_out(picture, reference, still, CARD, matrix)
        natural.append([*plain.gains, plain.exposure, plain.spread])
        masks = [mask(p, detail) for p in (picture, corrected(picture, plain))]
        untouched, area = map(np.count_nonzero, masks)
        scatter += by_region(folder, path, masks, matrix, regions)
        for cast in CASTS if number % 4 == 0 else CASTS[number % 4 : number % 4 + 2]:
            seen = lit(picture, cast)
            light = even_out(seen, reference, still, CARD, matrix)
            methods[light.method] = methods.get(light.method, 0) + 1
            known = np.log(np.array(cast[:3]) * cast[3])
            left = factors(light) + known - factors(plain)
            ratio.append(float(np.ptp(left)))
            exposure.append(float(abs(left.mean())))
            found = [np.count_nonzero(mask(p, detail)) for p in (corrected(seen, light), seen)]
            with_it.append(abs(found[0] / area - 1))
            without.append(abs(found[1] / untouched - 1))
    return {
        "frames": len(chosen),
        "casts": len(ratio),
        "methods": methods,
        "channel ratio left (worst, median)": [max(ratio), float(np.median(ratio))],
        "exposure left (worst, median)": [max(exposure), float(np.median(exposure))],
        "canopy moved, evened out (median, 95 %, worst)": _quantiles(with_it),
        "canopy moved, as it came (median, 95 %, worst)": _quantiles(without),
        "the season's own gains, exposure, spread (median)": np.median(natural, axis=0).tolist(),
        "the season's own gains, exposure, spread (sd)": np.std(natural, axis=0).tolist(),
        **scattered(scatter),
    }


def by_region(folder, path, masks, matrix, regions):
    """Region and log of measured by true area, as it came and evened out, of what is large."""
    with (folder / "truth" / "areas.csv").open() as file:
        true = {
            r["region"]: float(r["area_px"])
            for r in csv.DictReader(file)
            if r["taken_at"].replace("-", "").replace(":", "") == path.stem
        }
    size = masks[0].shape[::-1]
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    laid = [cv2.warpPerspective(m.astype(np.uint8), matrix, size, flags=flags) for m in masks]
    for region in regions.region:
        outline = region.outline_on(date.fromisoformat(path.parent.name))
        if outline and true.get(region.name, 0) >= LARGE_PX:
            inside = region_mask(masks[0].shape, outline.points)
            found = [max(1, np.count_nonzero(mask[inside])) for mask in laid]
            yield (region.name, *np.log(np.array(found) / true[region.name]))


def scattered(rows):
    """Robust standard deviation of the log ratio in each region, as it came and evened out."""
    found = {}
    for name in dict.fromkeys(row[0] for row in rows):
        logs = np.array([row[1:] for row in rows if row[0] == name])
        if len(logs) >= 8:
            apart = np.abs(logs - np.median(logs, axis=0))
            spread = 1.4826 * np.median(apart, axis=0)
            found[f"scatter of {name} (as it came, evened out)"] = spread.tolist()
    return found


def _quantiles(values):
    return [float(q) for q in np.percentile(values, [50, 95, 100])]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", type=Path, required=True, help="season folder with its truth")
    parser.add_argument("--frames", type=int, default=24, help="frames to try")
    parser.add_argument("--json", action="store_true", help="print JSON")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    found = prove(given.season, given.frames)
    if given.json:
        print(json.dumps(found, indent=2))
        return
    for name, value in found.items():
        shown = [f"{v:.4f}" for v in value] if isinstance(value, list) else value
        print(f"{name:52} {shown if isinstance(shown, (int, dict)) else '  '.join(shown)}")


if __name__ == "__main__":
    main()
