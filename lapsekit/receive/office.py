"""The upload page's own state: the season as it is, its pages, what may still come today."""

import shutil
import threading
import time
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from lapsekit.errors import LapsekitError, SettingsError
from lapsekit.followers.speaking import words_for
from lapsekit.followers.wordings import Wording, wording
from lapsekit.language.words import Words
from lapsekit.receive.limits import Allowance, Guesses, Slots
from lapsekit.receive.told import Asks
from lapsekit.season import REGIONS_FILE, SETTINGS_FILE, Season
from lapsekit.web.limits import Seconds
from lapsekit.when import Clock, local_day, system_clock

TEMPLATES = Path(__file__).parent / "templates"


class Office:
    """Where pictures are handed in.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    clock : Clock
        The season's.
    seconds : callable
        For limits.

    Raises
    ------
    SettingsError
        If season.toml does not say whom followers can turn to.
    """

    def __init__(
        self, folder: Path, clock: Clock = system_clock, seconds: Seconds = time.monotonic
    ):
        self.folder, self.clock = folder, clock
        self._stamp: tuple = ()
        self._reading = threading.Lock()
        self.one_code_at_a_time = threading.Lock()
        page = self.season.settings.followers.page
        self.allowance = Allowance(page.a_day, page.a_day_each, seconds)
        self.guesses = Guesses(seconds)
        self.slots = Slots()
        self._environment = Environment(
            loader=FileSystemLoader(TEMPLATES),
            autoescape=True,
            trim_blocks=True,
            lstrip_blocks=True,
            undefined=StrictUndefined,
        )

    @property
    def season(self) -> Season:
        """The season as its texts are now, or were before somebody made a mistake in them."""
        with self._reading:
            files = [self.folder / SETTINGS_FILE, self.folder / REGIONS_FILE]
            stamp = tuple(file.stat().st_mtime_ns if file.is_file() else 0 for file in files)
            if stamp != self._stamp:
                try:
                    self._season = _open_for_pictures(self.folder, self.clock)
                except LapsekitError:
                    if not self._stamp:
                        raise
                self._stamp = stamp
            return self._season

    @property
    def words(self) -> Words:
        """The site's language."""
        return words_for(self.season, self.season.settings.site.language)

    @property
    def today(self) -> date:
        """The day in the season's time zone."""
        return local_day(self.clock(), self.season.zone)

    def wording(self) -> Wording:
        """What is agreed to."""
        return wording(self.season, self.season.settings.site.language)

    def asks(self) -> Asks:
        """What the form asks for."""
        return Asks(
            wording=self.wording().version,
            minors=self.season.settings.followers.minors,
            today=self.today,
            regions=tuple(dict.fromkeys(each.title for each in self.season.regions.region)),
        )

    def has_room(self) -> bool:
        """Whether the disk has more room than frames need kept."""
        keep = self.season.settings.followers.page.keep_free_mb * 1_000_000
        return shutil.disk_usage(self.folder).free > keep

    def rendered(self, template: str, **told: Any) -> str:
        """A page's text."""
        season, words = self.season, self.words
        shared = {
            "language": words.language,
            "text": words.text,
            "counted": words.counted,
            "html": partial(_html, words),
            "number": words.number,
            "season_title": season.settings.season.title,
            "site_address": season.settings.site.address,
            "followers": season.settings.followers,
        }
        return self._environment.get_template(template).render({**shared, **told})


def _open_for_pictures(folder: Path, clock: Clock) -> Season:
    season = Season(folder, clock)
    if season.settings.followers.contact is None:
        raise SettingsError(
            f"{folder / SETTINGS_FILE}: followers.contact is missing, so no upload page is opened; "
            "write whom followers can turn to, and how: it stands on the page"
        )
    return season


def _html(words: Words, message: str, **values: object) -> Markup:
    """A message that holds markup; what is put into it is escaped."""
    return Markup(words.text(message)).format(**values)
