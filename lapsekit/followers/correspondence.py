"""A mail that was read -> pictures taken in, answers to ours understood, a picture taken down.

Each step can be cut off anywhere and done again: a picture is known by its source, an answer by
the mail that it was read from, which the record's history names.
"""

from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from hashlib import sha256

from lapsekit.errors import ChangedMeanwhile, FollowerError
from lapsekit.followers import letters, reasons
from lapsekit.followers.answering import missing_of, sender_of, with_answer
from lapsekit.followers.arrivals import Arrival, Consent
from lapsekit.followers.deciding import agree, correct, renew_code, take_down
from lapsekit.followers.mail_reading import Letter
from lapsekit.followers.outbox import add_loose
from lapsekit.followers.plants import region_of
from lapsekit.followers.receiving import Received, take_in
from lapsekit.followers.records import Record, change, read_record, records
from lapsekit.followers.speaking import words_for
from lapsekit.followers.tokens import hash_of, token_of
from lapsekit.followers.told_lines import Told
from lapsekit.followers.wordings import wording
from lapsekit.language.words import Words
from lapsekit.season import Season

NOBODY_CONFIRMED = "nobody confirmed that the mail address is theirs: a sender can be forged"


@dataclass
class Outcome:
    """What became of a mail.

    Attributes
    ----------
    taken : list of str
        Ids of pictures that wait now.
    refused : list of str
        Why others were not taken.
    taken_down, answered : list of str
        Ids of pictures that it took down, or told more about.
    is_for_now : bool
        No more can be taken now: the mail stays where it is.
    is_unused : bool
        There was nothing in it for us.
    """

    taken: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    taken_down: list[str] = field(default_factory=list)
    answered: list[str] = field(default_factory=list)
    is_for_now: bool = False
    is_unused: bool = False


def take_letter(season: Season, letter: Letter, came_at: datetime) -> Outcome:
    """Do what a mail asks for.

    Parameters
    ----------
    season : Season
    letter : Letter
    came_at : datetime
        When the mail server took it, UTC.
    """
    return _Taking(season, letter, came_at).done()


