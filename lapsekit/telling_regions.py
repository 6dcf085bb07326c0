"""What ``propose`` says: regions as regions.toml holds them."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from datetime import date

    from lapsekit.proposing import Proposed
    from lapsekit.season import Season
    from lapsekit.vision.plant_rooms import Proposal

WORDS = {
    "pot": "in a container of its own",
    "row": "in a row",
    "cell": "in a cell of a tray",
    "plant": "without a container",
    "stand": "where plants cannot be told apart",
}


def proposed(found: Proposed, written: Path | None, out: Path | None) -> list[str]:
    """After ``propose``; but for the regions, every line is a comment of TOML."""
    days = f"in frames of {found.days[0]}"
    if len(found.days) > 1:
        days += f" to {found.days[-1]}"
    lines = [f"# overlay written to {out}"] if out else []
    if not found.proposals:
        return [*lines, f"# nothing grows yet {days}: come again when something is up"]
    kinds = Counter(proposal.kind for proposal in found.proposals)
    told = "; ".join(f"{number} {WORDS[kind]}" for kind, number in kinds.items())
    lines.append(f"# proposed from what was seen {days}: {told}")
    lines += [f"# {line}" for line in [*_hidden(found), *meeting(found)]]
    lines.append("# look at each, give it its plant's name, and move its points where they are off")
    return [*lines, f"added to {written}" if written else found.as_toml.rstrip()]


def _hidden(found: Proposed) -> list[str]:
    """Containers of which leaves hide most of the rim: a line for all that were last seen a day."""
    by_day: dict[date, list[str]] = {}
    for name, day in zip(found.names, found.hidden, strict=True):
        if day is not None:
            by_day.setdefault(day, []).append(name)
    return [
        f"{', '.join(names)}: leaves hide most of {'the rim' if len(names) == 1 else 'each rim'}, "
        f"last seen well on {day}; what was potted on since, draw anew"
        for day, names in sorted(by_day.items())
    ]


def meeting(found: Proposed) -> list[str]:
    """Of outlines that may hold more than one plant, below their picture too."""
    told = zip(found.names, found.several, strict=True)
    return [
        f"{name}: may be two plants that meet, or more ({several.told}); if so, split it by hand"
        for name, several in told
        if several
    ]


def whole_picture(season: Season, found: Proposed) -> list[str]:
    """After ``propose --write``: regions that are the whole picture stay beside those proposed."""
    whole = [
        region.name
        for region in season.regions.region
        if region.camera == found.camera and region.outline[-1].points is None
    ]
    return [
        f'region "{name}" is the whole picture and stays beside them, but counts as no plant now; '
        "take it out of regions.toml if single plants are all you want"
        for name in whole
    ]


def proposed_facts(found: Proposed, written: Path | None) -> dict[str, Any]:
    """The same as one JSON object."""
    each = zip(found.names, found.proposals, found.hidden, found.several, strict=True)
    return {
        "camera": found.camera,
        "days": list(found.days),
        "written": written,
        "regions": [
            {
                "name": name,
                **_told(proposal),
                "rim_last_seen": day,
                "may_be_several": several and vars(several),
            }
            for name, proposal, day, several in each
        ],
    }


def _told(proposal: Proposal) -> dict[str, Any]:
    """What is told of a proposal: the number of a sight means nothing to others."""
    return {key: value for key, value in vars(proposal).items() if key != "seen"}
