"""Random plugs, built and checked one by one.

Every plug of a seed either builds, with all its promises kept, or is refused with a complete
`PlugError`; anything else is a fault of ours. Run as a program it prints a table:

    python -m tests.invariants.random_plugs --cases 5000 [--first 0] [--kernel]
"""

from __future__ import annotations

import argparse
import contextlib
import math
import re
import signal
import sys
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plugs.body.body import Solid
from plugs.foam.layers import Layer
from plugs.ground.errors import PlugError
from plugs.lines.section import Station
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from plugs.recipe.plug import Plug
from plugs.work import work_out
from tests.invariants.followed import with_value
from tests.invariants.made_plugs import newer_plug, random_plug

LONGEST_S = 300.0
"""A case that takes longer hangs: in the processor's time, and many times what the slowest case takes."""

_EDGE_MM2 = 1e-3
"""An end smaller than this is a ridge or a point, whose very tip has no thickness in the mesh."""

_NUMBER = r"(-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)"
_USE = re.compile(rf"use (?:at most )?{_NUMBER}")


class HangError(AssertionError):
    """A case took longer than any may."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a case.

    Attributes
    ----------
    seed : int
    kind : str
        "built", "refused" or "fault".
    words : str
        For the table: what was refused, or what went wrong.
    detail : str
        The whole message.
    remedy : str
        "kept", "broken" or "none": whether the number of an error's remedy does what it says.
    seconds : float
    """

    seed: int
    kind: str
    words: str
    detail: str
    remedy: str
    seconds: float


@contextlib.contextmanager
def _limited(seconds: float) -> Iterator[None]:
    """Raise `HangError` when a case takes too long, where the system has such an alarm."""

    def ring(*_: object) -> None:
        raise HangError(f"no result within {seconds:g} s")

    if not hasattr(signal, "SIGPROF"):
        yield
        return
    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def build_plug(plug: Plug, *, with_kernel: bool = False) -> Solid:
    """Build a plug in memory as a recipe is built, and hold it to every promise.

    Parameters
    ----------
    plug : Plug
    with_kernel : bool
        Also asks the CAD kernel.

    Returns
    -------
    Solid

    Raises
    ------
    AssertionError
        A promise is broken.
    """
    work = work_out(plug)
    layers = work.layers
    work.found(("lines", "layers", "body", "finish"))
    check_promises(work.plug, work.body, layers)
    for made in work.opening_templates:
        one = made.scribed
        rim = 2.0 * plug.chord_tolerance * one.scribe.outline.length  # walls lie so near their places
        assert one.area_mm2 >= one.scribe.outline.area - rim, f"less is cut out than {one.scribe.name}"
        assert made.outline.is_valid, f"the template of {one.scribe.name} crosses itself"
    if with_kernel:
        ask_kernel(work.plug, work.body)
    return work.body


def check_promises(plug: Plug, solid: Solid, layers: Sequence[Layer]) -> None:
    """Hold a built plug to what is promised of every one.

    Parameters
    ----------
    plug : Plug
    solid : Solid
    layers : sequence of Layer

    Raises
    ------
    AssertionError
        The mesh is open, a figure is not finite, opinions or layers do not add up, or foam
        would be missing outside the line to cut.
    """
    assert is_closed(mesh.triangles_of(solid.body)[1]), "the mesh is not closed"
    by_sections, plain, whole = solid.by_sections, solid.plain_by_mesh, solid.by_mesh
    figures = [*whole.centroid, *whole.lower, *whole.upper, whole.volume_mm3, whole.area_mm2]
    assert np.isfinite(figures).all(), "a figure is not finite"
    assert whole.volume_mm3 > 0.0, "the volume is not positive"
    gap = abs(plain.volume_mm3 - by_sections.volume_mm3)
    assert gap <= plug.chord_tolerance * by_sections.area_mm2, f"volumes differ by {gap} mm3"
    ends = solid.loft.sections(solid.loft.breaks[[0, -1]]).rings.moments()[:, 0]
    if (ends > _EDGE_MM2).all():
        gaps = np.abs([plain.lower - by_sections.lower, plain.upper - by_sections.upper])
        assert gaps.max() <= plug.chord_tolerance, f"boxes differ by {gaps.max()} mm"
    total = math.fsum(layer.volume_mm3 for layer in layers)
    assert abs(total - whole.volume_mm3) <= 1e-7 * whole.volume_mm3, "the layers do not add up"
    rising = layers if plug.stack.direction == "rising" else layers[::-1]
    faces = [layer.from_mm for layer in rising] + [rising[-1].to_mm]
    slabs = [*mesh.slabs(mesh.stacked(solid.body, plug.stack.axis), faces)]
    for layer, slab in zip(rising, slabs, strict=True):
        outside = mesh.less(slab, mesh.prism(layer.rough, layer.from_mm - 1.0, layer.to_mm + 1.0))
        missing = mesh.volume_of(outside)
        assert missing <= 1e-9 * whole.area_mm2, f"{missing:.3g} mm3 of a layer lie outside its rough line"
        assert layer.to_mm - layer.from_mm <= layer.thickness + 1e-6, "a layer is thicker than its sheet"


