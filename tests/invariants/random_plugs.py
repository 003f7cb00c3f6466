"""Random plugs, sensible in the middle and wild at the edges, built and checked one by one.

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
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plugs.errors import PlugError
from plugs.findings import find
from plugs.foam.layers import Stack, make_layers
from plugs.recipe import Plug, checked_plug
from plugs.shape import mesh
from plugs.shape.body import Solid, make_solid, make_tools
from plugs.shape.checks import checked_loft
from plugs.shape.recess import Boss, Recess
from plugs.shape.section import Corner, End, Station

LONGEST_S = 20.0
"""A case that takes longer hangs."""

_NUMBER = r"(-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)"
_USE = re.compile(rf"use (?:at most )?{_NUMBER}")


class Hang(AssertionError):
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


def random_plug(seed: int) -> Plug:
    """Return the plug of a seed: the same one for ever.

    Parameters
    ----------
    seed : int

    Returns
    -------
    Plug
    """
    rng = np.random.default_rng(seed)
    mirrored = bool(rng.random() < 0.7)
    outline = _outline(rng, mirrored)
    names = [f"line {chr(97 + i)}" for i in range(len(outline))]
    width, height = (float(np.exp(rng.uniform(np.log(30.0), np.log(900.0)))) for _ in range(2))
    length = float(np.exp(rng.uniform(np.log(60.0), np.log(2000.0))))
    x = _positions(rng, length)
    shapes = _stations(rng, outline * [0.5 * width, 0.5 * height], len(x), mirrored)
    tip = _tip(rng, shapes)
    radii, rises = _radii(rng, shapes, mirrored), _crowns(rng, shapes, names, mirrored)
    if tip is not None:
        radii[tip] = 0.0
    stations = [
        Station(
            x=x[s],
            corners={n: Corner(*map(float, shapes[s, i]), float(radii[s, i])) for i, n in enumerate(names)},
            crowns={} if s == tip else rises[s],
        )
        for s in range(len(x))
    ]
    panel_names = _panel_names(names, shapes, mirrored)
    size = min(width, height, length)
    return Plug(
        name=f"case {seed}",
        stations=stations,
        mirrored=mirrored,
        bays=_bays(rng, names),
        front=End() if tip == 0 else _end(rng, size),
        aft=End() if tip == len(x) - 1 else _end(rng, size),
        recesses=[_recess(rng, panel_names, x, shapes) for _ in range(_few(rng, 0.35))],
        bosses=[_boss(rng, panel_names, x, shapes) for _ in range(_few(rng, 0.2))],
        stack=_stack(rng, length, width, height),
        chord_tolerance=float(rng.choice([0.02, 0.05, 0.2, 0.5])),
    )


def _few(rng: np.random.Generator, share: float) -> int:
    """Return 0, 1 or 2."""
    return 0 if rng.random() > share else 1 + int(rng.random() < 0.25)


def _outline(rng: np.random.Generator, mirrored: bool) -> np.ndarray:
    """Return corners round a superellipse of half-axes 1, in the order of a section."""
    power = float(rng.choice([1.2, 2.0, 3.0, 6.0]))
    if mirrored:
        count = int(rng.integers(2, 6))
        first, last = rng.random() < 0.2, rng.random() < 0.2
        edges = np.linspace(-85.0, 85.0, count + 1)
        angle = edges[:-1] + np.diff(edges) * rng.uniform(0.25, 0.75, count)
        angle = np.concatenate([[-90.0] if first else [], angle, [90.0] if last else []])
    else:
        count = int(rng.integers(3, 9))
        edges = np.linspace(0.0, 360.0, count + 1) + rng.uniform(0.0, 40.0)
        angle = edges[:-1] + np.diff(edges) * rng.uniform(0.2, 0.8, count)
    angle = np.radians(angle)
    reach = (np.abs(np.cos(angle)) ** power + np.abs(np.sin(angle)) ** power) ** (-1.0 / power)
    dent = np.where(rng.random(len(angle)) < 0.1, rng.uniform(0.55, 0.8, len(angle)), 1.0)
    points = (reach * dent)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    if mirrored:
        points[np.abs(np.cos(angle)) < 1e-9, 0] = 0.0
    return points


def _positions(rng: np.random.Generator, length: float) -> list[float]:
    """Return positions of 2 to 6 stations."""
    count = int(rng.integers(2, 7))
    gaps = rng.uniform(0.4, 1.6, count - 1)
    x = float(rng.uniform(-200.0, 200.0)) + length * np.concatenate([[0.0], np.cumsum(gaps)]) / gaps.sum()
    return [float(v) for v in np.round(x, 3)]


def _stations(rng: np.random.Generator, outline: np.ndarray, count: int, mirrored: bool) -> np.ndarray:
    """Return the corners of every station: the outline grown, moved and slightly bent."""
    grown = 1.0 + np.cumsum(rng.normal(0.0, 0.12, (count, 1, 2)), axis=0)
    noise = rng.normal(0.0, 0.015, (count, *outline.shape)) * np.ptp(outline, axis=0)
    lift = np.cumsum(rng.normal(0.0, 0.05, (count, 1, 1)), axis=0) * np.ptp(outline[:, 1])
    sway = np.zeros_like(lift) if mirrored else np.cumsum(rng.normal(0.0, 0.05, lift.shape), axis=0) * 50.0
    shapes = outline * np.clip(grown, 0.3, 2.0) + noise + np.concatenate([sway, lift], axis=2)
    shapes[..., 1] += 0.6 * float(rng.random() < 0.8) * np.ptp(outline[:, 1])
    if mirrored:
        on_centre = outline[:, 0] == 0.0
        shapes[..., 0] = np.maximum(shapes[..., 0], 0.02 * outline[:, 0].max())
        shapes[:, on_centre, 0] = 0.0
    return np.round(shapes, 3)


def _tip(rng: np.random.Generator, shapes: np.ndarray) -> int | None:
    """Turn an end into a point or a level ridge now and then; return its station."""
    if rng.random() > 0.12:
        return None
    tip = int(rng.choice([0, len(shapes) - 1]))
    shapes[tip, :, 1] = np.round(shapes[tip, :, 1].mean(), 3)
    if rng.random() < 0.5:
        shapes[tip, :, 0] = 0.0
    return tip


def _ring(section: np.ndarray, mirrored: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return, for each drawn corner, the corner before it and the one after it all round."""
    before, after = np.roll(section, 1, axis=0), np.roll(section, -1, axis=0)
    if mirrored:
        before[0], after[-1] = section[0] * [-1, 1], section[-1] * [-1, 1]
        if section[0, 0] == 0.0:
            before[0] = section[1] * [-1, 1]
        if section[-1, 0] == 0.0:
            after[-1] = section[-2] * [-1, 1]
    return before, section, after


