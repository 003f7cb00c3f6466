"""Where layers are glued: how far they touch, and how much of that stays clear of the final surface."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType
from typing import Annotated, Final

import shapely

from plugs.foam.layers import Layer
from plugs.ground.errors import Finding
from plugs.ground.lengths import as_length
from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH, QUARTER_CHORDS

LEAST_SHARE: Final = 0.2
"""Two layers that touch on a smaller share of the smaller face are hardly joined (common practice,
no source)."""

LEAST_GLUED_MM2: Final = 2500.0
"""A smaller glued area, 50 x 50 mm, does not hold under the sanding block (common practice, no source)."""

USUAL_GSM: Final = 150.0
"""Of glue, where nothing says which: a thin coat on one face (common practice, no source)."""

NO_HOLLOWS: Final[Mapping[str, shapely.Geometry]] = MappingProxyType({})
"""Every layer is solid."""

_HALVINGS: Final = 14  # each halves the range: 500 mm of margin to 0.03 mm


@record(frozen=True, slots=True, kw_only=True)
class Glue:
    """How layers are glued to one another.

    Attributes
    ----------
    margin : float, mm
        Kept free of glue along the final surface, since a glue line that meets the sanding block
        stands up as a ridge. 10 to 15 mm is common practice, no source.
    coverage_gsm : float or None, grams to a square metre
        Unit g/m2, on one of the two faces. None is that of the adhesive; without one 150. Common practice,
        no source: the glue's sheet says more.
    """

    margin: Annotated[float, Within(0.0, 500.0)] = 15.0
    coverage_gsm: Annotated[float, Within(0.0, 5000.0)] | None = None

    @property
    def spread_gsm(self) -> float:
        """What is spread, where nothing says which glue too."""
        return USUAL_GSM if self.coverage_gsm is None else self.coverage_gsm


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Contact:
    """Two layers that lie on each other. Outlines in the axes of `plugs.mesh.mesh.PLANES`, mm.

    Attributes
    ----------
    number : int
        From 1, in the order of stacking: contact 3 lies between the third layer and the fourth.
    at_mm : float
        Where they meet along the axis: the upper face of the lower one.
    between_mm : float
        What stands between them, such as a template that is glued to both; 0 where foam lies on foam.
    lower_layer, upper_layer : str
        Names of the layer that ends there and of the one that begins there, along the axis.
    lower_mm, upper_mm : float
        How much the plug fills of either along the axis.
    margin : float, mm
        As in `Glue`.
    touching : shapely.MultiPolygon
        Where foam lies on foam.
    glued : shapely.MultiPolygon
        That, less the margin along the final surface.
    smaller_mm2 : float
        Area of the smaller of the two faces that meet.
    coverage_gsm : float, grams to a square metre
        Unit g/m2.
    """

    number: int
    axis: str
    at_mm: float
    between_mm: float
    lower_layer: str
    upper_layer: str
    lower_mm: float
    upper_mm: float
    margin: float
    touching: shapely.MultiPolygon
    glued: shapely.MultiPolygon
    smaller_mm2: float
    coverage_gsm: float

    @property
    def touching_mm2(self) -> float:
        """Area where foam lies on foam."""
        return float(self.touching.area)

    @property
    def glued_mm2(self) -> float:
        """Area that takes glue."""
        return float(self.glued.area)

    @property
    def share_ratio(self) -> float:
        """What touches of the smaller face; 0 where there is no face."""
        return self.touching_mm2 / self.smaller_mm2 if self.smaller_mm2 > 0.0 else 0.0

    @property
    def glue_g(self) -> float:
        """Glue in grams, for two joints where something stands between the layers."""
        return 1e-6 * self.glued_mm2 * self.coverage_gsm * (2.0 if self.between_mm > 0.0 else 1.0)


def make_contacts(
    layers: Sequence[Layer], glue: Glue, hollows: Mapping[str, shapely.Geometry] = NO_HOLLOWS
) -> tuple[tuple[Contact, ...], tuple[Finding, ...]]:
    """Return where neighbouring layers are glued, and which of them hardly hold together.

    Parameters
    ----------
    layers : sequence of Layer
        In the order of stacking.
    glue : Glue
    hollows : mapping of str to shapely.Geometry, mm
        What is hollowed out of a layer through its whole thickness, by the layer's name.

    Returns
    -------
    tuple of (tuple of Contact) and (tuple of Finding)
        One contact fewer than there are layers.
    """
    contacts: list[Contact] = []
    found: list[Finding] = []
    for i, (first, second) in enumerate(pairwise(layers), start=1):
        lower, upper = (first, second) if first.from_mm <= second.from_mm else (second, first)
        under, over = lower.glued_faces[1], upper.glued_faces[0]
        whole = _common(under, over)
        voids = [hollows[name] for name in (lower.name, upper.name) if name in hollows]
        contact = Contact(
            number=i,
            axis=lower.axis,
            at_mm=lower.to_mm,
            between_mm=gap if (gap := upper.from_mm - lower.to_mm) > LENGTH else 0.0,
            lower_layer=lower.name,
            upper_layer=upper.name,
            lower_mm=lower.to_mm - lower.from_mm,
            upper_mm=upper.to_mm - upper.from_mm,
            margin=glue.margin,
            touching=_less(whole, voids),
            glued=_less(_inset(whole, glue.margin), voids),
            smaller_mm2=float(min(under.area, over.area)),
            coverage_gsm=glue.spread_gsm,
        )
        contacts.append(contact)
        found += _findings(contact, whole, voids)
    return tuple(contacts), tuple(found)


def polygons_of(region: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the polygons of a region, lines and points left out.

    Parameters
    ----------
    region : shapely.Geometry, mm

    Returns
    -------
    shapely.MultiPolygon, mm
    """
    if isinstance(region, shapely.MultiPolygon):
        return region
    parts = shapely.get_parts(region)
    if any(isinstance(part, shapely.MultiPolygon) for part in parts):
        parts = shapely.get_parts(parts)
    return shapely.MultiPolygon([p for p in parts if isinstance(p, shapely.Polygon) and not p.is_empty])


