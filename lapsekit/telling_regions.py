"""What ``propose`` says: regions as regions.toml holds them."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lapsekit.proposing import Proposed

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
    lines.append("# look at each, give it its plant's name, and move its points where they are off")
    return [*lines, f"added to {written}" if written else found.as_toml.rstrip()]


def proposed_facts(found: Proposed, written: Path | None) -> dict[str, Any]:
    """The same as one JSON object."""
    pairs = zip(found.names, found.proposals, strict=True)
    return {
        "camera": found.camera,
        "days": list(found.days),
        "written": written,
        "regions": [{"name": name, **vars(proposal)} for name, proposal in pairs],
    }