def _radii(rng: np.random.Generator, shapes: np.ndarray, mirrored: bool) -> np.ndarray:
    """Return blend radii: mostly a share of the largest that fits on half a panel."""
    radii = np.zeros(shapes.shape[:2])
    is_round = rng.random(shapes.shape[1]) < 0.6
    share = rng.uniform(0.02, 0.9, shapes.shape[1])
    wild = np.where(rng.random(shapes.shape[:2]) < 0.02, rng.uniform(1.0, 4.0, shapes.shape[:2]), 1.0)
    for s, section in enumerate(shapes):
        before, here, after = _ring(section, mirrored)
        a, b = here - before, after - here
        turn = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.sum(a * b, axis=1))
        room = 0.5 * np.minimum(np.hypot(*a.T), np.hypot(*b.T))
        largest = room / np.maximum(np.tan(0.5 * np.abs(turn)), 0.05)
        radii[s] = np.where(is_round, share * wild[s] * largest, 0.0)
    return np.round(radii, 2)


def _crowns(
    rng: np.random.Generator, shapes: np.ndarray, names: Sequence[str], mirrored: bool
) -> list[dict[str, float]]:
    """Return crowns of some panels, mostly outward."""
    panels = _panel_names(names, shapes, mirrored)
    chosen = {name: float(rng.uniform(-0.08, 0.2)) for name in panels if rng.random() < 0.3}
    rises: list[dict[str, float]] = []
    for section in shapes:
        before, here, after = _ring(section, mirrored)
        width = {}
        for i, name in enumerate(names):
            width[f"across {name}"] = 2.0 * abs(float(here[i, 0]))
            for other in names:
                width[f"{name} to {other}"] = float(np.hypot(*(after[i] - here[i])))
        wild = 3.0 if rng.random() < 0.02 else 1.0
        rises.append({name: round(wild * share * width[name], 2) for name, share in chosen.items()})
    return rises


