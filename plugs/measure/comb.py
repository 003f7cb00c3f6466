"""A curvature comb: teeth across a fair curve, as long as it bends."""

from __future__ import annotations

import numpy as np

from plugs.ground.errors import PlugError
from plugs.measure.fairing import Fairing
from plugs.measure.pieces import Array


def curvature_comb(
    fairing: Fairing, scale: float | None = None, *, n_teeth: int = 201
) -> tuple[Array, Array]:
    """Return the teeth of a curvature comb.

    Parameters
    ----------
    fairing : Fairing
        The curve.
    scale : float or None, mm2
        Length of a tooth times the radius there; None makes the longest a tenth of the curve's extent.
    n_teeth : int
        How many, at even steps of the parameter.

    Returns
    -------
    tuple of ((n_teeth, 2) float, (n_teeth, 2) float), mm
        Where each tooth begins, on the curve, and where it ends, on the outer side of the bend.

    Raises
    ------
    PlugError
        The scale is negative or not finite, or there are fewer than two teeth.
    """
    if n_teeth < 2 or not (scale is None or 0.0 <= scale < np.inf):
        raise PlugError(
            param="curvature_comb",
            value=f"scale {scale}, {n_teeth} teeth",
            reason="a comb has at least two teeth, and their length is the scale over the radius",
            remedy="leave the scale out, and ask for 201 teeth",
        )
    s = np.linspace(0.0, 1.0, n_teeth, endpoint=not fairing.is_closed)
    begins, along, bend = fairing.at(s), fairing.tangent(s), fairing.curvature(s)
    if scale is None:
        most = float(np.abs(bend).max())
        scale = 0.1 * float(np.ptp(begins, axis=0).max()) / most if most > 0.0 else 0.0
    right = np.column_stack((along[:, 1], -along[:, 0]))
    return begins, begins + scale * bend[:, None] * right
