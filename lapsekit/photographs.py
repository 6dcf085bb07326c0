"""Stage: real photographs with drawn masks -> how well canopy is found on plots never seen.

The photographs are doi:10.3929/ethz-b-000512332: ``field-wheat/img`` and ``field-wheat/mask``
with the same names, which begin with the plot's. Each is judged by the model of a file whose
record lists its plot as held out: of the shipped kind, trained without that plot.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from lapsekit.errors import LapsekitError, PictureError, SettingsError
from lapsekit.progress import Track, silent
from lapsekit.vision.canopy import CanopyModel, classify
from lapsekit.vision.overlap import Counts, Overlap, counts, overlap
from lapsekit.vision.pictures import decode, decode_grey

DOI = "doi:10.3929/ethz-b-000512332"
COVER_CLASSES = (0.0, 0.05, 0.15, 0.30, 1.0)
HARD_LIGHT = 0.45
"""Standard deviation of the soil's log luminance from which light counts as hard: about that of a
sunny picture, with a tenth of the soil in shadows three stops deep."""

BASELINE = "excess green with Otsu's threshold"


@dataclass(frozen=True)
class Photograph:
    """One photograph: RGB (height, width, 3) of uint8 and its drawn mask, bool."""

    name: str
    picture: np.ndarray
    mask: np.ndarray

    @property
    def plot(self) -> str:
        """The plot it shows, by its name."""
        return self.name.split("_")[0]

    @property
    def light(self) -> str:
        """Hard light (sun, with shadows) or soft, by how luminance spreads over the soil."""
        luma = self.picture[~self.mask].mean(axis=1) + 4.0
        return "hard light" if np.log(luma).std() >= HARD_LIGHT else "soft light"


def read_photographs(data: Path) -> list[Photograph]:
    """All photographs of a folder that contains ``field-wheat``, by name.

    Raises
    ------
    SettingsError
        If there are none, or one cannot be read.
    """
    folder = data / "field-wheat"
    paths = sorted((folder / "img").glob("*.png"))
    if not paths:
        raise SettingsError(
            f"--data {data}: no photographs in field-wheat/img; give the folder that contains "
            f"field-wheat ({DOI})"
        )
    return [_read(path, folder / "mask" / path.name) for path in paths]


def _read(path: Path, mask: Path) -> Photograph:
    try:
        drawn = decode_grey(mask.read_bytes())
        picture = decode(path.read_bytes())
    except (OSError, PictureError) as error:
        raise SettingsError(f"{path} and its mask {mask}: cannot be read ({error})") from error
    if drawn is None or drawn.shape != picture.shape[:2]:
        raise SettingsError(f"{mask}: not a mask of the size of {path}")
    return Photograph(path.stem, picture, drawn > 127)


def held_out_models(folder: Path) -> dict[str, CanopyModel]:
    """Models by the plots that they never saw.

    Parameters
    ----------
    folder : pathlib.Path
        Holds ``plots-*.json`` as ``tests/train_canopy_model.py`` writes them.

    Raises
    ------
    SettingsError
        If there is none, or one is not such a model.
    """
    found = {}
    for path in sorted(folder.glob("plots-*.json")):
        try:
            model = CanopyModel.from_json(path.read_text("utf-8"))
            found |= dict.fromkeys(model.record["held_out_plots"], model)
        except (OSError, UnicodeDecodeError, KeyError, TypeError, LapsekitError) as error:
            raise SettingsError(f"{path}: not a held-out canopy model ({error!r})") from error
    if not found:
        raise SettingsError(
            f"{folder}: no held-out models (plots-*.json); they come with a checkout"
        )
    return found


def judge_photographs(
    photographs: Sequence[Photograph], models: Mapping[str, CanopyModel], track: Track = silent
) -> dict[str, dict[str, Overlap]]:
    """Agreement of masks with the drawn ones, by method and by group of photographs.

    Parameters
    ----------
    photographs : sequence of Photograph
    models : mapping of str to CanopyModel
        The model that has not seen it, by plot.
    track : Track
        Told about progress.

    Raises
    ------
    SettingsError
        If a plot has no such model.
    """
    rows: dict[str, dict[str, list[Counts]]] = defaultdict(lambda: defaultdict(list))
    for photo in track(photographs, len(photographs), "judging photographs"):
        if photo.plot not in models:
            raise SettingsError(f"{photo.name}: no held-out model for plot {photo.plot}")
        model = models[photo.plot]
        masks = {
            "mask": model.mask(photo.picture),
            BASELINE: classify(photo.picture, "exg"),
        }
        for method, mask in masks.items():
            row = counts(mask, photo.mask)
            for group in ("all", photo.light, _class(row.true_cover)):
                rows[method][group].append(row)
    order = [
        "all",
        "hard light",
        "soft light",
        *(_named(*ends) for ends in pairwise(COVER_CLASSES)),
    ]
    return {
        method: {g: found for g in order if (found := overlap(groups[g])) is not None}
        for method, groups in rows.items()
    }


def _named(low: float, high: float) -> str:
    return f"cover {low:.0%} to {high:.0%}"


def _class(cover: float) -> str:
    ends = next(e for e in pairwise(COVER_CLASSES) if cover < e[1] or e[1] == COVER_CLASSES[-1])
    return _named(*ends)
