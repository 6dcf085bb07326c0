"""What somebody tells in lines like ``Name: Mia`` or ``Gesät: 5.3.2031``. Pure.

Days and words of yes and no are read here for mails, the upload page and the folder alike.

Lines may stand in any order, in English or German, and be set off as mail programs do it.
"""

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta

LABELS = {
    "name": ("name", "my name", "mein name"),
    "plant": ("plant", "my plant", "pflanze", "meine pflanze"),
    "sown": ("sown", "sown on", "sowed", "gesät", "gesaet", "ausgesät", "ausgesaet", "gesät am"),
    "taken_on": ("taken", "taken on", "aufgenommen", "aufgenommen am"),
    "caption": ("caption", "bildtext", "bildunterschrift"),
    "agrees": ("i agree", "we agree", "ich stimme zu", "wir stimmen zu"),
    "is_of_age": ("i am of age", "of age", "ich bin volljährig", "ich bin volljaehrig"),
    "parent": ("parent", "parent or guardian", "elternteil", "eltern", "sorgeberechtigt"),
    "code": ("take down", "take-down", "takedown", "löschen", "loeschen"),
}
FORM = {
    "en": {
        "name": "Name",
        "plant": "Plant",
        "sown": "Sown",
        "taken_on": "Taken",
        "caption": "Caption",
        "agrees": "I agree",
        "is_of_age": "I am of age",
        "parent": "Parent",
    },
    "de": {
        "name": "Name",
        "plant": "Pflanze",
        "sown": "Gesät",
        "taken_on": "Aufgenommen",
        "caption": "Bildtext",
        "agrees": "Ich stimme zu",
        "is_of_age": "Ich bin volljährig",
        "parent": "Elternteil",
    },
}
"""What lines begin with that somebody is to fill in, by language, in the order of the form."""

CODE = {"en": "Take down", "de": "Löschen"}
"""What the line begins with that takes a picture down."""

_ENGLISH = re.compile(r"name|my |plant|sow|taken|caption|i agree|we agree|i am|of age|parent|take")
_FIELD = {label: field for field, labels in LABELS.items() for label in labels}
_YES = frozenset(("yes", "y", "yes i do", "yes we do", "ja", "j", "ja klar", "ok", "x"))
_NO = frozenset(("no", "n", "nein"))
_SET_OFF = " \t\u00a0*_•·–-#|"
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "january januar jan jänner",
            "february februar feb",
            "march märz maerz mar mär",
            "april apr",
            "may mai",
            "june juni jun",
            "july juli jul",
            "august aug",
            "september sept sep",
            "october oktober oct okt",
            "november nov",
            "december dezember dec dez",
        ),
        start=1,
    )
    for name in names.split()
}


@dataclass(frozen=True, kw_only=True)
class Told:
    """What the lines of a text tell; "" or None is what none of them tells.

    Attributes
    ----------
    name, plant, caption, parent : str
    sown, taken_on : date or None
    agrees, is_of_age : bool or None
    code : str
        A take-down code, as it was written.
    not_understood : tuple of str
        Fields whose line is there and says nothing that can be used.
    is_german : bool
        Whether a line has a German label.
    """

    name: str = ""
    plant: str = ""
    sown: date | None = None
    taken_on: date | None = None
    caption: str = ""
    agrees: bool | None = None
    is_of_age: bool | None = None
    parent: str = ""
    code: str = ""
    not_understood: tuple[str, ...] = ()
    is_german: bool = False

    @property
    def is_anything(self) -> bool:
        """Whether any line was told."""
        return bool(set(self.told_fields) or self.not_understood)

    @property
    def told_fields(self) -> tuple[str, ...]:
        """Names of the fields that a line tells."""
        return tuple(
            each.name
            for each in fields(self)
            if each.name in LABELS and getattr(self, each.name) not in ("", None)
        )

    def over(self, other: "Told") -> "Told":
        """What this tells, and what `other` tells where this tells nothing."""
        lacking = set(other.told_fields) - set(self.told_fields) - set(self.not_understood)
        filled = {name: getattr(other, name) for name in lacking}
        return replace(self, **filled, is_german=self.is_german or other.is_german)


NOTHING = Told()
"""What no line tells."""


