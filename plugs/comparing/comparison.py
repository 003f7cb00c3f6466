"""A comparison of the real thing with the plug: laid on it, measured, told place by place."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.edge_reads import EdgeRead, edge_reads
from plugs.comparing.field import Field, Patch, field_of, make_cells, patches_of
from plugs.comparing.laying import Laid, lay
from plugs.comparing.places import Names, high_or_low
from plugs.comparing.reading import GapRead, Measured
from plugs.comparing.surface import Nearest, Surface, make_surface
from plugs.ground.amounts import amount
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.twins import meanwhile
from plugs.ground.units import format_fine, format_length
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import FILLERS
from plugs.laminate.materials import Filler
from plugs.stages.worked import Worked

Array = NDArray[np.float64]

_Held = tuple[Laid, tuple[EdgeRead, ...], Nearest, tuple[Array, bool], list[Patch]]
"""How it is laid, what is read of edges, the nearest places, what a field has of them, and its patches."""

FOAM: Final = "foam"
FINISHED: Final = "finished"

_REACH_RATIO: Final = 0.02  # of the size: what stands farther off is not the plug but what lies about it
_LEAST_REACH: Final = 15.0  # mm. A plug that is sanded is nowhere farther from its lines
_TOLD: Final = 12  # of the worst places


@record(frozen=True, slots=True, kw_only=True)
class Ask:
    """What is compared, and how.

    Attributes
    ----------
    against : str
        "foam" or "finished".
    how : str
        "probed", "datums" or "best".
    locked : tuple of str
    tolerance : float, mm
    """

    against: str
    how: str
    locked: tuple[str, ...]
    tolerance: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Worst:
    """A place that is high or low, and what to do about it.

    Attributes
    ----------
    place : str
        In words.
    patch : Patch
    advice : str
    """

    place: str
    patch: Patch
    advice: str


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """How far the real thing is from the plug.

    Attributes
    ----------
    plug_name, unit : str
    ask : Ask
    measured : Measured
    laid : Laid
    near : Nearest
        Of the points as they were laid; of those on an edge there is none.
    edges : tuple of EdgeRead
        What was measured of mating edges, by the fit list.
    field : Field
    worst : tuple of Worst
        All places out of tolerance, the worst first.
    names : Names
    filler : Filler or None
        That the recipe names.
    """

    plug_name: str
    unit: str
    ask: Ask
    measured: Measured
    laid: Laid
    near: Nearest
    edges: tuple[EdgeRead, ...]
    field: Field
    worst: tuple[Worst, ...]
    names: Names
    filler: Filler | None

    @property
    def off(self) -> Array:
        """(k,) float, mm: deviations of the points that lie on the plug, + high."""
        return self.near.off[self.near.is_near]

    def _spread(self) -> tuple[Array, Array]:
        """Return deviations, rising, and the share up to each: of the area, or of few points."""
        if self.field.is_dense:
            return self.field.spread()
        return np.sort(self.off), (np.arange(len(self.off)) + 0.5) / max(len(self.off), 1)

    @property
    def low_mm3(self) -> float:
        """To be filled."""
        return sum(one.patch.volume_mm3 for one in self.worst if not one.patch.is_high)

    @property
    def high_mm3(self) -> float:
        """To be taken off."""
        return sum(one.patch.volume_mm3 for one in self.worst if one.patch.is_high)

    @property
    def gaps(self) -> tuple[GapRead, ...]:
        """What a straightedge showed."""
        return self.measured.gaps

    def figures(self) -> dict[str, Any]:
        """Return the figures, with their units in their names.

        Returns
        -------
        dict of str to object
        """
        off, share = self._spread()
        field = self.field
        told: dict[str, Any] = {
            "plug": self.plug_name,
            "measured": self.measured.name,
            "kind": self.measured.kind,
            "against": self.ask.against,
            "laid": self.laid.how,
            "tolerance_mm": self.ask.tolerance,
            "points": len(self.measured.points),
            "points_on_plug": len(self.off),
        }
        if len(off):
            weight = np.diff(np.concatenate([[0.0], 0.5 * (share[1:] + share[:-1]), [1.0]]))
            told |= {
                "mean_mm": float(weight @ off),
                "median_mm": float(np.interp(0.5, share, off)),
                "rms_mm": float(np.sqrt(weight @ off**2)),
                "lowest_mm": float(off[0]),
                "highest_mm": float(off[-1]),
                "low_percentile_mm": float(np.interp(0.05, share, off)),
                "high_percentile_mm": float(np.interp(0.95, share, off)),
                "area_m2": 1e-6 * field.area_mm2,
                "area_ratio": field.area_mm2 / float(field.cells.normals[1].sum()),
                "within_ratio": field.share_within(self.ask.tolerance),
                "to_fill_l": 1e-6 * self.low_mm3,
                "to_take_off_l": 1e-6 * self.high_mm3,
                "filler_kg": self.filler and 1e-9 * self.low_mm3 * self.filler.density_kg_m3,
            }
        told["worst"] = [
            {
                "place": one.place,
                "off_mm": one.patch.peak,
                "at_mm": one.patch.at.tolist(),
                "area_m2": 1e-6 * one.patch.area_mm2,
                "volume_l": 1e-6 * one.patch.volume_mm3,
                "advice": one.advice,
            }
            for one in self.worst
        ]
        told["gaps"] = [
            {"panel": g.panel, "place": g.place, "expected_mm": g.expected, "measured_mm": g.measured}
            for g in self.gaps
        ]
        told["edges"] = [{"place": one.place, "off_mm": one.off} for one in self.edges]
        return told

    def told(self) -> list[str]:
        """Return what a person is told first.

        Returns
        -------
        list of str
        """
        rows = [
            f"compared  {self.measured.name}, {self.measured.kind}, with {self.plug_name}: its {self._line}",
            *(f"          {note}" for note in self.measured.notes),
        ]
        if len(self.near.off):
            first, *more = self.laid.told(self.unit)
            rows += [f"laid      {first}", *(f"          {row}" for row in more), *self._point_rows()]
        for gap in self.gaps:
            more_mm = gap.measured - gap.expected
            words = high_or_low(more_mm, self.unit, ("more crown than drawn", "less crown than drawn"))
            if abs(more_mm) > self.ask.tolerance:
                rows.append(f"gap       {gap.panel}, {gap.place}: {words}")
        if self.gaps:
            within = sum(abs(g.measured - g.expected) <= self.ask.tolerance for g in self.gaps)
            tolerance = format_length(self.ask.tolerance, self.unit)
            rows.append(f"gaps      {within} of {len(self.gaps)} within {tolerance}")
        return rows + self._edge_rows()

    def _edge_rows(self) -> list[str]:
        """Return what is told of mating edges, the worst first."""
        if not self.edges:
            return []
        off = [one for one in self.edges if abs(one.off) > self.ask.tolerance]
        off.sort(key=lambda one: -abs(one.off))
        words = ("too long", "too short")
        rows = [f"edge      {one.place}: {high_or_low(one.off, self.unit, words)}" for one in off[:_TOLD]]
        if len(off) > _TOLD:
            rows.append(f"          and {len(off) - _TOLD} more")
        tolerance = format_length(self.ask.tolerance, self.unit)
        within = len(self.edges) - len(off)
        return [*rows, f"edges     {within} of {len(self.edges)} places within {tolerance}"]

    @property
    def _line(self) -> str:
        """What it is compared with."""
        return "foam" if self.ask.against == FOAM else "finished surface"

    def _point_rows(self) -> list[str]:
        """Return what is told of points."""
        told, unit = self.figures(), self.unit
        if "mean_mm" not in told:
            return ["points    none of them lies on the plug"]
        left = told["points"] - told["points_on_plug"] - len(self.edges)
        out = (
            f"; {left} farther off than {format_length(reach_of(self.field.cells.size), unit)} left out"
            if left
            else ""
        )
        rms = format_fine(told["rms_mm"], unit)
        mean, low, high = (
            high_or_low(told[f"{word}_mm"], unit) for word in ("mean", "low_percentile", "high_percentile")
        )
        rows = [
            f"points    {told['points_on_plug']} on {told['area_m2']:.2f} m2, "
            f"{100.0 * told['area_ratio']:.0f} % of the surface{out}",
            f"off       {mean} on average, rms {rms}, 9 of 10 from {low} to {high}",
            f"within    {format_length(self.ask.tolerance, unit)}: {100.0 * told['within_ratio']:.0f} % "
            "of what was measured",
        ]
        for i, one in enumerate(self.worst[:_TOLD], start=1):
            rows.append(f"{i:2d}        {one.place}, {high_or_low(one.patch.peak, unit)}: {one.advice}")
        if len(self.worst) > _TOLD:
            rows.append(f"          and {len(self.worst) - _TOLD} more")
        if told["to_fill_l"] or told["to_take_off_l"]:
            filler = "" if self.filler is None else f", {1e3 * told['filler_kg']:.0f} g of {self.filler.name}"
            fill, off = (
                amount("volume_m3", 1e-3 * told[f"to_{way}_l"], unit) for way in ("fill", "take_off")
            )
            rows.append(f"filler    {fill}{filler}; to take off: {off}")
        return rows


def reach_of(size: float) -> float:
    """Return how far off a point may stand and still be one of the plug, mm.

    Parameters
    ----------
    size : float, mm
        Of the plug.

    Returns
    -------
    float, mm
    """
    return max(_LEAST_REACH, _REACH_RATIO * size)


def compare(
    work: Worked, measured: Measured, ask: Ask, datums: tuple[Array, Array] | None = None
) -> Comparison:
    """Return how far the real thing is from a plug.

    Parameters
    ----------
    work : Worked
    measured : Measured
    ask : Ask
    datums : tuple of two (k, 3) float, mm, or None
        Points as measured, and where they lie on the plug.

    Returns
    -------
    Comparison

    Raises
    ------
    PlugError
        It cannot be laid on the plug, or lies nowhere near it.
    """
    with begun(work, measured, ask, datums) as one:
        return one.found()


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Begun:
    """A comparison on its way.

    Attributes
    ----------
    measured : Measured
    cells : Surface
        In small triangles: deviations will be told of each.
    found : callable
        Gives the comparison, which it waits for; raises as `compare` does.
    """

    measured: Measured
    cells: Surface
    found: Callable[[], Comparison]


@contextmanager
def begun(
    work: Worked, measured: Measured, ask: Ask, datums: tuple[Array, Array] | None = None
) -> Iterator[Begun]:
    """Begin to compare, where there can be one in a process beside this one.

    Parameters
    ----------
    work : Worked
    measured : Measured
    ask : Ask
    datums : tuple of two (k, 3) float, mm, or None

    Returns
    -------
    context manager of Begun

    Raises
    ------
    PlugError
        No place could be within the tolerance.
    """
    if not 0.0 < ask.tolerance < np.inf:
        raise PlugError(
            param="--tolerance",
            value=ask.tolerance,
            reason="by so much a place may be off and still be right",
            remedy="use a length such as 0.5",
        )
    body = (work.body if ask.against == FOAM else work.finish).body
    cells = make_cells(body)

    def held() -> _Held:
        surface = make_surface(body)
        laid = lay(measured.points, surface, ask.how, ask.locked, datums)
        placed = laid.pose.of(measured.points)
        edges = edge_reads(work, measured.labels or (), placed)
        near = surface.nearest(placed, reach_of(surface.size)).without([one.number for one in edges])
        field = field_of(cells, near)
        return laid, edges, near, (field.values, field.is_dense), patches_of(field, ask.tolerance)

    with meanwhile(held) as waited:
        yield Begun(
            measured=measured, cells=cells, found=lambda: _whole(work, measured, ask, cells, waited())
        )


def _whole(work: Worked, measured: Measured, ask: Ask, cells: Surface, held: _Held) -> Comparison:
    """Return a comparison, its places named."""
    laid, edges, near, (values, is_dense), patches = held
    loft = work.lines.foam if ask.against == FOAM else work.drawn
    names = Names(loft=loft, unit=work.plug.display_unit)
    worst = tuple(
        Worst(place=_place(one, names, measured, near), patch=one, advice=_advice(one, names, work))
        for one in patches
    )
    filler = None if work.plug.filler is None else material_named(work.plug.filler, FILLERS, "filler")
    return Comparison(
        plug_name=work.plug.name,
        unit=work.plug.display_unit,
        ask=ask,
        measured=measured,
        laid=laid,
        near=near,
        edges=edges,
        field=Field(cells=cells, values=values, is_dense=is_dense),
        worst=worst,
        names=names,
        filler=filler,
    )


def _place(patch: Patch, names: Names, measured: Measured, near: Nearest) -> str:
    """Return a place in words: those by which it was measured, where it was measured by words."""
    if not measured.labels:
        return names.place(patch.at, patch.way)
    return measured.labels[int(np.argmin(np.linalg.norm(near.feet - patch.at, axis=1)))]


def _advice(patch: Patch, names: Names, work: Worked) -> str:
    """Return what to do about a place."""
    whole = np.rint(patch.high - patch.low) if names.unit == "mm" else patch.high - patch.low
    size = " x ".join(format_length(float(v), names.unit) for v in np.sort(whole)[:0:-1])
    size += f", {amount('volume_m3', 1e-9 * patch.volume_mm3, names.unit)}"
    if not patch.is_high:
        return f"fill {size}"
    panel, bay, aids = names.panel(patch.at, patch.way), names.bay(patch.at), work.sanding
    if panel.startswith("edge between "):
        pair = set(panel.removeprefix("edge between ").split(" and "))
        block = next((one for one in aids.blocks if any(pair <= set(e.split("/")) for e in one.edges)), None)
        tool = "the radius block of that edge" if block is None else f"radius block {block.number}"
    else:
        own = next((one for one in aids.panels if (one.panel, one.bay) == (panel, bay)), None)
        tool = "a flat block" if own is None else own.advice
    return f"take off {size}, {tool}"
