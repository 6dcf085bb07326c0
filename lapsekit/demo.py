"""The whole job on the sample season, in simulated time."""

from collections.abc import Callable
from datetime import timedelta
from itertools import repeat
from pathlib import Path

from lapsekit.cameras.replay import Replay
from lapsekit.errors import SeasonError
from lapsekit.film.making import FilmReport, make_film
from lapsekit.measuring import measure
from lapsekit.progress import Track, silent
from lapsekit.reporting import report_growth
from lapsekit.season import Season
from lapsekit.unattended.morning import MorningReport, morning
from lapsekit.unattended.simulating import SimulatedClock, SimulationReport, simulate

_SOURCE = "the sample season"


def play_season(
    folder: Path,
    sample: Path,
    tell: Callable[[str], None],
    workers: int | None = None,
    track: Track = silent,
) -> tuple[SimulationReport, FilmReport, MorningReport]:
    """Capture the sample season in simulated time, then do once what the bench does every morning.

    The clock is the demo's own: it starts at the first frame. What is measured, worked out and
    shown in the end is the same as if the chain had run on each of its mornings.

    Parameters
    ----------
    folder : pathlib.Path
        A folder made by :func:`lapsekit.sample.copy_sample_season`.
    sample : pathlib.Path
        The sample season.
    tell : callable
        Takes a line of text about what is done.
    workers : int, optional
        Frames worked on at once.
    track : Track
        Told about progress.
    """
    moments = [moment for moment, _ in Replay(sample / "frames").moments]
    if not moments:
        raise SeasonError(f"{sample / 'frames'}: no dated frames there to play")
    first, last = moments[0], moments[-1] + timedelta(days=1)
    clock = SimulatedClock(first - timedelta(minutes=1))
    season = Season(folder, clock)
    days = (last - first).days + 1
    tell(f"playing {days} days of {_SOURCE} through the capture schedule")
    with season.lock("demo"):
        mornings = track(repeat(None), days, "season")
        simulated = simulate(season, clock, last, lambda: next(mornings, None))
        mornings.close()
        measure(season, workers, track)
        report_growth(season, track=track)
        film = make_film(season, workers=workers, track=track)
        final = morning(season, workers, track)
    return simulated, film, final
