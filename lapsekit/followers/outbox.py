"""Letters that belong to no record, and how many went out: ``followers/letters.json``.

Answers about a picture stand in its record. What is sent to whom within a day is remembered, so
that neither a loop of programs nor somebody's forged mails make this send without end.
"""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta

from lapsekit.followers.letters import Text
from lapsekit.followers.records import FOLDER, private_folder, writing
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.when import from_utc_text, utc_text

FILE = "letters.json"
MOST_TO_ONE = 10
"""Letters to one address within a day."""

DAY = timedelta(days=1)
_MOST_KEPT = 500


@dataclass(frozen=True)
class Loose:
    """A letter about no record; `key` names the mail that it answers, and what it is."""

    key: str
    to: str
    subject: str
    text: str
    thread: str
    written_at: str
    sent_at: str = ""


@dataclass(frozen=True)
class Outbox:
    """Letters about no record, and when something was sent to whom within the last day."""

    letters: tuple[Loose, ...] = ()
    sent: tuple[tuple[str, str], ...] = field(default=())

    def room(self, now: datetime, a_day: int) -> int:
        """How many more may go out now."""
        return a_day - len(self.lately(now))

    def room_for(self, to: str, now: datetime) -> int:
        """How many more may go to one address."""
        return MOST_TO_ONE - sum(each == to.casefold() for _, each in self.lately(now))

    def with_sent(self, to: str, now: datetime) -> "Outbox":
        """The same, and one more sent."""
        return replace(self, sent=(*self.lately(now), (utc_text(now), to.casefold())))

    def lately(self, now: datetime) -> list[tuple[str, str]]:
        """When something was sent to whom within the last day."""
        since = utc_text(now - DAY)
        return [each for each in self.sent if each[0] > since]


def read_outbox(season: Season) -> Outbox:
    """What is on record; nothing where there is none, or it is damaged."""
    try:
        told = json.loads((season.folder / FOLDER / FILE).read_text(encoding="utf-8"))
        letters = tuple(Loose(**each) for each in told["letters"])
        return Outbox(letters, tuple((at, to) for at, to in told["sent"]))
    except (OSError, ValueError, KeyError, TypeError):
        return Outbox()


def change_outbox(season: Season, alter: Callable[[Outbox], Outbox]) -> Outbox:
    """Change it under the lock for texts; letters are forgotten some time after they were written.

    One that nobody sends is kept as long as pictures that were declined; whom something was sent
    to, for a day.
    """
    now = season.clock()
    oldest = now - timedelta(days=season.settings.followers.keep_declined_days)
    with writing(season):
        made = alter(read_outbox(season))
        kept = [each for each in made.letters if from_utc_text(each.written_at) > oldest]
        made = replace(made, letters=tuple(kept[-_MOST_KEPT:]), sent=tuple(made.lately(now)))
        private_folder(season.folder / FOLDER)
        written = json.dumps(asdict(made), ensure_ascii=False, indent=2)
        write_safely(season.folder / FOLDER / FILE, f"{written}\n".encode(), 0o600)
    return made


def prune_outbox(season: Season) -> None:
    """Forget letters and addresses that were kept long enough, even where no mail comes or goes."""
    if (season.folder / FOLDER / FILE).is_file():
        change_outbox(season, lambda box: box)


def add_loose(season: Season, key: str, to: str, thread: str, text: Text) -> bool:
    """Keep a letter to be sent; False where one of its key was written before."""
    letter = Loose(key, to, text.subject, text.text, thread, utc_text(season.clock()))
    if any(each.key == key for each in read_outbox(season).letters):
        return False
    change_outbox(season, lambda box: replace(box, letters=(*box.letters, letter)))
    return True
