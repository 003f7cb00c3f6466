"""Patches of surface to lay cloth on: cylinder, cone, sphere, saddle, flat shapes, all as triangles."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Patch = tuple[Array, Indices]


def patch_of(place: Callable[[Array, Array], Array], columns: int, rows: int) -> Patch:
    """Return the triangles of a surface over the unit square, u to the right, v up, facing the viewer."""
    u, v = np.meshgrid(np.linspace(0.0, 1.0, columns + 1), np.linspace(0.0, 1.0, rows + 1), indexing="ij")
    vertices = np.ascontiguousarray(place(u.ravel(), v.ravel()))
    number = np.arange((columns + 1) * (rows + 1)).reshape(columns + 1, rows + 1)
    a, b = number[:-1, :-1].ravel(), number[1:, :-1].ravel()
    c, d = number[1:, 1:].ravel(), number[:-1, 1:].ravel()
    return vertices, np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def flat(length: float, width: float, columns: int = 20, rows: int = 20) -> Patch:
    """Return a rectangle in the plane z = 0, facing up."""
    return patch_of(lambda u, v: np.stack([length * u, width * v, np.zeros_like(u)], axis=1), columns, rows)


def half_cylinder(radius: float, length: float, columns: int = 20, rows: int = 60) -> Patch:
    """Return most of the upper half of a cylinder along x, 3 rad round, facing outward."""

    def place(u: Array, v: Array) -> Array:
        turn = 3.0 * (v - 0.5)
        return np.stack([length * u, radius * np.sin(turn), radius * np.cos(turn)], axis=1)

    return patch_of(place, columns, rows)


def cone(slope_deg: float, inner: float, outer: float, rows: int = 12, columns: int = 48) -> Patch:
    """Return a cone about z, falling outward from its apex at z = 0, between two lengths of its slant."""
    sine, cosine = np.sin(np.radians(slope_deg)), np.cos(np.radians(slope_deg))

    def place(u: Array, v: Array) -> Array:
        slant, turn = inner + (outer - inner) * u, 2.0 * np.pi * v
        return np.stack([slant * cosine * np.cos(turn), slant * cosine * np.sin(turn), -slant * sine], axis=1)

    return patch_of(place, rows, columns)


def hemisphere(radius: float, columns: int = 100, rows: int = 50) -> Patch:
    """Return the upper half of a sphere by meridians and parallels."""

    def place(u: Array, v: Array) -> Array:
        turn, rise = 2.0 * np.pi * u, 0.5 * np.pi * v
        across = np.cos(rise)
        return radius * np.stack([across * np.cos(turn), across * np.sin(turn), np.sin(rise)], axis=1)

    return patch_of(place, columns, rows)


def bowl(size: float, rise_x: float, rise_y: float, count: int = 40) -> Patch:
    """Return z = rise_x (x / size)^2 + rise_y (y / size)^2 over the square of side 2 size, facing up."""

    def place(u: Array, v: Array) -> Array:
        x, y = 2.0 * u - 1.0, 2.0 * v - 1.0
        return np.stack([size * x, size * y, rise_x * x**2 + rise_y * y**2], axis=1)

    return patch_of(place, count, count)


def without(patch: Patch, is_gone: Callable[[Array], NDArray[np.bool_]]) -> Patch:
    """Return a patch without the triangles whose middles answer to a description."""
    vertices, triangles = patch
    return vertices, triangles[~is_gone(vertices[triangles].mean(axis=1))]
