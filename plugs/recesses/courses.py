"""Plugs and forms along a curve: planes square to it may not cross within the section, nor it meet itself."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import Course
from plugs.lines.section import End
from plugs.lines.stations import Loft

Array = NDArray[np.float64]

_LEAST_GROWTH: Final = 0.05
"""Share of its thickness that a slice keeps on the inner side of a bend: as in `lines.checks`."""
_PER_SPAN: Final = 33  # places looked at between two breaks
_HALVINGS: Final = 20  # of the reach: to a millionth


def check_ends(front: End, rear: End, param: str = "") -> None:
    """Refuse raked ends along a curve.

    Parameters
    ----------
    front, rear : End
    param : str
        Where the recipe gives the form; nothing for the plug itself.

    Raises
    ------
    PlugError
        Such an end.
    """
    for end, word in ((front, "front"), (rear, "rear")):
        if end.rake_deg:
            place = f"{param}.{word}.rake_deg".lstrip(".")
            raise PlugError(
                param=place,
                value=end.rake_deg,
                reason="along a curve an end stands square to it",
                remedy="use 0, and cut it to a contour with mating if it has to lean",
                would_do=[(place, 0.0)],
            )


def checked_course(loft: Loft) -> Loft:
    """Return a section function, refused where it bends more sharply than its sections reach.

    Parameters
    ----------
    loft : Loft

    Returns
    -------
    Loft
        The same.

    Raises
    ------
    PlugError
        With the radius that would do, or how far a section may reach.
    """
    course = loft.table.course
    if course is None:
        return loft
    _check_rounded(loft, course)
    share = np.linspace(0.0, 1.0, _PER_SPAN)
    t = np.unique((loft.breaks[:-1, None] + np.diff(loft.breaks)[:, None] * share).ravel())
    at = loft.sections(t)
    count = at.rings.points.shape[1]
    ring = at.rings.at(np.repeat(np.arange(count), 4), np.tile([0.0, 0.25, 0.5, 0.75], count))
    aside = ring[..., 0 if course.is_plan else 1]
    low, high = aside.min(axis=1), aside.max(axis=1)
    bend = course.at(0.5 * (t + np.roll(t, -1)))[2][:-1]
    for i in np.flatnonzero(bend):
        reach = float(max(np.sign(bend[i]) * v for v in (*high[i : i + 2], *low[i : i + 2])))
        if 1.0 - abs(bend[i]) * reach < _LEAST_GROWTH:
            # with a larger radius the bend begins where the section may be larger
            farthest = float(high.max() if bend[i] > 0.0 else -low.min())
            _refuse_bend(course, float(t[i]), 1.0 / abs(float(bend[i])), reach, farthest)
    if not _is_apart(course, t, low, high, 1.0):
        _refuse_meeting(course, t, low, high)
    return loft


def _check_rounded(loft: Loft, course: Course) -> None:
    """Refuse an end that is rounded where the curve bends: there its blend would be no arc."""
    bent = np.flatnonzero(course.curvatures)
    if not len(bent):
        return
    for zone, word, row in ((loft.front, "front", bent[0]), (loft.rear, "rear", bent[-1] + 1)):
        if zone is None:
            continue
        edge = float(course.knots[row])
        room, taken = zone.sign * (zone.u_end - edge), abs(zone.u_end - zone.u_start)
        if taken > room + LENGTH:
            share = max(room, 0.0) / taken
            radii = {name: r for name, r in getattr(loft.table, word).radii(word).items() if r > 0.0}
            does = {name: float(np.floor(10.0 * share * radius) / 10.0) for name, radius in radii.items()}
            name, radius = max(radii.items(), key=lambda one: one[1])
            raise PlugError(
                param=name,
                value=radius,
                reason=f"its blend is {taken:.1f} mm long, and the curve runs straight for "
                f"{max(room, 0.0):.1f} mm there",
                remedy=f"use at most {does[name]:g}, or lead the curve straight on by {taken - room:.1f} mm",
                would_do=tuple(does.items()),
            )


def _refuse_bend(course: Course, u: float, radius: float, reach: float, farthest: float) -> None:
    """Raise the error of a bend whose planes cross within the section."""
    corner = course.corners[int(np.searchsorted(course.knots, u, side="right")) - 1]
    does = float(np.ceil(farthest / (1.0 - _LEAST_GROWTH)))
    raise PlugError(
        param=f"along.points[{corner}][2]",
        value=radius,
        reason=f"the section reaches {reach:.1f} mm to the inner side of this bend, {u:.0f} mm along the "
        "curve: planes square to the curve cross within it",
        remedy=f"use {does:g} or more, or a section that reaches {(1.0 - _LEAST_GROWTH) * radius:.1f} there",
        would_do=[(f"along.points[{corner}][2]", does)],
    )


def _is_apart(course: Course, u: Array, low: Array, high: Array, share: float) -> bool:
    """Return whether what the sections cover beside the curve, or a share of that, does not meet itself."""
    place, heading, _ = course.at(u)
    aside = np.stack([-np.sin(heading), np.cos(heading)], axis=1)
    lines = [place + share * reach[:, None] * aside for reach in (low, high)]
    return bool(shapely.Polygon(np.concatenate([lines[0], lines[1][::-1]])).is_valid)


def _refuse_meeting(course: Course, u: Array, low: Array, high: Array) -> None:
    """Raise the error of a plug or a form that runs into itself."""
    least, most = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (least + most)
        least, most = (middle, most) if _is_apart(course, u, low, high, middle) else (least, middle)
    reach = float(np.abs([low, high]).max())
    raise PlugError(
        param="along.points",
        value=f"{len(course.knots)} stretches",
        reason=f"the plug runs into itself: its sections reach up to {reach:.1f} mm from the curve",
        remedy=f"let them reach at most {np.floor(10.0 * least * reach) / 10.0:g} mm from it, or lead it "
        "farther apart",
    )
