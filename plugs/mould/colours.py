"""Colours by draft: what locks is orange and dark, what leaves is blue, told apart by depth in grey too."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.mould.drafts import LEVEL_DEG, Drafts
from plugs.mould.parted import OPEN, Parted

_BADLY: Final = -5.0  # degrees. A mould that gives may still spring off less
_EASILY: Final = 8.0  # degrees more than is wanted

PALETTE: Final = ("#3b1f4f", "#8c2d04", "#e0782f", "#f3d27a", "#a6c8e0", "#2c6aa0", "#dcdcd6")
"""Hidden; locks by more than 5 degrees; locks; less than wanted; as wanted; much more; no mould."""


def colours_of(parted: Parted, drafts: Drafts) -> NDArray[np.uint8]:
    """Return the number of each triangle's colour in the palette.

    Parameters
    ----------
    parted : Parted
    drafts : Drafts
        Of it.

    Returns
    -------
    (m,) uint8
    """
    wanted = parted.mould.draft_deg
    bounds = np.array([_BADLY, -LEVEL_DEG, wanted - LEVEL_DEG, wanted + _EASILY])
    found = 1 + np.searchsorted(bounds, np.nan_to_num(drafts.draft_deg), side="right")
    found[drafts.is_hidden] = 0
    found[parted.part == OPEN] = len(PALETTE) - 1
    return found.astype(np.uint8)


def key_of(wanted_deg: float) -> tuple[str, ...]:
    """Return what the colours mean, in their order.

    Parameters
    ----------
    wanted_deg : float, degrees

    Returns
    -------
    tuple of str
    """
    easily = wanted_deg + _EASILY
    return (
        "hidden behind another face: locks",
        f"locks by more than {-_BADLY:g}°", f"locks by up to {-_BADLY:g}°",
        f"0° to {wanted_deg:g}°", f"{wanted_deg:g}° to {easily:g}°", f"over {easily:g}°", "no mould",
    )  # fmt: skip


def ends_of(wanted_deg: float) -> tuple[str, ...]:
    """Return what stands at the ends of the colours, one more than there are but for the last.

    Parameters
    ----------
    wanted_deg : float, degrees

    Returns
    -------
    tuple of str
    """
    bounds = (-90.0, _BADLY, 0.0, wanted_deg, wanted_deg + _EASILY, 90.0)
    return ("hidden", *(f"{bound:g}°" for bound in bounds))
