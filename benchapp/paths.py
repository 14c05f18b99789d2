"""Where the user's own files lie: settings and record, by the customs of the system."""

from __future__ import annotations

import os
from pathlib import Path

_NAME = "benchapp"


def config_folder() -> Path:
    """$BENCHAPP_CONFIG, else the user's configuration folder."""
    if folder := os.environ.get("BENCHAPP_CONFIG"):
        return Path(folder)
    import platformdirs

    return platformdirs.user_config_path(_NAME, appauthor=False, roaming=True)


def data_folder() -> Path:
    """$BENCHAPP_DATA, else the user's data folder."""
    if folder := os.environ.get("BENCHAPP_DATA"):
        return Path(folder)
    import platformdirs

    return platformdirs.user_data_path(_NAME, appauthor=False)


def runtime_folder() -> Path:
    """$BENCHAPP_RUNTIME, else the user's folder for what lives no longer than the programs: locks."""
    if folder := os.environ.get("BENCHAPP_RUNTIME"):
        return Path(folder)
    import platformdirs

    return platformdirs.user_runtime_path(_NAME, appauthor=False)
