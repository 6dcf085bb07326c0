"""The desk's own state: whose season it is, its pages' templates, and the work it started."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, tzinfo
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from lapsekit.desk.gate import Gate
from lapsekit.desk.jobs import Jobs
from lapsekit.desk.lookout import Lookout
from lapsekit.errors import LapsekitError, SeasonBusy
from lapsekit.season import DESK_FOLDER, SETTINGS_FILE, Season
from lapsekit.when import Clock, system_clock

if TYPE_CHECKING:
    from lapsekit.desk.asking import Asked
    from lapsekit.edits.book import Book


def password_file(folder: Path) -> Path:
    """Where the hash of the desk's password is kept."""
    return folder / DESK_FOLDER / "password"


TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True)
class Entry:
    """A page in the desk's list of pages: ``daily`` ones stand within a thumb's reach."""

    address: str
    name: str
    is_daily: bool = False


class Desk:
    """One season folder on the desk; it may be empty still.

    Parameters
    ----------
    folder : pathlib.Path
    menu : tuple of Entry
        What the list of pages holds.
    gate : Gate
        Who may come in.
    clock : Clock
    """

    def __init__(
        self,
        folder: Path,
        menu: tuple[Entry, ...],
        gate: Gate,
        clock: Clock = system_clock,
    ):
        self.folder = folder
        self.clock = clock
        self.menu = menu
        self.gate = gate
        self.jobs = Jobs(folder)
        self.kept: dict[str, Any] = {}
        """What a page keeps in memory until the desk closes, by the page's name."""
        self.lookout = Lookout(self.opened)

    @property
    def has_season(self) -> bool:
        """Whether a season was founded there."""
        return (self.folder / SETTINGS_FILE).is_file()

    @contextmanager
    def opened(self) -> Iterator[Season]:
        """The season as its files are now."""
        season = Season(self.folder, self.clock)
        try:
            yield season
        finally:
            if "catalogue" in season.__dict__:
                season.catalogue.close()

    def zone(self) -> tzinfo:
        """The season's time zone; UTC while its settings cannot be read."""
        try:
            with self.opened() as season:
                return season.zone
        except LapsekitError:
            return UTC

    def close(self) -> None:
        """End the work that was started, and let go of the camera."""
        self.lookout.leave()
        self.jobs.stop_all()
        with suppress(SeasonBusy):
            self.lookout.stop()

    @cached_property
    def book(self) -> "Book":
        """The season's texts, to be changed."""
        from lapsekit.desk.reach_of_change import require_no_more
        from lapsekit.edits.book import Book

        is_local = self.gate.password_hash is None
        return Book(self.folder, self.clock, None if is_local else require_no_more)

    @cached_property
    def _environment(self) -> Environment:
        from lapsekit.desk.linking import linked

        made = Environment(
            loader=FileSystemLoader(TEMPLATES),
            autoescape=True,
            trim_blocks=True,
            lstrip_blocks=True,
            undefined=StrictUndefined,
        )
        made.filters["linked"] = linked
        return made

    def rendered(self, asked: "Asked", template: str, told: Mapping[str, Any]) -> str:
        """A page's text; what the last change had to say stands at its head, once."""
        notes = list(asked.session.notes)
        asked.session.notes.clear()
        shared = {
            "menu": self.menu,
            "here": asked.path,
            "token": asked.session.form_token,
            "notes": notes,
            "season_title": self._title(),
            "is_signed_in": asked.session.is_signed_in,
            "has_password": self.gate.password_hash is not None,
            "has_season": self.has_season,
        }
        return self._environment.get_template(template).render({**shared, **told})

    def _title(self) -> str:
        """What the season is called; the desk must open when its settings cannot be read, too."""
        if not self.has_season:
            return "A new season"
        try:
            with self.opened() as season:
                return season.settings.season.title
        except LapsekitError:
            return self.folder.resolve().name
