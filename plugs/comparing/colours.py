"""The colours by which high and low are told apart."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.comparison import Comparison
from plugs.comparing.field import Field

PALETTE: Final = (
    "#1f3f9e", "#3f6fd0", "#78a6ea", "#b4d2f5", "#dfe9ee", "#e9e6d4", "#f3cf9c", "#eb9a5c", "#d65a36",
    "#a3201d", "#b9b9b9",
)  # fmt: skip
"""From low to high, blue to red, so that no one needs to tell green; grey where nothing was measured."""

BANDS: Final = len(PALETTE) - 1
"""Colours of what was measured."""

_LIMITS: Final = (0.25, 0.5, 1.0, 2.0, 2.5, 5.0, 10.0, 20.0, 50.0)  # mm, at the ends of the scale


def limit_of(found: Comparison) -> float:
    """Return the deviation at the ends of the scale of colours, mm.

    Parameters
    ----------
    found : Comparison

    Returns
    -------
    float, mm
        Round, and no less than 99 of 100 places have.
    """
    known = np.abs(found.field.values[found.field.is_known])
    most = max(float(np.percentile(known, 99.0)) if len(known) else 0.0, 2.0 * found.ask.tolerance)
    return next((limit for limit in _LIMITS if limit >= most), _LIMITS[-1])


def tints_of(field: Field, limit: float) -> NDArray[np.uint8]:
    """Return the number of each triangle's colour.

    Parameters
    ----------
    field : Field
    limit : float, mm
        At the ends of the scale.

    Returns
    -------
    (m,) uint8
        The last one where nothing was measured.
    """
    share = (np.nan_to_num(field.values) / limit + 1.0) * 0.5 * BANDS
    bands = np.clip(np.floor(share), 0, BANDS - 1).astype(np.uint8)
    return np.where(field.is_known, bands, BANDS).astype(np.uint8)


def with_sign(value: float, unit: str) -> str:
    """Return a deviation with its sign.

    Parameters
    ----------
    value : float, mm
    unit : str
        "mm" or "in".

    Returns
    -------
    str
    """
    text = f"{value:+.2f} mm" if unit == "mm" else f"{value / 25.4:+.3f} in"
    return text if float(text.split()[0]) else f"0 {unit}"
