"""Rounded mouths of recesses and feet of bosses, against Pappus's theorem on a flat panel.

Sources: Pappus's theorem, V = 2 pi times the moment of a section about the axis (textbook, from memory);
what a quarter circle of radius r leaves between two straight lines has the area (1 - pi/4) r^2 and the moment
(5/6 - pi/4) r^3 about either line (elementary integrals, derived here). With draft the section is integrated
by scipy's `quad` (BSD). The mesh lies within its chord tolerance of the surface, and the arc's own chords
within 0.01 mm of it: 0.03 mm times the area of the blend.
"""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad

from plugs import Boss, Corner, Plug, PlugError, Recess, Skin, Station, Work, work_out
from plugs.kernel.modelling import run_job
from plugs.stages.proving import kernel_job

LENGTH, WIDTH, HEIGHT = 300.0, 200.0, 100.0
ROUND, DEEP, MOUTH = 25.0, 20.0, 6.0
PAD, RISE, FOOT = 20.0, 15.0, 5.0
SKIN = 2.0


def box_with(*items: Recess | Boss, skin: float = 0.0, crown: float = 0.0) -> Work:
    """Return the work on a box with recesses and bosses on its deck."""
    sides = {"low": Corner(0.5 * WIDTH, 0.0), "high": Corner(0.5 * WIDTH, HEIGHT)}
    crowns = {"deck": crown} if crown else {}
    return work_out(
        Plug(
            name="box", panels=("floor", "side", "deck"), skin=Skin(thickness=skin),
            stations=[Station(x=x, corners=sides, crowns=crowns) for x in (0.0, LENGTH)],
            recesses=[one for one in items if isinstance(one, Recess)],
            bosses=[one for one in items if isinstance(one, Boss)],
        )
    )  # fmt: skip


def pocket(radius: float = ROUND, **words: object) -> Recess:
    """Return a round pocket."""
    usual = {"depth": DEEP, "mouth_radius": MOUTH, "x": 90.0}
    corner = radius * (1.0 - 1e-7)
    return Recess(
        panel="deck", width=2.0 * radius, height=2.0 * radius, corner_radius=corner, **(usual | words)
    )  # type: ignore[arg-type]


def pad() -> Boss:
    """Return a round pad with a foot."""
    size = {"width": 2.0 * PAD, "height": 2.0 * PAD, "corner_radius": PAD * (1.0 - 1e-7)}
    return Boss(panel="deck", x=210.0, rise=RISE, foot_radius=FOOT, **size)


def cylinder(radius: float, length: float) -> float:
    """Return the volume of a cylinder."""
    return math.pi * radius**2 * length


def ring(radius: float, blend: float) -> float:
    """Return the volume of what lies between a cylinder, a plane square to it, and a blend outside it."""
    return (
        2.0 * math.pi * ((1.0 - math.pi / 4.0) * blend**2 * radius + (5.0 / 6.0 - math.pi / 4.0) * blend**3)
    )


def within(radius: float, blend: float) -> float:
    """Return by how much volume chords may miss a blend."""
    return 0.03 * math.pi**2 * (radius + blend) * blend


@pytest.mark.kernel
def test_a_round_mouth_and_a_round_foot_on_a_flat_deck() -> None:
    """The pocket takes its cylinder and a ring, the pad adds its cylinder and a ring; both engines."""
    work = box_with(pocket(), pad())
    taken = cylinder(ROUND, DEEP) + ring(ROUND, MOUTH)
    added = cylinder(PAD, RISE) + ring(PAD, FOOT)
    volume = LENGTH * WIDTH * HEIGHT - taken + added
    arcs = within(ROUND, MOUTH) + within(PAD, FOOT)
    walls = 0.02 * 2.0 * math.pi * (ROUND * DEEP + PAD * RISE)
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=arcs + walls)
    proof = run_job(kernel_job(work))
    assert proof.volume_mm3 == pytest.approx(volume, abs=arcs)
    assert proof.n_free_edges == 0
    assert sum(layer.volume_mm3 for layer in work.layers) == pytest.approx(work.body.by_mesh.volume_mm3)


def test_under_a_skin_the_mouth_is_tighter_and_the_foot_wider() -> None:
    """Parallel surfaces: radii 6 - 2 in a pocket of radius 27, and 5 + 2 round a pad of radius 18."""
    work = box_with(pocket(), pad(), skin=SKIN)
    wide, narrow = ROUND + SKIN, PAD - SKIN
    foam = (LENGTH - 2.0 * SKIN) * (WIDTH - 2.0 * SKIN) * (HEIGHT - 2.0 * SKIN)
    volume = foam - cylinder(wide, DEEP) - ring(wide, MOUTH - SKIN)
    volume += cylinder(narrow, RISE) + ring(narrow, FOOT + SKIN)
    allowed = within(wide, MOUTH) + within(narrow, FOOT + SKIN)
    allowed += 0.02 * 2.0 * math.pi * (wide * DEEP + narrow * RISE)
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=allowed)
    assert work.skin_proof is not None
    for tool in work.skin_proof.tools:
        assert tool.asked_mm == pytest.approx(SKIN)
        assert abs(tool.excess_mm) < 0.05
    (kit,), (foot,) = work.kits, work.features
    assert (kit.mouth_radius, foot.foot_radius) == (pytest.approx(4.0), pytest.approx(7.0))
    assert kit.mouth.width == pytest.approx(2.0 * wide)


