"""One contact sheet of stills from every kind of film, for the README."""

import shutil
import tempfile
from datetime import timedelta
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from lapsekit.film.composing import composed
from lapsekit.film.making import cut_of
from lapsekit.film.sources import earlier_of
from lapsekit.language.words import Words
from lapsekit.lettering import FAINT, PAPER, font
from lapsekit.progress import silent
from lapsekit.season import Season

SIDE_PX = 540
HEIGHT, GAP, LABEL = 300, 14, 34
ROWS = (
    (
        ("season", (0.3, 0.97), {"shape": "wide", "shows": ["date", "curve", "diary"]}),
        ("then-and-now", (0.75,), {"shape": "wide", "shows": ["date"]}),
    ),
    (
        ("recent", (0.2,), {"shape": "wide"}),
        ("day", (0.3,), {"shape": "wide"}),
        ("together", (0.8,), {"shape": "wide", "shows": ["date"]}),
    ),
    (
        ("region", (0.25, 0.6, 0.95), {"shape": "upright", "shows": ["date", "curve"]}),
        ("season", (0.62,), {"shape": "square", "shows": ["date", "names", "thread"]}),
        ("season", (0.86,), {"shape": "upright", "fit": "whole", "shows": ["date", "curve"]}),
    ),
)
OWN = {
    "region": {"regions": ["red-lettuce"]},
    "together": {"regions": ["green-lettuce", "red-lettuce", "pak-choi", "basil"]},
}


def film_sheet(season_folder: Path) -> Image.Image:
    """Stills of every kind of cut, in rows on paper, each with its kind below."""
    with tempfile.TemporaryDirectory() as scratch:
        season = _twice(season_folder, Path(scratch))
        rows = [[still for asked in row for still in _stills(season, *asked)] for row in ROWS]
        season.catalogue.close()
    widths = [sum(still.width for still, _ in row) + GAP * (len(row) + 1) for row in rows]
    sheet = Image.new("RGB", (max(widths), len(rows) * (HEIGHT + LABEL + GAP) + GAP), PAPER)
    draw = ImageDraw.Draw(sheet)
    for number, (row, width) in enumerate(zip(rows, widths, strict=True)):
        left, top = (sheet.width - width) // 2 + GAP, GAP + number * (HEIGHT + LABEL + GAP)
        for still, kind in row:
            sheet.paste(still, (left, top))
            draw.text((left, top + HEIGHT + 6), kind, FAINT, font(20))
            left += still.width + GAP
    return sheet


def _twice(folder: Path, scratch: Path) -> Season:
    """The season, and beside it, as an earlier one, itself, sown a week before."""
    for name in ("now", "then"):
        skip = shutil.ignore_patterns("site", "films")
        shutil.copytree(folder, scratch / name, symlinks=True, ignore=skip)
    settings = scratch / "then" / "season.toml"
    season = Season(scratch / "then")
    sown = season.settings.season.sown
    text = settings.read_text().replace(f"sown = {sown}", f"sown = {sown - timedelta(7)}", 1)
    settings.write_text(text.replace('title = "', 'title = "A week ahead: ', 1))
    now = scratch / "now" / "season.toml"
    now.write_text(now.read_text() + '\n[site]\nearlier = "../then"\n')
    return Season(scratch / "now")


def _stills(season: Season, kind: str, shares: tuple[float, ...], said: dict):
    said = {"kind": kind, "short_side_px": SIDE_PX, **OWN.get(kind, {}), **said}
    cut = cut_of(season, "season" if kind == "season" else f"a-{kind}", said)
    with earlier_of(season, cut) as earlier:
        shown = composed(season, cut, Words("en"), None, {}, None, silent, earlier)
        shots = [shot for shot in shown.shots if not any(beat.paper for beat in shot.beats)]
        picked = [shots[int(share * (len(shots) - 1))] for share in shares]
        for picture in shown.painter.pictures(picked):
            still = Image.fromarray(np.ascontiguousarray(picture))
            width = round(still.width * HEIGHT / still.height)
            yield still.resize((width, HEIGHT), Image.Resampling.LANCZOS), kind
