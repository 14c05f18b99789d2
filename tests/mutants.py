"""Mutants of what must not fail, each against the tests that reach its line: which survive?

python -m tests.mutants [MUTANTS]      or "again": those that survived the last time

Drawn from all that cosmic-ray's operators can make of these modules, with a stated seed. Where no test reaches the line
by itself (a constant, a process of its own), the tests of the package decide. A mutant that no test kills is printed
with its change. As a control, the first of them are tried without their change too: none of those may be killed.
"""

from __future__ import annotations

import ast
import concurrent.futures
import difflib
import itertools
import json
import os
import queue
import random
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from cosmic_ray.ast import get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

from tests.reaching import Reaching, find_reaching
from tests.trials import ROOT, Result, run_trial

_SEED = 22
_SURVIVORS = ROOT / ".trials" / "mutants-survived.json"
_WORKERS = 2
_LONGEST_S = 60
_AHEAD = 40  # that one which hangs does not hold up the others
_REACHING_S = 25.0
_CONTROLS = 20
_OWN_PROCESS = "drivers/guardian_process.py"
_MEASURE = ["tests/benchapp/measure", "tests/drivers/test_energising.py", "tests/benchapp/test_units.py"]
# The quick ones first: what they kill, the slow ones need not.
_NAMES = ("link", "values", "asking", "virtual_wires", "scpi_facts", "roles", "energising", "wire")
_QUICK = [f"tests/drivers/test_{name}.py" for name in _NAMES]
_DRIVERS = [*_QUICK, "tests/faults/test_matrix.py", "tests/benchapp/measure", "tests/drivers"]
TARGETS: dict[str, list[str]] = {
    "benchapp/measure/sequencer.py": [*_MEASURE, "tests/benchapp/test_session.py", "tests/faults/test_matrix.py"],
    "benchapp/measure/holding.py": _MEASURE,
    "benchapp/measure/journal.py": [*_MEASURE, "tests/benchapp/test_session.py"],
    "benchapp/measure/linked_passes.py": _MEASURE,
    "benchapp/bench/energised.py": [*_MEASURE, "tests/faults/test_guardian.py", "tests/benchapp/cli/test_off.py"],
    "benchapp/run/session.py": ["tests/benchapp/test_session.py", "tests/benchapp/test_faces.py"],
    "benchapp/run/recorder.py": ["tests/benchapp/test_session.py", "tests/benchapp/test_files.py"],
    "benchapp/result/validity.py": ["tests/benchapp/result", "tests/benchapp/test_faces.py"],
    "drivers/guardian.py": ["tests/faults/test_guardian.py"],
    "drivers/guardian_process.py": ["tests/faults/test_guardian_parts.py", "tests/faults/test_guardian.py"],
    "drivers/buffer.py": _MEASURE,
    "drivers/completion.py": _DRIVERS,
    "drivers/compliance.py": _DRIVERS,
    "drivers/error_queue.py": _DRIVERS,
    "drivers/instrument.py": _DRIVERS,
    "drivers/level.py": _DRIVERS,
    "drivers/linked.py": _MEASURE,
    "drivers/link.py": _DRIVERS,
    "drivers/scpi_source.py": _DRIVERS,
    "drivers/scpi_voltmeter.py": _DRIVERS,
    "drivers/values.py": _DRIVERS,
    "drivers/wires.py": _DRIVERS,
    "drivers/lock.py": ["tests/drivers/test_lock.py", "tests/benchapp/cli/test_off.py"],
}
# Left out: what reads or types refuse at once (`|` stands in annotations, which never run; `is` for a number), and what
# makes hundreds of kin of one.
_LEFT_OUT = re.compile(r"Variable|_Is|RemoveDecorator|BitOr|BitXor|BitAnd_|Shift|_Mod|_Pow|_BitAnd")


