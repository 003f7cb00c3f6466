"""Sizes of tools: outline, depth and blends, under a skin too, checked, and as lines along a tool's axis."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.figures import tenth_up
from plugs.ground.records import record
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.recesses.holding import Rounded
from plugs.recesses.mounting import Mounting

Array = NDArray[np.float64]

_CHORD = 0.01  # mm. Between a blended mouth and its chords
_FEWEST = 5.0  # of a small one: chords within a 25th of its radius, four or more to a quarter
_LITTLE = 0.5  # mm. By so much a blend may miss the surface, which sandpaper takes in a stroke or two
_MOST_LITTLE_DEG = 34.0  # then: a sixth of its radius off (both common practice, no source)
_MOST_KINK_DEG = 18.0
"""A blended mouth that meets the surface at more is no blend: a twentieth of its radius off (common practice,
no source)."""
LEAST_MOUTH = 0.5
"""mm. A smaller blend of a mouth is a sharp edge that sandpaper breaks (common practice, no source)."""
_NARROWEST = 0.25  # mm. A floor that draft leaves narrower is a point


@record(frozen=True, slots=True, kw_only=True)
class Size:
    """Checked sizes of a tool.

    Attributes
    ----------
    width, height, corner_radius : float, mm
        Of its outline at depth 0, where its walls would meet the surface.
    depth : float, mm
    end_radius : float, mm
        Of the blend between walls and floor or top.
    draft_deg : float
    mouth_radius, mouth_at : float, mm
        Of the blend between walls and surface, and the depth at which it meets the surface.
    is_sharp : bool
        Whether the corners of the finished outline are sharp: blends of the mouth then meet in a mitre.
    """

    width: float
    height: float
    depth: float
    corner_radius: float
    end_radius: float
    draft_deg: float
    mouth_radius: float = 0.0
    mouth_at: float = 0.0
    is_sharp: bool = False

    @property
    def slope(self) -> float:
        """Tangent of the draft."""
        return float(np.tan(np.radians(self.draft_deg)))

    @property
    def rim(self) -> Size:
        """The same with the outline at which a blended mouth meets the surface."""
        return self if self.mouth_radius == 0.0 else self.grown(self.blend[1][0])

    @property
    def blend(self) -> tuple[Array, Array]:
        """Depths of a blended mouth, and how far each lies outside the outline, from the rim to the wall.

        Places on the arc of a circle that touches the surface and the wall: at an angle a from the surface
        its depth is r (1 - cos a), and it lies r sin a inside the circle's middle (derived here).
        """
        r, slope = self.mouth_radius, self.slope
        square = float(np.hypot(1.0, slope))
        sagitta = min(_CHORD, r / _FEWEST**2)
        last = np.arccos(slope / square)
        steps = int(np.ceil(last / (2.0 * np.arccos(1.0 - sagitta / r))))
        turn = np.linspace(0.0, last, steps + 1)
        middle = r * square - (self.mouth_at + r) * slope
        return self.mouth_at + r * (1.0 - np.cos(turn)), middle - r * np.sin(turn)

    def grown(self, by: float) -> Size:
        """Return the same with a parallel outline; a sharp corner stays sharp.

        Parameters
        ----------
        by : float, mm
        """
        corner = max(self.corner_radius + by, 0.0) if self.corner_radius > 0.0 else 0.0
        wide, high = self.width + 2.0 * by, self.height + 2.0 * by
        return replace(self, width=wide, height=high, corner_radius=corner)


def mouth_of(size: Size) -> shapely.Polygon:
    """Return the outline of a tool on the surface; its corners may take up a whole side."""
    return Rounded(width=size.width, height=size.height, radius=size.corner_radius).outline


def drawn_down(radius: float, slope: float) -> float:
    """Return how much of the height of walls a blend takes, mm, by the tangent of their draft."""
    return radius * (1.0 - slope / float(np.hypot(1.0, slope)))


def under_skin(size: Size, skin: float, param: str, *, is_cut: bool) -> Size:
    """Return a tool's size in the foam: walls, floor and blends moved by the skin, square to themselves."""
    sign = 1.0 if is_cut else -1.0
    if is_cut and 0.0 < size.mouth_radius < skin + LEAST_MOUTH:
        least = float(np.ceil(10.0 * (skin + LEAST_MOUTH)) / 10.0)
        raise PlugError(
            param=f"{param}.mouth_radius",
            value=size.mouth_radius,
            reason=f"{skin:g} mm of skin round this mouth leave it no radius in the foam",
            remedy=f"use {least:g} or more, or 0 for a sharp edge",
            would_do=[(f"{param}.mouth_radius", least)],
        )
    aside = sign * skin / float(np.cos(np.radians(size.draft_deg)))
    for value, word in ((size.corner_radius, "corner_radius"), (size.end_radius, "top_radius")):
        if not is_cut and 0.0 < value < skin:
            raise PlugError(
                param=f"{param}.{word}",
                value=value,
                reason=f"{skin:g} mm of skin over this blend leave it no radius in the foam",
                remedy=f"use {np.ceil(10.0 * skin + 5.0) / 10.0:g} or more, or 0 for a sharp edge",
            )
    if not is_cut and (size.depth <= skin or min(size.width, size.height) <= -2.0 * aside):
        raise PlugError(
            param=f"{param}.rise",
            value=size.depth,
            reason=f"the boss is all skin, which is {skin:g} mm thick",
            remedy=f"use {skin + 1.0:g} or more, and {2.0 * skin + 2.0:g} mm of width and height",
        )
    return replace(
        size,
        width=size.width + 2.0 * aside,
        height=size.height + 2.0 * aside,
        depth=size.depth + sign * skin,
        corner_radius=size.corner_radius + aside if is_cut or size.corner_radius > 0.0 else 0.0,
        end_radius=size.end_radius + sign * skin if is_cut or size.end_radius > 0.0 else 0.0,
        mouth_radius=size.mouth_radius - sign * skin if size.mouth_radius > 0.0 else 0.0,
        mouth_at=size.mouth_at + sign * skin,
    )


