"""What a publication would send, summed up by kind in words. Pure."""

import re
from collections import Counter
from collections.abc import Sequence

from lapsekit.counted import first_named
from lapsekit.publishing import PublishReport

_MOST_NAMED, _FEW_NAMED = 300, 10
_KINDS: tuple[tuple[str, str, str], ...] = (
    (r"day/[^/]+/index\.html", "page of a day", "pages of days"),
    (r".*\.html", "other page", "other pages"),
    (r"pictures/.*", "picture file", "picture files"),
    (r"film/.*", "film file", "film files"),
    (r"data/.*", "data file", "data files"),
    (r"assets/.*", "file of the site's look", "files of the site's look"),
    (r".*", "other file", "other files"),
)


def by_kind(names: Sequence[str]) -> str:
    """How many files of each kind there are, like ``12 pages of days, 1 data file``."""
    kinds = [next(k for k, (pattern, *_) in enumerate(_KINDS) if _is(pattern, n)) for n in names]
    counts = Counter(kinds)
    return ", ".join(
        f"{counts[k]} {_KINDS[k][1] if counts[k] == 1 else _KINDS[k][2]}" for k in sorted(counts)
    )


def _is(pattern: str, name: str) -> bool:
    return re.fullmatch(pattern, name) is not None


def going_out(report: PublishReport) -> list[str]:
    """What would be sent and removed: headline, kinds and cautions, then files, bounded.

    Files are on lines that begin with two spaces.

    Parameters
    ----------
    report : PublishReport
        Of a dry run.
    """
    if not report.sent and not report.removed:
        return [f"Nothing: {report.place} holds all {report.unchanged} files, by name and size."]
    lines = [
        f"To {report.place}: {len(report.sent)} files would be sent ({report.size / 1e6:.1f} MB), "
        f"{len(report.removed)} removed; {report.unchanged} are there already, by name and size."
    ]
    lines += [f"Sent: {by_kind(report.sent)}."] if report.sent else []
    lines += [f"Removed: {by_kind(report.removed)}."] if report.removed else []
    if report.amiss:
        amiss = first_named(report.amiss, _FEW_NAMED)
        lines.append(f"Put there before, and gone or changed there: {amiss}")
    if report.overwritten:
        overwritten = first_named(report.overwritten, _FEW_NAMED)
        lines.append(f"Not put there by lapsekit, and overwritten: {overwritten}")
    lines += [f"Caution: {report.caution}"] if report.caution else []
    names = [f"  + {name}" for name in report.sent] + [f"  - {name}" for name in report.removed]
    rest = len(names) - _MOST_NAMED
    return lines + names[:_MOST_NAMED] + ([f"  and {rest} more"] if rest > 0 else [])
