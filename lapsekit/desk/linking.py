"""Words that name a table of season.toml, with a link to the form that holds it."""

import re

from markupsafe import Markup, escape

from lapsekit.desk.settings import TABLES
from lapsekit.desk.settings_fields import label_of
from lapsekit.desk.settings_labels import labels_of

_TABLE = re.compile(r"(?:\b(\w+) under )?\[([a-z.]+)\](?: in season\.toml)?")


def linked(text: str) -> Markup:
    """A sentence as HTML; ``to_file under [alerts] in season.toml`` leads to that table's form."""
    parts, at = [], 0
    for found in _TABLE.finditer(text):
        if found[2] in TABLES:
            parts += [escape(text[at : found.start()]), _link(found[1], found[2])]
            at = found.end()
    return Markup("").join([*parts, escape(text[at:])])


def _link(key: str | None, table: str) -> Markup:
    words = f"the settings: {TABLES[table][0]}"
    if key:
        label = labels_of(table).get(key) or label_of(key)
        words = f"“{label}” in the settings"
    return Markup('<a href="/settings/{}">{}</a>').format(table, words)
