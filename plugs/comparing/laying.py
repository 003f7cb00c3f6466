"""How what was measured is laid on the plug, what is said of it, and when that is refused."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.aligning import (
    LEAST_HOLD,
    ON_BOARD,
    STILL,
    WAYS,
    Fitted,
    Pose,
    fitted,
    fitted_pairs,
    middling,
    rivals,
)
from plugs.comparing.surface import Surface
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.units import format_fine, format_length
from plugs.words.ways import called

Array = NDArray[np.float64]

PROBED: Final = "probed"
DATUMS: Final = "datums"
BEST: Final = "best"

_UNITS: Final = {"inches": 25.4, "cm": 10.0, "metres": 1000.0, "feet": 304.8}
_NEAR_RATIO: Final = 1.2  # a box so near a unit's ratio to the plug's is in that unit
_FAR_RATIO: Final = 0.02  # of the size: when half of the points lie farther off, they are not on the plug
_LOOSE_RATIO: Final = 0.004  # of the size: a best fit that is no closer is none
_TURNED_DEG: Final = 45.0  # a fit that turns it by less is the one that was meant
_FEW: Final = 3  # times: a mirrored set must fit so much better to be said so
_LEAST_POINTS: Final = 6  # for a best fit: as many as there are ways to move
_IN_LINE: Final = 0.02  # of the longest extent: datum points that lie so near one line hold no turn about it
_ONE_PLACE: Final = 0.1  # mm. Datum points that lie no farther apart are one
_WORDS: Final = {
    "x": "slides along x, lengthwise",
    "y": "slides along y, sideways",
    "z": "slides along z, up and down",
    "about-x": "turns about x, as it rolls",
    "about-y": "turns about y, as it pitches",
    "about-z": "turns about z, as it swings",
}


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """What was measured, laid on the plug.

    Attributes
    ----------
    how : str
        "probed", "datums" or "best".
    pose : Pose
    locked : tuple of str
    fitted : Fitted or None
        Of a best fit.
    misses : (n,) float, mm
        How far each datum point still lies from its place; empty without any.
    """

    how: str
    pose: Pose
    locked: tuple[str, ...]
    fitted: Fitted | None
    misses: Array

    def told(self, unit: str) -> list[str]:
        """Return what was done, and how sure it is.

        Parameters
        ----------
        unit : str
            "mm" or "in", of the lengths.

        Returns
        -------
        list of str
        """
        if self.how == PROBED:
            return ["as probed: nothing was moved"]
        x, y, z = (format_length(float(v), unit) for v in self.pose.move)
        moved = (
            f"turned by {self.pose.angle_deg:.2f} degrees, and moved by {x} along x, {y} along y, {z} along z"
        )
        if self.fitted is None:
            worst = format_fine(float(self.misses.max()), unit)
            return [
                f"by {len(self.misses)} datum points: {moved}",
                f"they miss their places by at most {worst}",
            ]
        one = self.fitted
        locked = f", {', '.join(self.locked)} locked" if self.locked else ""
        slide, turn = 2.0 * float(one.sure[:3].max()), 2.0 * float(one.sure[3:].max())
        weak = WAYS[int(np.argmax(np.abs(one.weakest)))]
        per, digits = (1.0, 3) if unit == "mm" else (25.4, 4)
        scatter = format_fine(one.scale, unit)
        far = format_fine(1.0 / float(np.sqrt(one.hold)), unit)
        return [
            f"by best fit{locked}: {moved}",
            f"{100.0 * one.counted:.0f} % of the points count and scatter by {scatter}",
            f"sure to {slide / per:.{digits}f} {unit} and {turn:.2g} degrees, two standard deviations of "
            "the points' own scatter",
            f"least held as it {_WORDS[weak]}: {format_fine(1.0, unit)} of shape amiss may shift it by {far}",
        ]


def locks_of(words: Sequence[str]) -> tuple[str, ...]:
    """Return the ways that are locked.

    Parameters
    ----------
    words : sequence of str
        Of `WAYS`, or "board".

    Returns
    -------
    tuple of str
        In the order of `WAYS`.

    Raises
    ------
    PlugError
        Another word.
    """
    asked = [word.strip() for part in words for word in part.split(",")]
    strange = [word for word in asked if word not in (*WAYS, "board")]
    if strange:
        raise PlugError(
            param="--lock",
            value=strange[0],
            reason="it is no way in which what was measured could move",
            remedy=f"use board (it stands on its board: {', '.join(ON_BOARD)} are locked), or some of "
            + ", ".join(WAYS),
        )
    ways = {way for word in asked for way in (ON_BOARD if word == "board" else (word,))}
    return tuple(way for way in WAYS if way in ways)


def lay(
    points: Array,
    surface: Surface,
    how: str,
    locked: tuple[str, ...] = (),
    datums: tuple[Array, Array] | None = None,
) -> Laid:
    """Return how what was measured lies on the plug.

    Parameters
    ----------
    points : (n, 3) float, mm
    surface : Surface
    how : str
        "probed", "datums" or "best".
    locked : tuple of str
        Ways in which a best fit may not move it.
    datums : tuple of two (k, 3) float, mm, or None
        Points as measured, and where they lie on the plug.

    Returns
    -------
    Laid

    Raises
    ------
    PlugError
        Too few points, or such as hold it in too few ways; in another unit, mirrored, or far from the plug.
    """
    if how == DATUMS:
        if datums is None:
            raise PlugError(
                param="--datums",
                value="(none)",
                reason="there are no datum points to lay it by",
                remedy="name a CSV file with 3 rows or more of x, y, z, plug x, plug y, plug z",
            )
        pose, misses = _by_datums(*datums)
        laid = Laid(how=how, pose=pose, locked=(), fitted=None, misses=misses)
    elif how == PROBED or not len(points):
        laid = Laid(how=PROBED, pose=STILL, locked=(), fitted=None, misses=np.empty(0))
    else:
        found = _best(points, surface, locked)
        laid = Laid(how=how, pose=found.pose, locked=locked, fitted=found, misses=np.empty(0))
    if len(points) and laid.fitted is None:
        _check_near(points, surface, laid)
    return laid


def _by_datums(points: Array, places: Array) -> tuple[Pose, Array]:
    """Return the pose by datum points, if they hold it."""
    if len(points) < 3:
        raise _datum_fault(
            f"{len(points)} points", "three points hold a thing, fewer do not", "give 3 or more"
        )
    for which, name in ((points, "as measured"), (places, "on the plug")):
        extent = np.linalg.svd(which - which.mean(axis=0), compute_uv=False)
        if extent[0] <= _ONE_PLACE:
            raise _datum_fault(
                f"{len(points)} points", f"{name} they are all in one place", "give 3 or more, far apart"
            )
        if extent[1] <= _IN_LINE * extent[0]:
            raise _datum_fault(
                f"{len(points)} points",
                f"{name} they lie in one line, about which it could still turn",
                f"add a point {max(0.2 * float(extent[0]), 10.0):.0f} mm or more to one side of that line",
            )
    spread = [float(np.sqrt(((p - p.mean(axis=0)) ** 2).sum())) for p in (points, places)]
    hint = _unit_hint(spread[0] / spread[1])
    if hint:
        raise _datum_fault(f"{len(points)} points", hint, "write the unit that they were measured in")
    pose, misses = fitted_pairs(points, places)
    _, mirrored = fitted_pairs(points * np.array([1.0, -1.0, 1.0]), places)
    if len(points) > 3 and _FEW * float(mirrored.max()) < float(misses.max()) and misses.max() > 1.0:
        raise _datum_fault(
            f"{len(points)} points",
            f"they miss their places by up to {misses.max():.1f} mm, and mirrored by {mirrored.max():.1f} mm",
            f"change the sign of y as measured: {called().right} is +",
        )
    return pose, misses


def _datum_fault(value: str, reason: str, remedy: str) -> PlugError:
    """Return an error about datum points."""
    return PlugError(param="--datums", value=value, reason=reason, remedy=remedy)


def _best(points: Array, surface: Surface, locked: tuple[str, ...]) -> Fitted:
    """Return the best fit, if there is one and it is the only one."""
    if len(points) < _LEAST_POINTS:
        raise PlugError(
            param="measured",
            value=f"{len(points)} points",
            reason="so few fit in many ways",
            remedy=f"measure {_LEAST_POINTS} or more, some hundred if you can, or lay them --by probed",
        )
    ratio = _extent(points) / surface.size
    hint = _unit_hint(ratio)
    if hint and not 0.3 < ratio < 3.0:
        raise _unit_fault(ratio, hint)
    found = fitted(points, surface, locked)
    if found.hold < LEAST_HOLD and found.scale < _LOOSE_RATIO * surface.size:
        free = WAYS[int(np.argmax(np.abs(found.weakest)))]
        raise PlugError(
            param="measured",
            value=f"{len(points)} points",
            reason=f"they do not hold it: it fits as well when it {_WORDS[free]}"
            + (f"; and {hint}" if hint else ""),
            remedy=f"measure an end or a side that stops it there too, or lock it with --lock {free}, "
            "or give 3 datum points with --datums",
        )
    if found.scale > _LOOSE_RATIO * surface.size or found.counted < 0.5:
        mirrored = fitted(points * np.array([1.0, -1.0, 1.0]), surface, locked)
        if _FEW * mirrored.scale < found.scale:
            raise _mirrored("y")
        raise _not_there(f"it fits within {found.scale:.1f} mm at best", ratio)
    moved = Pose(turn=found.pose.turn, move=found.pose.move)
    if moved.angle_deg > _TURNED_DEG and rivals(points, surface, locked, found):
        raise PlugError(
            param="measured",
            value=f"{len(points)} points",
            reason="it fits as well in another way round, and nobody can tell which is right",
            remedy="turn it near to its place first, or give 3 datum points with --datums",
        )
    return found


def _check_near(points: Array, surface: Surface, laid: Laid) -> None:
    """Refuse points most of which lie far from the plug where they are."""
    here = laid.pose.of(points[:: max(len(points) // 2000, 1)])
    far, near, ratio = middling(here, surface), _LOOSE_RATIO * surface.size, _extent(points) / surface.size
    is_small = bool(_unit_hint(ratio)) and not 0.3 < ratio < 3.0
    if far <= near and not is_small:
        return
    for name, scale in _UNITS.items():
        for factor, words in ((scale, f"in {name}"), (1.0 / scale, f"in mm, and not in {name}")):
            is_its = 1.0 / _NEAR_RATIO < ratio * factor < _NEAR_RATIO
            if is_its and middling(here * factor, surface) < near:
                raise PlugError(
                    param="unit",
                    value="mm" if factor == scale else name,
                    reason=f"times {factor:.4g} the points lie all over the plug: they are {words}",
                    remedy="write the unit into the head of the table, or give it with --unit",
                )
    for axis in range(3):
        mirror = np.ones(3)
        mirror[axis] = -1.0
        if middling(here * mirror, surface) < min(far / _FEW, near):
            raise _mirrored("xyz"[axis])
    if far > _FAR_RATIO * surface.size:
        raise _not_there(f"half of the points lie {far:.0f} mm or more from it", ratio)


def _extent(points: Array) -> float:
    """Return the diagonal of the box round points, a few far ones left out."""
    low, high = np.percentile(points, [2.0, 98.0], axis=0)
    return float(np.linalg.norm(high - low))


def _unit_hint(ratio: float) -> str:
    """Return which unit a ratio of sizes speaks of; empty if of none."""
    for name, scale in _UNITS.items():
        for factor, words in (
            (1.0 / scale, f"in {name}, and taken for mm"),
            (scale, f"in mm, and taken for {name}"),
        ):
            if 1.0 / _NEAR_RATIO < ratio / factor < _NEAR_RATIO:
                return f"it is {ratio:.3g} times as large as the plug, near {factor:.3g}: it may be {words}"
    return ""


def _unit_fault(ratio: float, hint: str) -> PlugError:
    """Return the error of points in another unit."""
    return PlugError(
        param="unit",
        value=f"{ratio:.3g} of the plug's size",
        reason=hint,
        remedy="give the unit with --unit, such as --unit in, or write it into the head of the table",
    )


def _mirrored(axis: str) -> PlugError:
    """Return the error of points that are mirrored."""
    return PlugError(
        param="measured",
        value="mirrored",
        reason=f"it lies on the plug when {axis} changes its sign: its axes are left-handed",
        remedy=f"change the sign of {axis}; {called().axes}, and that is right-handed",
    )


def _not_there(words: str, ratio: float) -> PlugError:
    """Return the error of points that lie nowhere near the plug."""
    return PlugError(
        param="measured",
        value=f"{ratio:.3g} of the plug's size",
        reason=f"it does not lie on the plug: {words}",
        remedy="lay it --by best, or by 3 datum points with --datums, cut off what is not the plug, "
        "and check recipe and unit",
    )
