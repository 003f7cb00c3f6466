"""Cubic splines through measured points by least squares, with the fewest knots that do.

References
----------
P. Dierckx, *Curve and Surface Fitting with Splines*, Oxford University Press, 1993: how knots are added where
the residuals are large (FITPACK, which comes with scipy); from memory.
C. de Boor, *A Practical Guide to Splines*, Springer, 1978, chapter X: the recurrence by which a spline and
its derivatives are evaluated; from memory, compared with scipy's BSpline in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from plugs.ground.doors import compiled_part
from plugs.ground.records import record

Array = NDArray[np.float64]

DEGREE: Final = 3  # the least with a steady curvature
_LEAST_STEP: Final = 1e-9
"""Parameters of neighbouring points are at least this far apart, in a curve of length 1."""
_MOST_TRIALS: Final = 24  # trials of the smoothing at most
_MOST_REMOVALS: Final = 12  # of single knots, each tried by a fit of its own: the bound of the time
_LAST_FOUND: Final = 3
"""FITPACK's last flag that stands for a curve; those above are for none (its documentation, from memory)."""
_PARCUR: Final = "[t,c,o] = _parcur(x,w,u,ub,ue,k,iopt,ipar,s,t,nest,wrk,iwrk,per)"
"""What scipy's compiled module says that it takes and gives."""
_NARROWEST: Final = 0.02  # of the logarithm of the smoothing: no finer step is tried


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Spline:
    """A cubic B-spline in a plane, its parameter running from 0 to 1.

    Attributes
    ----------
    knots : (m + 4,) float, dimensionless
        Not decreasing; the ends fourfold, or going on periodically.
    coefficients : (m, 2) float, mm
        Control points.
    is_closed : bool
        Whether the curve ends where it begins, with the same tangent and curvature.
    """

    knots: Array
    coefficients: Array
    is_closed: bool

    @property
    def inner(self) -> Array:
        """Return the knots strictly between the two ends."""
        return self.knots[DEGREE + 1 : -DEGREE - 1]

    def at(self, s: Array, order: int = 0) -> Array:
        """Return points of the curve, or derivatives.

        Parameters
        ----------
        s : (n,) float, dimensionless
            Between 0 and 1; a closed curve goes round.
        order : int
            0 the point, 1 and 2 derivatives with respect to the parameter.

        Returns
        -------
        (n, 2) float, mm
        """
        return self._derivatives(s, (order,))[0]

    def _derivatives(self, s: Array, orders: Sequence[int]) -> list[Array]:
        """Return points or derivatives, one (n, 2) an order, as `at` does."""
        where = s % 1.0 if self.is_closed else np.clip(s, 0.0, 1.0)
        span = np.searchsorted(self.knots, where, side="right") - 1
        span = np.clip(span, DEGREE, len(self.coefficients) - 1)
        pull = [self.coefficients[span + back - DEGREE] for back in range(DEGREE + 1)]
        found = []
        for basis in _bases(self.knots, where, span, orders):
            total = np.zeros((len(where), self.coefficients.shape[1]))
            for point, share in zip(pull, basis, strict=True):
                total += point * share[:, None]
            found.append(total)
        return found

    def project(self, points: Array, s: Array, n_steps: int = 5) -> Array:
        """Return the parameter of the nearest point of the curve, searched from a first guess by Newton.

        Parameters
        ----------
        points : (n, 2) float, mm
            Near the curve.
        s : (n,) float, dimensionless
            First guess.
        n_steps : int
            Steps of Newton's method.

        Returns
        -------
        (n,) float, dimensionless
        """
        for _ in range(n_steps):
            place, first, second = self._derivatives(s, (0, 1, 2))
            away = place - points
            speed = (first * first).sum(axis=1)
            slope = speed + (away * second).sum(axis=1)
            slope = np.maximum(np.where(slope > 0.3 * speed, slope, speed), 1e-300)
            s = s - np.clip((away * first).sum(axis=1) / slope, -0.05, 0.05)
            s = s % 1.0 if self.is_closed else np.clip(s, 0.0, 1.0)
        return s


