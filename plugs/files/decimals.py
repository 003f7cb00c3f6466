"""Many numbers as text at once, without needless zeros: one format with all of them, not one by one."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DECIMAL: Final = "%.14g"
"""Form of a number that is `rounded`: it has fewer digits, and ends at the last that is not 0."""

_LAST_BIT: Final = 1e-4
"""Of a step: so near to the middle of two, a product's last bit may fall on the wrong side."""


def rounded(values: Array, digits: int) -> Array:
    """Return numbers rounded as text rounds them, each by its own last bit; none is -0.

    Parameters
    ----------
    values : (...) float
    digits : int
        Decimals.

    Returns
    -------
    (...) float
    """
    steps = values * 10.0**digits
    found = np.rint(steps)
    near = np.nonzero(np.abs(np.abs(steps - found) - 0.5) < _LAST_BIT)
    found /= 10.0**digits
    found[near] = [round(value, digits) for value in values[near].tolist()]
    return np.asarray(found + 0.0)
