"""Skins made by chance from a seed, on plugs made for them: bays that twist, ends that lean, steps.

Plainer outlines than those of `made_plugs`, and much more of what a skin meets: crowns, blends, faired and
straight bays, raked and blended ends with panels that stay sharp, panels and ends bare or thicker.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plugs.lines.section import Corner, End, LinesPlan, Station

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSkin:
    """A plan, and the words of the skin that is laid on it."""

    plan: LinesPlan
    words: dict[str, object]


def random_skin(seed: int) -> MadeSkin:
    """Return the plan and the skin of a seed: the same ones for ever."""
    rng = np.random.default_rng([seed, 77])
    mirrored = bool(rng.random() < 0.6)
    outline = _outline(rng, mirrored)
    count = int(rng.integers(2, 5))
    length = float(rng.uniform(250.0, 1200.0))
    x = np.round(length * np.concatenate([[0.0], np.cumsum(rng.uniform(0.6, 1.4, count - 1))]), 1)
    x = np.round(x * length / x[-1], 1)
    shapes = _shapes(rng, outline, count, mirrored)
    names = [f"c{i}" for i in range(len(outline))]
    panels = [f"p{i}" for i in range(_panel_count(outline, mirrored))]
    reach = float(np.ptp(shapes.reshape(-1, 2), axis=0).min())
    radius = np.where(rng.random(len(names)) < 0.55, rng.uniform(0.04, 0.16, len(names)) * reach, 0.0)
    radius = radius * rng.uniform(0.8, 1.2, (count, len(names)))
    crowned = {p: float(rng.uniform(-0.02, 0.09)) for p in panels if rng.random() < 0.3}
    width = float(np.ptp(shapes[..., 0])) * (1.0 if mirrored else 0.5)
    crowns = {p: round(share * width, 2) for p, share in crowned.items()}
    stations = [
        Station(
            x=float(x[s]),
            corners={
                n: Corner(*map(float, shapes[s, i]), round(float(radius[s, i]), 2))
                for i, n in enumerate(names)
            },
            crowns=crowns,
        )
        for s in range(count)
    ]
    kind = rng.random()
    bays: str | dict[str, str] = "straight" if kind < 0.45 else "faired"
    if kind > 0.85:
        bays = {name: "faired" for name in names if rng.random() < 0.5}
    plan = LinesPlan(
        stations=stations,
        panels=panels,
        mirrored=mirrored,
        bays=bays,
        front=_end(rng, panels, reach),
        rear=_end(rng, panels, reach),
    )
    return MadeSkin(plan=plan, words=_words(rng, panels))


def _panel_count(outline: Array, mirrored: bool) -> int:
    """Return how many panels the corners of an outline have names for."""
    return len(outline) if not mirrored else len(outline) + 1 - int((outline[:, 0] == 0.0).sum())


def _outline(rng: np.random.Generator, mirrored: bool) -> Array:
    """Return corners round the middle, 1 across on either side, in the order of a section."""
    if mirrored:
        kind = int(rng.integers(4))
        shapes = (
            [(1.0, -1.0), (1.0, 1.0)],
            [(0.7, -1.0), (1.0, 0.1), (0.75, 1.0)],
            [(0.0, -1.0), (0.9, -0.5), (1.0, 0.6), (0.5, 1.0)],
            [(0.8, -1.0), (1.0, -0.4), (0.85, 0.7), (0.0, 1.0)],
        )
        return np.array(shapes[kind]) * rng.uniform(0.9, 1.1, (len(shapes[kind]), 1))
    count = int(rng.integers(3, 7))
    angle = 2.0 * np.pi * (np.arange(count) + rng.uniform(-0.2, 0.2, count)) / count + rng.uniform(0.0, 1.0)
    return np.stack([np.cos(angle), np.sin(angle)], axis=1) * rng.uniform(0.85, 1.15, (count, 1))


def _shapes(rng: np.random.Generator, outline: Array, count: int, mirrored: bool) -> Array:
    """Return the corners of every station: the outline sized, lifted, turned or bent so that bays twist."""
    size = rng.uniform(60.0, 260.0, 2) * np.cumprod(rng.uniform(0.75, 1.25, (count, 2)), axis=0)
    lift = np.cumsum(rng.uniform(-20.0, 20.0, count))
    shapes = outline * size[:, None, :]
    if mirrored:
        shapes *= rng.uniform(0.85, 1.15, (count, len(outline), 1))
    else:
        turn = np.radians(np.cumsum(rng.uniform(-12.0, 12.0, count)))
        turned = np.stack([np.cos(turn), -np.sin(turn), np.sin(turn), np.cos(turn)], axis=1).reshape(-1, 2, 2)
        shapes = np.einsum("sij,snj->sni", turned, shapes)
    shapes[..., 1] += lift[:, None]
    shapes[:, outline[:, 0] == 0.0, 0] = 0.0
    return np.round(shapes, 2)


def _end(rng: np.random.Generator, panels: list[str], reach: float) -> End:
    """Return an end: blended or not, upright or leaning, some panels sharp."""
    radius = float(rng.uniform(0.04, 0.18) * reach) if rng.random() < 0.6 else 0.0
    rake = float(rng.uniform(-20.0, 20.0)) if rng.random() < 0.4 else 0.0
    sharp = [panel for panel in panels if radius > 0.0 and rng.random() < 0.2]
    return End(radius=round(radius, 2), rake_deg=round(rake, 1), sharp=sharp)


def _words(rng: np.random.Generator, panels: list[str]) -> dict[str, object]:
    """Return a thickness, a filler, what is thicker and what stays bare."""
    places = [*panels, "front", "rear"]
    bare = [place for place in places if rng.random() < 0.15]
    thicker = {place: round(float(rng.uniform(0.5, 6.0)), 1) for place in places if rng.random() < 0.12}
    return {
        "thickness": round(float(rng.choice([1.0, 2.5, 4.0])), 1),
        "filler": float(rng.choice([0.0, 0.0, 0.8])),
        "no_laminate": bare,
        "by_panel": thicker,
    }