def least_squares(s: Array, points: Array, weights: Array, inner: Array, is_closed: bool) -> Spline | None:
    """Return the spline on given knots that has the least sum of squares.

    Parameters
    ----------
    s : (n,) float, dimensionless
        Where the points are along the curve, 0 to 1, in any order.
    points : (n, 2) float, mm
        The points.
    weights : (n,) float, dimensionless
        How strongly each point pulls.
    inner : (k,) float, dimensionless
        Knots strictly between 0 and 1.
    is_closed : bool
        Whether the curve is periodic.

    Returns
    -------
    Spline or None
        None when the knots lie closer than the points.
    """
    return _fitted(s, points, weights, is_closed, _all_knots(inner))


def smoothed(s: Array, points: Array, weights: Array, is_closed: bool, squares: float) -> Spline | None:
    """Return the smoothing spline whose sum of squares is as large as allowed, knots added as needed.

    Parameters
    ----------
    s : (n,) float, dimensionless
        Where the points are along the curve, 0 to 1, in any order.
    points : (n, 2) float, mm
        The points.
    weights : (n,) float, dimensionless
        How strongly each point pulls.
    is_closed : bool
        Whether the curve is periodic.
    squares : float, mm2
        Sum of the squared, weighted residuals.

    Returns
    -------
    Spline or None
        None when none was found.
    """
    return _fitted(s, points, weights, is_closed, squares)


def _all_knots(inner: Array) -> Array:
    """Return inner knots between fourfold ends."""
    return np.concatenate((np.zeros(DEGREE + 1), inner, np.ones(DEGREE + 1)))


def _bases(knots: Array, s: Array, span: NDArray[np.int64], orders: Sequence[int]) -> list[Array]:
    """Return the four splines that count in each span, or their derivatives: (4, n) for each order."""
    near = knots[span + np.arange(1 - DEGREE, DEGREE + 1)[:, None]]
    left, right = near[:DEGREE], near[DEGREE:]  # of a span no knot to the left is one to the right

    def raised(basis: Array, is_slope: bool) -> Array:
        degree = len(basis)
        begin, end = left[DEGREE - degree :], right[:degree]
        share = degree * basis / (end - begin) if is_slope else basis / (end - begin)
        higher = np.zeros((degree + 1, len(s)))
        higher[1:] = share if is_slope else share * (s - begin)
        higher[:-1] += -share if is_slope else share * (end - s)
        return higher

    plain = [np.ones((1, len(s)))]  # of each degree
    for _ in range(DEGREE - min(orders)):
        plain.append(raised(plain[-1], is_slope=False))
    found = []
    for order in orders:
        basis = plain[DEGREE - order]
        for _ in range(order):
            basis = raised(basis, is_slope=True)
        found.append(basis)
    return found


def _fitted(s: Array, points: Array, weights: Array, is_closed: bool, asked: Array | float) -> Spline | None:
    """Return what FITPACK makes of the points with knots or a sum of squares; None if it finds no answer."""
    order = np.argsort(s, kind="stable")
    s = np.concatenate(([0.0], np.cumsum(np.maximum(np.diff(s[order]), _LEAST_STEP))))
    points, weights = points[order], weights[order]
    if is_closed:
        # the period begins and ends at the first point
        s = np.append(s / max(1.0, s[-1] + _LEAST_STEP), 1.0)
        points, weights = np.vstack((points, points[:1])), np.append(weights, weights[0])
    else:
        s = s / s[-1]
    if len(points) <= DEGREE:
        return None
    try:
        knots, coefficients, flag = _parcur(points, weights, s, is_closed, asked)
    except (ValueError, TypeError):
        # raised for knots that no points support
        return None
    if flag > _LAST_FOUND or not np.isfinite(coefficients).all():
        return None
    return Spline(knots=knots, coefficients=coefficients, is_closed=is_closed)


