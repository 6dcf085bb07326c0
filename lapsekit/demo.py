"""The whole job on the sample season, in simulated time."""

import json
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from lapsekit.cameras.replay import Replay
from lapsekit.errors import SeasonError
from lapsekit.film.assembling import FilmReport, make_film
from lapsekit.founding import make_folder
from lapsekit.progress import Track, silent
from lapsekit.reporting import report_growth
from lapsekit.season import DIARY_FILE, REGIONS_FILE, SETTINGS_FILE, Season
from lapsekit.unattended.morning import MorningReport, morning
from lapsekit.unattended.process import SimulatedClock, SimulationReport, simulate

_SOURCE = "the sample season"


def sample_frames_folder(given: Path | None) -> Path:
    """The folder of the sample season: the one given, or the checkout's.

    Raises
    ------
    SeasonError
        If there is none; the wheel does not carry it.
    """
    folder = given or Path(__file__).parent.parent / "sample_frames"
    if (folder / SETTINGS_FILE).is_file() and (folder / "frames").is_dir():
        return folder
    if given is None:
        raise SeasonError(
            "the sample season is not part of the installed package; run the demo in a checkout, "
            "or name its folder with --frames DIR"
        )
    raise SeasonError(f"{folder}: no sample season there (season.toml and frames are needed)")


def copy_sample_season(sample: Path, folder: Path) -> None:
    """Make a season folder that replays the sample season's frames.

    A folder that holds the demo season already is left as it is, so that an interrupted demo
    goes on where it stopped.

    Raises
    ------
    SeasonError
        If `folder` holds something else.
    """
    frames = f"folder = {json.dumps(str((sample / 'frames').resolve()))}"
    settings = (sample / SETTINGS_FILE).read_text(encoding="utf-8")
    settings = re.sub(r"(?m)^folder = [^#\n]*", lambda _: frames, settings)
    if folder.exists() and any(folder.iterdir()):
        target = folder / SETTINGS_FILE
        if target.is_file() and target.read_text(encoding="utf-8") == settings:
            return
        raise SeasonError(
            f"{folder} exists and is not this demo's season; name another with --folder DIR"
        )
    texts = {
        name: (sample / name).read_text(encoding="utf-8")
        for name in (REGIONS_FILE, DIARY_FILE)
        if (sample / name).is_file()
    }
    make_folder(folder, {SETTINGS_FILE: settings, **texts})


def play_season(
    folder: Path,
    sample: Path,
    tell: Callable[[str], None],
    workers: int | None = None,
    track: Track = silent,
) -> tuple[SimulationReport, FilmReport, MorningReport]:
    """Capture the sample season in simulated time, then film it and finish its site.

    The clock is the demo's own: it starts at the first frame, and every morning of the season
    the chain runs as it would on the bench.

    Parameters
    ----------
    folder : pathlib.Path
        A folder made by :func:`copy_sample_season`.
    sample : pathlib.Path
        The sample season.
    tell : callable
        Takes a line of text about what is done.
    workers : int, optional
        Frames worked on at once.
    track : Track
        Told about progress.
    """
    moments = [moment for moment, _ in Replay(sample / "frames").moments()]
    if not moments:
        raise SeasonError(f"{sample / 'frames'}: no dated frames there to play")
    first, last = moments[0], moments[-1] + timedelta(days=1)
    clock = SimulatedClock(first - timedelta(minutes=1))
    season = Season(folder, clock)
    days = (last - first).days + 1
    tell(f"playing {days} days of {_SOURCE} through the capture schedule")
    with season.lock("demo"):
        mornings = track(_endless(), days, "season")

        def each_morning() -> None:
            morning(season, workers)
            next(mornings, None)

        simulated = simulate(season, clock, last, each_morning)
        mornings.close()
        report_growth(season)
        film = make_film(season, workers=workers, track=track)
        final = morning(season, workers, track)
    return simulated, film, final


def _endless():
    while True:
        yield None
