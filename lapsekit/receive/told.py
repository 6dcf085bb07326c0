"""What a follower filled in: read, or told what is missing. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from lapsekit.followers.arrivals import LONGEST, is_address
from lapsekit.followers.told_lines import day_told
from lapsekit.language.words import Words
from lapsekit.plain import one_line

FIELDS = ("name", "region", "plant", "sown", "taken", "caption", "contact", "age", "parent")
_SHORT = 80


@dataclass(frozen=True)
class Told:
    """A form as it was sent.

    Attributes
    ----------
    fields : dict of str to str
        As they were filled in, to be shown again.
    problems : dict of str to str
        A sentence for each field that needs another look.
    sown, taken : date or None
    """

    fields: dict[str, str]
    problems: dict[str, str] = field(default_factory=dict)
    sown: date | None = None
    taken: date | None = None


@dataclass(frozen=True, kw_only=True)
class Asks:
    """What the form asks for.

    Attributes
    ----------
    wording : str
        Version of the text that is to be agreed to.
    minors : {"parent", "never"}
    today : date
    regions : sequence of str
        Titles that can be chosen.
    """

    wording: str
    minors: Literal["parent", "never"]
    today: date
    regions: Sequence[str]


def read_told(form: Mapping[str, str], asks: Asks, words: Words) -> Told:
    """Read a form.

    Parameters
    ----------
    form : mapping of str to str
        Anything.
    asks : Asks
    words : Words
        In which problems are told.
    """
    fields = {name: one_line(form.get(name, ""), LONGEST.get(name, _SHORT)) for name in FIELDS}
    if fields["region"] not in asks.regions:
        fields["region"] = ""
    problems: dict[str, str] = {}
    sown = _day("sown", fields, asks.today, problems, words)
    taken = _day("taken", fields, asks.today, problems, words)
    if sown and taken and sown > taken:
        problems["sown"] = words.text("Sown after the picture was taken? One of the days is wrong.")
    if fields["contact"] and not is_address(fields["contact"]):
        problems["contact"] = words.text("This is no mail address. It may stay empty, too.")
    problems |= _of_consent(form, fields, asks, words)
    return Told(fields, problems, sown, taken)


def _day(
    name: str, fields: Mapping[str, str], today: date, problems: dict[str, str], words: Words
) -> date | None:
    if not fields[name]:
        return None
    found = day_told(fields[name], today)
    if found is None:
        problems[name] = words.text("Please write a day like 2031-04-17.")
    elif found > today:
        problems[name] = words.text("This day is still to come.")
    return found


def _of_consent(
    form: Mapping[str, str], fields: Mapping[str, str], asks: Asks, words: Words
) -> dict[str, str]:
    problems = {}
    if fields["age"] not in ("adult", "minor"):
        problems["age"] = words.text("Please choose one of these.")
    elif fields["age"] == "minor" and asks.minors == "never":
        problems["age"] = words.text("Pictures of children and young people are not taken here.")
    elif fields["age"] == "minor" and not fields["parent"]:
        problems["parent"] = words.text("Please write the name of the parent or guardian.")
    if form.get("wording", "") != asks.wording:
        problems["agree"] = words.text("This text has changed meanwhile. Please read it again.")
    elif form.get("agree") != "yes":
        problems["agree"] = words.text("Without your consent no picture can be taken.")
    return problems
