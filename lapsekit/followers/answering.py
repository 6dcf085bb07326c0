"""Stage: letters that were written -> sent, over SMTP; letters that decisions ask for -> written.

Where ``[followers.answers]`` names no server, letters stay in the records for the desk to show.
"""

import re
import smtplib
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from hashlib import sha256

from lapsekit.errors import FollowerError, SettingsError, TransferError
from lapsekit.followers import letters
from lapsekit.followers.arrivals import is_address
from lapsekit.followers.codes import struck
from lapsekit.followers.letters import Text
from lapsekit.followers.outbox import change_outbox, read_outbox
from lapsekit.followers.records import Answer, Record, change, records
from lapsekit.followers.speaking import words_for
from lapsekit.followers.tokens import hash_of, token_of
from lapsekit.followers.told_lines import FORM
from lapsekit.followers.wordings import wording
from lapsekit.plain import one_line
from lapsekit.season import Season
from lapsekit.secrets import secret
from lapsekit.settings.followers import AnswersTable
from lapsekit.trust import require_trust
from lapsekit.when import utc_text

SETTLED = timedelta(minutes=30)
"""A decision is told once it has stood so long: a yes or no may be taken back at once."""

PORTS = {"tls": 465, "starttls": 587, "none": 25}
REFUSED = "not taken"
"""Kinds of answers end so that no mail server took."""


@dataclass
class SendReport:
    """What became of letters: how many were sent, how many wait, and what went wrong."""

    sent: int = 0
    waiting: int = 0
    problems: list[str] = field(default_factory=list)


def sender_of(season: Season) -> letters.Sender:
    """What letters tell of a season."""
    wanted = season.settings.followers
    own = wanted.address or (wanted.answers.sender if wanted.answers else "")
    return letters.Sender(
        title=one_line(season.settings.season.title, 80),
        contact=wanted.contact or "",
        page=season.settings.site.address or "",
        mailbox=own,
        keep_days=wanted.keep_waiting_days,
        minors=wanted.minors,
    )


def with_answer(record: Record, kind: str, text: Text, now: datetime) -> Record:
    """The record, and one more letter to be sent."""
    answer = Answer(kind, text.subject, text.text, now)
    return replace(record, answers=(*record.answers, answer))


def missing_of(season: Season, record: Record) -> tuple[str, ...]:
    """Names of fields that whoever sent it can still fill in."""
    lacking = [name for name in ("name", "plant", "sown", "caption") if not getattr(record, name)]
    if record.consent is None:
        lacking += ["agrees", "is_of_age"]
        lacking += ["parent"] if season.settings.followers.minors == "parent" else []
    return tuple(name for name in FORM["en"] if name in lacking)


def write_due(season: Season) -> int:
    """Write the letters that decisions of the grower ask for; how many.

    Whether a record waits for one is asked again under the lock: meanwhile it may have been taken
    down, or its yes taken back.
    """
    written, now = 0, season.clock()
    for record in records(season):
        kind = _due(record, now)
        if kind:
            text, token = _decided(season, record, kind)
            with suppress(FollowerError):  # it was taken down meanwhile
                after = change(
                    season,
                    record.id,
                    "",
                    lambda r, kind=kind, text=text, token=token: (
                        replace(
                            with_answer(r, kind, text, now),
                            token_hash=hash_of(token) or r.token_hash,
                        )
                        if _due(r, now) == kind
                        else r
                    ),
                )
                written += len(after.answers) > len(record.answers)
    return written


def _due(record: Record, now: datetime) -> str:
    """Which letter a record waits for; "" for none."""
    if not record.contact:
        return ""
    if record.asked:
        about = sha256(record.asked.encode()).hexdigest()[:8]
        kind = f"asked {about}"
        return "" if any(a.kind.startswith(kind) for a in record.answers) else kind
    decided = record.decided_at
    if record.state == "waiting" or decided is None or now - decided < SETTLED:
        return ""
    told = any(a.kind.startswith(record.state) and a.written_at > decided for a in record.answers)
    return "" if told else record.state


def _decided(season: Season, record: Record, kind: str) -> tuple[Text, str]:
    words, sender = words_for(season, record.language), sender_of(season)
    if kind == "shown":
        return letters.shown(words, sender), ""
    if kind == "declined":
        return letters.declined(words, sender, season.settings.followers.keep_declined_days), ""
    token = token_of(season, record)
    missing = missing_of(season, record)
    text = wording(season, record.language)
    return letters.asked(words, sender, record.asked, missing, text, token), token


# sending ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Letter:
    """A letter to be sent, and what is noted once it is (with True if it was not taken)."""

    name: str
    to: str
    thread: str
    subject: str
    text: str
    note: Callable[[bool], None]


def send_answers(season: Season) -> SendReport:
    """Send what waits, as many as a day may have; each is noted at once.

    Cut off between a server's yes and the note, a letter goes out twice, with the same Message-ID.

    Raises
    ------
    NotTrusted
        If the season folder is not trusted.
    SettingsError
        If the password cannot be read or is refused, or the certificate is not good.
    TransferError
        If the server cannot be reached or breaks off; letters wait for the next time.
    """
    report, table = SendReport(), season.settings.followers.answers
    waiting = list(_waiting(season))
    report.waiting = len(waiting)
    if table is None or not waiting:
        return report
    require_trust(season.folder, f"send mails by {table.host}")
    waiting = list(_allowed(season, table, waiting))
    if not waiting:
        return report
    with _open(season, table) as server:
        for letter in waiting:
            is_taken = _sent(server, table, letter, season.clock())
            letter.note(not is_taken)
            now = season.clock()
            change_outbox(season, lambda box, to=letter.to, now=now: box.with_sent(to, now))
            report.sent += is_taken
            report.waiting -= 1
            if not is_taken:
                report.problems.append("a letter was not taken by the mail server: no such address")
    return report


