"""Makes the site's fonts out of the whole ones in tests/fonts: python tests/subset_fonts.py

Each style is split in two. The first file has what an English or German page shows, the second
every other character of the whole font; `unicode-range` in style.css says which has what, so that
a browser fetches the second only for a page that shows one of its characters. Italics keep no
small capitals, which no page sets in italics. Nothing is drawn anew or renamed but the family,
which is called Almanac; the copyright and the licence stay in the files (see OFL.txt).

Needs fonttools with brotli. The files do not depend on when they are made.
"""

import sys
from io import BytesIO
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont

WHOLE = Path(__file__).parent / "fonts"
SITE = Path(__file__).parents[1] / "site_template" / "fonts"
RARE_ASCII = "$@#*<=>[]^_`{|}~\\"
ASCII = "".join(map(chr, range(0x20, 0x7F)))
BEYOND_ASCII = "\u00a0°²·×ÄÖÜßäöü\u2011–—’“”„…\u202f←→−"
FIRST = "".join(c for c in ASCII if c not in RARE_ASCII) + BEYOND_ASCII
FIGURES = ["kern", "liga", "lnum", "onum", "pnum", "tnum"]
FEATURES = {"regular": [*FIGURES, "smcp", "c2sc"], "italic": FIGURES}
#: Of the ligatures these are kept: what English and German words need.
LIGATURES = {"f_f", "uniFB01", "uniFB02", "uniFB03", "uniFB04"}


def split(style: str) -> dict[str, TTFont]:
    """Both fonts of a style by their names in the site."""
    first = set(map(ord, FIRST))
    rest = characters_of(WHOLE / f"whole-{style}.woff2") - first
    return {
        f"almanac-{style}.woff2": only(style, first),
        f"almanac-{style}-more.woff2": only(style, rest),
    }


def opened(file: Path) -> TTFont:
    """A font, without its file kept open."""
    return TTFont(BytesIO(file.read_bytes()))


def characters_of(file: Path) -> set[int]:
    """The characters that a font has."""
    return set(opened(file).getBestCmap())


def only(style: str, characters: set[int]) -> TTFont:
    """A whole font's `characters` alone."""
    options = subset.Options(
        layout_features=FEATURES[style],
        hinting=False,
        glyph_names=False,
        name_IDs=[0, 1, 2, 4, 6, 13, 14],
        notdef_outline=False,
        recalc_timestamp=False,
    )
    font = subset.load_font(BytesIO((WHOLE / f"whole-{style}.woff2").read_bytes()), options)
    drop_ligatures(font)
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=characters)
    cutter.subset(font)
    rename(font, style)
    font.flavor = "woff2"
    return font


def drop_ligatures(font: TTFont) -> None:
    """Leave out ligatures that are not in `LIGATURES`."""
    for lookup in font["GSUB"].table.LookupList.Lookup:
        for table in lookup.SubTable:
            table = getattr(table, "ExtSubTable", table)
            for first, found in getattr(table, "ligatures", {}).items():
                table.ligatures[first] = [each for each in found if each.LigGlyph in LIGATURES]


def rename(font: TTFont, style: str) -> None:
    """Call the family Almanac everywhere."""
    told = {1: "Almanac", 2: style.title(), 4: f"Almanac {style.title()}"}
    told[6] = told[4].replace(" ", "-")
    for record in font["name"].names:
        record.string = told.get(record.nameID, record.toUnicode())
    outlines = font["CFF "].cff
    outlines.fontNames = [told[6]]
    outlines.topDictIndex[0].FullName, outlines.topDictIndex[0].FamilyName = told[4], told[1]


def ranges(characters: set[int]) -> str:
    """Characters as CSS's `unicode-range` lists them."""
    found: list[list[int]] = []
    for code in sorted(characters):
        if found and code == found[-1][1] + 1:
            found[-1][1] = code
        else:
            found.append([code, code])
    return ", ".join(f"U+{a:X}" if a == b else f"U+{a:X}-{b:X}" for a, b in found)


def main() -> None:
    """Write the four files, and print what style.css must say of them."""
    for style in FEATURES:
        for name, font in split(style).items():
            font.save(SITE / name)
            size = (SITE / name).stat().st_size
            sys.stdout.write(f"{name}: {size} bytes, {ranges(set(font.getBestCmap()))}\n")


if __name__ == "__main__":
    main()
