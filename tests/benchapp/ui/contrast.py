"""Contrast as WCAG 2 defines it, and differences of colours as eyes of several kinds see them."""

import itertools

import numpy as np
from colorspacious import cspace_convert, deltaE


def luminance(colour: str) -> float:
    """Relative luminance of "#RRGGBB"."""
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(first: str, second: str) -> float:
    """Contrast ratio from 1 to 21."""
    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


KINDS_OF_SIGHT = ("normal", "protanomaly", "deuteranomaly", "tritanomaly")


def least_difference(colours: list[str], sight: str) -> float:
    """Smallest deltaE in CAM02-UCS between any two of "#RRGGBB" colours.

    Dichromats by the model of Machado, Oliveira and Fernandes (2009), severity 100.
    """
    seen = [_seen(colour, sight) for colour in colours]
    return min(float(deltaE(a, b, input_space="sRGB1")) for a, b in itertools.combinations(seen, 2))


def _seen(colour: str, sight: str) -> np.ndarray:
    rgb = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    if sight == "normal":
        return rgb
    space = {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}
    converted: np.ndarray = np.clip(cspace_convert(rgb, space, "sRGB1"), 0, 1)
    return converted
