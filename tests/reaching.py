"""Which tests reach a line, the quickest first: from one run of the suite under coverage, kept until a change."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

from coverage import CoverageData

from tests.trials import ROOT, sources_digest

_KEPT = ROOT / ".trials" / "reaching.json"
_LONGEST_S = 900


class Reaching:
    """`of_line` gives the tests of a module's line; those under a name that only imports it count for no line."""

    def __init__(self, tests: dict[str, dict[str, list[str]]], seconds: dict[str, float]) -> None:
        self._tests, self._seconds = tests, seconds

    def of_line(self, module: str, line: int, *, within_s: float) -> list[str]:
        """The tests that run the line, quickest first, as many as fit into the time."""
        reached = sorted(self._tests.get(module, {}).get(str(line), []), key=lambda test: self._seconds[test])
        found: list[str] = []
        spent_s = 0.0
        for test in reached:
            spent_s += self._seconds[test]
            if found and spent_s > within_s:
                break
            found.append(test)
        return found


def find_reaching() -> Reaching:
    """From what was kept, or by running the whole suite once."""
    digest = sources_digest()
    try:
        kept = json.loads(_KEPT.read_text("utf-8"))
    except (OSError, ValueError):
        kept = {}
    if kept.get("sources") != digest:
        print("which tests reach which line: the suite runs once under coverage", flush=True)
        tests, seconds = _measured(_KEPT.parent)
        kept = {"sources": digest, "tests": tests, "seconds": seconds}
        _KEPT.write_text(json.dumps(kept), "utf-8")
    return Reaching(kept["tests"], kept["seconds"])


def _measured(folder: Path) -> tuple[dict[str, dict[str, list[str]]], dict[str, float]]:
    folder.mkdir(exist_ok=True)
    data_file, times_file = folder / "coverage", folder / "times.xml"
    command = [
        sys.executable, "-m", "pytest", "-n", "2", "-q", "-p", "no:cacheprovider", "--cov=benchapp", "--cov=drivers",
        "--cov-context=test", "--cov-report=", f"--junitxml={times_file}",
    ]  # fmt: skip
    environment = os.environ | {"QT_QPA_PLATFORM": "offscreen", "COVERAGE_FILE": str(data_file)}
    # A test that fails because all is slower under coverage reaches its lines nevertheless.
    subprocess.run(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, timeout=_LONGEST_S, check=False)
    seconds = _seconds(times_file)
    data = CoverageData(str(data_file))
    data.read()
    tests: dict[str, dict[str, list[str]]] = {}
    for file in data.measured_files():
        module = Path(file).relative_to(ROOT).as_posix()
        for line, contexts in data.contexts_by_lineno(file).items():
            names = sorted({_function(context.partition("|")[0]) for context in contexts if context} & seconds.keys())
            tests.setdefault(module, {})[str(line)] = names
    return tests, seconds


def _seconds(path: Path) -> dict[str, float]:
    """What each test function took, all of its cases together: not every case has a name that pytest takes."""
    found: dict[str, float] = {}
    for case in ElementTree.parse(path).iter("testcase"):
        parts = case.attrib["classname"].split(".")
        file = "/".join(parts) + ".py"
        if not (ROOT / file).exists():  # a class in the file
            file = "/".join(parts[:-1]) + f".py::{parts[-1]}"
        name = _function(f"{file}::{case.attrib['name']}")
        found[name] = found.get(name, 0.0) + float(case.attrib["time"])
    return found


def _function(name: str) -> str:
    return name.partition("[")[0]