def _parcur(
    points: Array, weights: Array, s: Array, is_closed: bool, asked: Array | float
) -> tuple[Array, Array, int]:
    """Return knots, coefficients and flag of FITPACK's curve through points."""
    is_given = isinstance(asked, np.ndarray)
    compiled = _compiled_parcur()
    if compiled is None:
        from scipy.interpolate import splprep

        words: dict[str, Any] = {"task": -1, "t": asked} if is_given else {"s": asked}
        (answer, _), _, flag, _ = splprep(
            points.T, w=weights, u=s, ub=0.0, ue=1.0, per=int(is_closed), full_output=1, quiet=2, **words
        )
        return np.asarray(answer[0]), np.column_stack(answer[1]), flag
    most = max(len(points) + 2 * DEGREE, 2 * DEGREE + 3)
    task, knots = (-1, asked) if is_given else (0, np.empty(0))
    squares = len(points) - math.sqrt(2 * len(points)) if is_given else asked
    knots, flat, told = compiled(
        points.ravel(), weights, s, 0.0, 1.0, DEGREE, task, True, squares, knots, most,
        np.empty(0), np.empty(0, dtype=np.intc), int(is_closed),
    )  # fmt: skip
    return knots, np.column_stack(flat.reshape(2, -1)), told["ier"]


def _compiled_parcur() -> Callable[..., Any] | None:
    """Return what scipy.interpolate.splprep passes its work on to, None if this scipy has none such."""
    found = getattr(compiled_part("interpolate", "_fitpack"), "_parcur", None)
    told = (getattr(found, "__doc__", None) or "").strip()
    return cast("Callable[..., Any]", found) if told == _PARCUR else None


def fewest_knots(
    s: Array,
    points: Array,
    weights: Array,
    is_closed: bool,
    squares: float,
    is_good: Callable[[Spline], bool],
) -> Spline | None:
    """Return the least-squares spline on the fewest knots that is good enough.

    FITPACK says where knots help most for an allowed sum of squares. That sum is moved until one is good and
    a larger one is not, then halved in its logarithm between the two. Then single knots are taken away as
    long as the curve stays good.

    Parameters
    ----------
    s : (n,) float, dimensionless
        Where the points are along the curve, 0 to 1, in any order.
    points : (n, 2) float, mm
        The points.
    weights : (n,) float, dimensionless
        How strongly each point pulls.
    is_closed : bool
        Whether the curve is periodic.
    squares : float, mm2
        Sum of squares to begin with.
    is_good : callable
        Says whether a curve will do.

    Returns
    -------
    Spline or None
        None when no number of knots was good.
    """
    start = least_squares(s, points, weights, np.empty(0), is_closed)
    if start is not None and is_good(start):
        return start
    best: Spline | None = None
    good, bad = -math.inf, math.inf
    n_bad, step, at = 0, 0.7, math.log(squares)
    for _ in range(_MOST_TRIALS):
        trial = smoothed(s, points, weights, is_closed, math.exp(at))
        fit = None if trial is None else least_squares(s, points, weights, trial.inner, is_closed)
        if fit is not None and is_good(fit):
            best, good = fit, at
        else:
            bad, n_bad = at, n_bad if trial is None else max(n_bad, len(trial.inner))
        if best is not None and (len(best.inner) <= n_bad + 1 or bad - good < _NARROWEST):
            break
        if math.isinf(bad - good):
            at, step = at + math.copysign(step, -1.0 if best is None else 1.0), 1.5 * step
        else:
            at = 0.5 * (good + bad)
    return None if best is None else _thinned(s, points, weights, best, is_good)


def _thinned(
    s: Array, points: Array, weights: Array, best: Spline, is_good: Callable[[Spline], bool]
) -> Spline:
    """Return a spline from which no knot of those that matter least can be taken."""
    budget = _MOST_REMOVALS
    is_thinner = True
    while is_thinner and len(best.inner):
        is_thinner = False
        for k in np.argsort(_jumps(best), kind="stable")[:budget]:
            budget -= 1
            fit = least_squares(s, points, weights, np.delete(best.inner, k), best.is_closed)
            if fit is not None and is_good(fit):
                best, is_thinner = fit, True
                break
    return best


def _jumps(spline: Spline) -> Array:
    """Return how much each inner knot matters: the jump of the third derivative by the spans beside it."""
    edges = np.concatenate(([0.0], spline.inner, [1.0]))
    middles, spans = 0.5 * (edges[:-1] + edges[1:]), np.diff(edges)
    jumps = np.linalg.norm(np.diff(spline.at(middles, 3), axis=0), axis=1)
    return np.asarray(jumps * np.minimum(spans[:-1], spans[1:]) ** 3, dtype=np.float64)
