"""Mutants of what must not fail, each against the tests of its package: which survive?

python -m tests.mutants [MUTANTS]

Drawn from all that cosmic-ray's operators can make of these modules, with a stated seed. A mutant that no test kills is
printed with its change.
"""

from __future__ import annotations

import concurrent.futures
import difflib
import os
import queue
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from cosmic_ray.ast import get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

from tests.trials import ROOT, Result, run_trial

_SEED = 22
_WORKERS = 2
_LONGEST_S = 180
_MEASURE = ["tests/benchapp/measure", "tests/drivers/test_energising.py", "tests/benchapp/test_units.py"]
_DRIVERS = ["tests/drivers", "tests/benchapp/measure", "tests/faults/test_matrix.py"]
TARGETS: dict[str, list[str]] = {
    "benchapp/measure/sequencer.py": [*_MEASURE, "tests/benchapp/test_session.py", "tests/faults/test_matrix.py"],
    "benchapp/measure/linked_passes.py": _MEASURE,
    "benchapp/bench/energised.py": [*_MEASURE, "tests/faults/test_guardian.py", "tests/benchapp/cli/test_off.py"],
    "benchapp/run/session.py": ["tests/benchapp/test_session.py", "tests/benchapp/test_faces.py"],
    "benchapp/run/recorder.py": ["tests/benchapp/test_session.py", "tests/benchapp/test_files.py"],
    "benchapp/result/validity.py": ["tests/benchapp/result", "tests/benchapp/test_faces.py"],
    "drivers/guardian.py": ["tests/faults/test_guardian.py"],
    "drivers/guardian_process.py": ["tests/faults/test_guardian.py"],
    "drivers/instrument.py": _DRIVERS,
    "drivers/link.py": _DRIVERS,
    "drivers/scpi_source.py": _DRIVERS,
    "drivers/scpi_voltmeter.py": _DRIVERS,
    "drivers/values.py": _DRIVERS,
    "drivers/wires.py": _DRIVERS,
    "drivers/lock.py": ["tests/benchapp/cli/test_off.py", "tests/faults/test_fuzz.py"],
}
# Operators whose change a type checker or a reader refuses at once, or that make hundreds of kin of one.
_LEFT_OUT = (
    "VariableReplacer",
    "VariableInserter",
    "_Is_",
    "_IsNot_",
    "RemoveDecorator",
    "BitXor",
    "Shift",
    "_Mod",
    "_Pow",
)


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
            if any(part in name for part in _LEFT_OUT):
                continue
            operator = get_operator(name)()
            count = sum(1 for node in nodes for _ in operator.mutation_positions(node))
            found += [Mutant(module, name, occurrence) for occurrence in range(count)]
    return found


def _nodes(tree: object) -> list[object]:
    children = getattr(tree, "children", [])
    return [tree, *(below for child in children for below in _nodes(child))]


def tried(mutant: Mutant, tree: Path) -> Result:
    """Put it in the place of the original, run the tests, put the original back."""
    path = tree / mutant.module
    before = path.read_bytes()
    path.write_text(mutant.source(), "utf-8")
    try:
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *TARGETS[mutant.module]]
        environment = os.environ | {"QT_QPA_PLATFORM": "offscreen", "PYTHONDONTWRITEBYTECODE": "1"}
        with subprocess.Popen(
            command, cwd=tree, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            start_new_session=True,
        ) as process:  # fmt: skip
            try:
                killed = process.wait(_LONGEST_S) != 0
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, 9)
                killed = True
    finally:
        path.write_bytes(before)
    return {"module": mutant.module, "operator": mutant.operator, "change": mutant.change(), "killed": killed}


def main() -> int:
    """Print what survived."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    mutants = all_mutants()
    total = len(mutants)
    random.Random(_SEED).shuffle(mutants)
    mutants = mutants[:wanted]
    with tempfile.TemporaryDirectory() as name:
        trees: queue.Queue[Path] = queue.Queue()
        for k in range(_WORKERS):
            tree = Path(name) / str(k)
            shutil.copytree(
                ROOT, tree, ignore=shutil.ignore_patterns(".venv", ".git", "__pycache__", ".*_cache", ".trials")
            )
            trees.put(tree)
        with concurrent.futures.ThreadPoolExecutor(_WORKERS) as pool:

            def in_some_tree(mutant: Mutant) -> Result:
                tree = trees.get()
                try:
                    return tried(mutant, tree)
                finally:
                    trees.put(tree)

            started: dict[int, concurrent.futures.Future[Result]] = {}

            def case(number: int) -> Result:
                for ahead in range(number, min(number + 2 * _WORKERS, len(mutants))):
                    if ahead not in started:
                        started[ahead] = pool.submit(in_some_tree, mutants[ahead])
                return started.pop(number).result()

            results = run_trial("mutants", len(mutants), case)
    survivors = [r for r in results if not r["killed"]]
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
