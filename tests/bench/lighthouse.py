"""Lighthouse on a season site of 200 days, as a slow phone sees it.

    python -m tests.bench.lighthouse [--days 200] [--site FOLDER] [--runs 3] [--json]

The site lies on a server that packs text and knows the kinds of files, as static hosts do. The
front page, a day's page and the growth page are looked at with Lighthouse's defaults (mobile, a
slow phone on a slow network). Printed are the scores, what is loaded before and after the page is
there, and each audit that is not full with its reason. Times mean something on a quiet machine
only: the load stands beside them. Needs npm; Lighthouse is pinned in ``tests/npm/package.json``.
"""

import argparse
import gzip
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass
from functools import cache, partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from lapsekit.site.build import build_site
from tests.browsing import CHROMIUM_ARGUMENTS, running
from tests.npm_tools import MODULES, NPM
from tests.site.made_season import Kind, made

NEEDS = "npm, Chromium and a quiet machine"

CATEGORIES = ("performance", "accessibility", "best-practices", "seo")
FIRST_VIEW_KB = 110
SCRIPTS_KB = 70
LCP_S = 1.5
KINDS = {
    ".avif": "image/avif",
    ".webp": "image/webp",
    ".woff2": "font/woff2",
    ".wasm": "application/wasm",
    ".webmanifest": "application/manifest+json",
    ".js": "text/javascript",
    ".json": "application/json",
    ".ics": "text/calendar",
    ".csv": "text/csv",
}
_PACKED = ("text/", "application/json", "application/manifest+json", "image/svg", "application/xml")


class StaticHost(SimpleHTTPRequestHandler):
    """Serves a folder as a static web host does: text packed, connections kept."""

    protocol_version = "HTTP/1.1"
    extensions_map = SimpleHTTPRequestHandler.extensions_map | KINDS

    def do_GET(self) -> None:
        """Answer with the file, packed where that is asked for and worth it."""
        path = Path(self.translate_path(self.path))
        if path.is_dir():
            path /= "index.html"
        if not path.is_file():
            self.send_error(404)
            return
        kind = self.guess_type(str(path))
        packs = kind.startswith(_PACKED) and "gzip" in self.headers.get("Accept-Encoding", "")
        data = _packed(path) if packs else path.read_bytes()
        self.send_response(200)
        text = kind.startswith("text/")
        self.send_header("Content-Type", f"{kind}; charset=utf-8" if text else kind)
        self.send_header("Content-Length", str(len(data)))
        if packs:
            self.send_header("Content-Encoding", "gzip")
        self.send_header("Cache-Control", "max-age=600")
        self.end_headers()
        with suppress(ConnectionError):  # a browser that is closed wants no more
            self.wfile.write(data)

    def log_message(self, *_: object) -> None:
        """Say nothing for each request."""


@cache
def _packed(path: Path) -> bytes:
    return gzip.compress(path.read_bytes(), 6)


@dataclass
class Seen:
    """One page in Lighthouse's eyes; sizes in kB as sent, times in seconds."""

    page: str
    scores: dict[str, int]
    first_view_kb: float
    later_kb: float
    scripts_kb: float
    requests: list[str]
    lcp_s: float
    fcp_s: float
    blocking_ms: float
    shift: float
    amiss: list[str]

    def missed(self) -> list[str]:
        """Bars that the page does not keep."""
        found = [f"{name} {score}" for name, score in self.scores.items() if score < 100]
        if self.first_view_kb > FIRST_VIEW_KB:
            found.append(f"first view {self.first_view_kb:.0f} kB")
        if self.scripts_kb >= SCRIPTS_KB:
            found.append(f"scripts {self.scripts_kb:.0f} kB")
        if self.lcp_s >= LCP_S:
            found.append(f"largest contentful paint {self.lcp_s:.2f} s")
        if self.shift > 0:
            found.append(f"layout shift {self.shift:.3f}")
        return found


def look(url: str, page: str) -> Seen:
    """One run of Lighthouse on one page."""
    chrome = shutil.which("chromium") or shutil.which("chromium-browser") or ""
    flags = " ".join(["--headless=new", *CHROMIUM_ARGUMENTS])
    done = subprocess.run(
        [
            str(MODULES / ".bin" / "lighthouse"),
            url + page,
            "--output=json",
            "--quiet",
            f"--chrome-flags={flags}",
            f"--only-categories={','.join(CATEGORIES)}",
        ],
        capture_output=True,
        text=True,
        env=os.environ | {"CHROME_PATH": chrome},
        check=False,
    )
    if done.returncode:
        raise SystemExit(f"Lighthouse failed on {url}{page}:\n{done.stderr[-2000:]}")
    return judged(json.loads(done.stdout), url, page)


