"""Words that name a table of season.toml, a text or a command, with a link to its page here."""

import re

from markupsafe import Markup, escape

from lapsekit.desk.settings import TABLES
from lapsekit.desk.settings_fields import label_of
from lapsekit.desk.settings_labels import labels_of

_TABLE = r"(?:\b(?P<key>\w+) under )?\[(?P<table>[a-z.]+)\](?: in season\.toml)?"
_TEXT = r"(?<=\()(?P<text>colours\.csv)(?=\))"
_EXPLAIN = r"lapsekit explain (?P<region>[a-z0-9-]+) \d{4}-\d\d-\d\d"
_NAMED = re.compile("|".join((_TABLE, _TEXT, _EXPLAIN)))


def linked(text: str) -> Markup:
    """A sentence as HTML: what it names of files and commands leads to the page for it here.

    ``to_file under [alerts] in season.toml`` leads to that table's form, ``(colours.csv)`` to the
    colours, ``lapsekit explain basil 2031-04-17`` to the plant's page.
    """
    parts, at = [], 0
    for found in _NAMED.finditer(text):
        link = _link_of(found)
        if link is not None:
            parts += [escape(text[at : found.start()]), link]
            at = found.end()
    return Markup("").join([*parts, escape(text[at:])])


def _link_of(found: re.Match[str]) -> Markup | None:
    if found["text"]:
        return Markup('<a href="/colours/">Colours</a>')
    if found["region"]:
        link = '<a href="/growth/plant/{0}">“{0}” under Growth</a>'
        return Markup(link).format(found["region"])
    return _link(found["key"], found["table"]) if found["table"] in TABLES else None


def _link(key: str | None, table: str) -> Markup:
    words = f"the settings: {TABLES[table][0]}"
    if key:
        label = labels_of(table).get(key) or label_of(key)
        words = f"“{label}” in the settings"
    return Markup('<a href="/settings/{}">{}</a>').format(table, words)