def seated(mounting: Mounting, size: Size, param: str, *, is_cut: bool) -> tuple[Size, float]:
    """Return a size whose blended mouth or foot meets the surface, and at how many degrees.

    It begins where the surface stands highest along a mouth's rim, or lies lowest along a foot's: where the
    surface lies d farther in, the arc has turned by the angle whose cosine is 1 - d / r (derived here).
    """
    radius, word = size.mouth_radius, "mouth_radius" if is_cut else "foot_radius"
    if radius == 0.0:
        return size, 0.0
    rim, wall = (mounting.heights_along(mouth_of(one)) for one in (size.rim, size))
    low, high = float(rim.min()), float(rim.max())
    wide = 0.5 * (size.rim.width - size.width)
    lean = abs(float(rim.mean() - wall.mean())) / wide
    kink = float(np.degrees(np.arccos(max(1.0 - (high - low) / radius, 0.0)) + np.arctan(lean)))
    if kink > (_MOST_KINK_DEG if high - low > _LITTLE else _MOST_LITTLE_DEG):
        raise PlugError(
            param=f"{param}.{word}",
            value=radius,
            reason=f"the surface rises and falls by {high - low:.2f} mm along the rim: this blend would meet "
            f"it at {min(kink, 90.0):.0f} degrees",
            remedy="use 0 and round it by hand, or make it smaller",
            would_do=[(f"{param}.{word}", 0.0)],
        )
    sunk = replace(size, mouth_at=-high if is_cut else low)
    least = float(sunk.blend[0][-1]) + drawn_down(size.end_radius, size.slope)
    if least >= 0.999 * size.depth:
        deep = "depth" if is_cut else "rise"
        raise PlugError(
            param=f"{param}.{deep}",
            value=size.depth,
            reason=f"the surface lies up to {-low:.1f} mm lower along the rim, and the blends have no room",
            remedy=f"use {tenth_up(1.01 * least):g} or more",
            would_do=[(f"{param}.{deep}", tenth_up(1.01 * least))],
        )
    return sunk, kink


def check_sizes(size: Size, param: str, end_word: str, mouth_word: str) -> None:
    """Refuse corners that do not fit their outline, walls that meet before the floor, blends without room.

    The first is told, and for programs all that are too large together.
    """
    half, depth = 0.5 * min(size.width, size.height), size.depth
    steepest = max(float(np.floor(np.degrees(np.arctan((half - 0.5) / depth)) * 10.0)) / 10.0, 0.0)
    narrow = half - max(depth * float(np.tan(np.radians(size.draft_deg))), 0.0)
    draft = size.draft_deg if narrow >= _NARROWEST else steepest
    slope = float(np.tan(np.radians(draft)))
    inset, tall = float(np.hypot(1.0, slope)) - slope, 1.0 - slope / float(np.hypot(1.0, slope))
    largest = min((half - depth * slope) / inset, depth / tall) * 0.999
    faults = []
    if size.corner_radius > half:
        reason = f"the outline is only {2 * half:g} mm across"
        faults.append(("corner_radius", size.corner_radius, reason, half))
    if narrow < _NARROWEST:
        reason = f"the walls meet before they are {depth:g} mm deep"
        faults.append(("draft_deg", size.draft_deg, reason, steepest))
    if size.end_radius > largest:
        reason = (
            f"walls {depth:g} mm deep and {2.0 * (half - max(depth * slope, 0.0)):.4g} mm apart leave no room"
        )
        faults.append((end_word, size.end_radius, reason, float(np.floor(largest * 10) / 10)))
    room = 0.999 * depth / tall - min(size.end_radius, max(largest, 0.0))
    if size.mouth_radius > 0.0 and not LEAST_MOUTH <= size.mouth_radius <= room:
        most = float(np.floor(room * 10) / 10) if room >= LEAST_MOUTH else 0.0
        reason = f"walls {depth:g} mm deep leave no room"
        if size.mouth_radius < LEAST_MOUTH:
            most, reason = 0.0, f"a blend under {LEAST_MOUTH:g} mm is a sharp edge"
        faults.append((mouth_word, size.mouth_radius, reason, most))
    if faults:
        word, value, reason, most = faults[0]
        others = "".join(f", and a {word} of at most {told:g}" for word, _, _, told in faults[1:])
        raise PlugError(
            param=f"{param}.{word}",
            value=value,
            reason=reason,
            remedy=f"use at most {most:g}{others}",
            would_do=[(f"{param}.{word}", told) for word, _, _, told in faults],
        )


def tool_plan(size: Size, out: float) -> LinesPlan:
    """Return a tool's lines along its own axis: x from mouth to floor, y its width, z its height."""
    slope = size.slope

    def at(x: float, by: float) -> Station:
        one = size.grown(by)
        a, b = 0.5 * one.width, 0.5 * one.height
        radius = min(size.grown(-x * slope if size.is_sharp else by).corner_radius, a, b)
        return Station(x=x, corners={"low": Corner(a, -b, radius), "high": Corner(a, b, radius)})

    stations = [at(-out, out * slope), at(0.0, 0.0)]
    if size.mouth_radius > 0.0:
        depths, outside = size.blend
        stations = [at(-out, float(outside[0])), *map(at, depths.tolist(), outside.tolist())]
    stations.append(at(size.depth, -size.depth * slope))
    return LinesPlan(stations=stations, rear=End(radius=size.end_radius))
