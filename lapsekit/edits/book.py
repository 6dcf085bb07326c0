"""The season's text files as one book: read, changed together, undone.

Whoever writes holds the texts' lock (``season.WRITING_LOCK``) for the milliseconds it takes to
read, change and write. A hand editor holds none: what it saved before a change is in what the
change reads; what a page read before is told from what lies there now by its version.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from lapsekit.when import Clock, system_clock

NAMES = (
    "season.toml",
    "regions.toml",
    "diary.csv",
    "verdicts.csv",
    "colours.csv",
    "corrections.csv",
)
"""The texts that can be asked for; there is no way to any other file."""

Edit = Callable[[str], str]
"""The text of a file, without its byte order mark, -> that text changed. "" is an absent file."""


@dataclass(frozen=True)
class Text:
    """A text as it was read.

    Attributes
    ----------
    name : str
        One of `NAMES`.
    content : str
        Without a byte order mark, line endings as they are; "" where there is no such file.
    version : str
        Stands for the very bytes; "" where there is no such file. A page hands it back as `seen`.
    """

    name: str
    content: str
    version: str


@dataclass(frozen=True)
class Change:
    """What was changed at once.

    Attributes
    ----------
    id : str
        What `Book.undo` is told; "" for a change that left every text as it was.
    what : str
        In the words of whoever changed it: "Basil: outline from 4 May".
    at : datetime
        When, in UTC.
    files : tuple of str
        Names of the texts that it changed.
    undoes : str
        The change that this one takes back; "" for none.
    is_undone : bool
        Whether it is taken back, and not put in again since.
    """

    id: str
    what: str
    at: datetime
    files: tuple[str, ...]
    undoes: str = ""
    is_undone: bool = False


class Book:
    """The texts of one season folder.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder. The season in it need not be usable, so that it can be mended.
    clock : Clock
    """

    def __init__(self, folder: Path, clock: Clock = system_clock):
        self.folder = folder
        self.clock = clock

    def text(self, name: str) -> Text:
        """A text as it lies there now.

        Raises
        ------
        KeyError
            If the name is none of `NAMES`.
        SettingsError
            If the file cannot be read as UTF-8, or is a link or folder.
        """
        raise NotImplementedError

    def change(
        self, what: str, edits: Mapping[str, Edit], seen: Mapping[str, str] | None = None
    ) -> Change:
        """Change some texts together, all or none.

        Parameters
        ----------
        what : str
            One line for the list of changes.
        edits : mapping of name to Edit
            Each is told the text as it is now, not as a page once read it. What it raises comes
            out as it is, and nothing is written.
        seen : mapping of name to version, optional
            Texts on whose content the change rests, changed by it or not. Leave out those to which
            a line is only added.

        Returns
        -------
        Change
            Its `id` is "" and its `files` are empty where every text stays as it was.

        Raises
        ------
        ChangedMeanwhile
            If a text is not the one seen; says which, and what changed where that is known.
        SettingsError
            If the season could not be used with the texts as they would be; in the words of
            whatever reads them.
        SeasonBusy
            If another process holds the texts for ten seconds.
        """
        raise NotImplementedError

    def undo(self, change_id: str | None = None) -> Change:
        """Take a change back; that is a change too, and taking *it* back puts the first in again.

        Parameters
        ----------
        change_id : str, optional
            By default the last that is not undone and undoes no other.

        Raises
        ------
        ChangedMeanwhile
            If the same lines were changed again since.
        SettingsError
            If there is no such change, it is undone already, or the season could not be used
            without it any more.
        """
        raise NotImplementedError

    def changes(self, limit: int = 50) -> list[Change]:
        """The last changes, newest first, those that undo others among them."""
        raise NotImplementedError