def _panel_names(names: Sequence[str], shapes: np.ndarray, mirrored: bool) -> list[str]:
    """Return the names that panels get when the recipe gives none."""
    between = [f"{a} to {b}" for a, b in zip(names, names[1:], strict=False)]
    if not mirrored:
        return [*between, f"{names[-1]} to {names[0]}"]
    first, last = (bool((shapes[:, i, 0] == 0.0).all()) for i in (0, -1))
    return [*([] if first else [f"across {names[0]}"]), *between, *([] if last else [f"across {names[-1]}"])]


def _bays(rng: np.random.Generator, names: Sequence[str]) -> str | dict[str, str]:
    """Return how the lines run."""
    kind = rng.random()
    if kind < 0.7:
        return "straight" if kind < 0.35 else "faired"
    return {name: str(rng.choice(["straight", "faired"])) for name in names if rng.random() < 0.8}


def _end(rng: np.random.Generator, size: float) -> End:
    """Return an end: sharp or blended, upright or raked."""
    radius = float(rng.uniform(0.005, 0.2) * size) if rng.random() < 0.5 else 0.0
    radius *= 4.0 if rng.random() < 0.03 else 1.0
    rake = float(rng.uniform(-30.0, 30.0)) if rng.random() < 0.25 else 0.0
    return End(radius=round(radius, 2), rake_deg=round(rake, 1))


def _place(
    rng: np.random.Generator, panels: Sequence[str], x: Sequence[float], shapes: np.ndarray
) -> tuple[dict[str, object], float]:
    """Return where a tool sits, and how large a tool the place may bear."""
    wide, high = np.ptp(shapes[..., 0]), np.ptp(shapes[..., 1])
    if rng.random() < 0.3:
        end = int(rng.random() < 0.5)
        middle = float(shapes[-end, :, 1].mean())
        at = {"panel": ("front", "aft")[end], "y": 0.0, "z": middle, "turn_deg": float(rng.choice([0.0, 20.0]))}
        return at, float(min(wide, high))
    share = rng.uniform(0.3, 0.7)
    place = x[0] + share * (x[-1] - x[0])
    at = {
        "panel": str(rng.choice(panels)),
        "x": round(float(place), 1),
        "across": round(float(rng.normal(0.0, 0.02) * wide), 1) if rng.random() < 0.5 else 0.0,
        "turn_deg": float(rng.choice([0.0, 0.0, 15.0, -40.0])),
    }
    return at, float(min(wide, high, x[-1] - x[0]))


def _recess(rng: np.random.Generator, panels: Sequence[str], x: Sequence[float], shapes: np.ndarray) -> Recess:
    """Return a recess, now and then right through."""
    at, room = _place(rng, panels, x, shapes)
    width, height = (max(2.0, round(float(room * rng.uniform(0.04, 0.22)), 1)) for _ in range(2))
    depth = round(float(rng.uniform(0.05, 0.4) * min(width, height)) + 0.5, 1)
    return Recess(
        **at,  # type: ignore[arg-type]
        width=width,
        height=height,
        depth=depth,
        corner_radius=round(float(rng.uniform(0.0, 0.45) * min(width, height)), 1) if rng.random() < 0.6 else 0.0,
        draft_deg=float(rng.choice([0.0, 3.0, 10.0, 20.0, -5.0])),
        floor_radius=round(float(rng.uniform(0.0, 0.6) * depth), 1) if rng.random() < 0.4 else 0.0,
        square_to=str(rng.choice(["surface", "surface", "surface", "y", "z"])),
        is_through=bool(rng.random() < 0.1),
    )


