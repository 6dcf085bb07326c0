"""What axe finds on a page that is open in the browser."""

from pathlib import Path

import pytest

AXE = Path(__file__).parent / "npm" / "node_modules" / "axe-core" / "axe.min.js"


def findings(page, **options):
    """Rules of axe that the page breaks, each with the elements that do."""
    if not AXE.is_file():
        pytest.skip("axe is not installed; tests/run does it")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("options => axe.run(document, options)", options)
    assert found["passes"], "axe has looked at nothing"
    return [(f["id"], [node["html"][:160] for node in f["nodes"]]) for f in found["violations"]]
