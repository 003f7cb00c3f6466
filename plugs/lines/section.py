"""The recipe's words for a shape: corners, stations, ends, and the lines plan that holds them.

Axes, once for the whole house: x runs to the rear from station 0, y to the right (as seen from
behind) from the centreline, z up from the baseline. Right-handed, millimetres.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from typing import Annotated

from plugs.ground.errors import Finding
from plugs.ground.limits import Count, Curve, Name, OneOf, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST

WAYS = ("straight", "faired", "faired within")
"""How a line may run over a bay, from one station to the next."""

Way = Annotated[str, OneOf(WAYS)]
"""One of them."""

LARGEST_RAKE_DEG = 60.0  # a steeper rake is a panel, not an end (common practice, no source)


@record(frozen=True, slots=True)
class Corner:
    """A named corner of a section, where two panels meet.

    Attributes
    ----------
    y : float, mm
        Half-breadth: distance to the right of the centreline.
    z : float, mm
        Height over the baseline.
    radius : float, mm
        Blend radius of the edge; 0 is a sharp edge. The same word for outside and inside edges.
    """

    y: float
    z: float
    radius: Annotated[float, Within(0.0, LARGEST)] = 0.0


@record(frozen=True, slots=True, kw_only=True)
class Station:
    """The section of the plug at one position along its length.

    Attributes
    ----------
    x : float, mm
        Distance behind station 0. At a raked end: of the raked plane where it meets the baseline.
    corners : mapping of str to Corner
        In order round the section: for a mirrored plug from the bottom of the centreline up the
        right side; otherwise anti-clockwise seen from behind, all the way round.
    crowns : mapping of str to float, mm
        Rise of a panel's middle over its chord, + outward; panels not named are flat. Half of the chord is
        a half-round, more of it a horseshoe.
    arcs : mapping of str to (float, float), mm
        A point (y, z) between its corners through which a panel runs as an arc of a circle: another way
        to give its crown.
    curves : mapping of str to array or faired curve
        Measured panels: points (n, 2) in mm from the panel's first corner to its second, taken as
        they are, or a faired curve. Their number may differ from station to station.
    """

    x: float
    corners: Annotated[Mapping[Name, Corner], Count(1, 200)]
    crowns: Mapping[str, float] = field(default_factory=dict)
    arcs: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    curves: Mapping[str, Curve] = field(default_factory=dict)


@record(frozen=True, slots=True, kw_only=True)
class End:
    """How the plug ends, in front and at the rear.

    Attributes
    ----------
    radius : float, mm
        Blend radius between the end and the panels, tangent to both; 0 is a sharp edge.
    rake_deg : float
        Lean of the end from the vertical, + when the top leans outward. The corners of the end's
        station are then points of the raked plane, given by their y and z.
    sharp : sequence of str
        Panels that keep a sharp edge at this end all the same, such as the floor.
    by_panel : mapping of str to float, mm
        Blend radius of panels that differ: a crisp lip of 10 mm over sides of 50; 0 is sharp.
    """

    radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    rake_deg: Annotated[float, Within(-LARGEST_RAKE_DEG, LARGEST_RAKE_DEG)] = 0.0
    sharp: Sequence[str] = ()
    by_panel: Mapping[Name, Annotated[float, Within(0.0, LARGEST)]] = field(default_factory=dict)

    def radius_of(self, panel: str) -> float:
        """Return the blend radius between this end and a panel.

        Parameters
        ----------
        panel : str
            By its name as drawn.

        Returns
        -------
        float, mm
            0 where the edge is sharp.
        """
        return 0.0 if panel in self.sharp else float(self.by_panel.get(panel, self.radius))

    def radii(self, end: str) -> dict[str, float]:
        """Return all radii of this end by their words in a recipe.

        Parameters
        ----------
        end : str
            "front" or "rear".

        Returns
        -------
        dict of str to float, mm
        """
        own = {f"{end}.by_panel[{name!r}]": float(radius) for name, radius in self.by_panel.items()}
        return {f"{end}.radius": float(self.radius), **own}

    def limited(self, most: float) -> End:
        """Return the end with no radius over a limit.

        Parameters
        ----------
        most : float, mm

        Returns
        -------
        End
        """
        return self.with_radii(lambda radius: min(radius, most))

    def with_radii(self, changed: Callable[[float], float]) -> End:
        """Return the end with all its radii changed alike.

        Parameters
        ----------
        changed : callable
            From a radius to another, mm.

        Returns
        -------
        End
        """
        own = {name: changed(float(radius)) for name, radius in self.by_panel.items()}
        return replace(self, radius=changed(float(self.radius)), by_panel=own)


@record(frozen=True, slots=True, kw_only=True)
class Along:
    """A curve that the stations of a plug or a form stand square to: their x is the length along it.

    Attributes
    ----------
    view : str
        "plan" for a curve in x and y, "side" for one in x and z, along the own axes of the plug
        or the form.
    points : sequence of 2 or 3 float, mm
        Corners of the curve in order: x, y or z, and the radius of the bend there, which the first and the
        last have not. From the first one the length counts.
    """

    view: Annotated[str, OneOf(("plan", "side"))]
    points: Annotated[Sequence[Annotated[Sequence[float], Count(2, 3)]], Count(2, 200)]


@record(frozen=True, slots=True, kw_only=True)
class LinesPlan:
    """Everything that defines a section solid: what a lofting floor would call its lines.

    Attributes
    ----------
    stations : sequence of Station
        At least two, with x increasing and the same corner names in the same order.
    panels : sequence of str
        Names of the panels in the order of the corners: for a mirrored plug first the one that
        crosses the centreline below (if the first corner lies off it), last the one that crosses
        above. Empty: named after their corners.
    mirrored : bool
        True when the corners are the right half of a symmetric section.
    bays : str, sequence of str, or mapping of str to these
        How lines run from station to station: "straight" (a long sanding block between templates),
        "faired" (a batten through the stations), or "faired within" (a batten that never rises over or dips
        under the two stations beside it). One word, or one for each bay from the front on; for all lines,
        or by corner name; lines not named are straight. A faired stretch leaves a straight bay in line.
    front, rear : End
        The two ends.
    along : Along or None
        A curve that the stations stand square to.
    parents : mapping of str to str
        The panel that a piece of a panel belongs to; others are their own.
    findings : sequence of Finding
        What was noticed while measured panels were parted into pieces.
    """

    stations: Sequence[Station]
    panels: Sequence[str] = ()
    mirrored: bool = True
    bays: Way | Sequence[Way] | Mapping[Name, Way | Sequence[Way]] = "straight"
    front: End = field(default_factory=End)
    rear: End = field(default_factory=End)
    along: Along | None = None
    parents: Mapping[str, str] = field(default_factory=dict)
    findings: Sequence[Finding] = ()