def form_labels(language: str) -> dict[str, str]:
    """Label of each field of the form; the English ones where a language has none that we read."""
    return FORM.get(language, FORM["en"])


def told_lines(lines: Iterable[str], today: date) -> Told:
    """What lines tell; of two lines with the same label the first counts.

    Parameters
    ----------
    lines : iterable of str
    today : date
        The day on which they came: a date without a year is the latest such day up to it.
    """
    found, wrong, is_german = {}, [], False
    for line in lines:
        label, value = _parted(line)
        field = _FIELD.get(label)
        if field is None or not value or field in found or field in wrong:
            continue
        is_german = is_german or not _ENGLISH.match(label)
        read = _read(field, value, today)
        if read is None:
            wrong.append(field)
        else:
            found[field] = read
    return Told(**found, not_understood=tuple(wrong), is_german=is_german)


def _parted(line: str) -> tuple[str, str]:
    """Label, in lower case and without what sets it off, and value of a line."""
    label, colon, value = line[:2000].replace("：", ":").partition(":")
    if not colon or len(label) > 60:
        return "", ""
    label = " ".join(label.strip(_SET_OFF).casefold().split())
    return label, " ".join(value.strip(_SET_OFF + ":").split())


def _read(field: str, value: str, today: date) -> str | date | bool | None:
    if field in ("sown", "taken_on"):
        return day_told(value, today)
    if field in ("agrees", "is_of_age"):
        return yes_or_no(value)
    return value


def yes_or_no(value: str) -> bool | None:
    """Whether a word says yes, or no; None for anything else."""
    word = " ".join(re.sub(r"[^\w\s]", " ", value.casefold()).split())
    return True if word in _YES else False if word in _NO else None


def day_told(value: str, today: date) -> date | None:
    """The day that a text means; None where it means none, or two.

    ``2031-03-05``, ``5.3.2031``, ``5.3.``, ``5 March``, ``March 5, 2031``, ``5. März``,
    ``today``, ``gestern``. ``5/3/2031`` is two days, by whom one asks, and none here.
    """
    text = " ".join(value.casefold().replace(",", " ").split())[:60]
    near = {"today": 0, "heute": 0, "yesterday": 1, "gestern": 1}
    if text in near:
        return today - timedelta(days=near[text])
    year, month, day = _parts(text)
    if month is None:
        return None
    return _dated(year, month, day, today)


def _parts(text: str) -> tuple[int | None, int | None, int]:
    """Year (None if not told), month (None if nothing was understood) and day."""
    if found := re.fullmatch(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})", text):
        return int(found[1]), int(found[2]), int(found[3])
    if found := re.fullmatch(r"(\d{1,2})\. ?(\d{1,2})\.(?: ?(\d{4}|\d{2}))?", text):
        return _whole(found[3]), int(found[2]), int(found[1])
    if found := re.fullmatch(r"(\d{1,2})/(\d{1,2})/(\d{4}|\d{2})", text):
        first, second = int(found[1]), int(found[2])
        if first <= 12 and second <= 12 and first != second:
            return None, None, 0
        day, month = (first, second) if first > 12 else (second, first)
        return _whole(found[3]), month, day
    weekday = r"(?:[a-zä]+ )?"
    if found := re.fullmatch(
        weekday + r"(\d{1,2})(?:\.|st|nd|rd|th)? ?(?:of )?([a-zä]+)\.?(?: ?(\d{4}))?", text
    ):
        return _whole(found[3]), _MONTHS.get(found[2]), int(found[1])
    if found := re.fullmatch(r"([a-zä]+)\.? (\d{1,2})(?:st|nd|rd|th)?(?: (\d{4}))?", text):
        return _whole(found[3]), _MONTHS.get(found[1]), int(found[2])
    return None, None, 0


def _whole(year: str | None) -> int | None:
    if year is None:
        return None
    return int(year) if len(year) == 4 else 2000 + int(year)


def _dated(year: int | None, month: int, day: int, today: date) -> date | None:
    with suppress(ValueError):
        if year is not None:
            return date(year, month, day)
        this = date(today.year, month, day)
        return this if this <= today else date(today.year - 1, month, day)
    return None
