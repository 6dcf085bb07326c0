"""Stage: what came by mail -> pictures that wait for the grower, and answers.

One message at a time is fetched, read and moved away. Cut off anywhere, nothing is lost and nothing
taken in twice: a message stays where it is until all of it was done. One that was begun five times
and never brought to its end is put away, so that those behind it are not kept waiting for ever.
"""

from dataclasses import dataclass, field

from lapsekit.errors import (
    LapsekitError,
    MissingExtra,
    SeasonBusy,
    SettingsError,
    TransferError,
)
from lapsekit.followers import letters
from lapsekit.followers.answering import SendReport, send_answers, sender_of, write_due
from lapsekit.followers.correspondence import take_letter
from lapsekit.followers.mail_memory import MailMemory, remember, remembered
from lapsekit.followers.mail_reading import read_letter
from lapsekit.followers.mailbox import Mailbox, Waiting, open_mailbox
from lapsekit.followers.outbox import add_loose
from lapsekit.followers.records import records
from lapsekit.followers.speaking import words_for
from lapsekit.season import Season
from lapsekit.secrets import secret
from lapsekit.trust import require_trust

LOCK_FILE = ".mail-lock"
MOST_TRIES = 5
_SMALL_BYTES = 200_000
"""A mail with a take-down code is smaller: it is read even if no more pictures can be taken."""


@dataclass
class MailReport:
    """What became of the mail.

    Attributes
    ----------
    messages : int
        How many were read, and moved away.
    taken, refused, taken_down, answered : list of str
        Ids of pictures that wait now; why others were not taken; ids of pictures that were taken
        down, or that somebody told more about.
    unused : int
        Messages without anything for us.
    left : int
        Messages that stay, since too many pictures wait.
    given_up : int
        Messages that could not be read.
    letters : SendReport
    """

    messages: int = 0
    taken: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    taken_down: list[str] = field(default_factory=list)
    answered: list[str] = field(default_factory=list)
    unused: int = 0
    left: int = 0
    given_up: int = 0
    letters: SendReport = field(default_factory=SendReport)


def take_in_mail(season: Season) -> MailReport:
    """Look through the mailbox, and send the answers that wait.

    Parameters
    ----------
    season : Season
        With ``[followers.mail]``, ``[followers.answers]`` or both.

    Returns
    -------
    MailReport

    Raises
    ------
    NotTrusted
        If the season folder is not trusted; nothing was connected to.
    SettingsError, MissingExtra
        If something has to be set right first.
    TransferError
        If the network or a server fails; the next time goes on from there.
    SeasonBusy
        If another process looks through the mailbox.
    """
    report, table = MailReport(), season.settings.followers.mail
    if table is not None:
        require_trust(season.folder, f"read mail at {table.host}, with the password in a file,")
    with season.lock("followers take-in", 5, file_name=LOCK_FILE):
        failed = _looked_through(season, report) if table is not None else None
        write_due(season)
        report.letters = send_answers(season)
    if failed is not None:
        raise failed
    return report


def _looked_through(season: Season, report: MailReport) -> LapsekitError | None:
    """What kept the mailbox from being looked through, once that is remembered."""
    table = season.settings.followers.mail
    try:
        password = secret(table.password_file, season.folder, "followers.mail.password_file")
        with open_mailbox(table, password) as box:
            _Poll(season, box, report).run()
    except LapsekitError as error:
        memory = remembered(season.folder)
        remember(season, memory.failed(season.clock(), str(error)))
        return error
    remember(season, remembered(season.folder).went_well(season.clock()))
    return None


class _Poll:
    """One look through a mailbox."""

    def __init__(self, season: Season, box: Mailbox, report: MailReport):
        self._season = season
        self._box = box
        self._report = report
        self._most_bytes = season.settings.followers.mail.largest_mb * 1_000_000

    def run(self) -> None:
        waiting = self._box.waiting()
        memory = remembered(self._season.folder)
        memory = memory.of(self._box.validity, [each.uid for each in waiting])
        for message in waiting:
            if message.uid not in memory.read:
                memory = self._one(message, memory)

    def _one(self, message: Waiting, memory: MailMemory) -> MailMemory:
        """Read one message, or leave it for another time."""
        if self._is_full() and message.size > _SMALL_BYTES:
            self._report.left += 1
            return memory
        memory = remember(self._season, memory.begun(message.uid))
        try:
            if not self._done(message, memory.tried[message.uid]):
                self._report.left += 1
                return remember(self._season, memory.ended(message.uid))
            self._box.put_away(message.uid)
        except (TransferError, SettingsError, MissingExtra, SeasonBusy):
            remember(self._season, memory.ended(message.uid))  # no fault of the message
            raise
        self._report.messages += 1
        memory = memory.ended(message.uid) if self._box.can_move else memory.left(message.uid)
        return remember(self._season, memory)

    def _done(self, message: Waiting, times: int) -> bool:
        """Do what a message asks for, or give it up; False if it has to stay for now."""
        if times > MOST_TRIES:
            self._report.given_up += 1
            return True
        if message.size > self._most_bytes:
            self._refuse(message)
            return True
        return self._taken(message)

    def _is_full(self) -> bool:
        return len(records(self._season, "waiting")) >= self._season.settings.followers.most_waiting

    def _taken(self, message: Waiting) -> bool:
        """Whether all was done that a message asks for; False if there is no room now."""
        fetched = self._box.fetch(message.uid)
        if fetched is None:
            return True
        data, came_at = fetched[0], min(fetched[1], self._season.clock())
        del fetched
        letter = read_letter(data, self._season.day_of(came_at))
        del data
        outcome = take_letter(self._season, letter, came_at)
        for name in ("taken", "refused", "taken_down", "answered"):
            getattr(self._report, name).extend(getattr(outcome, name))
        self._report.unused += outcome.is_unused
        return not outcome.is_for_now

    def _refuse(self, message: Waiting) -> None:
        """Too large to be fetched: its headers say whom to tell."""
        fetched = self._box.fetch(message.uid, headers_only=True)
        most_mb = self._season.settings.followers.mail.largest_mb
        self._report.refused.append(f"a mail of {message.size / 1e6:.0f} MB, more than {most_mb}")
        if fetched is None or self._season.settings.followers.answers is None:
            return
        letter = read_letter(fetched[0], self._season.day_of(fetched[1]))
        if letter.is_automatic or not letter.sender:
            return
        words = words_for(self._season, letter.language or self._season.settings.site.language)
        text = letters.too_large(words, sender_of(self._season), most_mb)
        key = f"{letter.key} too large"
        add_loose(self._season, key, letter.sender, letter.references, text)
