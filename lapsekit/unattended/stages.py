"""Stages that run unattended, each as a process of its own: the morning, films, copies, alerts."""

from collections.abc import Callable

from lapsekit.errors import CatalogueError
from lapsekit.season import Season
from lapsekit.unattended.children import Ended, note_morning
from lapsekit.unattended.faults import Faults
from lapsekit.unattended.speaking import ERROR, INFO, WARNING, Tell

TAKE_IN_S = 1800.0
"""Taking in followers' pictures is ended after so long, and goes on the next time."""


class Stages:
    """Runs stages, and tells how they ended.

    Parameters
    ----------
    season : Season
    stage : callable
        Runs a command of lapsekit on the season as a child, told its words.
    faults : Faults
    tell : Tell
    """

    def __init__(self, season: Season, stage: Callable[..., Ended], faults: Faults, tell: Tell):
        self._season = season
        self._stage = stage
        self._faults = faults
        self._tell = tell
        self._take_in_fails = False

    def morning(self) -> None:
        """Measure, growth, site, publish; then whoever is to be called is."""
        settings = self._season.settings
        ended = self._run(
            "morning",
            time_limit_s=settings.morning.time_limit_minutes * 60,
            memory_mb=settings.compute.memory_mb,
        )
        if ended.was_stopped:
            return
        if ended.code == CatalogueError.exit_code:
            self._faults.guarded("mending", self._faults.put_damage_aside)
        now = self._season.clock()
        self._faults.guarded("noting", lambda: note_morning(self._season.folder, now, ended))
        if self._season.settings.thinning.keep_all_days is not None and ended.code == 0:
            self._run("thin", time_limit_s=3600)
        if self._season.settings.alerts.to_file:
            self.alert()

    def film(self) -> None:
        """The season's film, once a week."""
        memory_mb = self._season.settings.compute.memory_mb
        self._run("film", "--weekly", time_limit_s=12 * 3600, memory_mb=memory_mb)

    def copy(self) -> None:
        """Frames and texts to the far side, every night."""
        self._run("copy", time_limit_s=12 * 3600)

    def alert(self) -> None:
        """Look whether somebody has to be called."""
        self._run("alert", time_limit_s=300, quiet=True)

    def take_in(self) -> None:
        """Followers' pictures; that it fails is told when it begins, and called for after hours."""
        ended = self._stage("followers", "take-in", time_limit_s=TAKE_IN_S)
        failed = ended.code != 0 and not ended.was_stopped
        if failed and not self._take_in_fails:
            told = f"followers take-in failed: {ended.complaint}; it is tried again, and told once"
            self._tell(told, WARNING, stage="followers take-in")
        elif not failed:
            if self._take_in_fails:
                self._tell("followers take-in works again", stage="followers take-in")
            for line in ended.said:
                if not line.startswith("nothing new"):
                    self._tell(f"followers take-in: {line}", stage="followers take-in")
        self._take_in_fails = failed

    def _run(self, *words: str, quiet: bool = False, **limits) -> Ended:
        ended = self._stage(*words, **limits)
        what = " ".join(words)
        if ended.was_stopped:
            self._tell(f"{what} was stopped; it goes on next time", stage=what)
            return ended
        if not quiet or ended.code:
            for line in ended.said:
                self._tell(f"{what}: {line}", stage=what)
        if ended.code:
            self._tell(f"failed: {what} ended with code {ended.code}: {ended.complaint}", ERROR)
        elif ended.code is None:
            self._tell(f"failed: {what} {ended.complaint}", ERROR)
        elif not quiet:
            self._tell(f"{what} done", INFO, stage=what)
        return ended
