"""The kernel's volume, area and centroid against closed forms of textbook solids.

Sources: elementary geometry (frustum, pyramid, wedge, rounded box as box + slabs + quarter
cylinders + sphere, after Steiner), and the parabolic (Wigley) hull, y = (B/2)(1 - (2x/L)^2)
(1 - (z/T)^2), whose integrals are worked out here. The kernel integrates each face to a relative
1e-7, which sets the tolerance; strips stay within 1e-4 mm of the sections.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from plugs.kernel.job import KernelJob, KernelProof
from plugs.kernel.spline_strips import fit_strips
from plugs.kernel.worker import KernelRun, start_kernel
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import make_loft

KERNEL_RATIO = 1e-6


@pytest.fixture(scope="module")
def kernel() -> Iterator[KernelRun]:
    """One kernel for all tests of this file."""
    with start_kernel() as run:
        yield run


def proof_of(kernel: KernelRun, plan: LinesPlan) -> KernelProof:
    """Return the kernel's measures of a plan, without STEP."""
    kernel.submit(KernelJob(name="reference", body=fit_strips(make_loft(plan)), wants_step=False))
    return kernel.result(60.0)


def prism(first: dict[str, Corner], last: dict[str, Corner], length: float, **rest: object) -> LinesPlan:
    """Return a plan of two stations."""
    return LinesPlan(stations=[Station(x=0.0, corners=first), Station(x=length, corners=last)], **rest)


def test_rounded_box(kernel: KernelRun) -> None:
    """300 x 200 x 100, radius 20 on all edges: 5 804 696.11 mm3 and 198 945.13 mm2 (derived).

    Steiner's formula for the inner box 260 x 160 x 60 thickened by 20:
    V = abc + S r + pi (a + b + c) r^2 + 4/3 pi r^3; area = S + 2 pi (a + b + c) r + 4 pi r^2.
    """
    corners = {"chine": Corner(100, 0, 20), "deck": Corner(100, 100, 20)}
    proof = proof_of(kernel, prism(corners, corners, 300.0, front=End(radius=20.0), rear=End(radius=20.0)))
    a, b, c, r = 260.0, 160.0, 60.0, 20.0
    skin = 2.0 * (a * b + b * c + c * a)
    volume = a * b * c + skin * r + np.pi * (a + b + c) * r**2 + 4.0 / 3.0 * np.pi * r**3
    area = skin + 2.0 * np.pi * (a + b + c) * r + 4.0 * np.pi * r**2
    assert (volume, area) == pytest.approx((5_804_696.11, 198_945.13), abs=0.01)
    assert proof.volume_mm3 == pytest.approx(volume, rel=KERNEL_RATIO)
    assert proof.area_mm2 == pytest.approx(area, rel=KERNEL_RATIO)
    assert proof.centroid == pytest.approx([150.0, 0.0, 50.0], abs=1e-4)


def test_cone_frustum(kernel: KernelRun) -> None:
    """Radii 200 and 100, height 300: V = pi h (R^2 + R r + r^2) / 3, lateral pi (R + r) slant.

    That is 7 pi and 29.803765 for R 2, r 1, h 3 (derived), scaled by 100. The sections are squares
    whose corner blends all but meet: panels of 2e-5 mm are left, worth 1e-7 of the volume.
    """

    def ring(radius: float) -> dict[str, Corner]:
        blend = radius * (1.0 - 1e-7)
        return {"low": Corner(radius, -radius, blend), "high": Corner(radius, radius, blend)}

    proof = proof_of(kernel, prism(ring(200.0), ring(100.0), 300.0))
    assert proof.volume_mm3 == pytest.approx(7e6 * np.pi, rel=KERNEL_RATIO)
    caps = np.pi * (200.0**2 + 100.0**2)
    assert proof.area_mm2 == pytest.approx(29.803765e4 + caps, rel=KERNEL_RATIO)
    # From the base: h (R^2 + 2 R r + 3 r^2) / (4 (R^2 + R r + r^2)) = 33/28 for R 2, r 1, h 3.
    assert proof.centroid == pytest.approx([100.0 * 33.0 / 28.0, 0.0, 0.0], abs=1e-3)


def test_pyramid(kernel: KernelRun) -> None:
    """Base 200 x 100, height 300, to a point: a third of base times height, centroid at a quarter."""
    base = {"low": Corner(100, 0), "high": Corner(100, 100)}
    proof = proof_of(kernel, prism(base, {"low": Corner(0, 50), "high": Corner(0, 50)}, 300.0))
    assert proof.volume_mm3 == pytest.approx(2_000_000.0, rel=KERNEL_RATIO)
    assert proof.centroid == pytest.approx([75.0, 0.0, 50.0], abs=1e-6)
    slants = 200.0 * np.hypot(300.0, 50.0) + 100.0 * np.hypot(300.0, 100.0)
    assert proof.area_mm2 == pytest.approx(20_000.0 + slants, rel=KERNEL_RATIO)


