"""What axe finds on a page that is open in the browser."""

from tests.npm_tools import axe_source


def findings(page, **options):
    """Rules of axe that the page breaks, each with the elements that do."""
    page.evaluate(axe_source())
    found = page.evaluate("options => axe.run(document, options)", options)
    assert found["passes"], "axe has looked at nothing"
    return [(f["id"], [node["html"][:160] for node in f["nodes"]]) for f in found["violations"]]