def _allowed(season: Season, table: AnswersTable, waiting: list[_Letter]) -> Iterator[_Letter]:
    """Those that may go out now: not more a day than agreed, and not too many to one address."""
    box, now = read_outbox(season), season.clock()
    for letter in waiting:
        if box.room(now, table.a_day) <= 0:
            return
        if box.room_for(letter.to, now) > 0:
            box = box.with_sent(letter.to, now)
            yield letter


def _waiting(season: Season) -> Iterator[_Letter]:
    for record in records(season):
        for number, answer in enumerate(record.answers):
            if answer.sent_at is None and is_address(record.contact):
                yield _Letter(
                    f"{record.id} {number}",
                    record.contact,
                    record.thread,
                    answer.subject,
                    answer.text,
                    _noting(season, record.id, answer),
                )
    for loose in read_outbox(season).letters:
        if not loose.sent_at and is_address(loose.to):
            yield _Letter(
                loose.key,
                loose.to,
                loose.thread,
                loose.subject,
                loose.text,
                _noting_loose(season, loose.key),
            )


def _noting(season: Season, record_id: str, answer: Answer) -> Callable[[bool], None]:
    def note(is_refused: bool) -> None:
        kind = f"{answer.kind}, {REFUSED}" if is_refused else answer.kind
        done = replace(answer, kind=kind, text=struck(answer.text), sent_at=season.clock())
        with suppress(FollowerError):  # it was deleted meanwhile
            change(
                season,
                record_id,
                "",
                lambda r: replace(
                    r, answers=tuple(done if each == answer else each for each in r.answers)
                ),
            )

    return note


def _noting_loose(season: Season, key: str) -> Callable[[bool], None]:
    def note(_: bool) -> None:
        now = utc_text(season.clock())
        change_outbox(
            season,
            lambda box: replace(
                box,
                letters=tuple(
                    replace(each, sent_at=now, text="", to="") if each.key == key else each
                    for each in box.letters
                ),
            ),
        )

    return note


def as_message(table: AnswersTable, letter_name: str, to: str, thread: str, text: Text, now):
    """A letter as it is sent: bytes of a mail."""
    message = EmailMessage(policy=SMTP)
    message["From"] = table.sender
    message["To"] = to
    message["Subject"] = one_line(text.subject, 200)
    message["Date"] = format_datetime(now)
    mark = re.search(r"\[(ref-\w+)\]", text.text)
    name = sha256(f"{letter_name} {text.text}".encode()).hexdigest()[:16]
    domain = table.sender.partition("@")[2]
    message["Message-ID"] = f"<{f'{mark[1]}.' if mark else ''}{name}@{domain}>"
    ids = thread.split()
    if ids:
        message["In-Reply-To"] = ids[-1]
        message["References"] = " ".join(ids[-3:])
    message["Auto-Submitted"] = "auto-replied"
    message["X-Auto-Response-Suppress"] = "All"
    message.set_content(text.text, charset="utf-8", cte="quoted-printable")
    # long ids must not be encoded, as they would be where a line is to be folded
    return message.as_bytes(policy=SMTP.clone(max_line_length=900))


def _sent(server: smtplib.SMTP, table: AnswersTable, letter: _Letter, now: datetime) -> bool:
    text = Text(letter.subject, letter.text)
    data = as_message(table, letter.name, letter.to, letter.thread, text, now)
    try:
        with _told(table):
            server.sendmail(table.sender, [letter.to], data)
    except _NobodyThere:
        return False
    return True


class _NobodyThere(Exception):
    """The server knows no such address."""


@contextmanager
def _open(season: Season, table: AnswersTable) -> Iterator[smtplib.SMTP]:
    """A server that lets us in."""
    key = "followers.answers.password_file"
    password = secret(table.password_file, season.folder, key) if table.password_file else None
    where = (table.host.strip("[]"), table.port or PORTS[table.security])
    context = ssl.create_default_context()
    with _told(table):
        if table.security == "tls":
            server = smtplib.SMTP_SSL(*where, timeout=table.time_limit_s, context=context)
        else:
            server = smtplib.SMTP(*where, timeout=table.time_limit_s)
    try:
        with _told(table):
            if table.security == "starttls":
                server.starttls(context=context)
            if password is not None:
                server.login(table.user, password)
        yield server
    finally:
        with suppress(smtplib.SMTPException, OSError):
            server.quit()


@contextmanager
def _told(table: AnswersTable) -> Iterator[None]:
    """Faults of network and server in plain words."""
    where = f"followers.answers: {table.host}"
    try:
        yield
    except smtplib.SMTPAuthenticationError as error:
        raise SettingsError(
            f"{where} does not let {table.user} in; check user, and the first line of "
            f"password_file {table.password_file}"
        ) from error
    except ssl.SSLCertVerificationError as error:
        raise SettingsError(
            f"{where}: its certificate is not good ({error.verify_message}); check host, and the "
            "date of this machine. Nothing was sent"
        ) from error
    except smtplib.SMTPRecipientsRefused as error:
        if next(iter(error.recipients.values()))[0] >= 500:
            raise _NobodyThere from error
        raise TransferError(f"{where} does not take letters now; they wait") from error
    except smtplib.SMTPSenderRefused as error:
        raise SettingsError(
            f"{where} takes no mail from {table.sender}; check sender, user and security"
        ) from error
    except (smtplib.SMTPException, OSError) as error:
        raise TransferError(
            f"{where} does not take letters now ({one_line(str(error), 150)}); they wait, and are "
            "tried again"
        ) from error