def ask_kernel(plug: Plug, solid: Solid) -> None:
    """Compare with the CAD kernel as a build does."""
    from plugs.ground.tolerances import KERNEL_VOLUME_RATIO
    from plugs.kernel.job import KernelJob, SolidTool
    from plugs.kernel.modelling import run_job
    from plugs.kernel.spline_strips import fit_strips

    tools = [
        SolidTool(kind=t.kind, strips=fit_strips(t.loft), frame=t.frame)
        for kind in ("add", "cut")
        for t in solid.tools
        if t.kind == kind
    ]
    proof = run_job(KernelJob(name=plug.name, body=fit_strips(solid.loft), tools=tuple(tools)))
    ratio = abs(proof.plain_volume_mm3 / solid.by_sections.volume_mm3 - 1.0)
    assert ratio <= KERNEL_VOLUME_RATIO, f"kernel and sections disagree on the volume by {ratio:.2g}"
    allowed = plug.chord_tolerance * solid.by_mesh.area_mm2 + 1e-6 * solid.by_mesh.volume_mm3
    gap = abs(proof.volume_mm3 - solid.by_mesh.volume_mm3)
    assert gap <= allowed, f"kernel and mesh disagree on the volume by {gap:.6g} mm3"
    assert proof.n_free_edges == 0, "the kernel's solid is not sound"
    drift = float(np.abs(proof.plain_centroid - solid.by_sections.centroid).max())
    reach = float(np.linalg.norm(solid.by_sections.upper - solid.by_sections.lower))
    assert drift <= 1e-5 * reach, f"kernel and sections disagree on the centroid by {drift} mm"


def remedied(plug: Plug, error: PlugError) -> Plug | None:
    """Return the plug with the number of an error's remedy put in, or None if it names none.

    Parameters
    ----------
    plug : Plug
    error : PlugError

    Returns
    -------
    Plug or None
    """
    if error.would_do:
        for path, value in error.would_do:
            plug = with_value(plug, path, value)
        return plug
    found = _USE.match(error.remedy)
    if found is None:
        return None
    value = float(found[1])
    at = re.fullmatch(r"stations\[(\d+)\]\.(corners|crowns)\['([^']+)'\](?:\.radius)?", error.param)
    if at is not None:
        is_every, is_all = "every station" in error.remedy, "every corner" in error.remedy
        stations = list(plug.stations)
        for s in range(len(stations)) if is_every else (int(at[1]),):
            limit = value if s == int(at[1]) else None
            stations[s] = _limited_station(stations[s], at[2], at[3], value, limit, is_all)
        return replace(plug, stations=stations)
    at = re.fullmatch(r"(front|rear)\.(radius|rake_deg)", error.param)
    if at is not None:
        ends = {"front": plug.front, "rear": plug.rear}
        for key, end in ends.items():
            old = float(getattr(end, at[2]))
            if key == at[1]:
                ends[key] = replace(end, **{at[2]: value})  # type: ignore[arg-type]
            elif "both ends" in error.remedy:
                most = math.copysign(min(abs(old), abs(value)), old)
                ends[key] = replace(end, **{at[2]: most})  # type: ignore[arg-type]
        return replace(plug, front=ends["front"], rear=ends["rear"])
    at = re.fullmatch(
        r"(recesses|bosses)\[(\d+)\]\.(depth|rise|corner_radius|floor_radius|top_radius|draft_deg)",
        error.param,
    )
    if at is not None:
        items = list(getattr(plug, at[1]))
        items[int(at[2])] = replace(items[int(at[2])], **{at[3]: value})
        return replace(plug, **{at[1]: items})
    return None


def _limited_station(
    station: Station, word: str, name: str, most: float, exact: float | None, is_all: bool
) -> Station:
    """Return a station with a radius or crown set, or kept below a limit; so all its radii if asked."""

    def limited(old: float) -> float:
        return math.copysign(min(abs(old), abs(most)), old) if exact is None else exact

    if word == "crowns":
        crowns = dict(station.crowns)
        crowns[name] = limited(float(crowns.get(name, 0.0)))
        return replace(station, crowns=crowns)
    corners = dict(station.corners)
    for key, corner in corners.items():
        if key == name:
            corners[key] = replace(corner, radius=limited(corner.radius))
        elif is_all:
            corners[key] = replace(corner, radius=min(corner.radius, most))
    return replace(station, corners=corners)


