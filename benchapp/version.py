"""The version of this program, as installed."""

from importlib.metadata import version

VERSION = version("benchapp")
