"""Each contract of pyproject.toml breaks when one tries what it forbids."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
OFFENCES = {
    "layers": [
        ("benchapp/analysis/blocks.py", "import benchapp.run.session"),
        ("benchapp/result/card.py", "import benchapp.cli"),
    ],
    "alone": [("drivers/wires.py", "import benchapp.quantity"), ("sim/bench.py", "import benchapp.quantity")],
    "apart": [("drivers/wires.py", "import sim.bench"), ("sim/bench.py", "import drivers.wires")],
    "analysis": [
        ("benchapp/analysis/blocks.py", f"import {name}")
        for name in ("PySide6.QtCore", "pyqtgraph", "sqlite3", "sim.bench", "drivers.wires", "pyvisa", "pint")
    ],
    "qt": [("benchapp/run/session.py", "import PySide6.QtCore"), ("drivers/link.py", "from PySide6 import QtCore")],
    "plots": [("benchapp/ui/window.py", "import pyqtgraph"), ("benchapp/run/session.py", "import pyqtgraph")],
    "sql": [("benchapp/run/session.py", "import sqlite3"), ("benchapp/ui/window.py", "import sqlite3")],
    "simulated": [("benchapp/run/session.py", "import sim.bench"), ("benchapp/bench/bench.py", "import sim.world")],
}


def test_all_contracts_are_tried() -> None:
    table = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert {contract["id"] for contract in table["tool"]["importlinter"]["contracts"]} == set(OFFENCES)


@pytest.mark.parametrize("contract", OFFENCES)
def test_contract_breaks(contract: str, tmp_path: Path) -> None:
    for package in ("benchapp", "drivers", "sim"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    assert _kept(contract, tmp_path)
    for file, offence in OFFENCES[contract]:
        path = tmp_path / file
        whole = path.read_text("utf-8")
        path.write_text(f"{whole}\n{offence}\n", "utf-8")
        assert not _kept(contract, tmp_path), f"{offence} in {file}"
        path.write_text(whole, "utf-8")


def _kept(contract: str, folder: Path) -> bool:
    program = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run(
        [program, "--no-logo", "--contract", contract], cwd=folder, capture_output=True, text=True, timeout=60
    )
    assert "Contracts:" in done.stdout, done.stdout + done.stderr
    return done.returncode == 0
