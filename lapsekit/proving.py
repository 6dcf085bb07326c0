"""Stage: the sample season measured, held against its truth."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from lapsekit.frames.archive import Archive
from lapsekit.growing import grow
from lapsekit.growth.agreement import Agreement, DayToDay, Pair, agreement, day_to_day, overall
from lapsekit.measuring import measure
from lapsekit.progress import Track, silent
from lapsekit.proving_strokes import StrokesProof, prove_strokes
from lapsekit.safely import require_place, write_safely
from lapsekit.sample import copy_sample_season, true_daily_areas, true_states, true_views
from lapsekit.season import Season
from lapsekit.settings import Regions
from lapsekit.sighting import Sighting, sighting


@dataclass(frozen=True)
class Proof:
    """Measured against true daily areas.

    Attributes
    ----------
    regions : Regions
        What was measured.
    by_region : dict of str to list of Pair
        Every day with a true area, in the order of regions.toml.
    agreements : dict of str to Agreement
        The same summed up.
    overall : Agreement
        All regions' days together.
    curves : Agreement
        The same of the growth curves and their bands, on days that have a value.
    day_to_day : DayToDay
        How errors scatter from one day to the next.
    least_cm2 : float
        True area from which on a day counts in the sums.
    sighting : Sighting
        How frames were judged and placed.
    strokes : StrokesProof or None
        What the sample season's strokes teach.
    """

    regions: Regions
    by_region: dict[str, list[Pair]]
    agreements: dict[str, Agreement]
    overall: Agreement
    curves: Agreement
    day_to_day: DayToDay
    least_cm2: float
    sighting: Sighting
    strokes: StrokesProof | None


def prove(
    sample: Path,
    least_cm2: float,
    folder: Path | None = None,
    workers: int | None = None,
    track: Track = silent,
) -> Proof:
    """Measure the sample season as any other, then compare every day with its truth.

    Parameters
    ----------
    sample : pathlib.Path
        The sample season with its truth.
    least_cm2 : float
        True area from which on a region's day counts in the sums.
    folder : pathlib.Path, optional
        Season folder to work in and to keep; a passing one by default.
    workers : int, optional
        Frames worked on at once.
    track : Track
        Told about progress.

    Raises
    ------
    SeasonError
        If `sample` has no truth, or `folder` holds something else.
    """
    with _working_folder(folder) as place:
        copy_sample_season(sample, place)
        season = Season(place)
        truth = true_daily_areas(sample, season.zone)
        states, views = true_states(sample), true_views(sample)
        _copy_frames(Archive(sample, season.zone), sample, place)
        with season.lock("prove"):
            measure(season, workers, track)
        pairs = {r.name: _pairs(season, r.name, truth) for r in season.regions.region}
        drawn = _drawn(season, pairs)
        seen = sighting(season, states, views)
        strokes = prove_strokes(sample, season, truth, track)
        season.catalogue.close()
    summed = {name: agreement(found, least_cm2) for name, found in pairs.items()}
    whole = overall(pairs, least_cm2), agreement(drawn, least_cm2), day_to_day(pairs, least_cm2)
    return Proof(season.regions, pairs, summed, *whole, least_cm2, seen, strokes)


def check_plot(path: Path) -> str:
    """The kind of plot that a file name asks for, "png" or "svg".

    Raises
    ------
    SettingsError
        If it is neither, or its folder does not exist.
    """
    return require_place("--plot", path, "png", "svg")


def write_plot(proof: Proof, path: Path) -> None:
    """Draw measured and true curves into a PNG or SVG; raises as `check_plot` does."""
    from lapsekit.plotting import agreement_plot

    write_safely(path, agreement_plot(proof.by_region, proof.regions, check_plot(path)))


def _pairs(season: Season, region: str, truth: dict) -> list[Pair]:
    measured = {d.day: d for d in season.catalogue.daily(region)}
    return [
        Pair(day, true_cm2, found.area_cm2, found.area_low_cm2, found.area_high_cm2)
        if (found := measured.get(day))
        else Pair(day, true_cm2, None)
        for day, true_cm2 in sorted(truth.get(region, {}).items())
        if true_cm2 > 0
    ]


def _drawn(season: Season, by_region: dict[str, list[Pair]]) -> list[Pair]:
    """The days of all regions that have a value, with what the growth curves say of them."""
    growths = grow(season)
    found = []
    for region, pairs in by_region.items():
        told = growths[region].told("area_cm2", "low_cm2", "high_cm2")
        at = ((pair, told.get(pair.day.toordinal())) for pair in pairs)
        found += [Pair(pair.day, pair.true_cm2, *values) for pair, values in at if values]
    return found


@contextmanager
def _working_folder(folder: Path | None) -> Iterator[Path]:
    if folder is not None:
        yield folder
        return
    with TemporaryDirectory(prefix="lapsekit-proof-") as passing:
        yield Path(passing) / "season"


def _copy_frames(archive: Archive, sample: Path, folder: Path) -> None:
    """Copy the frames that are not there yet."""
    for file in archive.files():
        target = folder / file.path
        if not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(sample / file.path, target)
