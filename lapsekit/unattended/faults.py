"""What an unattended season does about faults: they are told, and what can be mended is."""

from collections.abc import Callable
from contextlib import suppress

from lapsekit.errors import CatalogueError, LapsekitError, NothingNew, SeasonBusy
from lapsekit.season import Season
from lapsekit.unattended.speaking import ERROR, WARNING, Tell


class Faults:
    """Tells what fails, and mends the catalogue.

    Parameters
    ----------
    season : Season
    tell : Tell
    """

    def __init__(self, season: Season, tell: Tell):
        self._season = season
        self._tell = tell

    def guarded(self, what: str, do: Callable):
        """What `do` gives; None where it fails, which is told."""
        try:
            return do()
        except NothingNew:
            return None
        except (LapsekitError, OSError) as error:
            self._tell(f"failed: {what}: {error}", ERROR)
            if isinstance(error, CatalogueError) and what != "mending":
                self.mend(error)
            return None

    def mend(self, error: CatalogueError) -> None:
        """A frame is filed, but not noted: open the catalogue anew, aside with a damaged one.

        One that was opened while the disk was read-only would stay so; the files are noted again.
        """
        self._tell(f"failed: {error}", ERROR)
        try:
            if not self.put_damage_aside():
                self._season.reopen_catalogue()
                self.note_frames()
        except (LapsekitError, OSError) as still:
            self._tell(f"failed: mending: {still}", ERROR)

    def put_damage_aside(self) -> bool:
        """Put a damaged catalogue aside, and go on with a new one; False for a sound one."""
        aside = self._season.mend_catalogue()
        if aside is not None:
            self._tell(
                f"the catalogue was damaged; it is kept as {aside.name}, and the next morning "
                "makes it again from the frames",
                WARNING,
            )
        return aside is not None

    def note_frames(self) -> None:
        """Bring the catalogue into step, unless a stage is at work.

        A power cut may have taken the last notes of the catalogue: the files are the truth.
        """
        with suppress(SeasonBusy), self._season.lock("run", wait_s=0):
            self._season.index()
