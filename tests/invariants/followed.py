"""Recipes drawn at random as people draw them, and errors' remedies followed to the end.

Run as a program it tells how many are built, and in how many steps:

    python -m tests.invariants.followed --cases 400 [--first 0] [--all]
"""

from __future__ import annotations

import argparse
import ast
import re
import sys
import warnings
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from plugs.body.body import make_tools
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, Station
from plugs.recesses.recess import Recess
from plugs.recipe.plug import Plug, checked_plug
from plugs.skin.offset import foam_loft
from plugs.skin.skin import Skin, make_cover

MOST_STEPS = 3
_STEP = re.compile(r"\.?([A-Za-z_]+)|\[(\d+|'[^']*'|\"[^\"]*\")\]")
_NAMES = ("keel", "chine", "side", "rail", "edge", "top")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """What became of a recipe whose errors' remedies were followed.

    Attributes
    ----------
    seed : int
    ended : str
        "built", "left" (the last remedy is for a person to choose), or "ring" (a fault came back after its
        remedy, or the steps did not end).
    errors : tuple of str
    """

    seed: int
    ended: str
    errors: tuple[str, ...]


def wide_plug(seed: int) -> Plug:
    """Return the recipe of a seed: one radius for all stations, tips, skins, narrow panels, raked ends.

    Parameters
    ----------
    seed : int

    Returns
    -------
    Plug
    """
    rng = np.random.default_rng([9, seed])
    count, stations = int(rng.integers(2, 7)), int(rng.integers(2, 6))
    names = _NAMES[:count]
    half, height = float(rng.uniform(25.0, 400.0)), float(rng.uniform(30.0, 500.0))
    angle = np.radians(np.sort(rng.uniform(-88.0, 88.0, count)))
    power = float(rng.choice([1.4, 2.0, 4.0]))
    reach = (np.cos(angle) ** power + np.abs(np.sin(angle)) ** power) ** (-1.0 / power)
    ring = np.column_stack([half * reach * np.cos(angle), 0.5 * height * (1.0 + reach * np.sin(angle))])
    x = np.concatenate([[0.0], np.cumsum(rng.uniform(60.0, 500.0, stations - 1))])
    taper = np.concatenate([[1.0], np.cumprod(rng.uniform(0.55, 1.15, stations - 1))])
    tip = stations - 1 if rng.random() < 0.2 else -1
    shared = rng.uniform(0.0, 0.35, count) * min(half, height) * (rng.random(count) < 0.7)
    is_shared = rng.random() < 0.6
    crowned = {int(i): float(rng.uniform(-0.05, 0.15)) for i in range(count - 1) if rng.random() < 0.25}
    made = []
    for s in range(stations):
        place = ring * taper[s]
        radius = shared * (1.0 if is_shared else taper[s])
        if s == tip:
            level = np.full(count, 0.5 * height)
            place, radius = np.column_stack([ring[:, 0] * (rng.random() < 0.5), level]), 0.0 * shared
        rows = zip(names, place.round(2), radius.round(1), strict=True)
        corners = {n: Corner(float(p[0]), float(p[1]), float(r)) for n, p, r in rows}
        width = {i: float(np.hypot(*(place[i + 1] - place[i]))) for i in crowned}
        crowns = {f"{names[i]} to {names[i + 1]}": round(c * width[i], 1) for i, c in crowned.items()}
        crowns = {} if s == tip else crowns
        made.append(Station(x=float(round(x[s], 1)), corners=corners, crowns=crowns))
    size = min(half, height, float(x[-1]))

    def end(is_tip: bool) -> End:
        if is_tip or rng.random() < 0.4:
            return End()
        return End(
            radius=round(float(rng.uniform(0.02, 0.45)) * size, 1),
            rake_deg=round(float(rng.normal(0.0, 12.0)), 1) if rng.random() < 0.25 else 0.0,
        )

    recesses = []
    if rng.random() < 0.3:
        w, h = (round(float(rng.uniform(0.05, 0.4)) * size, 1) for _ in range(2))
        recesses.append(
            Recess(
                panel="front",
                y=0.0,
                z=round(0.5 * height, 1),
                width=max(w, 3.0),
                height=max(h, 3.0),
                depth=round(0.1 * size + 1.0, 1),
                corner_radius=round(float(rng.uniform(0.0, 0.3)) * size, 1),
                draft_deg=float(rng.choice([0.0, 5.0, 20.0])),
                floor_radius=round(float(rng.uniform(0.0, 0.1)) * size, 1),
            )
        )
    skin = Skin(thickness=round(float(rng.uniform(0.5, 4.0)), 1)) if rng.random() < 0.3 else Skin()
    return Plug(
        name=f"wide {seed}", stations=made, bays="faired" if rng.random() < 0.3 else "straight",
        front=end(False), rear=end(tip >= 0), recesses=recesses, skin=skin,
    )  # fmt: skip


