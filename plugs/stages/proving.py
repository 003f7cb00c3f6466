"""The kernel's part in a build: what it is asked to make, and its answer held against the other opinions."""

from __future__ import annotations

from plugs.body.mating import MatingCut
from plugs.body.mating_body import BodyCut
from plugs.ground.errors import Finding, promise
from plugs.ground.tolerances import KERNEL_VOLUME_RATIO
from plugs.kernel.job import (
    CurvedPrism,
    KernelFault,
    KernelJob,
    KernelProof,
    KernelSilence,
    OwnShape,
    SolidTool,
)
from plugs.kernel.spline_strips import StripFault, fit_strips
from plugs.kernel.worker import KernelRun
from plugs.stages.worked import Worked

_KERNEL_SECONDS = 300.0
"""Wait for the kernel after all else is done; then the build goes on without it."""


def kernel_job(work: Worked) -> KernelJob:
    """Return what the kernel is asked to build."""

    def own(kind: str) -> list[OwnShape]:
        return [OwnShape(kind=s.kind, brep=s.brep) for s in work.cutters.shapes if s.kind == kind]

    def tools(kind: str) -> list[SolidTool]:
        return [
            SolidTool(kind=t.kind, strips=fit_strips(t.loft), frame=t.frame)
            for t in work.lines.tools
            if t.kind == kind
        ]

    if not work.cutters.is_exact:
        return KernelJob(name=work.plug.name, body=fit_strips(work.lines.foam), wants_step=False)
    return KernelJob(
        name=work.plug.name,
        body=fit_strips(work.lines.foam),
        tools=(
            *tools("add"),
            *own("add"),
            *tools("cut"),
            *own("cut"),
            *(_mating_tool(cut) for cut in work.cutters.mating),
        ),
    )


def _mating_tool(cut: MatingCut | BodyCut) -> CurvedPrism | OwnShape:
    """Return a mating cut for the kernel."""
    if isinstance(cut, BodyCut):
        return OwnShape(kind="cut", brep=cut.brep)
    return CurvedPrism(
        kind="cut", axis=cut.axis, curve=cut.curve, closing=cut.closing, low=cut.low, high=cut.high
    )


def submit_to(run: KernelRun, work: Worked) -> None:
    """Set a kernel to work on a design, or on nothing where the design has no exact surfaces.

    Parameters
    ----------
    run : KernelRun
    work : Worked
    """
    try:
        run.submit(work.again("kernel job", kernel_job))
    except StripFault as fault:
        run.give_up(KernelFault("fit", str(fault)))


def no_step(fault: KernelFault) -> Finding:
    """Return the finding that a build has no STEP file and no opinion of the kernel.

    Parameters
    ----------
    fault : KernelFault

    Returns
    -------
    Finding
        A note where the kernel gave no answer, a warning where it could not make the body.
    """
    return Finding(
        code="no-step",
        severity="note" if isinstance(fault, KernelSilence) else "mind",
        where="STEP",
        message=f"there is no STEP file, and the volume has two proofs instead of three: {fault}",
        remedy="everything else is there; build again when there is less to do, or --without step",
    )


def proved(work: Worked, run: KernelRun) -> KernelProof:
    """Return the kernel's answer after comparing it with the other two opinions.

    Parameters
    ----------
    work : Worked
    run : KernelRun
        Which the job was given to.

    Returns
    -------
    KernelProof

    Raises
    ------
    KernelFault
        The kernel could not make the body, or gave no answer.
    """
    proof = run.result(_KERNEL_SECONDS)
    solid, tolerance = work.body, work.plug.chord_tolerance
    ratio = abs(proof.plain_volume_mm3 / solid.by_sections.volume_mm3 - 1.0)
    promise(ratio <= KERNEL_VOLUME_RATIO, f"kernel and sections disagree on the volume by {ratio:.2g}")
    promise(proof.n_free_edges == 0, "the kernel's solid is not sound")
    if not work.cutters.is_exact:
        return proof
    allowed = tolerance * solid.by_mesh.area_mm2 + 1e-6 * solid.by_mesh.volume_mm3
    gap = abs(proof.volume_mm3 - solid.by_mesh.volume_mm3)
    promise(gap <= allowed, f"kernel and mesh disagree on the volume by {gap:.6g} mm3")
    return proof