# Changes that would hurt someone or falsify a number, by hand: module, what stands there, what would stand there.
NAMED: dict[str, tuple[str, str, str]] = {
    "guardian armed after output on": (
        "benchapp/bench/energised.py",
        "        self._arm()\n        self._source.on_reopen(self._arm)\n        self.on = True\n"
        "        self._seen(OutputState.UNKNOWN)\n        self._source.output_on()\n",
        "        self.on = True\n        self._seen(OutputState.UNKNOWN)\n        self._source.output_on()\n"
        "        self._arm()\n        self._source.on_reopen(self._arm)\n",
    ),
    "mid-run look removed": (
        "benchapp/measure/sequencer.py",
        "        self._look_at(source)\n        for text in voltmeter.reported():",
        "        for text in voltmeter.reported():",
    ),
    "pause keeps the current": (
        "benchapp/measure/sequencer.py",
        "        source.step(0.0)\n        self._level_A = 0.0\n        self._journal.enter(RunStatus.PAUSED)",
        "        self._level_A = 0.0\n        self._journal.enter(RunStatus.PAUSED)",
    ),
    "guardian's second look off": (
        "drivers/guardian_process.py",
        "while time.monotonic() < off_until:",
        "while False:",
    ),
    "residual settling halved": ("benchapp/result/budget.py", "left = 2 * math.exp(", "left = math.exp("),
    "resolution doubled": (
        "benchapp/result/budget.py",
        "from_half_width(accuracy.resolution / 2,",
        "from_half_width(accuracy.resolution,",
    ),
}
_OF_NAMED = {"benchapp/result/budget.py": ["tests/benchapp/result", "tests/published/test_budget.py"]}


class Mutant:
    """One change of one module: `operator` at its `occurrence`."""

    def __init__(self, module: str, operator: str, occurrence: int) -> None:
        self.module, self.operator, self.occurrence = module, operator, occurrence

    def source(self) -> str:
        """The module with the change in it."""
        changed = mutate_code((ROOT / self.module).read_text("utf-8"), get_operator(self.operator)(), self.occurrence)
        assert changed is not None
        return str(changed)

    def change(self) -> str:
        """The lines that differ."""
        old, new = (ROOT / self.module).read_text("utf-8").splitlines(), self.source().splitlines()
        lines = [line for line in difflib.unified_diff(old, new, n=0, lineterm="") if line[:3] not in ("---", "+++")]
        return " | ".join(line.strip() for line in lines)


def all_mutants() -> list[Mutant]:
    """Everything that can be drawn, in a fixed order."""
    found = []
    for module in TARGETS:
        text = (ROOT / module).read_text("utf-8")
        tree = get_ast(text)
        nodes = _nodes(tree)
        for name in operator_names():
            if _LEFT_OUT.search(name):
                continue
            operator = get_operator(name)()
            count = sum(1 for node in nodes for _ in operator.mutation_positions(node))
            found += [Mutant(module, name, occurrence) for occurrence in range(count)]
    return found


def is_change(mutant: Mutant) -> bool:
    """Whether it can be made, and is another program: "9.9e+37" for "9.9e37" is none."""
    try:
        changed = mutant.source()
    except (AttributeError, AssertionError):  # an operator that stumbles over what it finds
        return False
    before = (ROOT / mutant.module).read_text("utf-8")
    try:
        return ast.dump(ast.parse(changed)) != ast.dump(ast.parse(before))
    except SyntaxError:
        return False


def _nodes(tree: object) -> list[object]:
    children = getattr(tree, "children", [])
    return [tree, *(below for child in children for below in _nodes(child))]


def tests_of(mutant: Mutant, reaching: Reaching) -> list[str]:
    """Those that reach its line, or those of its package."""
    old, new = (ROOT / mutant.module).read_text("utf-8").splitlines(), mutant.source().splitlines()
    line = 1 + next(k for k, (a, b) in enumerate(itertools.zip_longest(old, new)) if a != b)
    reached = reaching.of_line(mutant.module, line, within_s=_REACHING_S)
    return [*reached, *TARGETS[_OWN_PROCESS]] if mutant.module == _OWN_PROCESS else reached or TARGETS[mutant.module]


