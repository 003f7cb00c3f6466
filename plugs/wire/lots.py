"""What stands in a wire cutter at once: the block of one piece, or a nested sheet with several."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import field, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.wire.cuts import Cut
from plugs.wire.journey import Box, block_of
from plugs.wire.machine import Block, Standing
from plugs.wire.rings import area_of
from plugs.wire.ruled import Ruled

Array = NDArray[np.float64]

ALIKE_MM: Final = 0.01
"""mm. Lines that differ by less are cut by one program: half the chords' own tolerance."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Lain:
    """A piece as it lies on its block or sheet: turned about the origin of its plane, then moved.

    Attributes
    ----------
    cut : Cut
    turn_deg : float, deg
        Counter-clockwise.
    at : tuple of two float, mm
        By which it is moved.
    outline : shapely.Polygon, mm
        The line that keeps it apart from others, where it lies; empty on a block of its own.
    thickness : float or None, mm
        Of a sheet thicker than the piece, whose first face lies on the sheet's: the rest is planed off.
    """

    cut: Cut
    turn_deg: float = 0.0
    at: tuple[float, float] = (0.0, 0.0)
    outline: shapely.Polygon = field(default_factory=shapely.Polygon)
    thickness: float | None = None

    @property
    def width(self) -> float:
        """Of what it is cut from, from face to face, mm."""
        return self.cut.width if self.thickness is None else self.thickness

    @property
    def rings(self) -> tuple[Ruled, ...]:
        """Of the piece as it is cut, from face to face of its sheet."""
        return tuple(ring.reaching(self.width) for ring in self.cut.rings)

    @property
    def is_whole(self) -> bool:
        """Whether its lines, drawn out to the sheet's far face, cross nowhere, nor have crossed before."""
        return all(
            shapely.LinearRing(ring.far).is_simple and area_of(ring.near) * area_of(ring.far) > 0.0
            for ring in self.rings
        )

    def standing(self, block: Standing) -> Standing:
        """Return how the piece stands where its block does.

        Parameters
        ----------
        block : Standing

        Returns
        -------
        Standing
        """
        return block.lain(self.turn_deg, self.at)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Lot:
    """Pieces that are cut by one program.

    Attributes
    ----------
    name : str
    lain : tuple of Lain
        In sheets of one thickness.
    box : tuple of four float, mm
        Left, bottom, right, top of its block.
    kept : shapely geometry, mm
        Where no wire may go: what else lies on the sheet.
    sheet : tuple of two float or None, mm
        Width and height of the whole sheet; None for a block of its own.
    kerf : float, mm
        Of the saw that the sheet is nested for.
    copies : tuple of Lot
        Other sheets that the same program cuts.
    """

    name: str
    lain: tuple[Lain, ...]
    box: Box
    kept: shapely.Geometry = field(default_factory=shapely.Polygon)
    sheet: tuple[float, float] | None = None
    kerf: float = 0.0
    copies: tuple[Lot, ...] = ()

    @property
    def block(self) -> Block:
        """What it is cut from."""
        first = self.lain[0]
        return Block(box=self.box, axis=first.cut.axis, width=first.width)

    def without(self, lost: Collection[int]) -> Lot:
        """Return the lot without some pieces, which its copies lose as well.

        Parameters
        ----------
        lost : collection of int

        Returns
        -------
        Lot
        """
        lain = tuple(one for i, one in enumerate(self.lain) if i not in lost)
        return replace(self, lain=lain, copies=tuple(copy.without(lost) for copy in self.copies))


@record(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A piece of a sheet that gets a program of its own, and why.

    Attributes
    ----------
    cut : Cut
    reason, remedy : str
    """

    cut: Cut
    reason: str
    remedy: str


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Lots:
    """All that is cut, by its programs.

    Attributes
    ----------
    lots : tuple of Lot
    aside : tuple of LeftOut
        Pieces of sheets that cannot be cut with the others there.
    """

    lots: tuple[Lot, ...]
    aside: tuple[LeftOut, ...] = ()

    def with_more(self, cuts: Sequence[Cut]) -> Lots:
        """Return these and more pieces, each on a block of its own.

        Parameters
        ----------
        cuts : sequence of Cut

        Returns
        -------
        Lots
        """
        return replace(self, lots=(*self.lots, *map(lot_of, cuts)))


def lot_of(cut: Cut) -> Lot:
    """Return the lot of a piece on a block of its own.

    Parameters
    ----------
    cut : Cut

    Returns
    -------
    Lot
    """
    return Lot(name=cut.name, lain=(Lain(cut=cut),), box=block_of(cut))


def one_by_one(cuts: Sequence[Cut]) -> Lots:
    """Return each piece on a block of its own.

    Parameters
    ----------
    cuts : sequence of Cut

    Returns
    -------
    Lots
    """
    return Lots(lots=tuple(lot_of(cut) for cut in cuts))


def repeated(lots: Sequence[Lot]) -> tuple[Lot, ...]:
    """Return lots, each sheet that is cut like one before it put with that.

    Parameters
    ----------
    lots : sequence of Lot

    Returns
    -------
    tuple of Lot
    """
    found: list[Lot] = []
    for lot in lots:
        for i, other in enumerate(found):
            like = _like(lot, other)
            if like is not None:
                found[i] = replace(other, copies=(*other.copies, like))
                break
        else:
            found.append(lot)
    return tuple(found)


def _like(lot: Lot, other: Lot) -> Lot | None:
    """Return a lot with its pieces in the order of another that is cut alike; None if it is not."""
    if (
        lot.sheet is None
        or lot.sheet != other.sheet
        or lot.box != other.box
        or len(lot.lain) != len(other.lain)
        or not lot.kept.equals(other.kept)
    ):
        return None
    rest, ordered = list(lot.lain), []
    for mine in other.lain:
        like = next((one for one in rest if _is_alike(one, mine)), None)
        if like is None:
            return None
        rest = [one for one in rest if one is not like]
        ordered.append(like)
    return replace(lot, lain=tuple(ordered))


def _is_alike(one: Lain, other: Lain) -> bool:
    """Return whether two pieces are cut by the same lines at the same place."""
    if abs(one.cut.width - other.cut.width) > ALIKE_MM or len(one.rings) != len(other.rings):
        return False
    return all(
        shapely.hausdorff_distance(*(_lies(two, k, share) for two in (one, other))) < ALIKE_MM
        for k in range(len(one.rings))
        for share in (0.0, 0.5, 1.0)
    )


def _lies(one: Lain, ring: int, share: float) -> shapely.LinearRing:
    """Return a line of a piece where it lies on its sheet."""
    plain = Standing(size=(0.0, 0.0, 0.0), at=(0.0, 0.0, 0.0), is_turned=False, origin=(0.0, 0.0), span=0.0)
    return shapely.LinearRing(one.standing(plain).placed(one.rings[ring].at(share)))