def shaped(plug: Plug) -> None:
    """Work a recipe out as far as its lines, its skin and its tools go.

    Parameters
    ----------
    plug : Plug

    Raises
    ------
    PlugError
        It cannot be built as it stands.
    """
    plug = checked_plug(plug, "wide")
    finish = checked_loft(plug.plan())
    cover = make_cover(finish, plug.skin)
    make_tools(finish, plug.recesses, "recesses")
    foam_loft(finish, cover)
    make_tools(finish, plug.recesses, "recesses", cover)


def with_value(record: Any, path: str, value: object) -> Any:
    """Return a record, list or mapping with one value changed, deep inside.

    Parameters
    ----------
    record : object
    path : str
        As in an error, "stations[2].corners['chine'].radius".
    value : object

    Returns
    -------
    object
    """
    if not path:
        return value
    step = _STEP.match(path)
    assert step is not None, f"this names no place: {path}"
    rest = path[step.end() :]
    if step[1]:
        return replace(record, **{step[1]: with_value(getattr(record, step[1]), rest, value)})
    key = ast.literal_eval(step[2])
    if isinstance(key, int):
        return [with_value(item, rest, value) if i == key else item for i, item in enumerate(record)]
    return {**record, key: with_value(record[key] if rest else None, rest, value)}


def follow(plug: Plug, seed: int = 0, most: int = 8) -> Trail:
    """Put in what each error says would do, until the recipe is built.

    Parameters
    ----------
    plug : Plug
    seed : int
        For the record.
    most : int
        After so many steps it is a ring.

    Returns
    -------
    Trail
    """
    errors: list[str] = []
    for _ in range(most):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                shaped(plug)
        except PlugError as error:
            is_back = str(error) in errors
            errors.append(str(error))
            if is_back:
                return Trail(seed=seed, ended="ring", errors=tuple(errors))
            if not error.would_do:
                return Trail(seed=seed, ended="left", errors=tuple(errors))
            for path, value in error.would_do:
                plug = with_value(plug, path, value)
            continue
        return Trail(seed=seed, ended="built", errors=tuple(errors))
    return Trail(seed=seed, ended="ring", errors=tuple(errors))


def main(arguments: Sequence[str] | None = None) -> int:
    """Follow many recipes and print what became of them.

    Parameters
    ----------
    arguments : sequence of str or None

    Returns
    -------
    int
        0, or 1 when there is a ring.
    """
    parser = argparse.ArgumentParser(description="Follow the remedies of random recipes.", allow_abbrev=False)
    parser.add_argument("--cases", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--all", action="store_true", help="print every error on the way, not the last alone")
    options = parser.parse_args(arguments)
    trails = []
    for seed in range(options.first, options.first + options.cases):
        trail = follow(wide_plug(seed), seed)
        trails.append(trail)
        if trail.ended != "built" or len(trail.errors) > MOST_STEPS or (options.all and trail.errors):
            told = "\n".join(trail.errors if options.all else trail.errors[-1:]).replace("\n", "\n  ")
            sys.stdout.write(f"{seed} {trail.ended} after {len(trail.errors)}\n  {told}\n")
            sys.stdout.flush()
    steps = Counter(len(t.errors) for t in trails if t.ended == "built")
    ends = dict(Counter(t.ended for t in trails))
    sys.stdout.write(f"{ends}; built after so many steps: {sorted(steps.items())}\n")
    return int(any(t.ended == "ring" for t in trails))


if __name__ == "__main__":
    sys.exit(main())
