"""A fair curve as a drawing: the curve, the measured points, those left out, and the curvature comb."""

from __future__ import annotations

import numpy as np

from plugs.drafting.picture import LABELS, Array, Drawing, Label, Path
from plugs.measure.comb import curvature_comb
from plugs.measure.fairing import Fairing

CURVE = "CURVE"
COMB = "COMB"
POINTS = "POINTS"
LEFT_OUT = "LEFT_OUT"

_N_CURVE = 401
_TEXT_RATIO = 0.02


def draw_fairing(
    fairing: Fairing, points: Array, *, name: str, title: str, scale: float | None = None
) -> Drawing:
    """Return the picture of a fair curve.

    Parameters
    ----------
    fairing : Fairing
        The curve.
    points : (n, 2) float, mm
        The points it was made from, in their order.
    name : str
        Short name, fit for a file name.
    title : str
        What the drawing shows, for people.
    scale : float or None, mm2
        Length of a tooth of the comb times the radius there; None fits the comb to the curve.

    Returns
    -------
    Drawing
        Curve, comb and points, those left out crossed, with the residuals in words.

    Raises
    ------
    AssertionError
        There are not as many points as residuals.
    """
    if len(points) != len(fairing.residuals):
        raise AssertionError(f"drawing {name!r}: {len(points)} points, {len(fairing.residuals)} residuals")
    s = np.linspace(0.0, 1.0, _N_CURVE, endpoint=not fairing.is_closed)
    begins, ends = curvature_comb(fairing, scale)
    curve = fairing.at(s)
    height = _TEXT_RATIO * float(np.ptp(curve, axis=0).max())
    paths = [_path(curve, CURVE, fairing.is_closed), _path(ends, COMB, fairing.is_closed)]
    paths += [
        _path(np.array(tooth), COMB)
        for tooth in zip(begins, ends, strict=True)
        if np.ptp(tooth, axis=0).any()
    ]
    out = {left.index for left in fairing.left_out}
    paths += _crosses(np.asarray(points, dtype=np.float64), out, 0.15 * height)
    low = np.vstack((curve, ends)).min(axis=0)
    words = (
        title,
        f"residuals: largest {fairing.largest:.3f}, rms {fairing.rms:.3f}, allowed {fairing.tolerance:g} mm",
        f"{fairing.n_knots} knots, {len(points)} points, {len(out)} left out",
    )
    labels = tuple(
        Label(
            text=text,
            at=(float(low[0]), float(low[1]) - (2.0 + 1.6 * k) * height),
            height=height,
            dxf_layer=LABELS,
        )
        for k, text in enumerate(words)
    )
    return Drawing(name=name, title=title, paths=tuple(paths), labels=labels)


def _crosses(points: Array, out: set[int], arm: float) -> list[Path]:
    """Return a small cross at each point, a large one at each that was left out."""
    strokes = (np.array([[-1.0, -1.0], [1.0, 1.0]]), np.array([[-1.0, 1.0], [1.0, -1.0]]))
    return [
        _path(point + (4.0 if index in out else 1.0) * arm * stroke, LEFT_OUT if index in out else POINTS)
        for index, point in enumerate(points)
        for stroke in strokes
    ]


def _path(points: Array, dxf_layer: str, is_closed: bool = False) -> Path:
    """Return a line of straight segments."""
    return Path(points=points, bulges=np.zeros(len(points)), is_closed=is_closed, dxf_layer=dxf_layer)
