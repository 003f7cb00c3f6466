"""Plugs made by chance from a seed: sensible in the middle, wild at the edges."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from plugs.foam.layers import Stack
from plugs.lines.section import WAYS, Along, Corner, End, Station
from plugs.recesses.form import Form
from plugs.recesses.opening import Opening, Rim
from plugs.recesses.recess import Boss, Recess
from plugs.recipe.plug import Plug


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
        radii[:] *= float(rng.random() < 0.2)
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
    plug = Plug(
        name=f"case {seed}",
        stations=stations,
        mirrored=mirrored,
        bays=_bays(rng, names),
        front=End() if tip == 0 else _end(rng, size),
        rear=End() if tip == len(x) - 1 else _end(rng, size),
        recesses=[_recess(rng, panel_names, x, shapes) for _ in range(_few(rng, 0.35))],
        bosses=[_boss(rng, panel_names, x, shapes) for _ in range(_few(rng, 0.2))],
        forms=_forms(np.random.default_rng([seed, 1]), x, shapes),
        stack=_stack(rng, length, width, height),
        chord_tolerance=float(rng.choice([0.02, 0.05, 0.2, 0.5])),
    )
    bend = np.random.default_rng([seed, 2])
    return bent(plug, bend) if bend.random() < 0.15 else plug


def bent(plug: Plug, rng: np.random.Generator) -> Plug:
    """Return a plug along a curve, if there is one for it, its tools as far from its front end as they were.

    Parameters
    ----------
    plug : Plug
    rng : numpy random generator

    Returns
    -------
    Plug
    """
    at = np.array([station.x for station in plug.stations])
    along = _along(rng, at)
    if along is None:
        return plug
    shift = float(at[0] - plug.stations[0].x)
    ends = {"front": replace(plug.front, rake_deg=0.0), "rear": replace(plug.rear, rake_deg=0.0)}
    tools = {
        word: [item if item.x is None else replace(item, x=item.x + shift) for item in getattr(plug, word)]
        for word in ("recesses", "bosses")
    }
    return replace(
        plug,
        along=replace(along, view="side") if plug.mirrored else along,
        stations=[replace(one, x=float(x)) for one, x in zip(plug.stations, at, strict=True)],
        **ends,
        **tools,
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
    share = rng.uniform(0.02, 0.8, shapes.shape[1])
    wild = np.where(rng.random(shapes.shape[:2]) < 0.006, rng.uniform(1.0, 4.0, shapes.shape[:2]), 1.0)
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
        _, here, after = _ring(section, mirrored)
        width = {}
        for i, name in enumerate(names):
            width[f"across {name}"] = 2.0 * abs(float(here[i, 0]))
            for other in names:
                width[f"{name} to {other}"] = float(np.hypot(*(after[i] - here[i])))
        wild = 3.0 if rng.random() < 0.01 else 1.0
        rises.append({name: round(wild * share * width[name], 2) for name, share in chosen.items()})
    return rises


def _panel_names(names: Sequence[str], shapes: np.ndarray, mirrored: bool) -> list[str]:
    """Return the names that panels get when the recipe gives none."""
    between = [f"{a} to {b}" for a, b in itertools.pairwise(names)]
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


def newer_plug(seed: int) -> Plug:
    """Return the plug of a seed with a way for each bay, half-rounds, ends by panel, and radii at its tip.

    Parameters
    ----------
    seed : int

    Returns
    -------
    Plug
    """
    plug, rng = random_plug(seed), np.random.default_rng([seed, 1])
    names = list(plug.stations[0].corners)
    ways = {name: [str(way) for way in rng.choice(WAYS, len(plug.stations) - 1)] for name in names}
    round_one = int(rng.integers(len(names))) if rng.random() < 0.5 else -1
    share = float(rng.uniform(0.4, 0.9))
    stations = [_rounded(station, round_one, share, plug.mirrored) for station in plug.stations]
    for tip, beside in ((0, 1), (-1, -2)):
        corners, other = stations[tip].corners, stations[beside].corners
        if len({corner.z for corner in corners.values()}) == 1:
            whole = {name: replace(corner, radius=other[name].radius) for name, corner in corners.items()}
            stations[tip] = replace(stations[tip], corners=whole)
    shapes = np.array([[(c.y, c.z) for c in station.corners.values()] for station in stations])
    panels = _panel_names(names, shapes, plug.mirrored)
    ends = [
        replace(end, by_panel={str(rng.choice(panels)): round(float(rng.uniform(0.2, 1.5)) * end.radius, 1)})
        for end in (plug.front, plug.rear)
    ]
    bays = ways if rng.random() < 0.6 else plug.bays
    made = replace(
        plug,
        stations=stations,
        bays=bays,
        front=ends[0],
        rear=ends[1],
        recesses=[_to_sides(rng, _mouthed(rng, one), plug.mirrored) for one in plug.recesses],
        bosses=[_to_sides(rng, _mouthed(rng, one), plug.mirrored) for one in plug.bosses],
    )
    own = np.random.default_rng([seed, 2])
    x = [station.x for station in stations]
    openings = [_opening(own, panels, x, shapes, plug.mirrored) for _ in range(_few(own, 0.3))]
    return replace(made, openings=openings)


def _opening(
    rng: np.random.Generator, panels: Sequence[str], x: Sequence[float], shapes: np.ndarray, mirrored: bool
) -> Opening:
    """Return an opening, now and then by points, or with a return flange or a drip channel round it."""
    at, room = _place(rng, panels, x, shapes)
    width, height = (max(4.0, round(float(room * rng.uniform(0.05, 0.3)), 1)) for _ in range(2))
    made = Opening(
        **at,  # type: ignore[arg-type]
        width=width,
        height=height,
        corner_radius=round(float(rng.uniform(0.0, 0.45) * min(width, height)), 1),
        square_to=str(rng.choice(["surface"] * 8 + ["y", "z"])),
    )
    if rng.random() < 0.25:
        turns = np.sort(rng.uniform(0.0, 2.0 * np.pi, 7))
        ring = 0.5 * np.column_stack([width * np.cos(turns), height * np.sin(turns)])
        made = replace(made, width=None, height=None, corner_radius=0.0, outline=ring.round(2))
    elif rng.random() < 0.6:
        least = min(width, height)
        deep = round(float(rng.uniform(0.1, 0.5)) * least, 1)
        radius = round(float(rng.uniform(0.0, 0.2)) * least, 1)
        flange = Rim(kind="return flange", width=max(deep, 1.0), radius=radius * float(rng.random() < 0.5))
        depth, foot = max(deep, 0.5), min(radius, 2.0)
        channel = Rim(kind="drip channel", width=8.0 + deep, depth=depth, floor_radius=foot)
        made = replace(made, rim=flange if rng.random() < 0.5 else channel)
    if mirrored and rng.random() < 0.3:
        out = {"across": abs(made.across) + room, "y": abs(made.y) + 0.5 * room}
        word = "y" if made.panel in ("front", "rear") else "across"
        panel = made.panel.removeprefix("left ")
        made = replace(
            made, side=str(rng.choice(["left", "both"])), panel=panel, **{word: round(out[word], 1)}
        )
    return made


def _mouthed(rng: np.random.Generator, item: Recess | Boss) -> Recess | Boss:
    """Return a recess or boss whose mouth or foot is now and then rounded, or which may run over an edge."""
    radius = round(float(rng.uniform(0.3, 0.12 * min(item.width or 5.0, item.height or 5.0) + 0.4)), 1)
    if rng.random() < 0.6:
        far = 1.2 * float(rng.uniform(0.2, 1.0)) * (item.height or 5.0)
        is_moved = isinstance(item, Recess) and item.x is not None and rng.random() < 0.3
        if isinstance(item, Boss) and rng.random() < 0.3:
            held = (0.5 * (item.width or 5.0) + 1.0, 0.5 * (item.height or 5.0) + 1.0)
            return replace(item, width=None, height=None, corner_radius=None, holds=held, clearance=0.5)
        return replace(item, over_edge=True, x=item.x + far) if is_moved else item
    return replace(item, **{"mouth_radius" if isinstance(item, Recess) else "foot_radius": radius})


def _to_sides(rng: np.random.Generator, item: Recess | Boss, mirrored: bool) -> Recess | Boss:
    """Return a recess or boss set to a side or both by one word, mostly off the centreline; now and then."""
    if rng.random() > (0.6 if mirrored else 0.05):
        return item
    size = max(item.width or 0.0, item.height or 0.0)
    out = {"across": round(abs(item.across) + 0.7 * size, 1), "y": round(item.y + 0.7 * size, 1)}
    word = "y" if item.panel in ("front", "rear") else "across"
    side = str(rng.choice(["left", "right", "both", "both"]))
    return replace(item, side=side, panel=item.panel.removeprefix("left "), **{word: out[word]})


def _rounded(station: Station, which: int, share: float, mirrored: bool) -> Station:
    """Return a station with a wide arc over the panel after one corner, whose ends are sharp; none for -1."""
    names = list(station.corners)
    if which < 0 or (mirrored and which == len(names) - 1 and station.corners[names[-1]].y == 0.0):
        return station
    first, other = station.corners[names[which]], names[(which + 1) % len(names)]
    panel, onward = f"{names[which]} to {other}", station.corners[other]
    if mirrored and which == len(names) - 1:
        panel, onward = f"across {names[-1]}", replace(first, y=-first.y)
    width = float(np.hypot(onward.y - first.y, onward.z - first.z))
    sharp = {names[which], other}
    corners = {n: replace(c, radius=0.0) if n in sharp else c for n, c in station.corners.items()}
    return replace(station, corners=corners, crowns={**station.crowns, panel: round(share * width, 2)})


def _end(rng: np.random.Generator, size: float) -> End:
    """Return an end: sharp or blended, upright or raked."""
    radius = float(rng.uniform(0.005, 0.15) * size) if rng.random() < 0.5 else 0.0
    radius *= 4.0 if rng.random() < 0.03 else 1.0
    rake = float(rng.normal(0.0, 10.0)) if rng.random() < 0.25 else 0.0
    return End(radius=round(radius, 2), rake_deg=round(rake, 1))


def _place(
    rng: np.random.Generator, panels: Sequence[str], x: Sequence[float], shapes: np.ndarray
) -> tuple[dict[str, object], float]:
    """Return where a tool sits, and how large a tool the place may bear."""
    wide, high = np.ptp(shapes[..., 0]), np.ptp(shapes[..., 1])
    if rng.random() < 0.3:
        end = int(rng.random() < 0.5)
        middle = float(shapes[-end, :, 1].mean())
        at = {
            "panel": ("front", "rear")[end],
            "y": 0.0,
            "z": middle,
            "turn_deg": float(rng.choice([0.0, 20.0])),
        }
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


def _recess(
    rng: np.random.Generator, panels: Sequence[str], x: Sequence[float], shapes: np.ndarray
) -> Recess:
    """Return a recess, now and then right through."""
    at, room = _place(rng, panels, x, shapes)
    width, height = (max(2.0, round(float(room * rng.uniform(0.04, 0.22)), 1)) for _ in range(2))
    depth = round(float(rng.uniform(0.05, 0.4) * min(width, height)) + 0.5, 1)
    made = Recess(
        **at,  # type: ignore[arg-type]
        width=width,
        height=height,
        depth=depth,
        corner_radius=round(float(rng.uniform(0.0, 0.45) * min(width, height)), 1)
        if rng.random() < 0.6
        else 0.0,
        draft_deg=float(rng.choice([0.0, 3.0, 10.0, 20.0, -5.0])),
        floor_radius=round(float(rng.uniform(0.0, 0.6) * depth), 1) if rng.random() < 0.4 else 0.0,
        square_to=str(rng.choice(["surface"] * 8 + ["y", "z"])),
    )
    return replace(made, depth="right through") if rng.random() < 0.1 else made


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
        corner_radius=round(float(rng.uniform(0.0, 0.45) * min(width, height)), 1)
        if rng.random() < 0.6
        else 0.0,
        draft_deg=float(rng.choice([0.0, 5.0, 15.0])),
        top_radius=round(float(rng.uniform(0.0, 0.6) * rise), 1) if rng.random() < 0.4 else 0.0,
    )


def _forms(rng: np.random.Generator, x: Sequence[float], shapes: np.ndarray) -> list[Form]:
    """Return now and then a form through or over the plug, or beside it, drawn as the plug itself is."""
    found = []
    for number in range(_few(rng, 0.12)):
        length, room = x[-1] - x[0], np.ptp(shapes, axis=(0, 1))
        outline = _outline(rng, False) * 0.5 * room * rng.uniform(0.1, 0.5)
        at = np.linspace(-0.6, 0.6, int(rng.integers(2, 5))) * length * rng.uniform(0.3, 1.2)
        along = _along(rng, at)
        drawn = _stations(rng, outline, len(at), False)
        names, radii = [f"edge {chr(97 + i)}" for i in range(len(outline))], _radii(rng, drawn, False)
        stations = [
            Station(
                x=round(float(at[s]), 2),
                corners={
                    n: Corner(*map(float, drawn[s, i]), float(radii[s, i])) for i, n in enumerate(names)
                },
            )
            for s in range(len(at))
        ]
        middle = np.array([0.5 * (x[0] + x[-1]), 0.0, shapes[..., 1].mean()])
        found.append(
            Form(
                name=f"form {number}",
                kind=str(rng.choice(["cut", "add"])),
                stations=stations,
                mirrored=False,
                bays=str(rng.choice(["straight", "faired"])),
                along=along,
                move=tuple((middle + np.array([length, *room]) * rng.normal(0.0, 0.2, 3)).tolist()),
                turn_deg=tuple(rng.choice([0.0, 0.0, 25.0, 90.0, -60.0], 3).tolist()),
            )
        )
    return found


def _along(rng: np.random.Generator, at: np.ndarray) -> Along | None:
    """Return now and then a curve with one bend or two, mostly with room for the section."""
    if rng.random() < 0.6:
        return None
    at += 1.05 * float(np.ptp(at)) * 0.5 - 0.5 * (at[0] + at[-1])  # from the curve's beginning on
    leg = 0.6 * float(np.ptp(at))
    points, heading = [(0.0, 0.0, 0.0)], 0.0
    for _ in range(int(rng.integers(2, 4))):
        x, y, _ = points[-1]
        points.append(
            (x + leg * np.cos(heading), y + leg * np.sin(heading), 0.45 * leg * rng.uniform(0.3, 1.0))
        )
        heading += float(rng.uniform(-1.5, 1.5))
    points = [tuple(round(float(v), 2) for v in point) for point in points]
    points[-1] = points[-1][:2]
    return Along(view=str(rng.choice(["plan", "side"])), points=points)


def _stack(rng: np.random.Generator, length: float, width: float, height: float) -> Stack:
    """Return a stack of 1 to some 30 sheets."""
    axis = str(rng.choice(["z", "z", "x", "y"]))
    reach = {"x": length, "y": width, "z": height}[axis]
    sheets = [
        max(1.0, round(float(reach * rng.uniform(0.06, 0.4)), 1)) for _ in range(int(rng.integers(1, 4)))
    ]
    return Stack(
        axis=axis,
        thicknesses=sheets,
        order="explicit" if rng.random() < 0.02 else "cycled",
        direction=str(rng.choice(["rising", "falling"])),
        spare_thickness=str(rng.choice(["last", "first", "both"])),
        allowance=float(rng.choice([0.0, 1.5, 4.0, 12.0])),
    )
