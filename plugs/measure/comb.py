"""How a fair curve bends: the teeth of a curvature comb, and where it bends most."""

from __future__ import annotations

from typing import Final

import numpy as np

from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST
from plugs.measure.fairing import Fairing
from plugs.measure.runs import Array

_PLACES: Final = 1001
"""Where the bending is looked at: a cubic with some 30 pieces changes slowly between so many."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class FairLine:
    """A faired curve of a plug.

    Attributes
    ----------
    drawing : str
        Of which it is a part, such as "station-1" or "contour-1".
    seen : str
        What that shows, for people.
    name : str
        Of its panel, or of the mating face.
    where : str
        Its place in the recipe.
    curve : Fairing
    """

    drawing: str
    seen: str
    name: str
    where: str
    curve: Fairing

    def tightest(self) -> tuple[float | None, tuple[float, float]]:
        """Return where the curve bends most.

        Returns
        -------
        tuple of (float or None, mm) and (tuple of 2 float, mm)
            The radius there, None of a straight line; the place.
        """
        s = np.linspace(0.0, 1.0, _PLACES, endpoint=not self.curve.is_closed)
        bend = np.abs(self.curve.curvature(s))
        most = int(np.argmax(bend))
        y, z = self.curve.at(s[most : most + 1])[0]
        is_straight = bend[most] * LARGEST <= 1.0
        return None if is_straight else float(1.0 / bend[most]), (float(y), float(z))


def curvature_comb(fairing: Fairing, scale: float, n_teeth: int) -> tuple[Array, Array]:
    """Return the teeth of a curvature comb.

    Parameters
    ----------
    fairing : Fairing
        The curve.
    scale : float, mm2
        Length of a tooth times the radius there.
    n_teeth : int
        How many, at even steps of the parameter; two or more.

    Returns
    -------
    tuple of ((n_teeth, 2) float, (n_teeth, 2) float), mm
        Where each tooth begins, on the curve, and where it ends, on the outer side of the bend.
    """
    s = np.linspace(0.0, 1.0, n_teeth, endpoint=not fairing.is_closed)
    begins, along, bend = fairing.at(s), fairing.tangent(s), fairing.curvature(s)
    right = np.column_stack((along[:, 1], -along[:, 0]))
    return begins, begins + scale * bend[:, None] * right
