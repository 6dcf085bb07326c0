"""The season's text files as one book: read, changed together, undone.

Whoever writes holds the texts' lock (``locks.WRITING_LOCK``) for the milliseconds it takes to
read, change and write. A hand editor holds none: what it saved before a change is in what the
change reads; what a page read before is told from what lies there now by its version.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path

from lapsekit.edits.journal import Entry, Journal
from lapsekit.edits.merging import differences, means_both, merged
from lapsekit.edits.soundness import Texts, order, require_sound
from lapsekit.errors import ChangedMeanwhile, SettingsError
from lapsekit.locks import writing
from lapsekit.season import (
    COLOURS_FILE,
    CORRECTIONS_FILE,
    DIARY_FILE,
    REGIONS_FILE,
    SETTINGS_FILE,
    VERDICTS_FILE,
)
from lapsekit.texts import Edit, bare, edited, read_whole
from lapsekit.when import Clock, system_clock

NAMES = (
    SETTINGS_FILE,
    REGIONS_FILE,
    DIARY_FILE,
    VERDICTS_FILE,
    COLOURS_FILE,
    CORRECTIONS_FILE,
)
"""The texts that can be asked for; there is no way to any other file."""

UNDONE = "Undone: "
"""How the words of a change begin that takes another back."""

_REMEMBERED = 32

Require = Callable[[Path, Texts, Texts], None]
"""Refuses texts of a season folder as they would be; told those before, too."""


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

    @property
    def takes_back(self) -> bool:
        """Whether it took something back, so that undoing it does that again."""
        return bool(self.undoes) and self.what.startswith(UNDONE)


class Book:
    """The texts of one season folder.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder. The season in it need not be usable, so that it can be mended.
    clock : Clock
    require : callable, optional
        What every change and undoing has to pass, beside that the season can be used.
    """

    def __init__(self, folder: Path, clock: Clock = system_clock, require: Require | None = None):
        self.folder = folder
        self.clock = clock
        self._require = require
        self._journal = Journal(folder)
        self._given: dict[str, str] = {}

    def text(self, name: str) -> Text:
        """A text as it lies there now.

        Raises
        ------
        KeyError
            If the name is none of `NAMES`.
        SettingsError
            If the file cannot be read as UTF-8, or is a link or folder.
        """
        if name not in NAMES:
            raise KeyError(name)
        whole = read_whole(self.folder / name)
        version = _version(whole)
        self._remember(version, bare(whole))
        return Text(name, bare(whole), version)

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
        with self._held() as before:
            self._require_seen(before, seen or {})
            changed = {name: edited(before[name], edit) for name, edit in edits.items()}
            return self._carry_out(what, before, {**before, **changed})

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
        with self._held() as before:
            entry = self._meant(change_id)
            back = {
                name: _taken_back(name, texts, before[name]) for name, texts in entry.texts.items()
            }
            what = _taken_back_words(entry)
            return self._carry_out(what, before, {**before, **back}, entry.id)

    def changes(self, limit: int = 50) -> list[Change]:
        """The last changes, newest first, those that undo others among them."""
        return [change for change, _ in islice(self._told(), limit)]

    @contextmanager
    def _held(self) -> Iterator[dict[str, str | None]]:
        """All texts as they are, held."""
        with writing(self.folder, "desk"):
            self._journal.settle()
            yield {name: read_whole(self.folder / name) for name in NAMES}

    def _carry_out(
        self, what: str, before: dict[str, str | None], after: dict[str, str | None], undoes=""
    ) -> Change:
        at = self.clock().astimezone(UTC)
        if before == after and not undoes:
            return Change("", what, at, ())
        require_sound(self.folder, before, after)
        if self._require is not None:
            self._require(self.folder, before, after)
        names = order(self.folder, before, after)
        texts = {name: [before[name], after[name]] for name in names}
        entry = Entry(self._journal.next_id(), what, at.isoformat(), undoes, texts)
        self._journal.carry_out(entry)
        return _change(entry, is_undone=False)

    def _told(self) -> Iterator[tuple[Change, Entry]]:
        """Changes with their entries, newest first; what undoes another is newer than that."""
        undone: set[str] = set()
        for entry in self._journal.newest_first():
            is_undone = entry.id in undone
            if entry.undoes and not is_undone:
                undone.add(entry.undoes)
            yield _change(entry, is_undone), entry

    def _meant(self, change_id: str | None) -> Entry:
        for change, entry in self._told():
            if change_id is None and not (change.is_undone or change.undoes):
                return entry
            if change_id == entry.id:
                if change.is_undone:
                    raise SettingsError(f'"{entry.what}" is undone already; read the list again')
                return entry
        raise SettingsError(
            "there is nothing to undo"
            if change_id is None
            else f"change {change_id} is not kept any more, so it cannot be undone; put it right "
            "where it stands"
        )

    def _remember(self, version: str, content: str) -> None:
        """Keep what a page was given, to tell what changed since."""
        self._given.pop(version, None)
        self._given[version] = content
        while len(self._given) > _REMEMBERED:
            self._given.pop(next(iter(self._given)), None)

    def _require_seen(self, now: Mapping[str, str | None], seen: Mapping[str, str]) -> None:
        for name, version in seen.items():
            if version == _version(now[name]):
                continue
            before = self._text_of(name, version)
            told = "" if before is None else _told_lines(differences(before, bare(now[name])))
            raise ChangedMeanwhile(
                f"{name} was changed by somebody else since you read it; nothing was written. Read "
                f"the page again{told}"
            )

    def _text_of(self, name: str, version: str) -> str | None:
        """The text of a version: an absent one, one that was given out, or one in the journal."""
        if version in ("", *self._given):
            return self._given.get(version, "")
        kept = (t for e in self._journal.newest_first() for t in e.texts.get(name, ()))
        return next((bare(text) for text in kept if _version(text) == version), None)


def _version(text: str | None) -> str:
    return "" if text is None else hashlib.sha256(text.encode()).hexdigest()[:16]


def _change(entry: Entry, is_undone: bool) -> Change:
    return Change(entry.id, entry.what, entry.moment, tuple(entry.texts), entry.undoes, is_undone)


def _taken_back_words(entry: Entry) -> str:
    """What an undoing is called; one that undoes an undoing gives the first its name back."""
    was = entry.what
    if entry.undoes and was.startswith(UNDONE):
        return "Done again: " + was.removeprefix(UNDONE)
    return UNDONE + was.removeprefix("Done again: ")


def _told_lines(lines: Iterable[str]) -> str:
    told = "\n".join(lines)
    return f". What changed there:\n{told}" if told else ""


def _taken_back(name: str, texts: list[str | None], now: str | None) -> str | None:
    """A text without a change; what was changed elsewhere in it since stays."""
    before, after = texts
    if now in (before, after):
        return before
    ours, common, theirs = now or "", after or "", before or ""
    is_table = name.endswith(".csv")
    both = merged(common, ours, theirs, any_order=is_table)
    if both is None or not (is_table or means_both(*map(bare, (common, ours, theirs, both)))):
        told = _told_lines(differences(bare(after), bare(now)))
        raise ChangedMeanwhile(
            f"{name} was changed again in the same place since, so this cannot be undone by itself;"
            f" undo the later change first, or put it right by hand{told}"
        )
    return both