def tried(mutant: Mutant, tree: Path, reaching: Reaching, *, control: bool) -> Result:
    """Whether its tests kill it; as a control, whether they fail without it."""
    tests = tests_of(mutant, reaching)
    if control and _killed(mutant.module, (ROOT / mutant.module).read_text("utf-8"), tree, tests):
        raise SystemExit(f"these fail without any change: {' '.join(tests)}")
    killed = _killed(mutant.module, mutant.source(), tree, tests)
    told = {"module": mutant.module, "operator": mutant.operator, "occurrence": mutant.occurrence}
    return told | {"change": mutant.change(), "killed": killed}


def tried_by_name(name: str, tree: Path) -> bool:
    """Whether a named one is killed."""
    module, old, new = NAMED[name]
    text = (ROOT / module).read_text("utf-8")
    assert text.count(old) == 1, name
    return _killed(module, text.replace(old, new), tree, TARGETS.get(module) or _OF_NAMED[module])


def _killed(module: str, source: str, tree: Path, tests: list[str]) -> bool:
    """Put it in the place of the original, run the tests, put the original back."""
    path = tree / module
    before = path.read_bytes()
    path.write_text(source, "utf-8")
    try:
        command = [sys.executable, "-m", "pytest", "-x", "-p", "no:cacheprovider", *tests]
        environment = os.environ | {
            "QT_QPA_PLATFORM": "offscreen",
            "PYTHONDONTWRITEBYTECODE": "1",
            "PYTHONPATH": str(tree),
        }
        with subprocess.Popen(
            command, cwd=tree, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            start_new_session=True,
        ) as process:  # fmt: skip
            try:
                said = process.communicate(timeout=_LONGEST_S)[0]
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, 9)
                return True
            # A change may end the whole process without a word: then no test has passed.
            return process.returncode != 0 or b" passed" not in said
    finally:
        path.write_bytes(before)


def main() -> int:
    """Print what survived."""
    again = sys.argv[1:2] == ["again"]
    mutants = all_mutants()
    total = len(mutants)
    if again:
        mutants = [
            Mutant(r["module"], r["operator"], r["occurrence"]) for r in json.loads(_SURVIVORS.read_text("utf-8"))
        ]
    else:
        random.Random(_SEED).shuffle(mutants)
        wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 400
        mutants = list(itertools.islice(filter(is_change, mutants), wanted))
    reaching = find_reaching()
    with tempfile.TemporaryDirectory() as name:
        trees: queue.Queue[Path] = queue.Queue()
        for k in range(_WORKERS):
            tree = Path(name) / str(k)
            shutil.copytree(
                ROOT, tree, ignore=shutil.ignore_patterns(".venv", ".git", "__pycache__", ".*_cache", ".trials")
            )
            trees.put(tree)
        for named in NAMED:
            print(f"{named:<36}{'killed' if tried_by_name(named, Path(name) / '0') else 'SURVIVED'}", flush=True)
        with concurrent.futures.ThreadPoolExecutor(_WORKERS) as pool:

            def in_some_tree(number: int) -> Result:
                tree = trees.get()
                try:
                    return tried(mutants[number], tree, reaching, control=number < _CONTROLS)
                finally:
                    trees.put(tree)

            started: dict[int, concurrent.futures.Future[Result]] = {}

            def case(number: int) -> Result:
                for ahead in range(number, min(number + _AHEAD, len(mutants))):
                    if ahead not in started:
                        started[ahead] = pool.submit(in_some_tree, ahead)
                return started.pop(number).result()

            results = run_trial("mutants", len(mutants), case)
    survivors = [r for r in results if not r["killed"]]
    _SURVIVORS.write_text(json.dumps(survivors, indent=1), "utf-8")
    for module in TARGETS:
        here = [r for r in results if r["module"] == module]
        print(f"{module:<36}{sum(r['killed'] for r in here):>5} of {len(here)} killed")
    for result in survivors:
        print(f"survived: {result['module']}: {result['change']}")
    share = 100 * (1 - len(survivors) / max(1, len(results)))
    print(f"{len(results)} mutants of {total}, seed {_SEED}: {share:.1f} % killed, {len(survivors)} survived")
    return 0


if __name__ == "__main__":
    sys.exit(main())
