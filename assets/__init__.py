"""Files that the program shows: fonts, pictures, default recipes. No code but the one function that finds them."""

from pathlib import Path


def asset(*parts: str) -> Path:
    """The path of a file in this folder."""
    return Path(__file__).parent.joinpath(*parts)
