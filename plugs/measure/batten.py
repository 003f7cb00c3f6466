"""Fairing along the length: what a batten does that is pressed against limits at the stations."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, LENGTH

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

TOLERANCE: Final = 1.0
"""mm. Default largest change of an offset at a station (common practice, no source)."""

_PULL: Final = 1e-6
"""Pull of the measured offsets against the stiffness of the batten: decides only where no bending does."""
_AT_LIMIT: Final = 1e-6
"""Share of the tolerance within which an offset has reached its limit."""
_MOST_STATIONS: Final = 500  # the system is dense, and its time goes with their cube


@record(frozen=True, slots=True, kw_only=True, eq=False)
class BattenFairing:
    """A line faired along the length.

    Attributes
    ----------
    stations : (n,) float, mm
        Positions, increasing.
    offsets : (n, d) float, mm
        The faired offsets at the stations.
    residuals : (n, d) float, mm
        Faired less measured.
    at_limit : (n, d) bool
        Where the line lies as far from the measured offset as it may.
    bending : (d,) float, mm2/mm3
        Integral of the squared second derivative along the length, of each column.
    tolerance : float, mm
        What was asked for.
    largest, rms : float, mm
        Largest residual, and root of the mean square of all.
    """

    stations: Array
    offsets: Array
    residuals: Array
    at_limit: Flags
    bending: Array
    tolerance: float
    largest: float
    rms: float

    def at(self, x: Array, order: int = 0) -> Array:
        """Return the faired line between the stations, a natural cubic spline.

        Parameters
        ----------
        x : (k,) float, mm
            Positions between the first and the last station.
        order : int
            0 the offsets, 1 and 2 their derivatives with respect to x.

        Returns
        -------
        (k, d) float, mm
        """
        from scipy.interpolate import CubicSpline

        found: Array = CubicSpline(self.stations, self.offsets, bc_type="natural")(x, nu=order)
        return found


def fair_line(stations: Array, offsets: Array, tolerance: float = TOLERANCE) -> BattenFairing:
    """Return the line that bends least while it stays near the measured offset at every station.

    Of all curves within the tolerance at all stations, the natural cubic spline found here has the least
    integral of its squared second derivative, as a thin batten between pegs on both sides has. Where
    several bend equally little, as straight lines do, the one nearest the measured offsets is taken.

    Parameters
    ----------
    stations : (n,) float, mm
        Positions, increasing, n >= 2.
    offsets : (n, d) or (n,) float, mm
        Measured offsets of the line: one or more columns, each faired for itself.
    tolerance : float, mm
        Largest change of an offset.

    Returns
    -------
    BattenFairing

    Raises
    ------
    PlugError
        Stations do not increase, offsets are not finite or not one row to a station, or the tolerance is
        negative.

    References
    ----------
    P. J. Green and B. W. Silverman, *Nonparametric Regression and Generalized Linear Models*, Chapman & Hall,
    1994, chapter 2: the integral as a quadratic form of the values at the knots, f' Q R^-1 Q' f. From memory;
    held by a test against the integral itself.
    """
    x, measured = _checked(stations, offsets, tolerance)
    faired = measured.copy()
    bend = _bending_root(x)
    if len(x) > 2 and tolerance > 0.0:
        faired = np.column_stack([_least_bending(bend, column, tolerance) for column in measured.T])
    residuals = faired - measured
    return BattenFairing(
        stations=_locked(x),
        offsets=_locked(faired),
        residuals=_locked(residuals),
        at_limit=np.abs(residuals) >= tolerance * (1.0 - _AT_LIMIT),
        bending=_locked(((bend @ faired) ** 2).sum(axis=0)),
        tolerance=tolerance,
        largest=float(np.abs(residuals).max()),
        rms=float(np.sqrt(np.mean(residuals**2))),
    )


def _checked(stations: Array, offsets: Array, tolerance: float) -> tuple[Array, Array]:
    """Return stations and offsets as arrays, or raise."""
    x, measured = np.array(stations, dtype=np.float64), np.array(offsets, dtype=np.float64)
    measured = measured[:, None] if measured.ndim == 1 else measured
    if x.ndim != 1 or not 2 <= len(x) <= _MOST_STATIONS or measured.ndim != 2 or len(measured) != len(x):
        raise PlugError(
            param="offsets",
            value=f"{measured.shape} for stations {x.shape}",
            reason=f"a line has one row of offsets to each station, and 2 to {_MOST_STATIONS} stations",
            remedy=f"give {x.shape[0] if x.ndim == 1 else 'as many'} rows",
        )
    for name, array in (("stations", x), ("offsets", measured)):
        wrong = np.argwhere(~(np.abs(array) <= LARGEST))
        if len(wrong):
            place = ", ".join(str(k) for k in wrong[0])
            raise PlugError(
                param=f"{name}[{place}]",
                value=float(array[tuple(wrong[0])]),
                reason=f"it is not a number, or farther out than {LARGEST / 1000.0:g} m",
                remedy="measure it again",
            )
    back = np.flatnonzero(np.diff(x) <= LENGTH)
    if len(back):
        k = int(back[0])
        raise PlugError(
            param=f"stations[{k + 1}]",
            value=float(x[k + 1]),
            reason=f"it does not lie behind the station before it, at {x[k]:g}",
            remedy="give the stations in order, each once",
        )
    if not 0.0 <= tolerance <= LARGEST:
        remedy = f"give a length such as {TOLERANCE:g}, or 0 to keep every offset"
        raise PlugError(param="tolerance", value=tolerance, reason="it is no distance", remedy=remedy)
    return x, measured


def _bending_root(x: Array) -> Array:
    """Return B with |B f|^2 the integral of the squared second derivative of the natural spline through f.

    The second derivatives at the inner stations are R^-1 Q' f, and the integral is f' Q R^-1 Q' f; B is
    L^-1 Q' with R = L L'.
    """
    n, h = len(x), np.diff(x)
    if n < 3:
        return np.zeros((1, n))
    rows = np.arange(n - 2)
    q = np.zeros((n - 2, n))
    q[rows, rows], q[rows, rows + 2] = 1.0 / h[:-1], 1.0 / h[1:]
    q[rows, rows + 1] = -1.0 / h[:-1] - 1.0 / h[1:]
    r = np.diag((h[:-1] + h[1:]) / 3.0) + np.diag(h[1:-1] / 6.0, 1) + np.diag(h[1:-1] / 6.0, -1)
    return np.linalg.solve(np.linalg.cholesky(r), q)


def _least_bending(bend: Array, measured: Array, tolerance: float) -> Array:
    """Return the values within the tolerance of the measured ones whose spline bends least."""
    from scipy.optimize import lsq_linear

    # in units of the tolerance, and of the stiffest bending, so that the small pull means the same always
    stiff = bend / np.linalg.norm(bend, 2)
    n = len(measured)
    system = np.vstack((stiff, _PULL * np.eye(n)))
    answer = lsq_linear(
        system,
        np.concatenate((-stiff @ (measured / tolerance), np.zeros(n))),
        bounds=(-1.0, 1.0),
        method="bvls",
        tol=1e-14,
        max_iter=50 * n,
    )
    if not answer.success:
        raise AssertionError(f"the batten found no rest: {answer.message}")
    return np.asarray(measured + tolerance * np.clip(answer.x, -1.0, 1.0), dtype=np.float64)


def _locked(array: Array) -> Array:
    """Return an array made read-only."""
    array.setflags(write=False)
    return array
