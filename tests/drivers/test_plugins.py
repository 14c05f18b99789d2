"""The example package is installed and used as a stranger's would be."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from drivers.dialect import load_dialect
from drivers.errors import DialectError
from drivers.plugins import load_driver
from drivers.scpi_source import ScpiSource

EXAMPLE = Path(__file__).with_name("example_package")


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("installed")
    source = tmp_path_factory.mktemp("source") / "package"
    shutil.copytree(EXAMPLE, source)  # building leaves files beside the package
    command = [sys.executable, "-m", "pip", "install", "-q", "--no-index", "--no-deps", "--no-build-isolation"]
    subprocess.run([*command, "--target", str(folder), str(source)], check=True, timeout=100)
    return folder


def test_an_installed_driver_measures(installed: Path, tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(installed), "BENCHAPP_DATA": str(tmp_path)}
    command = [sys.executable, "-m", "benchapp.cli.main", "measure", "--scenario", "shunt", "--speed", "40"]
    command += ["--blocks", "12", "--source-dialect", "inverting", "--json", "-"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60)
    assert done.returncode == 4, done.stderr  # not valid
    # The example inverts the current, so R comes out negative and the program says that leads are exchanged.
    result = json.loads(done.stdout)
    assert result["resistance_ohm"] == pytest.approx(-250e-6, rel=1e-3)
    assert "sense-reversed" in [reason["code"] for reason in result["reasons"]]


def test_a_name_without_an_entry_point_is_a_dialect() -> None:
    driver = load_driver("ledger", "source")
    assert driver.dialect == load_dialect("ledger", "source")
    assert driver.make is ScpiSource
    with pytest.raises(DialectError, match="there is no source dialect"):
        load_driver("nonsense", "source")