def _boss(rng: np.random.Generator, panels: Sequence[str], x: Sequence[float], shapes: np.ndarray) -> Boss:
    """Return a boss."""
    at, room = _place(rng, panels, x, shapes)
    width, height = (max(2.0, round(float(room * rng.uniform(0.04, 0.2)), 1)) for _ in range(2))
    rise = round(float(rng.uniform(0.05, 0.4) * min(width, height)) + 0.5, 1)
    return Boss(
        **at,  # type: ignore[arg-type]
        width=width,
        height=height,
        rise=rise,
        corner_radius=round(float(rng.uniform(0.0, 0.45) * min(width, height)), 1) if rng.random() < 0.6 else 0.0,
        draft_deg=float(rng.choice([0.0, 5.0, 15.0])),
        top_radius=round(float(rng.uniform(0.0, 0.6) * rise), 1) if rng.random() < 0.4 else 0.0,
    )


def _stack(rng: np.random.Generator, length: float, width: float, height: float) -> Stack:
    """Return a stack of 1 to some 30 sheets."""
    axis = str(rng.choice(["z", "z", "x", "y"]))
    reach = {"x": length, "y": width, "z": height}[axis]
    sheets = [max(1.0, round(float(reach * rng.uniform(0.06, 0.4)), 1)) for _ in range(int(rng.integers(1, 4)))]
    return Stack(
        axis=axis,
        thicknesses=sheets,
        order="explicit" if rng.random() < 0.05 else "cycled",
        direction=str(rng.choice(["rising", "falling"])),
        surplus=str(rng.choice(["last", "first", "both"])),
        allowance=float(rng.choice([0.0, 1.5, 4.0, 12.0])),
    )


@contextlib.contextmanager
def _limited(seconds: float) -> Iterator[None]:
    """Raise `Hang` when a case takes too long, where the system has such an alarm."""

    def ring(*_: object) -> None:
        raise Hang(f"no result within {seconds:g} s")

    if not hasattr(signal, "SIGALRM"):
        yield
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


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
    plug = checked_plug(plug, "random_plug")
    loft = checked_loft(plug.plan())
    tools = make_tools(loft, plug.bosses, "bosses") + make_tools(loft, plug.recesses, "recesses")
    solid = make_solid(loft, tools, (), plug.chord_tolerance)
    layers, doubts = make_layers(solid.body, plug.stack)
    find(plug, solid, doubts, None)
    check_promises(plug, solid, layers)
    if with_kernel:
        _ask_kernel(plug, solid)
    return solid


def check_promises(plug: Plug, solid: Solid, layers: Sequence[object]) -> None:
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
    assert mesh.is_closed(mesh.triangles_of(solid.body)[1]), "the mesh is not closed"
    by_sections, plain, whole = solid.by_sections, solid.plain_by_mesh, solid.by_mesh
    figures = [*whole.centroid, *whole.lower, *whole.upper, whole.volume_mm3, whole.area_mm2]
    assert np.isfinite(figures).all(), "a figure is not finite"
    assert whole.volume_mm3 > 0.0, "the volume is not positive"
    gap = abs(plain.volume_mm3 - by_sections.volume_mm3)
    assert gap <= plug.chord_tolerance * by_sections.area_mm2, f"volumes differ by {gap} mm3"
    box_gap = max(np.abs(plain.lower - by_sections.lower).max(), np.abs(plain.upper - by_sections.upper).max())
    assert box_gap <= plug.chord_tolerance, f"boxes differ by {box_gap} mm"
    total = math.fsum(layer.volume_mm3 for layer in layers)  # type: ignore[attr-defined]
    assert abs(total - whole.volume_mm3) <= 1e-7 * whole.volume_mm3, "the layers do not add up"
    rising = layers if plug.stack.direction == "rising" else layers[::-1]
    faces = [layer.from_mm for layer in rising] + [rising[-1].to_mm]  # type: ignore[attr-defined]
    slabs = mesh.slabs(mesh.stacked(solid.body, plug.stack.axis), faces)
    for layer, slab in zip(rising, slabs, strict=True):
        outside = mesh.less(slab, mesh.prism(layer.rough, layer.from_mm - 1.0, layer.to_mm + 1.0))  # type: ignore[attr-defined]
        missing = mesh.volume_of(outside)
        assert missing <= 1e-9 * whole.area_mm2, f"{missing:.3g} mm3 of a layer lie outside its rough line"
        assert layer.to_mm - layer.from_mm <= layer.thickness + 1e-6, "a layer is thicker than its sheet"  # type: ignore[attr-defined]


