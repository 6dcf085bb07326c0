"""A season folder, opened: settings, regions, archive, catalogue, and who works on it."""

import os
import threading
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import date, datetime, timedelta
from functools import cached_property
from pathlib import Path

from lapsekit.catalogue import Catalogue, Frame, is_damaged, stand_in
from lapsekit.daylight import Window, daily_moment, due_times, window
from lapsekit.errors import SeasonError
from lapsekit.frames.archive import Archive
from lapsekit.frames.choosing import daily_picture
from lapsekit.frames.far import FarArchive, FarFrames
from lapsekit.frames.indexing import IndexReport, Look, index
from lapsekit.frames.names import stamp
from lapsekit.locks import LOCK_FILE, hold
from lapsekit.progress import Track, silent
from lapsekit.safely import write_safely
from lapsekit.secrets import secret_table
from lapsekit.settings import Region, Regions, Settings, load_regions, load_settings
from lapsekit.trust import reads_frames, require_trust
from lapsekit.verdicts import Ruling, by_path, read_verdicts
from lapsekit.when import Clock, local_day, system_clock

SETTINGS_FILE = "season.toml"
REGIONS_FILE = "regions.toml"
DIARY_FILE = "diary.csv"
VERDICTS_FILE = "verdicts.csv"
COLOURS_FILE = "colours.csv"
CORRECTIONS_FILE = "corrections.csv"
CATALOGUE_FILE = "catalogue.sqlite"
LAST_MORNING_FILE = ".last-morning.json"
"""How the last morning ended: ``{"ended_at": UTC text, "code": exit code, "told": words}``."""

DESK_FOLDER = ".desk"
"""Where the desk keeps its own: its password's hash, changes that can be undone."""

OWNER_FILE = "published-as.txt"
"""A name that no other season has, made when it is first published or copied."""
OWN_WORDS = "site_template/words"
"""A season's own translations, ``LANGUAGE.po``, which come before the shipped ones."""

DIARY_HEADER = "date,region,event,note\n"


