"""The picture of a plug in its mould: every face coloured by its draft, with the key of the colours."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.named import NamedMesh
from plugs.pictures.tinted import tinted_png, two_sides
from plugs.pictures.views import FOLDER, Picture

STEM: Final = "draft"


@record(frozen=True, slots=True, kw_only=True, eq=False)
class DraftJob:
    """What the picture is made of.

    Attributes
    ----------
    shown : NamedMesh
    tints : (m,) uint8, dimensionless
        Number of each triangle's colour.
    palette : tuple of str
        ``"#rrggbb"``; the last is that of no mould.
    key : tuple of tuple of str, and str
        What stands at the ends of the colours, and beside the last.
    title : str
        Under all.
    """

    shown: NamedMesh
    tints: NDArray[np.uint8]
    palette: tuple[str, ...]
    key: tuple[tuple[str, ...], str]
    title: str


def make_draft_picture(job: DraftJob) -> tuple[Picture, ...]:
    """Return the picture, seen from two sides.

    Parameters
    ----------
    job : DraftJob

    Returns
    -------
    tuple of Picture
        One.
    """
    ends, apart = job.key
    sides = two_sides(job.shown, is_even=True)
    content = tinted_png(sides, job.tints, job.palette, (ends, apart, job.title))
    caption = "draft of each face from the pull of its part of the mould: orange and dark lock, blue leaves"
    return (Picture(path=f"{FOLDER}/{STEM}.png", caption=caption, content=content),)