@pytest.mark.parametrize("draft_deg", [15.0, -10.0])
def test_draft_turns_the_blend_less_or_more(draft_deg: float) -> None:
    """The profile is integrated: a straight wall, and an arc that touches it and the surface."""
    work = box_with(pocket(draft_deg=draft_deg))
    lean = math.tan(math.radians(draft_deg))
    middle = MOUTH * math.hypot(1.0, lean) - MOUTH * lean  # of the arc, out from the wall's place at the top
    end = MOUTH * (1.0 - math.sin(math.radians(draft_deg)))

    def radius(depth: float) -> float:
        if depth >= end:
            return ROUND - depth * lean
        return ROUND + middle - math.sqrt(MOUTH**2 - (MOUTH - depth) ** 2)

    taken = quad(
        lambda depth: math.pi * radius(depth) ** 2, 0.0, DEEP, points=[min(end, MOUTH), end], epsrel=1e-10
    )[0]
    allowed = within(ROUND, MOUTH) + 0.02 * 2.0 * math.pi * ROUND * DEEP
    assert work.body.by_mesh.volume_mm3 == pytest.approx(LENGTH * WIDTH * HEIGHT - taken, abs=allowed)


def test_a_sharp_outline_has_mitred_blends() -> None:
    """Four straight blends of (1 - pi/4) r^2 a length, and four mitres of twice its moment about the wall."""
    item = Recess(panel="deck", x=150.0, width=60.0, height=40.0, depth=15.0, mouth_radius=MOUTH)
    work = box_with(item)
    straight = 2.0 * (60.0 + 40.0) * (1.0 - math.pi / 4.0) * MOUTH**2
    corners = 4.0 * 2.0 * (5.0 / 6.0 - math.pi / 4.0) * MOUTH**3
    volume = LENGTH * WIDTH * HEIGHT - 60.0 * 40.0 * 15.0 - straight - corners
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.03 * 200.0 * 0.5 * math.pi * MOUTH)


def test_a_crowned_deck_bears_it_as_far_as_it_is_flat() -> None:
    """A gentle crown is told of, a round one refused with what does."""
    gentle = box_with(pocket(ROUND), crown=2.0)
    assert [one.code for one in gentle.findings if one.code == "mouth-kink"] == ["mouth-kink"]
    assert gentle.body.by_mesh.volume_mm3 < gentle.body.plain_by_mesh.volume_mm3 - cylinder(ROUND, DEEP - 1.0)
    with pytest.raises(PlugError) as caught:
        assert box_with(pocket(ROUND, mouth_radius=3.0), crown=30.0).lines
    assert caught.value.would_do == (("recesses[0].mouth_radius", 0.0),)
    assert box_with(pocket(ROUND, mouth_radius=0.0), crown=30.0).lines.tools[0].kink_deg == 0.0


@pytest.mark.parametrize(
    ("words", "skin", "param"),
    [
        ({"mouth_radius": 30.0}, 0.0, "recesses[0].mouth_radius"),
        ({"mouth_radius": 18.0, "floor_radius": 5.0}, 0.0, "recesses[0].mouth_radius"),
        ({"mouth_radius": 0.2}, 0.0, "recesses[0].mouth_radius"),
        ({"mouth_radius": 2.0}, SKIN, "recesses[0].mouth_radius"),
    ],
)
def test_a_blend_without_room_is_refused_with_one_that_has(
    words: dict[str, float], skin: float, param: str
) -> None:
    """The number of the refusal is built."""
    with pytest.raises(PlugError) as caught:
        assert box_with(pocket(**words), skin=skin).lines
    assert caught.value.param == param
    ((_, value),) = caught.value.would_do
    assert box_with(pocket(**(words | {"mouth_radius": value})), skin=skin).body.body is not None


def test_a_rim_that_leaves_its_panel_is_refused() -> None:
    """The outline that must lie on the flat is that of the blend."""
    item = pocket(x=ROUND + 3.0)
    with pytest.raises(PlugError) as caught:
        assert box_with(item).lines
    assert caught.value.param == "recesses[0].panel"
    ((place, value),) = caught.value.would_do
    assert place == "recesses[0].x" and value == pytest.approx(ROUND + MOUTH + 0.1, abs=0.11)
