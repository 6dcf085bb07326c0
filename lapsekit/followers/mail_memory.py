"""What is remembered of a mailbox: ``followers/mail.json``."""

import json
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path

from lapsekit.followers.records import FOLDER, private_folder
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.when import from_utc_text, utc_text

FILE = "mail.json"


@dataclass(frozen=True)
class MailMemory:
    """What is remembered.

    Attributes
    ----------
    validity : str
        The mailbox's UIDVALIDITY; with another, `tried` and `read` say nothing.
    tried : dict of str to int
        How often a message was begun that was not brought to its end, by UID.
    read : list of str
        UIDs of messages that were read and still lie there, since the server cannot move.
    looked_at : str
        When the mailbox was last looked through whole; UTC text, "" for never.
    failing_since : str
        Since when it cannot be; "" while it can.
    why : str
        Why it could not be looked through.
    """

    validity: str = ""
    tried: dict[str, int] = field(default_factory=dict)
    read: list[str] = field(default_factory=list)
    looked_at: str = ""
    failing_since: str = ""
    why: str = ""

    @property
    def last_look(self) -> datetime | None:
        """When the mailbox was last looked through whole."""
        return from_utc_text(self.looked_at) if self.looked_at else None

    @property
    def failing(self) -> datetime | None:
        """Since when it cannot be looked through."""
        return from_utc_text(self.failing_since) if self.failing_since else None

    def of(self, validity: str, uids: list[str]) -> "MailMemory":
        """The same, for what lies in the mailbox now."""
        if validity != self.validity:
            return replace(self, validity=validity, tried={}, read=[])
        there = set(uids)
        tried = {uid: times for uid, times in self.tried.items() if uid in there}
        return replace(self, tried=tried, read=[uid for uid in self.read if uid in there])

    def begun(self, uid: str) -> "MailMemory":
        """A message is begun."""
        return replace(self, tried={**self.tried, uid: self.tried.get(uid, 0) + 1})

    def ended(self, uid: str) -> "MailMemory":
        """Its end was reached."""
        return replace(self, tried={u: times for u, times in self.tried.items() if u != uid})

    def left(self, uid: str) -> "MailMemory":
        """It was read, and still lies there."""
        return replace(self.ended(uid), read=[*self.read, uid])

    def went_well(self, now: datetime) -> "MailMemory":
        """The mailbox was looked through."""
        return replace(self, looked_at=utc_text(now), failing_since="", why="")

    def failed(self, now: datetime, why: str) -> "MailMemory":
        """It could not be."""
        return replace(self, failing_since=self.failing_since or utc_text(now), why=why)


def remembered(folder: Path) -> MailMemory:
    """What is remembered of a season folder's mailbox; nothing where that is damaged."""
    with suppress(OSError, ValueError, TypeError):
        told = json.loads((folder / FOLDER / FILE).read_text(encoding="utf-8"))
        memory = MailMemory(**told)
        _ = memory.last_look, memory.failing
        return memory
    return MailMemory()


def remember(season: Season, memory: MailMemory) -> MailMemory:
    """Write it down; whoever does so holds the mailbox's lock."""
    private_folder(season.folder / FOLDER)
    written = json.dumps(asdict(memory), indent=2)
    write_safely(season.folder / FOLDER / FILE, f"{written}\n".encode(), 0o600)
    return memory