def _common(lower: shapely.MultiPolygon, upper: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Return what two faces share; mostly they are one and the same cut, which is told quickly."""
    same = lower is upper or shapely.equals_exact(shapely.normalize(lower), shapely.normalize(upper), LENGTH)
    return lower if same else polygons_of(shapely.intersection(lower, upper))


def _inset(region: shapely.MultiPolygon, margin: float) -> shapely.MultiPolygon:
    """Return a region less a margin all along its edge."""
    return region if margin == 0.0 else polygons_of(region.buffer(-margin, quad_segs=QUARTER_CHORDS))


def _less(region: shapely.MultiPolygon, voids: Sequence[shapely.Geometry]) -> shapely.MultiPolygon:
    """Return a region less what is hollow."""
    for void in voids:
        region = polygons_of(region.difference(void))
    return region


def _findings(
    contact: Contact, whole: shapely.MultiPolygon, voids: Sequence[shapely.Geometry]
) -> list[Finding]:
    """Return what is doubtful about a contact: it is too small a share, or too little glue holds it."""
    where = f"between {contact.lower_layer} and {contact.upper_layer}"
    move = "let the joint lie elsewhere: other sheets, or another stack.start"
    if contact.touching_mm2 == 0.0:
        message, remedy = "the two layers do not touch", move
        return [Finding(code="no-contact", severity="mind", where=where, message=message, remedy=remedy)]
    found = []
    if contact.share_ratio < LEAST_SHARE:
        found.append(
            Finding(
                code="little-contact",
                severity="mind",
                where=where,
                message=f"the layers touch on {100.0 * contact.share_ratio:.0f} % of the smaller face, "
                f"under {100.0 * LEAST_SHARE:.0f} % is little (common practice, no source)",
                remedy=move,
            )
        )
    if contact.glued_mm2 < LEAST_GLUED_MM2:
        margin = _margin_that_would_do(contact, whole, voids)
        found.append(
            Finding(
                code="little-glue",
                severity="mind",
                where=where,
                message=f"{0.01 * contact.glued_mm2:.1f} cm2 take glue, under "
                f"{0.01 * LEAST_GLUED_MM2:.0f} cm2 is little (common practice, no source)",
                remedy=move
                if margin is None
                else f"use glue.margin of at most {as_length(margin, 'g', 'baremost')}",
            )
        )
    return found


def _margin_that_would_do(
    contact: Contact, whole: shapely.MultiPolygon, voids: Sequence[shapely.Geometry]
) -> float | None:
    """Return the widest margin, in tenths of a mm, that leaves enough to glue; None if none does."""
    if contact.touching_mm2 < LEAST_GLUED_MM2:
        return None
    least, most = 0.0, contact.margin
    for _ in range(_HALVINGS):
        middle = 0.5 * (least + most)
        if _less(_inset(whole, middle), voids).area >= LEAST_GLUED_MM2:
            least = middle
        else:
            most = middle
    tenths = int(10.0 * least) / 10.0
    return tenths if tenths > 0.0 else None