def _remedy(plug: Plug, error: PlugError) -> str:
    """Return whether the number of a remedy removes the fault it is named for."""
    changed = remedied(plug, error)
    if changed is None:
        return "none"
    try:
        build_plug(changed)
    except PlugError as other:
        is_same = other.param == error.param and _plain(other.reason) == _plain(error.reason)
        return "broken" if is_same else "kept"
    return "kept"


def run_case(
    seed: int,
    *,
    with_kernel: bool = False,
    with_remedies: bool = True,
    made: Callable[[int], Plug] = random_plug,
) -> Outcome:
    """Build the plug of a seed.

    Parameters
    ----------
    seed : int
    with_kernel, with_remedies : bool
        Also asks the CAD kernel; also tries the numbers of remedies.
    made : callable
        From a seed to its plug.

    Returns
    -------
    Outcome
    """
    start = time.process_time()
    kind, words, detail, remedy = "built", "", "", "none"
    try:
        with warnings.catch_warnings(), _limited(LONGEST_S):
            warnings.simplefilter("error")
            warnings.filterwarnings("ignore", "builtin type .* has no __module__", DeprecationWarning)
            plug = made(seed)
            try:
                build_plug(plug, with_kernel=with_kernel)
            except PlugError as error:
                kind, detail = "refused", str(error)
                param = re.sub(r"[0-9]+|'.*?'", "_", error.param)
                words = f"{param}: {_plain(error.reason)}"
                if not all((error.param, str(error.value), error.reason, error.remedy)):
                    kind, words = "fault", "an error with an empty field"
                elif with_remedies:
                    remedy = _remedy(plug, error)
    except Exception as fault:  # noqa: BLE001 - whatever it is, the seed must be told
        last = traceback.extract_tb(fault.__traceback__)[-1]
        kind, words = (
            "fault",
            f"{type(fault).__name__}: {_plain(str(fault))[:60]} [{last.name}:{last.lineno}]",
        )
        detail = "".join(traceback.format_exception(fault))
    return Outcome(
        seed=seed, kind=kind, words=words, detail=detail, remedy=remedy, seconds=time.process_time() - start
    )


def _plain(text: str) -> str:
    """Return a sentence without its numbers and names."""
    text = re.sub(r"'(?!s )[^']*'", "'_'", text.splitlines()[0] if text else text)
    return re.sub(r"-?\d+(\.\d+)?(e[+-]?\d+)?", "#", text)[:90]


def report(outcomes: Sequence[Outcome]) -> str:
    """Return a table of outcomes.

    Parameters
    ----------
    outcomes : sequence of Outcome

    Returns
    -------
    str
    """
    kinds, remedies = Counter(o.kind for o in outcomes), Counter(o.remedy for o in outcomes)
    slowest = max(outcomes, key=lambda o: o.seconds)
    rows = [
        f"cases {len(outcomes)}, built {kinds['built']}, refused {kinds['refused']}, faults {kinds['fault']}",
        f"remedies kept {remedies['kept']}, broken {remedies['broken']}",
        f"seconds {sum(o.seconds for o in outcomes):.1f}, "
        f"slowest {slowest.seconds:.2f} (seed {slowest.seed})",
    ]
    for kind in ("refused", "fault"):
        for words, count in Counter(o.words for o in outcomes if o.kind == kind).most_common():
            seeds = [str(o.seed) for o in outcomes if o.kind == kind and o.words == words][:6]
            rows.append(f"{kind:8}{count:6}  {words}  ({', '.join(seeds)})")
    broken = [str(o.seed) for o in outcomes if o.remedy == "broken"]
    if broken:
        rows.append(f"remedies that do not do: seeds {', '.join(broken)}")
    return "\n".join(rows)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run many cases and print the table.

    Parameters
    ----------
    arguments : sequence of str or None

    Returns
    -------
    int
        0, or 1 when there is a fault.
    """
    parser = argparse.ArgumentParser(description="Build many random plugs.", allow_abbrev=False)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--kernel", action="store_true", help="ask the CAD kernel too")
    parser.add_argument("--newer", action="store_true", help="half-rounds, ways by bay, ends by panel")
    options = parser.parse_args(arguments)
    outcomes = []
    made = newer_plug if options.newer else random_plug
    for seed in range(options.first, options.first + options.cases):
        outcomes.append(run_case(seed, with_kernel=options.kernel, made=made))
        if outcomes[-1].kind == "fault" or outcomes[-1].remedy == "broken":
            sys.stdout.write(f"seed {seed}\n{outcomes[-1].detail}\n")
    sys.stdout.write(report(outcomes) + "\n")
    return int(any(o.kind == "fault" for o in outcomes))


if __name__ == "__main__":
    sys.exit(main())
