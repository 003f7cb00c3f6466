"""Parts between named landmarks, the mirror image; positions from how outlines are made, no source."""

from __future__ import annotations

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.measure.landmarks import between, mirrored
from plugs.measure.outlines import Outline, outline_of

CORNERS = {
    "chine port": (-150.0, 0.0),
    "chine": (150.0, 0.0),
    "shoulder": (120.0, 200.0),
    "crown": (0.0, 260.0),
    "shoulder port": (-120.0, 200.0),
}
NOISE = 0.2


def walked(corners: np.ndarray, step: float, is_closed: bool) -> np.ndarray:
    """Return points every step along straight lines between corners."""
    ends = np.roll(corners, -1, axis=0) if is_closed else corners[1:]
    parts = []
    for a, b in zip(corners, ends, strict=False):
        n = int(np.linalg.norm(b - a) / step)
        parts.append(a + (b - a) * (np.arange(n) / n)[:, None])
    return np.vstack(parts if is_closed else [*parts, corners[-1:]])


def house(noise: float = NOISE, seed: int = 3) -> Outline:
    """Return a closed outline of five corners, measured every millimetre."""
    points = walked(np.array(list(CORNERS.values())), 1.0, is_closed=True)
    return outline_of(points + np.random.default_rng(seed).normal(0.0, noise, points.shape), is_closed=True)


@pytest.mark.parametrize("is_turned", [False, True])
def test_parts_between_landmarks(is_turned: bool) -> None:
    """Each part runs from one landmark to the next, whichever way the outline was walked, at full length."""
    outline = house(noise=0.0)
    if is_turned:
        outline = outline_of(np.roll(outline.points, 300, axis=0)[::-1], is_closed=True)
    parts = between(outline, CORNERS)
    names = list(CORNERS)
    assert list(parts) == list(zip(names, names[1:] + names[:1], strict=True))
    for (a, b), points in parts.items():
        assert points[0] == pytest.approx(CORNERS[a], abs=1e-9)
        assert points[-1] == pytest.approx(CORNERS[b], abs=1e-9)
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
        assert steps == pytest.approx(np.hypot(*np.subtract(CORNERS[a], CORNERS[b])), abs=1e-9)


def test_parts_of_an_open_outline() -> None:
    """Three landmarks on an open line give two parts, in the landmarks' direction."""
    line = outline_of([(0, 0), (100, 0), (100, 50), (0, 50)])
    parts = between(line, {"a": (50.0, 1.0), "b": (100.0, 25.0), "c": (20.0, 50.0)})
    assert parts["a", "b"].tolist() == [[50, 0], [100, 0], [100, 25]]
    back = between(line, {"c": (20.0, 50.0), "b": (100.0, 25.0), "a": (50.0, 1.0)})
    assert list(back) == [("c", "b"), ("b", "a")]
    assert back["b", "a"].tolist() == [[100, 25], [100, 0], [50, 0]]
    to_end = between(line, {"a": (50.0, 0.0), "z": (0.0, 50.0)})
    assert to_end["a", "z"].tolist() == [[50, 0], [100, 0], [100, 50], [0, 50]]


def test_landmark_too_far_names_it_and_its_distance() -> None:
    """A landmark 30 mm below the floor is named with the 30 mm."""
    marks = CORNERS | {"keel": (0.0, -30.0)}
    with pytest.raises(PlugError) as caught:
        between(house(noise=0.0), marks)
    assert "keel" in caught.value.param
    assert "30 mm" in caught.value.reason
    assert between(house(noise=0.0), {"keel": (0.0, -30.0), "crown": (0.0, 260.0)}, farthest=31.0)


@pytest.mark.parametrize(
    "names",
    [
        ("chine",),
        ("chine", "crown", "shoulder", "chine port"),
    ],
)
def test_landmarks_out_of_order(names: tuple[str, ...]) -> None:
    """One landmark is no part; landmarks in no order along the outline are refused."""
    with pytest.raises(PlugError):
        between(house(noise=0.0), {name: CORNERS[name] for name in names})


def test_two_landmarks_at_one_place() -> None:
    """Two names for one place are refused."""
    with pytest.raises(PlugError) as caught:
        between(house(noise=0.0), {"a": (150.0, 0.0), "b": (150.0, 0.0), "c": (0.0, 260.0)})
    assert "a and b" in caught.value.reason


def test_half_outline_is_mirrored() -> None:
    """A half outline's ends are put on the centreline; the whole is closed and symmetric."""
    half = outline_of(walked(np.array([(0.0, 0.0), (150.0, 0.0), (120.0, 200.0), (0.2, 260.0)]), 1.0, False))
    whole = mirrored(half, 0.0)
    assert whole.is_closed
    assert len(whole.points) == 2 * len(half.points) - 2
    image = {(-y, z) for y, z in whole.points.round(9).tolist()}
    assert image == {(y, z) for y, z in whole.points.round(9).tolist()}
    assert "0.2 mm off" in whole.notes[-1]


def test_half_outline_with_a_flat_across() -> None:
    """An end off the centreline is joined straight to its image, and that is noted; port halves work too."""
    whole = mirrored([(-40, 0), (-150, 20), (-120, 200), (0, 260)], 0.0)
    assert whole.points.tolist() == [
        [-40, 0], [-150, 20], [-120, 200], [0, 260], [120, 200], [150, 20], [40, 0],
    ]  # fmt: skip
    assert "40 mm off" in whole.notes[0]


def test_what_cannot_be_mirrored() -> None:
    """A closed outline has both halves already; one that crosses the centreline is told how far."""
    with pytest.raises(PlugError):
        mirrored(house(), 0.0)
    with pytest.raises(PlugError) as caught:
        mirrored(outline_of([(-8, 0), (150, 0), (0, 260)]), 0.0)
    assert "8 mm" in caught.value.reason
    assert "-8" in caught.value.remedy
