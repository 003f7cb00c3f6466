"""What the kernel is asked, what it answers, and how it fails: records that travel between processes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.kernel.spline_strips import Strips

Array = NDArray[np.float64]


class KernelFault(AssertionError):  # noqa: N818 - it is a fault of ours, not an error of the user
    """The kernel could not do what it was asked, at a named stage.

    Parameters
    ----------
    stage : str
        ``"body"``, ``"cut tool 1"``, ``"step"`` ...
    reason : str
        What the kernel says.
    """

    def __init__(self, stage: str, reason: str) -> None:
        """Keep both fields."""
        self.stage = stage
        self.reason = reason
        super().__init__(stage, reason)

    def __str__(self) -> str:
        """Return one line."""
        return f"the kernel failed at stage {self.stage!r}: {self.reason}"


class KernelSilence(KernelFault):
    """The kernel gave no answer: it was too slow, or its process ended.

    Parameters
    ----------
    stage, reason : str
        As of a `KernelFault`.
    """

    def __init__(self, stage: str, reason: str) -> None:
        """Keep both fields."""
        super().__init__(stage, reason)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SolidTool:
    """A section solid that cuts or adds.

    Attributes
    ----------
    kind : str
        ``"cut"`` or ``"add"``.
    strips : Strips
        In the tool's own axes.
    frame : (3, 4) float
        Rotation (dimensionless) and position (mm): columns are the images of the axes, and of 0.
    """

    kind: str
    strips: Strips
    frame: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class CurvedPrism:
    """A prism between straight sides and one smooth curve, along an axis.

    Attributes
    ----------
    kind : str
        ``"cut"`` or ``"add"``.
    axis : str
        "x", "y" or "z".
    curve : (n, 2) float, mm
        Points of the curved side in the other two axes, in order; its first and last stretch are straight.
    closing : (m, 2) float, mm
        Corners of the straight sides, from the end of the curve back to its beginning.
    low, high : float, mm
        Along the axis.
    """

    kind: str
    axis: str
    curve: Array
    closing: Array
    low: float
    high: float


@record(frozen=True, slots=True, kw_only=True)
class OwnShape:
    """A shape of the recipe's own that cuts or adds.

    Attributes
    ----------
    kind : str
        ``"cut"`` or ``"add"``.
    brep : bytes
        The shape as the kernel's BREP text, mm, in the plug's axes.
    """

    kind: str
    brep: bytes


@record(frozen=True, slots=True, kw_only=True)
class KernelJob:
    """One body to build, combine, measure and write.

    Attributes
    ----------
    name : str
        Product name in the STEP file.
    body : Strips
    tools : tuple of SolidTool, CurvedPrism or OwnShape
        In the order of work.
    wants_step : bool
    planes : tuple of (str, float)
        Axis ("x", "y" or "z") and position (mm) of plane sections wanted of the final body.
    """

    name: str
    body: Strips
    tools: tuple[SolidTool | CurvedPrism | OwnShape, ...] = ()
    wants_step: bool = True
    planes: tuple[tuple[str, float], ...] = ()


@record(frozen=True, slots=True, kw_only=True, eq=False)
class KernelProof:
    """What the kernel found and wrote.

    Attributes
    ----------
    plain_volume_mm3, plain_area_mm2 : float
        Of the body before any tool.
    plain_centroid : (3,) float, mm
    volume_mm3, area_mm2 : float
        Of the final body.
    centroid : (3,) float, mm
    n_solids, n_free_edges : int
        Solids of the final body; edges with a face on one side only, of either body.
    step : bytes
        The STEP file; empty if not asked for.
    sections : tuple of tuple of (n, 3) float, mm
        Curves of each plane section, unjoined, within 0.005 mm.
    seconds : tuple of (str, float)
        Stages and how long each took; the one thing here that differs from run to run.
    """

    plain_volume_mm3: float
    plain_area_mm2: float
    plain_centroid: Array
    volume_mm3: float
    area_mm2: float
    centroid: Array
    n_solids: int
    n_free_edges: int
    step: bytes
    sections: tuple[tuple[Array, ...], ...]
    seconds: tuple[tuple[str, float], ...]