class _Taking:
    """One mail, and what it comes to."""

    def __init__(self, season: Season, letter: Letter, came_at: datetime):
        self._season = season
        self._letter = letter
        self._came_at = came_at
        self._language = letter.language or season.settings.site.language
        self._words: Words = words_for(season, self._language)
        self._sender = sender_of(season)
        self._answers = not letter.is_automatic and bool(letter.sender) and not self._is_ours()
        self.outcome = Outcome()

    def _is_ours(self) -> bool:
        wanted = self._season.settings.followers
        own = {wanted.address, wanted.answers.sender if wanted.answers else None}
        return self._letter.sender.casefold() in {each.casefold() for each in own if each}

    def done(self) -> Outcome:
        letter, outcome = self._letter, self.outcome
        if letter.code:
            self._take_down()
        elif (mine := self._meant()) or letter.pictures:
            if mine:
                self._answer(mine)
            if letter.pictures:
                self._take_pictures(is_theirs=self._is_proved(mine))
        elif letter.notes or letter.told.is_anything:
            text = letters.received(self._words, self._sender, codes=(), notes=letter.notes)
            self._say_loose("nothing", text)
        else:
            outcome.is_unused = True
        return outcome

    def _say_loose(self, kind: str, text: letters.Text) -> None:
        """A letter about no record, if this mail may be answered, and somebody is there to."""
        if self._answers and self._season.settings.followers.answers is not None:
            key = f"{self._letter.key} {kind}"
            add_loose(self._season, key, self._letter.sender, self._letter.references, text)

    # taking down --------------------------------------------------------------------------

    def _take_down(self) -> None:
        """By the code alone, from whichever address; done again it is gone already."""
        gone = take_down(self._season, self._letter.code)
        if gone is not None:
            self.outcome.taken_down.append(gone)
            self._say_loose("code", letters.taken_down(self._words, self._sender))
        else:
            self._say_loose("code", letters.unknown_code(self._words, self._sender))

    # pictures -----------------------------------------------------------------------------

    def _take_pictures(self, is_theirs: bool) -> None:
        if self._is_minor_unwanted():
            self.outcome.refused.append(reasons.sentence(reasons.NO_MINORS, self._words))
            self._say_refused()
            return
        found = []
        for picture in self._letter.pictures:
            about = f"mail {self._letter.key} {sha256(picture.data).hexdigest()}"
            received = take_in(self._season, self._arrival(picture.file_name, picture.data, about))
            if received.is_for_now:
                self.outcome.is_for_now = True
                return
            if received.refused:
                self.outcome.refused.append(received.refused)
            elif received.id is not None and received.id not in [each.id for each in found]:
                found.append(received)
        if found:
            self._file(found, is_theirs)
        elif self.outcome.refused:
            self._say_refused()

    def _is_minor_unwanted(self) -> bool:
        never = self._season.settings.followers.minors == "never"
        return never and self._letter.told.is_of_age is False

    def _say_refused(self) -> None:
        text = letters.received(
            self._words,
            self._sender,
            codes=(),
            refused=list(dict.fromkeys(self.outcome.refused)),
            notes=self._letter.notes,
        )
        self._say_loose("refused", text)

    def _arrival(self, file_name: str, data: bytes, source: str) -> Arrival:
        """Without its consent, which is noted together with what makes it count."""
        told = self._letter.told
        return Arrival(
            data=data,
            came_at=self._came_at,
            by="mail",
            source=source,
            file_name=file_name,
            name=told.name,
            plant=told.plant,
            sown=told.sown,
            taken_on=told.taken_on,
            caption=told.caption,
            contact=self._letter.sender,
            language=self._words.language,
        )

    def _file(self, found: list[Received], is_theirs: bool) -> None:
        """Note thread, token and consent with each picture; the letter comes last of all.

        It stands in the first record: as long as it does not, all of this is done again.
        `is_theirs` says that the mail holds a token that went to its sender's own mailbox.
        """
        first = read_record(self._season, found[0].id)
        if self._is_read_from(first):
            return
        consent = self._consent(self._letter.told, "in a mail")
        can_ask = self._season.settings.followers.answers is not None
        confirmed = None if consent is None else True if is_theirs else False if can_ask else None
        token = token_of(self._season, replace(first, thread=self._letter.references))
        for received in found:
            change(
                self._season,
                received.id,
                "",
                lambda r: replace(
                    r,
                    thread=self._letter.references,
                    token_hash=hash_of(token),
                    is_confirmed=confirmed,
                    notes=_noted(r, consent is not None and confirmed is None),
                ),
            )
            if consent is not None:
                agree(self._season, received.id, consent)
            self.outcome.taken.append(received.id)
        self._write_received(found, token, confirmed is False)

    def _is_read_from(self, record: Record) -> bool:
        """Whether what this mail says was done with a record already."""
        return any(self._mark in happening.what for happening in record.history)

    @property
    def _mark(self) -> str:
        return f"mail {self._letter.key[:16]}"

    def _write_received(self, found: list[Received], token: str, confirms: bool) -> None:
        codes = [each.code or renew_code(self._season, each.id) for each in found]
        record = read_record(self._season, found[0].id)
        text = letters.received(
            self._words,
            self._sender,
            codes=codes,
            refused=list(dict.fromkeys(self.outcome.refused)),
            notes=self._letter.notes,
            missing=missing_of(self._season, record),
            confirms=confirms,
            wording=wording(self._season, self._words.language),
            token=token,
        )
        self._write(record.id, "received", text)

    def _write(self, record_id: str, kind: str, text: letters.Text) -> None:
        """The last step: a letter where one is written, and the mail's mark in the history."""
        now = self._season.clock()

        def alter(record: Record) -> Record:
            return with_answer(record, kind, text, now) if self._answers else record

        change(self._season, record_id, f"{kind}: {self._mark}", alter)

    def _consent(self, told: Told, how: str) -> Consent | None:
        """What the lines agree to, if they do so whole: of age, or with a parent."""
        if told.agrees is not True or not (told.is_of_age or told.parent):
            return None
        text = wording(self._season, self._words.language)
        return Consent(
            wording=text.version,
            language=text.language,
            agreed_at=self._season.clock(),
            how=f"I agree: yes, {how}",
            is_adult=told.is_of_age is True,
            parent="" if told.is_of_age else told.parent,
        )

    # answers to letters of ours -----------------------------------------------------------

    def _meant(self) -> list[Record]:
        """Pictures that the letters are about whose tokens it holds."""
        wanted = {hash_of(token) for token in self._letter.tokens}
        return [r for r in records(self._season) if r.token_hash and r.token_hash in wanted]

    def _is_proved(self, mine: list[Record]) -> bool:
        """Whether the mail's sender is theirs: a token proves the mailbox that it went to alone."""
        sender = self._letter.sender.casefold()
        asked = bool(sender) and not self._letter.is_automatic
        return asked and any(record.contact.casefold() == sender for record in mine)

    def _answer(self, mine: list[Record]) -> None:
        """The mailbox is theirs, since the token went there alone. What it says counts now."""
        told = self._letter.told.over(replace(self._letter.told_in_quotes, code=""))
        if self._letter.is_automatic or self._is_read_from(mine[-1]):
            return
        for record in mine:
            if not self._is_read_from(record):
                self._told_more(record, told)
                self.outcome.answered.append(record.id)
                if record is not mine[-1]:
                    change(self._season, record.id, f"answered: {self._mark}", lambda r: r)
        after = read_record(self._season, mine[-1].id)
        text = letters.answered(
            self._words,
            self._sender,
            missing_of(self._season, after),
            wording(self._season, self._words.language),
            after.is_confirmed is False,
            token_of(self._season, after),
        )
        self._write(after.id, "answered", text)

    def _told_more(self, record: Record, told: Told) -> None:
        self._correct(record, told)
        consent = self._consent(told, "in answer to a letter: the mailbox is theirs")
        if consent is None and told.agrees is not False and self._letter.says_yes:
            consent = self._confirmed(record)
        if consent is not None:
            agree(self._season, record.id, consent)
        change(self._season, record.id, "", lambda r: _after_answer(r, told, consent is not None))

    def _confirmed(self, record: Record) -> Consent | None:
        """The consent of an earlier mail, now that whoever reads the mailbox says yes to it."""
        if record.consent is None:
            return None
        text = wording(self._season, self._words.language)
        return replace(
            record.consent,
            wording=text.version,
            language=text.language,
            agreed_at=self._season.clock(),
            how="yes, in answer to a letter: the mailbox is theirs",
        )

    def _correct(self, record: Record, told: Told) -> None:
        """Note what is told, unless it cannot be; a picture that is shown stays as it was seen."""
        texts = {name: getattr(told, name) or None for name in ("name", "plant", "caption")}
        if told.plant and not record.region:  # one that is there may be the grower's own
            texts["region"] = region_of(told.plant, self._season.regions.region) or None
        with_days: dict[str, date | None] = {"sown": told.sown, "taken_on": told.taken_on}
        with suppress(ChangedMeanwhile):
            try:
                correct(self._season, record.id, **texts, **with_days, unless_shown=True)
            except FollowerError:
                correct(self._season, record.id, **texts, unless_shown=True)


def _noted(record: Record, is_unconfirmed: bool) -> tuple[str, ...]:
    if not is_unconfirmed or NOBODY_CONFIRMED in record.notes:
        return record.notes
    return (*record.notes, NOBODY_CONFIRMED)


def _after_answer(record: Record, told: Told, has_agreed: bool) -> Record:
    """Nothing is asked any more; with a no, the consent is gone, and the yes to it."""
    answers = tuple(
        replace(a, kind="asked before") if a.kind.startswith("asked ") else a
        for a in record.answers
    )
    record = replace(record, asked="", answers=answers)
    if has_agreed:
        notes = tuple(note for note in record.notes if note != NOBODY_CONFIRMED)
        return replace(record, is_confirmed=True, notes=notes)
    if told.agrees is False:
        state = "waiting" if record.state == "shown" else record.state
        return replace(record, consent=None, state=state)
    return record
