"""What is known of a season's films: what each shows, and whether it may be seen."""

import json
from contextlib import closing
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from lapsekit.errors import LapsekitError
from lapsekit.safely import write_safely
from lapsekit.season import CATALOGUE_FILE, Season


@dataclass(frozen=True)
class FilmRecord:
    """What is known of a film.

    Attributes
    ----------
    mark : str
        Changes when the film would; empty for one to be made again.
    shows : list of str
        Paths of the frames in it; without a mark, of all that may be.
    days : list of (day, start_s, end_s)
        When each calendar day is shown, in order; empty where plants go in step by age.
    chapters : list of (start_s, end_s, text)
    boxes : list of list of (left, top, right, bottom)
        The windows of each panel, in px of the reference view.
    kind, title : str
    size : list of int
        Width and height in px.
    framing : str
        Changes when `boxes` mean something else.
    beside : dict of str to dict
        What was made beside the film, by file name: its ``mark``, and the frames it ``shows``.
    earlier : str
        Folder of the earlier season whose frames it shows too, as season.toml names it.
    shows_earlier : list of str
        Paths of those frames in it.
    """

    mark: str
    shows: list[str]
    days: list[list] = field(default_factory=list)
    chapters: list[list] = field(default_factory=list)
    boxes: list[list] = field(default_factory=list)
    kind: str = "season"
    title: str = ""
    size: list[int] = field(default_factory=list)
    framing: str = ""
    beside: dict[str, dict] = field(default_factory=dict)
    earlier: str = ""
    shows_earlier: list[str] = field(default_factory=list)

    def unfinished(self, before: "FilmRecord | None") -> "FilmRecord":
        """While it is made: whichever film lies there, this one or the one before."""
        before = before or self
        return replace(
            self,
            mark="",
            shows=sorted({*self.shows, *before.shows}),
            shows_earlier=sorted({*self.shows_earlier, *before.shows_earlier}),
            earlier=self.earlier or before.earlier,
            days=[],
            chapters=[],
        )


class Films:
    """The films of a season, and what is on record of them.

    Parameters
    ----------
    season : Season

    Attributes
    ----------
    folder : pathlib.Path
        Where they lie.
    """

    def __init__(self, season: Season):
        self._season, self.folder = season, season.films

    def file(self, name: str) -> Path:
        """Where a film lies: a season's is called like its camera, another like its cut."""
        return self.folder / f"{name}.mp4"

    def record(self, name: str) -> FilmRecord | None:
        """What that film shows; None where nothing is on record."""
        try:
            return FilmRecord(**json.loads(self._record_file(name).read_text()))
        except (OSError, ValueError, TypeError):
            return None

    def keep(self, name: str, record: FilmRecord) -> None:
        """Put on record what a film shows."""
        write_safely(self._record_file(name), json.dumps(asdict(record)).encode())

    def _record_file(self, name: str) -> Path:
        return self.folder / f".{name}.json"

    def may_be_shown(self, name: str) -> bool:
        """Whether there is that film and every frame in it is still to be used.

        Frames thinned out since may be, if they were usable and nobody said no to them.
        """
        record = self.record(name)
        if record is None or not self.file(name).is_file():
            return False
        return self._season.may_show(record.shows) and self._earlier_may_show(record)

    def _earlier_may_show(self, record: FilmRecord) -> bool:
        """The same of an earlier season's frames; not where nobody can tell any more."""
        if not record.shows_earlier:
            return True
        folder = self._season.folder / record.earlier
        if not (folder / CATALOGUE_FILE).is_file():
            return False
        try:
            earlier = Season(folder, self._season.clock)
            with closing(earlier.catalogue):
                return earlier.may_show(record.shows_earlier)
        except (LapsekitError, OSError):
            return False

    def records(self) -> dict[str, FilmRecord]:
        """Everything on record of films, by their names."""
        names = sorted(path.name[1 : -len(".json")] for path in self.folder.glob(".*.json"))
        found = {name: self.record(name) for name in names}
        return {name: record for name, record in found.items() if record is not None}

    def forget(self, name: str) -> None:
        """Take a film off the record."""
        self._record_file(name).unlink(missing_ok=True)
