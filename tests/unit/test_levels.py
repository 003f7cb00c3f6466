"""Linear systems of meshes solved level by level, against scipy's sparse solver."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve

from plugs.cloth.levels import factored


def _system(seed: int, n: int, links: NDArray[np.int64], kind: type) -> tuple[NDArray[Any], ...]:
    """Return the entries of a matrix that is its own adjoint, its diagonal heavier than all beside it."""
    rng = np.random.default_rng(seed)
    weight = rng.uniform(0.1, 2.0, len(links)) * (
        np.exp(2j * rng.random(len(links))) if kind is complex else 1.0
    )
    i, j = links.T
    rows = np.concatenate([i, j, i, j, np.arange(n)])
    columns = np.concatenate([j, i, i, j, np.arange(n)])
    own = np.abs(weight).astype(weight.dtype)
    return rows, columns, np.concatenate([-weight, -weight.conj(), own, own, np.full(n, 1e-3, weight.dtype)])


def _links(n: int, is_spoked: bool) -> NDArray[np.int64]:
    """Return the links of a square of unknowns, of one by itself, and of a hub to every other on request."""
    at = np.arange(n * n).reshape(n, n)
    found = [
        np.stack([at[1:].ravel(), at[:-1].ravel()], 1),
        np.stack([at[:, 1:].ravel(), at[:, :-1].ravel()], 1),
    ]
    if is_spoked:
        found.append(np.stack([np.full(n * n, n * n + 1), np.arange(n * n)], 1))
    return np.concatenate(found)


@pytest.mark.parametrize("is_spoked", [False, True])
@pytest.mark.parametrize("kind", [float, complex])
def test_unknowns_are_those_of_another_library(kind: type, is_spoked: bool) -> None:
    """Of a mesh, a piece by itself, and a hub that all are linked to; several right sides at once."""
    n = 12 * 12 + 2
    rows, columns, values = _system(4, n, _links(12, is_spoked), kind)
    right = np.random.default_rng(1).normal(size=(n, 2))
    wanted = spsolve(coo_array((values, (rows, columns)), shape=(n, n)).tocsc(), right.astype(values.dtype))
    found = factored(n, rows, columns, values).solve(right)
    assert np.abs(found - wanted).max() < 1e-9 * np.abs(wanted).max()
    one = factored(n, rows, columns, values).solve(right[:, 0])
    assert np.allclose(one, found[:, 0], rtol=1e-12, atol=0.0)


@pytest.mark.parametrize("n", [1, 2, 3, 30])
def test_few_unknowns_and_hubs_alone(n: int) -> None:
    """One, two, three that are linked or not; thirty each of which is linked to all."""
    links = np.array([[0, 1]])[: n - 1] if n < 4 else np.argwhere(np.tri(n, k=-1))
    rows, columns, values = _system(2, n, links, float)
    right = np.arange(1.0, n + 1.0)
    matrix = coo_array((values, (rows, columns)), shape=(n, n)).toarray()
    assert factored(n, rows, columns, values).solve(right) == pytest.approx(np.linalg.solve(matrix, right))
