"""Figures as the summary and remedies hold them."""

from __future__ import annotations

import math


def rounded(value: float, least: float = 1e-12) -> float:
    """Return a figure to 9 significant digits.

    Parameters
    ----------
    value : float, in any unit
    least : float, in the same unit
        What is smaller is 0.

    Returns
    -------
    float, in the same unit

    Raises
    ------
    AssertionError
        The figure is not finite.
    """
    value = float(value)
    if not math.isfinite(value):
        raise AssertionError("a figure of the summary is not finite")
    return 0.0 if abs(value) < least else float(f"{value:.9g}")


def tenth_up(size: float) -> float:
    """Return a size rounded up to 0.1 mm, so that whoever follows it has no less.

    Parameters
    ----------
    size : float, mm

    Returns
    -------
    float, mm
    """
    return math.ceil(10.0 * size - 1e-6) / 10.0
