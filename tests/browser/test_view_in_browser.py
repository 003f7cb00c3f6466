"""The plug in a real browser: reflection lines against closed forms, curvature, controls, widths, themes.

A capsule, drawn as any plug, is a cylinder with half a sphere at either end. Closed forms (derived here): its
normal is (p - c) / R with c the nearest point of its axis; a ray along v leaves it along r = 2 (n . v) n - v;
the angle at which that meets a vault of radius d round an axis is that of the root of |a + s w| = d, s > 0.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from plugs.body.body import make_solid
from plugs.body.looked_at import looks_of
from plugs.book.book import page_html
from plugs.book.html import el
from plugs.book.parts import viewer
from plugs.book.scene import make_book_scene
from plugs.book.source import BookSource
from tests.browser.chromium import NAMES, Browser, found
from tests.reference.test_normals_and_curvatures import LENGTH, R, capsule

pytestmark = pytest.mark.skipif(found() is None, reason=f"none of {', '.join(NAMES)} on this machine")

PIXELS = """(() => {
  window.dispatchEvent(new Event("beforeprint"));
  const still = document.querySelector("canvas.still");
  const held = still.getContext("2d").getImageData(0, 0, still.width, still.height).data;
  let told = "";
  for (let i = 0; i < held.length; i += 4) told += String.fromCharCode(held[i + %d]);
  return [still.width, still.height, btoa(told)];
})()"""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Return a browser on a capsule."""
    scene = make_book_scene(looks_of(make_solid(capsule(), (), (), 0.05), None))
    summary = {"recipe": {"title": "Capsule"}, "display_unit": "mm"}
    source = BookSource(summary=summary, drawings={}, scene=scene, pictures={})
    path = tmp_path_factory.mktemp("page") / "capsule.html"
    path.write_text(page_html("Capsule", "plugs:capsule:0", scene, el("main", viewer(source))), "utf-8")
    with Browser(tmp_path_factory.mktemp("profile")) as browser:
        browser.size(1000, 900)
        browser.go(path.as_uri())
        yield browser


def pixels(page: Browser, part: int = 0) -> NDArray[np.uint8]:
    """Return one part of the colours of the picture: red, green or blue."""
    wide, high, told = page.run(PIXELS % part)
    return np.frombuffer(base64.b64decode(told), dtype=np.uint8).reshape(high, wide)


def places(page: Browser, shape: tuple[int, ...]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return x and y of every pixel, seen from above."""
    scale = float(page.run("document.getElementById('viewer').dataset.scale"))
    middle = [float(v) for v in page.run("document.getElementById('viewer').dataset.middle").split(",")]
    high, wide = shape
    x = middle[0] + (np.arange(wide) + 0.5 - wide / 2.0) / scale
    y = middle[1] - (np.arange(high) + 0.5 - high / 2.0) / scale
    found_x, found_y = np.meshgrid(x, y)
    return found_x, found_y


def chosen(page: Browser, part: str, value: str, kind: str) -> None:
    """Set a control."""
    page.run(
        f"(() => {{ const s = document.querySelector('[data-part={part}]'); s.value = '{value}';"
        f" s.dispatchEvent(new Event('{kind}')); }})()"
    )


@pytest.mark.parametrize("axis", ["x", "y"])
def test_reflection_lines_lie_where_they_must(page: Browser, axis: str) -> None:
    """On a cylinder and on spheres, pixel by pixel; those on the edge of a line are left out."""
    page.run("document.querySelector('[data-look=lines]').click()")
    page.run("document.querySelector('[data-view=plan]').click()")
    chosen(page, "lamp-axis", axis, "change")
    chosen(page, "lamp", "20", "input")
    seen = pixels(page)
    x, y = places(page, seen.shape)
    centre = np.clip(x, R, LENGTH - R)
    z = np.sqrt(np.maximum(R * R - (x - centre) ** 2 - y * y, 0.0))
    normal = np.stack([x - centre, y, z], axis=-1) / R
    tilt = np.array([0.0, -0.0005, 1.0])
    ray = 2.0 * (normal @ tilt)[..., None] * normal - tilt
    across = 1 if axis == "x" else 0
    at = (z + 1j * (y if axis == "x" else x - LENGTH / 2.0)).ravel()
    way = (ray[..., 2] + 1j * ray[..., across]).ravel()
    far = np.hypot(np.hypot(LENGTH, 2.0 * R), 2.0 * R)
    a, b, c = np.abs(way) ** 2, (at * way.conj()).real, np.abs(at) ** 2 - far * far
    angle = np.angle(at + way * (np.sqrt(b * b - a * c) - b) / np.maximum(a, 1e-12)).reshape(z.shape)
    is_lamp = np.abs(np.mod(angle * 18.0 / (2.0 * np.pi), 1.0) - 0.5) < 0.25
    window = np.lib.stride_tricks.sliding_window_view(is_lamp, (5, 5))
    is_clear = np.zeros(z.shape, dtype=bool)
    is_clear[2:-2, 2:-2] = window.all(axis=(2, 3)) | ~window.any(axis=(2, 3))
    is_clear &= z > 0.25 * R
    is_clear &= np.abs(way.reshape(z.shape)) > 0.1  # a ray along the lamps meets none
    bright = seen > 128
    for where in (x < R, (x > R) & (x < LENGTH - R), x > LENGTH - R):
        mine = is_clear & where
        assert 0.2 < is_lamp[mine].mean() < 0.8
        assert mine.sum() > 2000
        assert (bright == is_lamp)[mine].mean() > 0.999


def test_curvature_has_its_colour(page: Browser) -> None:
    """A radius of 60 mm is a hump, five bands of six deep, on the cylinder and on the spheres alike."""
    page.run("document.querySelector('[data-look=curvature]').click()")
    page.run("document.querySelector('[data-view=plan]').click()")
    parts = [pixels(page, part).astype(float) for part in range(3)]
    x, y = places(page, parts[0].shape)
    deep = 0.93 + (np.array([0.72, 0.30, 0.02]) - 0.93) * 5.0 / 6.0
    for place in (R / 2.0, LENGTH / 2.0):
        row, column = np.unravel_index(np.argmin(np.hypot(x - place, y)), x.shape)
        seen = np.array([part[row, column] for part in parts])
        assert seen / seen.max() == pytest.approx(deep / deep.max(), abs=0.02)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 820, 1440])
def test_controls_work_at_every_width_in_both_themes(page: Browser, width: int, theme: str) -> None:
    """No complaint, nothing wider than the window; every control has a name and is reached by keys."""
    page.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": theme}])
    page.size(width, 900, is_phone=width < 1000)
    page.events.clear()
    page.run("document.querySelectorAll('.controls button').forEach((b) => b.hidden || b.click())")
    for part, value, kind in (("axis", "x", "change"), ("at", "400", "input"), ("axis", "", "change")):
        chosen(page, part, value, kind)
    assert page.run("document.documentElement.scrollWidth") <= width
    unnamed = page.run(
        "Array.from(document.querySelectorAll('.controls button, .controls select, .controls input'))"
        ".filter((e) => e.tabIndex < 0 || !(e.textContent.trim() || e.closest('label'))).length"
    )
    assert unnamed == 0
    assert page.run("document.querySelector('.scene canvas').tabIndex") == 0
    assert page.complaints() == []
    assert [one for one in page.requests() if not one.startswith(("file:", "data:"))] == []