def test_wedge(kernel: KernelRun) -> None:
    """Base 200 x 100 to a ridge 100 high, 300 long: half of base times height, centroid at a third."""
    base = {"low": Corner(100, 0), "high": Corner(100, 100)}
    proof = proof_of(kernel, prism(base, {"low": Corner(0, 0), "high": Corner(0, 100)}, 300.0))
    assert proof.volume_mm3 == pytest.approx(3_000_000.0, rel=KERNEL_RATIO)
    assert proof.centroid == pytest.approx([100.0, 0.0, 50.0], abs=1e-6)


def test_rectangle_to_rectangle(kernel: KernelRun) -> None:
    """500 x 200 to 400 x 120 over 100: 7 266 666.67 mm3 by the prismoidal rule (from memory)."""
    first = {"low": Corner(250, -100), "high": Corner(250, 100)}
    last = {"low": Corner(200, -60), "high": Corner(200, 60)}
    proof = proof_of(kernel, prism(first, last, 100.0))
    volume = (100_000.0 + 4.0 * 450.0 * 160.0 + 48_000.0) * 100.0 / 6.0
    assert volume == pytest.approx(7_266_666.67, abs=0.01)
    assert proof.volume_mm3 == pytest.approx(volume, rel=KERNEL_RATIO)


def test_raked_prism(kernel: KernelRun) -> None:
    """A prism 200 x 100 x 300 raked 20 degrees in front and 10 at the rear gains the wedges b h^2 tan / 2."""
    corners = {"low": Corner(100, 0), "high": Corner(100, 100)}
    plan = prism(corners, corners, 300.0, front=End(rake_deg=20.0), rear=End(rake_deg=10.0))
    wedges = 200.0 * 100.0**2 / 2.0 * (np.tan(np.radians(20.0)) + np.tan(np.radians(10.0)))
    assert proof_of(kernel, plan).volume_mm3 == pytest.approx(6_000_000.0 + wedges, rel=KERNEL_RATIO)


def test_crowned_prism(kernel: KernelRun) -> None:
    """A deck 200 wide crowned by 20: a circular segment R^2 (2a - sin 2a) / 2 more, all along."""
    corners = {"low": Corner(100, 0), "high": Corner(100, 100)}
    stations = [Station(x=x, corners=corners, crowns={"across high": 20.0}) for x in (0.0, 300.0)]
    radius = (100.0**2 + 20.0**2) / 40.0
    angle = np.arcsin(100.0 / radius)
    segment = 0.5 * radius**2 * (2.0 * angle - np.sin(2.0 * angle))
    proof = proof_of(kernel, LinesPlan(stations=stations))
    assert proof.volume_mm3 == pytest.approx(300.0 * (20_000.0 + segment), rel=KERNEL_RATIO)


@pytest.mark.kernel
def test_parabolic_hull(kernel: KernelRun) -> None:
    """Wigley hull 1000 x 200 x 100: 4/9 L B T = 8 888 889 mm3 in the limit of many corners.

    Faired lines through five stations are the parabola itself; n chords of the half parabola lose
    1/(4 n^2) of it (trapezoid rule, derived), so 20 corners give 1 - 1/1600 of the limit. The
    centroid lies 3/8 T below the waterline, less the same chords: second moment of chords, below.
    """
    n, length, breadth, draught = 20, 1000.0, 200.0, 100.0
    z = -draught * (1.0 - np.arange(n + 1) / n)
    half = 0.5 * breadth * (1.0 - (z / draught) ** 2)
    stations = []
    for x in np.linspace(0.0, length, 5).tolist():
        share = 1.0 - (2.0 * x / length - 1.0) ** 2
        corners = {f"w{i}": Corner(float(half[i] * share), float(z[i])) for i in range(n + 1)}
        stations.append(Station(x=x, corners=corners))
    proof = proof_of(kernel, LinesPlan(stations=stations, bays="faired"))
    limit = 4.0 / 9.0 * length * breadth * draught
    assert limit == pytest.approx(8_888_889.0, abs=1.0)
    assert proof.volume_mm3 == pytest.approx(limit * (1.0 - 1.0 / (4.0 * n * n)), rel=KERNEL_RATIO)
    step = draught / n
    moment = np.sum(step * (half[:-1] * (2.0 * z[:-1] + z[1:]) + half[1:] * (z[:-1] + 2.0 * z[1:])) / 6.0)
    area = np.sum(step * (half[:-1] + half[1:]) / 2.0)
    assert proof.centroid == pytest.approx([0.5 * length, 0.0, moment / area], abs=1e-4)
