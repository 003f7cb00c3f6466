"""Sizes of number plates, so that a recess can be asked for by region.

Every size bears a label: "secondary" was read in a trade page, not in the standard itself;
"memory" was not looked up again. Measure your own plate before you cut: plate size, position,
angle, lighting and visibility are set by the registration authority where you are.
"""

from __future__ import annotations

from typing import Final

from plugs.ground.errors import PlugError
from plugs.ground.records import record


@record(frozen=True, slots=True, kw_only=True)
class Plate:
    """A number plate.

    Attributes
    ----------
    width, height : float, mm
    corner_radius : float, mm
        Common practice, no source.
    label : str
        How sure the size is: "secondary", "conflicting" or "memory".
    """

    width: float
    height: float
    corner_radius: float
    label: str
    source: str


PLATES: Final = {
    "us-canada-car": Plate(
        width=304.8,
        height=152.4,
        corner_radius=12.7,
        label="secondary",
        source="12 x 6 in, SAE J686 as summarised by trade pages",
    ),
    "uk-one-line": Plate(
        width=520.0,
        height=111.0,
        corner_radius=8.0,
        label="secondary",
        source="trade pages (520 x 110 and 520 x 111); BS AU 145e does not fix the outline",
    ),
    "uk-two-line": Plate(
        width=285.0,
        height=203.0,
        corner_radius=8.0,
        label="secondary",
        source="trade page, rear two-line plate",
    ),
    "eu-one-line": Plate(
        width=520.0,
        height=120.0,
        corner_radius=8.0,
        label="secondary",
        source="trade page, 520 x 110 to 120 by country, the larger; space of (EU) 1003/2010 from memory",
    ),
    "eu-two-line": Plate(
        width=340.0,
        height=240.0,
        corner_radius=8.0,
        label="memory",
        source="340 x 200 to 240 by country: the largest",
    ),
    "australia": Plate(
        width=372.0,
        height=135.0,
        corner_radius=8.0,
        label="secondary",
        source="trade page (also quoted 372 x 134)",
    ),
    "japan": Plate(
        width=330.0, height=165.0, corner_radius=8.0, label="secondary", source="newspaper text, outline only"
    ),
}
"""Plates by region; where countries differ, the larger size."""


def plate_size(region: str, clearance: float = 3.0, param: str = "plate") -> tuple[float, float, float]:
    """Return the size of a recess for a plate: width, height and corner radius.

    Parameters
    ----------
    region : str
        A name from `PLATES`.
    clearance : float, mm
        Room on every side; 3 is common practice, no source. A frame or carrier wants 6 to 12.
    param : str
        Where the recipe gives the region.

    Returns
    -------
    tuple of float, mm

    Raises
    ------
    PlugError
        A region that is not in the table.
    """
    if region not in PLATES:
        from difflib import get_close_matches

        close = get_close_matches(str(region), PLATES, n=len(PLATES), cutoff=0.0)
        raise PlugError(
            param=param,
            value=region,
            reason="no plate of that name is in the table",
            remedy=f"use one of {', '.join(close)}",
        )
    plate = PLATES[region]
    return plate.width + 2.0 * clearance, plate.height + 2.0 * clearance, plate.corner_radius + clearance
