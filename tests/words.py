#!/usr/bin/env python3
"""Gathers the words of site, films and what followers read into the catalogues.

`tests/words.py` brings lapsekit/language/catalogues/*.po up to date and says what waits for a
translation;
`tests/words.py --check` changes nothing and fails where a catalogue is not complete.
"""

import io
import re
import sys
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).parents[1]
CATALOGUES = ROOT / "lapsekit" / "language" / "catalogues"
KEYWORDS = {"text": (1,), "html": (1,), "counted": (1, 2)}
OPTIONS = {"encoding": "utf-8", "parse_template_string": "true"}
FILLED = re.compile(r"\{(\w+)\}")


def _sources():
    """Files with words in them, and how they are read."""
    for pattern, method in (
        ("lapsekit/language/**/*.py", "python"),
        ("lapsekit/film/**/*.py", "python"),
        ("lapsekit/followers/**/*.py", "python"),
        ("lapsekit/site/**/*.py", "python"),
        ("lapsekit/collecting/**/*.py", "python"),
        ("lapsekit/collecting/**/*.html", "jinja2.ext:babel_extract"),
        ("lapsekit/receive/**/*.py", "python"),
        ("lapsekit/receive/**/*.html", "jinja2.ext:babel_extract"),
        ("site_template/**/*.html", "jinja2.ext:babel_extract"),
        ("site_template/**/*.js", "javascript"),
    ):
        for file in sorted(ROOT.glob(pattern)):
            if "vendor" not in file.parts:
                yield file, method


def gathered():
    """Every message of the site with where it stands."""
    catalogue = Catalog(project="lapsekit", fuzzy=False)
    for file, method in _sources():
        with file.open("rb") as source:
            for _, message, _, _ in extract(method, source, KEYWORDS, options=OPTIONS):
                place = file.relative_to(ROOT).as_posix()
                catalogue.add(message, None, [(place, None)])
    return catalogue


def read(file):
    """One language's catalogue."""
    with file.open("rb") as source:
        return read_po(source, locale=file.stem)


def amiss(catalogue, template):
    """What a catalogue lacks: messages without a translation, and other fillings than asked."""
    for message in template:
        if not message.id:
            continue
        key = message.id[0] if message.pluralizable else message.id
        found = catalogue.get(key)
        strings = found and (found.string if message.pluralizable else (found.string,))
        if not strings or not all(strings) or found.fuzzy:
            yield f"without a translation: {key!r}"
            continue
        asked = set(FILLED.findall("".join(message.id) if message.pluralizable else message.id))
        told = set(FILLED.findall("".join(strings)))
        if told != asked:
            yield f"{key!r} is filled with {sorted(asked)}, its translation with {sorted(told)}"
    known = {m.id[0] if m.pluralizable else m.id for m in template if m.id}
    for message in catalogue:
        if message.id and (message.id[0] if message.pluralizable else message.id) not in known:
            yield f"no longer used: {message.id!r}"


def updated(file, template):
    """The text of a catalogue with the messages of today, in order."""
    catalogue = read(file) if file.exists() else Catalog(locale=file.stem, fuzzy=False)
    known = {m.id: m.string for m in catalogue if m.id}
    fresh = Catalog(locale=file.stem, project="lapsekit", fuzzy=False, header_comment="")
    for message in template:
        if message.id:
            empty = ("",) * fresh.num_plurals if message.pluralizable else ""
            fresh.add(message.id, known.get(message.id, empty), message.locations)
    out = io.BytesIO()
    write_po(out, fresh, sort_by_file=True, include_lineno=False, omit_header=False, width=100)
    lines = out.getvalue().decode().splitlines()
    dated = ("POT-Creation-Date", "PO-Revision-Date", "Generated-By", "Last-Translator")
    return "\n".join(x for x in lines if not x.startswith(tuple(f'"{d}' for d in dated))) + "\n"


def main():
    """Update or check every catalogue."""
    template, wrong = gathered(), 0
    for file in sorted(CATALOGUES.glob("*.po")):
        if "--check" not in sys.argv:
            file.write_text(updated(file, template), encoding="utf-8")
        if file.read_text(encoding="utf-8") != updated(file, template):
            print(f"{file.relative_to(ROOT)}: not as tests/words.py leaves it; run it")
            wrong += 1
        for line in amiss(read(file), template):
            print(f"{file.relative_to(ROOT)}: {line}")
            wrong += 1
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
