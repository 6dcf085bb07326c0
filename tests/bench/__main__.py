"""Every benchmark on the machine at hand, as one table.

    python -m tests.bench [--quick] [--only NAME ...] [--json FILE] [--markdown] [--list]

Each module that tells rows (`tests.bench.rows`) runs in a process of its own, one after another.
A ratio is between two things done in the same run, so that a slow machine is slow for both; memory
is the most that the process held; 10x is how many times the time ten times the work takes.
"""

import argparse
import ast
import json
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.bench.machine import machine, versions
from tests.bench.rows import Row
from tests.bench.table import lines, markdown

HERE = Path(__file__).parent


@dataclass
class Told:
    """What one module told: its rows, or why there are none."""

    name: str
    rows: list[Row] = field(default_factory=list)
    reason: str = ""
    seconds: float = 0.0
    failed: bool = False


def benchmarks() -> dict[str, str]:
    """Modules that tell rows, and what each needs beyond the checkout ("" for nothing)."""
    found = {}
    for path in sorted(HERE.glob("*.py")):
        body = ast.parse(path.read_text("utf-8")).body
        if any(isinstance(each, ast.FunctionDef) and each.name == "rows" for each in body):
            found[path.stem] = _needs(body)
    return found


def others() -> dict[str, tuple[str, str]]:
    """Modules that tell no rows and run by themselves: what each shows, and what it needs."""
    known = benchmarks()
    trees = {path: ast.parse(path.read_text("utf-8")) for path in sorted(HERE.glob("*.py"))}
    return {
        path.stem: ((ast.get_docstring(tree) or "").splitlines()[0], _needs(tree.body))
        for path, tree in trees.items()
        if path.stem not in known and any(getattr(n, "name", "") == "main" for n in tree.body)
        if path.stem not in ("__main__", "rows")
    }


def _needs(body: Sequence[ast.stmt]) -> str:
    for each in body:
        if isinstance(each, ast.Assign) and getattr(each.targets[0], "id", "") == "NEEDS":
            return str(ast.literal_eval(each.value))
    return ""


def told_by(name: str, quick: bool) -> Told:
    """Run one module's benchmark."""
    began = time.monotonic()
    command = [sys.executable, "-m", "tests.bench.rows", name, *(["--quick"] if quick else [])]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    rows = [Row(**json.loads(line)) for line in done.stdout.splitlines() if line[:1] == "{"]
    told = Told(name, rows, seconds=round(time.monotonic() - began, 1))
    if done.returncode:
        last = (done.stderr.strip() or f"ended with code {done.returncode}").splitlines()[-1]
        told.reason, told.failed = f"failed: {last}", True
    return told


def main(arguments: list[str] | None = None) -> int:
    """Run, print, and say by the exit code whether every bar is kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a small smoke of each")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="these alone, whatever they need")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the results there too")
    parser.add_argument("--markdown", action="store_true", help="print the table as Markdown")
    parser.add_argument("--list", action="store_true", help="name the benchmarks, and run none")
    asked = parser.parse_args(arguments)
    known = benchmarks()
    if asked.list:
        print("\n".join(_listed(known)))
        return 0
    unknown = set(asked.only or ()) - known.keys()
    if unknown:
        parser.error(f"no benchmark {', '.join(sorted(unknown))}; there are {', '.join(known)}")
    found = _found(known, asked.only, asked.quick)
    if not asked.only:
        found += [Told(name, reason=_alone(name, needs)) for name, (_, needs) in others().items()]
    facts = {"machine": machine(), "versions": versions(), "quick": asked.quick}
    if asked.json:
        asked.json.write_text(json.dumps(facts | {"benchmarks": _plain(found)}, indent=1) + "\n")
    print("\n".join((markdown if asked.markdown else lines)(facts, found)))
    crossed = any(not row.is_kept for told in found for row in told.rows)
    return int(any(told.failed for told in found) or (crossed and not asked.quick))


def _found(known: dict[str, str], only: Sequence[str] | None, quick: bool) -> list[Told]:
    """What each benchmark told; smokes run beside each other, since their ratios mean nothing."""

    def one(name: str) -> Told:
        if known[name] and not only:
            why = f"left out: needs {known[name]}; --only {name} runs it"
            return Told(name, reason=why)
        print(f"{name} ...", file=sys.stderr, flush=True)
        return told_by(name, quick)

    with ThreadPoolExecutor((os.cpu_count() or 1) if quick else 1) as pool:
        return list(pool.map(one, [name for name in known if not only or name in only]))


def _alone(name: str, needs: str) -> str:
    why = f"needs {needs}" if needs else "a study with tables of its own"
    return f"left out: {why}; python -m tests.bench.{name} runs it"


def _plain(found: Sequence[Told]) -> list[dict]:
    return [asdict(told) for told in found]


def _listed(known: dict[str, str]) -> list[str]:
    rows = [
        f"{name:20} {'needs ' + needs if needs else ''}".rstrip() for name, needs in known.items()
    ]
    alone = [f"{name:20} {what}" for name, (what, _) in others().items()]
    return [*rows, "", "by themselves, python -m tests.bench.NAME:", *alone]


if __name__ == "__main__":
    sys.exit(main())