def _ask_kernel(plug: Plug, solid: Solid) -> None:
    """Compare with the CAD kernel as a build does."""
    from plugs.shape.kernel import run_job
    from plugs.shape.kernel_job import KernelJob, SolidTool
    from plugs.shape.spline_strips import fit_strips
    from plugs.tolerances import KERNEL_VOLUME_RATIO

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
    assert proof.is_valid and proof.n_free_edges == 0, "the kernel's solid is not sound"
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
    at = re.fullmatch(r"(front|aft)\.(radius|rake_deg)", error.param)
    if at is not None:
        ends = {"front": plug.front, "aft": plug.aft}
        for key, end in ends.items():
            old = float(getattr(end, at[2]))
            if key == at[1]:
                ends[key] = replace(end, **{at[2]: value})  # type: ignore[arg-type]
            elif "both ends" in error.remedy:
                ends[key] = replace(end, **{at[2]: math.copysign(min(abs(old), abs(value)), old)})  # type: ignore[arg-type]
        return replace(plug, front=ends["front"], aft=ends["aft"])
    at = re.fullmatch(
        r"(recesses|bosses)\[(\d+)\]\.(depth|rise|corner_radius|floor_radius|top_radius|draft_deg)", error.param
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


def run_case(seed: int, *, with_kernel: bool = False, with_remedies: bool = True) -> Outcome:
    """Build the plug of a seed.

    Parameters
    ----------
    seed : int
    with_kernel, with_remedies : bool
        Also asks the CAD kernel; also tries the numbers of remedies.

    Returns
    -------
    Outcome
    """
    start = time.perf_counter()
    kind, words, detail, remedy = "built", "", "", "none"
    try:
        with warnings.catch_warnings(), _limited(LONGEST_S):
            warnings.simplefilter("error")
            warnings.filterwarnings("ignore", "builtin type .* has no __module__", DeprecationWarning)
            plug = random_plug(seed)
            try:
                build_plug(plug, with_kernel=with_kernel)
            except PlugError as error:
                kind, detail = "refused", str(error)
                words = f"{re.sub(r'[0-9]+|' + chr(39) + '.*?' + chr(39), '_', error.param)}: {_plain(error.reason)}"
                if not all((error.param, str(error.value), error.reason, error.remedy)):
                    kind, words = "fault", "an error with an empty field"
                elif with_remedies:
                    remedy = _remedy(plug, error)
    except Exception as fault:  # noqa: BLE001 - whatever it is, the seed must be told
        last = traceback.extract_tb(fault.__traceback__)[-1]
        kind, words = "fault", f"{type(fault).__name__}: {_plain(str(fault))[:60]} [{last.name}:{last.lineno}]"
        detail = "".join(traceback.format_exception(fault))
    return Outcome(
        seed=seed, kind=kind, words=words, detail=detail, remedy=remedy, seconds=time.perf_counter() - start
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
        f"seconds {sum(o.seconds for o in outcomes):.1f}, slowest {slowest.seconds:.2f} (seed {slowest.seed})",
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
    options = parser.parse_args(arguments)
    outcomes = []
    for seed in range(options.first, options.first + options.cases):
        outcomes.append(run_case(seed, with_kernel=options.kernel))
        if outcomes[-1].kind == "fault" or outcomes[-1].remedy == "broken":
            sys.stdout.write(f"seed {seed}\n{outcomes[-1].detail}\n")
    sys.stdout.write(report(outcomes) + "\n")
    return int(any(o.kind == "fault" for o in outcomes))


if __name__ == "__main__":
    sys.exit(main())