def judged(report: dict, url: str, page: str) -> Seen:
    """What matters of a report."""
    audits = report["audits"]
    value = {name: audits[name].get("numericValue", 0) for name in audits}
    there = audits["metrics"]["details"]["items"][0]["observedLoad"]
    sent = [r for r in audits["network-requests"]["details"]["items"] if r["url"].startswith(url)]
    first = [r for r in sent if r["networkRequestTime"] <= there]
    return Seen(
        page=page,
        scores={name: round(100 * report["categories"][name]["score"]) for name in CATEGORIES},
        first_view_kb=_kb(first),
        later_kb=_kb(r for r in sent if r not in first),
        scripts_kb=_kb(
            r for r in sent if r["resourceType"] == "Script" and "/data/" not in r["url"]
        ),
        requests=[
            f"{'first' if r in first else 'later'} {_kb([r]):6.1f} kB {r['url'].removeprefix(url)}"
            for r in sent
        ],
        lcp_s=value["largest-contentful-paint"] / 1000,
        fcp_s=value["first-contentful-paint"] / 1000,
        blocking_ms=value["total-blocking-time"],
        shift=round(value["cumulative-layout-shift"], 3),  # as Lighthouse tells it
        amiss=list(_amiss(report)),
    )


def _kb(requests) -> float:
    return round(sum(r["transferSize"] for r in requests) / 1000, 1)


def _amiss(report: dict) -> Iterator[str]:
    """Audits that are not full, with what they say; those without weight are hints."""
    for name in CATEGORIES:
        for each in report["categories"][name]["auditRefs"]:
            audit = report["audits"][each["id"]]
            if audit["score"] is None or audit["score"] >= (1 if each["weight"] else 0.9):
                continue
            items = (audit.get("details") or {}).get("items") or []
            what = json.dumps(items[:2], ensure_ascii=False)[:400] if items else ""
            weight = f"weight {each['weight']}" if each["weight"] else "hint"
            shown = audit.get("displayValue", "")
            yield f"{name}: {audit['title']} [{each['id']}, {weight}] {shown} {what}"


def middle(runs: list[Seen]) -> Seen:
    """The run with the middle largest contentful paint."""
    return sorted(runs, key=lambda run: run.lcp_s)[len(runs) // 2]


@contextmanager
def hosted(site: Path) -> Iterator[str]:
    """The site on a server of this machine."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(StaticHost, directory=str(site)))
    with running(server) as url:
        yield url


def told(seen: Seen) -> str:
    """A page in lines of text."""
    scores = ", ".join(f"{name} {score}" for name, score in seen.scores.items())
    lines = [
        f"/{seen.page}: {scores}",
        f"  first view {seen.first_view_kb:.1f} kB, later {seen.later_kb:.1f} kB, scripts "
        f"{seen.scripts_kb:.1f} kB; LCP {seen.lcp_s:.2f} s, FCP {seen.fcp_s:.2f} s, blocked "
        f"{seen.blocking_ms:.0f} ms, shift {seen.shift:.3f}",
        *(f"    {request}" for request in seen.requests),
        *(f"  - {text}" for text in seen.amiss),
        f"  missed: {'; '.join(seen.missed()) or 'nothing'}",
    ]
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Look, tell, and say by the exit code whether the bars are kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--site", type=Path, help="a site that is there, instead of a made-up one")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--pages", nargs="*", help="paths in the site")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    subprocess.run([*NPM, "--include=dev"], check=True, stdout=sys.stderr)
    with ExitStack() as stack:
        site = asked.site
        if site is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory()), "season")
            season = made(folder, asked.days, Kind(frames_a_day=8))
            build_site(season)
            site = season.site
        days = sorted(path.name for path in (site / "day").iterdir() if path.is_dir())
        pages = asked.pages or ["", f"day/{days[len(days) // 2]}/", "growth/"]
        url = stack.enter_context(hosted(site))
        found = [middle([look(url, page) for _ in range(asked.runs)]) for page in pages]
    load = f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"
    if asked.json:
        print(json.dumps({"load": os.getloadavg(), "pages": [asdict(s) for s in found]}, indent=1))
    else:
        print("\n\n".join([*(told(seen) for seen in found), load]))
    return int(any(seen.missed() for seen in found))


if __name__ == "__main__":
    sys.exit(main())