class Season:
    """One season folder.

    Parameters
    ----------
    folder : pathlib.Path
        The folder that holds season.toml.
    clock : Clock
        Gives the present instant; the machine's clock unless a season is replayed.

    Raises
    ------
    SeasonError
        If the folder is not a season folder.
    SettingsError
        If season.toml or regions.toml hold something that cannot be used.
    """

    def __init__(self, folder: Path, clock: Clock = system_clock):
        self.folder = folder
        self.clock = clock
        if not (folder / SETTINGS_FILE).is_file():
            raise SeasonError(
                f"{folder}: no {SETTINGS_FILE} there, so it is not a season folder. Make one with "
                "lapsekit new FOLDER, or name yours with --season FOLDER"
            )
        self.settings: Settings = load_settings(folder / SETTINGS_FILE)
        self.regions: Regions = load_regions(folder / REGIONS_FILE, self.settings)
        self.zone = self.settings.season.zone
        self._mending = threading.Lock()
        self._scratch: ExitStack | None = None  # of the copy that stands in for the catalogue

    @cached_property
    def archive(self) -> Archive:
        """The season's frame files, in its folder or where season.toml says that they lie.

        Raises
        ------
        NotTrusted
            If they lie elsewhere, and the folder came from somebody else.
        """
        table = self.settings.frames
        if table.at is None:
            return Archive(self.folder, self.zone)
        require_trust(self.folder, reads_frames(table))
        return FarArchive(self.folder, self.zone, self.frames_at(table.at))

    def frames_at(self, address: str) -> FarFrames:
        """The frames at an address, with the access that season.toml names.

        Raises
        ------
        SettingsError
            If that file cannot be used, or others can read it.
        """
        name = self.settings.frames.access_file
        key = f"{self.folder / SETTINGS_FILE}: frames.access_file"
        access = secret_table(name, self.folder, key) if name else {}
        return FarFrames(address.rstrip("/"), access)

    @cached_property
    def catalogue(self) -> Catalogue:
        """The season's catalogue, opened on first use."""
        path = self.folder / CATALOGUE_FILE
        if self._scratch is not None:
            return self._stand_in(path, self._scratch)
        return Catalogue(path)

    @property
    def is_writable(self) -> bool:
        """Whether the folder can be written to, by this user and now."""
        return os.access(self.folder, os.W_OK)

    @contextmanager
    def catalogue_to_read(self) -> Iterator[None]:
        """While somebody works who writes nothing: the catalogue of a read-only folder opens too.

        It is a copy then, made when it is first asked for: reading notes things too, which are
        forgotten with it.
        """
        if self.is_writable or self._scratch is not None:
            yield
            return
        with ExitStack() as scratch:
            self.reopen_catalogue()
            self._scratch = scratch
            try:
                yield
            finally:
                self._scratch = None
                self.reopen_catalogue()

    def _stand_in(self, path: Path, scratch: ExitStack) -> Catalogue:
        with ExitStack() as own:
            catalogue = Catalogue(own.enter_context(stand_in(path)), path)
            scratch.push(own.pop_all())
        return catalogue

    def mend_catalogue(self) -> Path | None:
        """Put a catalogue that is damaged aside; the next use makes a new, empty one.

        Returns
        -------
        pathlib.Path or None
            Where the damaged one is kept; None if it is sound and was left alone. ``lapsekit
            index`` notes the frames in the new one, ``lapsekit measure`` measures them again.
        """
        path = self.folder / CATALOGUE_FILE
        with self._mending:
            if not path.exists() or not is_damaged(path):
                return None
            self._close_catalogue()
            aside = self._free_name(path, f"damaged-{stamp(self.clock())}")
            path.rename(aside)
            for beside in ("-wal", "-shm"):  # of no use to the new one
                path.with_name(path.name + beside).unlink(missing_ok=True)
        return aside

    def reopen_catalogue(self) -> None:
        """Close the catalogue; the next use opens it anew, by what its disk allows now."""
        with self._mending:
            self._close_catalogue()

    def _close_catalogue(self) -> None:
        if "catalogue" in self.__dict__:
            self.catalogue.close()
            del self.catalogue

    @staticmethod
    def _free_name(path: Path, mark: str) -> Path:
        names = (
            f"{path.stem}.{mark}{n}{path.suffix}" for n in ("", *(f"-{k}" for k in range(2, 99)))
        )
        return next(free for n in names if not (free := path.with_name(n)).exists())

    @property
    def films(self) -> Path:
        """Where films go."""
        return self.folder / "films"

    def not_to_be_used(self, paths: Iterable[str]) -> set[str]:
        """Those of some frames that are there, and are not to be used (any more)."""
        there = {frame.path for frame in self.catalogue.frames_at(paths)}
        return there - self.catalogue.usable_paths(there, self._ruled())

    def may_show(self, paths: Iterable[str]) -> bool:
        """Whether every one of some frames is still to be used.

        Frames thinned out since may be, if they were usable and nobody said no to them.
        """
        unknown = set(paths) - self.catalogue.usable_paths(paths, self._ruled())
        return not unknown or unknown <= self._let_go(unknown)

    def _let_go(self, paths: Iterable[str]) -> set[str]:
        """Those of them that are of frames thinned out, which would be usable if still there."""
        gone = {path for path, reasons in self.catalogue.let_go(paths).items() if not reasons}
        path = self.folder / VERDICTS_FILE
        rulings, _ = by_path(path, read_verdicts(path), gone) if gone else ({}, [])
        return gone - {frame for frame, ruling in rulings.items() if not ruling.use}

    @property
    def site(self) -> Path:
        """Where the site goes."""
        return self.folder / "site"

    @property
    def tables(self) -> Path:
        """Where growth tables and plots go."""
        return self.folder / "growth"

    def day_of(self, moment: datetime) -> date:
        """Local day of an instant."""
        return local_day(moment, self.zone)

    def daily_at(self, day: date) -> datetime:
        """When a day's daily picture is due."""
        return daily_moment(day, self.settings.capture, self.zone, self.settings.place)

    def window(self, day: date) -> Window | None:
        """In which a day's frames are due; None where the window is empty (a day without sun)."""
        return window(day, self.settings.capture, self.zone, self.settings.place)

    def due_times(self, day: date) -> list[datetime]:
        """When a day's frames are due, the daily picture included."""
        return due_times(day, self.settings.capture, self.zone, self.settings.place)

    def sown(self, region: Region) -> date:
        """Sowing date of a region."""
        return region.sown or self.settings.season.sown

    def base_and_cap_c(self, region: Region) -> tuple[float, float | None]:
        """Between which temperatures a region's crop counts degree days, °C."""
        whole = self.settings.season
        base = whole.base_c if region.base_c is None else region.base_c
        return base, whole.cap_c if region.cap_c is None else region.cap_c

    def index(
        self,
        rebuild: bool = False,
        track: Track = silent,
        thorough: bool = False,
        look: Look | None = None,
    ) -> IndexReport:
        """Bring the catalogue into step with the frame files; parameters as `frames.indexing`."""
        return index(self.archive, self.catalogue, self.zone, thorough, rebuild, track, look)

    def rulings(self) -> tuple[dict[str, Ruling], list[str]]:
        """What verdicts.csv says of frames, by path, and a note for each line that names none."""
        path = self.folder / VERDICTS_FILE
        rulings = read_verdicts(path)
        return by_path(path, rulings, self.catalogue.named(ruling.frame for ruling in rulings))

    def _ruled(self) -> dict[str, bool]:
        """Whether frames that verdicts.csv names are to be used, by path."""
        return {path: ruling.use for path, ruling in self.rulings()[0].items()}

    def usable_frames(self, camera: str) -> dict[date, list[Frame]]:
        """Usable frames of a camera by local day, in order of time.

        The grower's word in verdicts.csv counts as it stands, judged anew since or not: neither
        is a frame shown that got a no, nor one whose yes was taken back.
        """
        found: dict[date, list[Frame]] = {}
        for frame in self.catalogue.usable_frames(self._ruled(), camera):
            found.setdefault(frame.day, []).append(frame)
        return found

    def daily_pictures(self) -> dict[str, dict[date, Frame]]:
        """The daily picture of each camera and day that has a usable frame."""
        ruled = self._ruled()
        found = {name: self._daily_pictures(name, ruled) for name in self.catalogue.cameras()}
        return {camera: days for camera, days in found.items() if days}

    def pictures_of(self, camera: str, days: Iterable[date] | None = None) -> dict[date, Frame]:
        """The daily pictures of one camera, of all its days or of some."""
        return self._daily_pictures(camera, self._ruled(), days)

    def daily_picture(self, camera: str, day: date) -> Frame | None:
        """A camera's daily picture of one day; None where no frame is usable."""
        return self.pictures_of(camera, [day]).get(day)

    def last_daily_picture(self, camera: str, until: date = date.max) -> Frame | None:
        """A camera's last daily picture of a day up to and with `until`; None without one."""
        ruled, day = self._ruled(), self.catalogue.last_day(camera, until)
        while day is not None:
            if found := self._daily_pictures(camera, ruled, [day]):
                return found[day]
            day = self.catalogue.last_day(camera, day - timedelta(days=1))
        return None

    def _daily_pictures(
        self, camera: str, ruled: dict[str, bool], days: Iterable[date] | None = None
    ) -> dict[date, Frame]:
        """Of each day only the frames next to the wanted time are read."""
        days = self.catalogue.days_of_camera(camera) if days is None else days
        wanted = {day: self.daily_at(day) for day in days}
        near: dict[date, list[Frame]] = {}
        for frame in self.catalogue.usable_near(camera, wanted, ruled):
            near.setdefault(frame.day, []).append(frame)
        return {day: daily_picture(frames, wanted[day]) for day, frames in near.items()}

    def own_name(self, make: bool = True) -> str:
        """The name that only this season has; with `make`, it is written down where it is new."""
        file = self.folder / OWNER_FILE
        if file.exists():
            return file.read_text().strip()
        name = uuid.uuid4().hex
        if make:
            write_safely(file, f"{name}\n".encode())
        return name

    @contextmanager
    def lock(
        self,
        stage: str,
        wait_s: float = 600,
        on_wait: Callable[[str], None] | None = None,
        file_name: str = LOCK_FILE,
    ) -> Iterator[None]:
        """Hold the season for one stage; only one stage writes at a time.

        Parameters
        ----------
        stage : str
            What is going to be done, for whoever waits.
        wait_s : float
            How long to wait for another stage to end.
        on_wait : callable, optional
            Told once who is being waited for.
        file_name : str
            The lock; copying, which changes nothing that other stages use, has one of its own.

        Raises
        ------
        SeasonBusy
            If the other stage has not ended in time.
        Unwritable
            If the folder cannot be written to.
        """
        with hold(self.folder, stage, wait_s, on_wait, file_name):
            yield
