"""The record of a wire cutter, its limits, and programs read back and proved. Values derived here."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.mesh import mesh
from plugs.recipe.machine_file import read_machine
from plugs.recipe.starter import starter_machine
from plugs.wire.lots import one_by_one
from plugs.wire.machine import kerf_of
from plugs.wire.planned import Planned, plan_cut
from plugs.wire.program import program_of
from plugs.wire.programs import write_programs
from plugs.wire.proof import prove
from plugs.wire.reading import ProgramFaultError, run
from plugs.wire.words import WireAxis, WireCutter, check_machine
from tests.wire import MACHINE, box_body, cut_of, dialect, even, planned_box, ran, told

FALLING = ((240.0, 1.0), (120.0, 1.4))
Y = WireAxis(letter="Y", most=600.0)


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"far": (WireAxis(letter="X", most=900.0), WireAxis(letter="V", most=600.0))}, "m.far[0].letter"),
        ({"near": (WireAxis(letter="X", least=900.0, most=100.0), Y)}, "m.near[0].most"),
        ({"room_along": (400.0, 300.0)}, "m.room_along"),
        ({"room_up": (0.0, 700.0)}, "m.room_up"),
        ({"room_across": (50.0, 800.0)}, "m.room_across"),
        ({"start": (-5.0, 0.0)}, "m.start"),
        ({"start": (40.0, 0.0)}, "m.start"),
        ({"feed": 4000.0}, "m.feed"),
        ({"kerf": ((240.0, 1.0),)}, "m.kerf"),
        ({"kerf": FALLING}, "m.kerf"),
        ({"kerf": ((120.0, 1.0), (240.0, 1.4))}, "m.kerf"),
        ({"kerf": ((120.0, 0.3), (240.0, 0.2))}, "m.kerf"),
        ({"ends": ("M5",)}, "m.ends"),
        ({"begins": ("G17 (ours",)}, "m.begins"),
    ],
)
def test_a_machine_that_cannot_be_is_refused_with_a_number(words: dict[str, Any], param: str) -> None:
    """The error names the word, and what would do holds a figure."""
    with pytest.raises(PlugError) as fault:
        check_machine(checked(replace(MACHINE, **words), WireCutter, "m"), "m")
    assert fault.value.param == param
    assert any(letter.isdigit() for letter in fault.value.remedy) or param.endswith(("letter", "begins"))
    for place, value in fault.value.would_do:
        assert place == param
        if param == "m.feed":
            check_machine(replace(MACHINE, feed=value), "m")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"feed": 0.0}, "m.feed"),
        ({"kerf": ((120.0, -1.0), (240.0, 1.0))}, "m.kerf[0][1]"),
        ({"near": (WireAxis(letter="N"), Y)}, "m.near[0].letter"),
        ({"feed_mode": "G95"}, "m.feed_mode"),
    ],
)
def test_words_that_no_machine_has_are_refused(words: dict[str, Any], param: str) -> None:
    """Feed 0, a negative slot, a letter that means something else in programs."""
    with pytest.raises(PlugError) as fault:
        checked(replace(MACHINE, **words), WireCutter, "m")
    assert fault.value.param == param


def test_a_starter_is_a_machine(tmp_path: Path) -> None:
    """What `new --machine` writes is read as it stands, and passes its checks."""
    path = tmp_path / "our_wire.py"
    path.write_text(starter_machine("our_wire"), encoding="utf-8")
    machine = read_machine(path)
    assert machine.name == "Our wire"
    assert machine.kerf == ()
    path.write_text(starter_machine("our_wire").replace('letter="U"', 'letter="Y"'), encoding="utf-8")
    with pytest.raises(PlugError) as fault:
        read_machine(path)
    assert fault.value.where == "our_wire.py"


def test_the_slot_follows_its_table() -> None:
    """Between rows straight; slower by the power law through the two slowest; never wider than at a fifth."""
    kerf = kerf_of(MACHINE)
    assert kerf.at(np.array([120.0, 180.0, 480.0, 900.0])) == pytest.approx([1.4, 1.2, 0.8, 0.8])
    assert float(kerf.at(np.array(60.0))) == pytest.approx(1.4 * 1.4)
    assert float(kerf.at(np.array(0.0))) == float(kerf.at(np.array(24.0)))
    assert kerf_of(replace(MACHINE, kerf=())).is_guess
    still = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 0.0], [20.0, 0.0]])
    wide = kerf.along(still, np.array([0.0, 2.5, 0.5, 2.5]))
    assert wide[1] == wide[2] > wide[0] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("body", "machine", "param", "axis"),
    [
        (box_body(900.0, 50.0, 50.0), MACHINE, "wire.machine.room_along", ""),
        (box_body(50.0, 50.0, 620.0), MACHINE, "wire.machine.room_across", ""),
    ],
)
def test_a_block_larger_than_the_room_is_refused(
    body: Any, machine: WireCutter, param: str, axis: str
) -> None:
    """With the room that would do."""
    high = 620.0 if "across" in param else 50.0
    with pytest.raises(PlugError) as fault:
        plan_cut(cut_of(body, high), machine)
    assert fault.value.param == param
    ((word, room),) = fault.value.would_do
    assert word == param
    plan_cut(cut_of(body, high), _wider(machine, param.rpartition(".")[2], room))


def _wider(machine: WireCutter, word: str, room: Any) -> WireCutter:
    """Return a machine with more room, and with travel and span for it."""
    axes = {
        end: tuple(replace(axis, most=2000.0) for axis in getattr(machine, end)) for end in ("near", "far")
    }
    return replace(machine, span=1500.0, **{word: room}, **axes)  # type: ignore[arg-type]


def test_a_lying_block_is_turned_where_it_fits_only_so() -> None:
    """Too high as it is, it lies down: its first side stands up."""
    planned = plan_cut(cut_of(box_body(100.0, 700.0, 50.0), 50.0), MACHINE)
    assert planned.standing.is_turned
    assert planned.standing.size[:2] == pytest.approx((720.0, 120.0))
    assert prove(ran(planned, MACHINE), told(planned)).cut_in_mm < 0.01


def test_nothing_goes_past_the_travel() -> None:
    """A slab that leans by 45 degrees asks for more than the ends have: the axis, its value and its limit."""
    at = np.array([(0.0, 0.0), (100.0, 0.0), (150.0, 50.0), (50.0, 50.0)])
    body = mesh.extruded(shapely.MultiPolygon([shapely.Polygon(at)]), "y", 0.0, 80.0)
    far = replace(MACHINE, room_along=(30.0, 240.0))
    with pytest.raises(PlugError) as fault:
        plan_cut(cut_of(body, 50.0), far)
    assert fault.value.param == "wire.machine.near[0].least"
    assert "X would have to go to" in fault.value.reason
    ((word, value),) = fault.value.would_do
    near = (replace(MACHINE.near[0], least=value), MACHINE.near[1])  # type: ignore[arg-type]
    planned = plan_cut(cut_of(body, 50.0), replace(far, near=near))
    assert word == "wire.machine.near[0].least"
    assert planned.ends[:, 0].min() >= value  # type: ignore[operator]
    upright = plan_cut(cut_of(body, 50.0, how="upright"), far)
    assert upright.ends[:, :2] == pytest.approx(upright.ends[:, 2:])


def test_no_end_is_faster_than_it_can() -> None:
    """A leaning slab at a feed that its ends cannot follow is cut slower, and with a wider slot."""
    at = np.array([(0.0, 0.0), (100.0, 0.0), (110.0, 50.0), (-10.0, 50.0)])
    body = mesh.extruded(shapely.MultiPolygon([shapely.Polygon(at)]), "y", 0.0, 80.0)
    machine = replace(MACHINE, most_feed=(260.0, 600.0), air_feed=250.0)
    planned = plan_cut(cut_of(body, 50.0), machine)
    done = ran(planned, machine)
    step = np.diff(done.ends, axis=0)
    for columns, most in ((step[:, :2], 260.0), (step[:, 2:], 600.0)):
        speed = 60.0 * np.hypot(*columns.T) / done.seconds[1:]
        assert speed.max() <= most * 1.001
    assert prove(done, told(planned)).cut_in_mm < 0.1


def test_a_hole_is_reached_by_a_slit() -> None:
    """What is left has the hole, but for the round of the slot in its corners: r (1 - 1 / sqrt 2)."""
    hole = mesh.prism(shapely.MultiPolygon([shapely.box(30.0, 30.0, 60.0, 60.0)]), -1.0, 51.0)
    cut = cut_of(mesh.less(box_body(100.0, 100.0, 50.0), hole), 50.0)
    planned = plan_cut(cut, even(1.0))
    assert len(planned.journey.slits) == 1
    proof = prove(ran(planned, even(1.0)), told(planned))
    assert proof.cut_in_mm < 0.02
    assert proof.foam_left_mm == pytest.approx(0.5 * (1.0 - np.sqrt(0.5)), abs=0.01)


def test_the_proof_sees_what_is_wrong() -> None:
    """Shifted by 2 mm it cuts in and leaves as much; another slot shows half the difference, at corners."""
    machine = even(1.0)
    planned = planned_box(machine)
    done = ran(planned, machine)
    shifted = replace(done, ends=done.ends + np.array([0.0, 2.0, 0.0, 2.0]))
    proof = prove(shifted, told(planned))
    assert proof.cut_in_mm == pytest.approx(2.0, abs=0.02)
    assert proof.foam_left_mm == pytest.approx(2.0, abs=0.02)
    wide = replace(told(planned), kerf=kerf_of(even(1.8)))
    assert prove(done, wide).cut_in_mm == pytest.approx(0.4 * np.sqrt(2.0), abs=0.02)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("G21 G90 G94 F100\nG1 X1 Q\nM2\n", "line 2"),
        ("G21\nG90\nG93\nG1 X1 Y1 U1 V1\nM2\n", "line 4: inverse time"),
        ("G21\nG94\nG1 X1\nM2\n", "line 3: there is no feed"),
        ("G94\nX1\nM2\n", "line 2: no kind of move"),
        ("G21\nG2 X1 F2\nM2\n", "line 2: G2"),
        ("G21\nG94\nG1 X1 X2 F2\nM2\n", "line 3: a letter twice"),
        ("G21\n", "does not end"),
    ],
)
def test_what_cannot_be_read_is_told(text: str, words: str) -> None:
    """With its line."""
    with pytest.raises(ProgramFaultError) as fault:
        run(text, dialect(MACHINE))
    assert words in str(fault.value)


def test_relative_moves_and_inches_are_read() -> None:
    """A way of our own: 1 in up at 2 in a minute, then back by G91 in a tenth of a minute."""
    text = "G20 G90 G94\nG0 X0 Y0 U0 V0\nM3\nG1 Y1 V1 F2\nM5\nG93 G91\nG1 Y-1 V-1 F10\nM2\n"
    done = run(text, dialect(MACHINE))
    assert done.ends == pytest.approx(np.array([[0, 0, 0, 0], [0, 25.4, 0, 25.4], [0, 0, 0, 0]]))
    assert done.seconds == pytest.approx([0.0, 30.0, 6.0])
    assert done.is_hot.tolist() == [False, True, False]


def test_a_program_says_what_it_is() -> None:
    """Comments in plain letters: piece, block, and that the slot is a guess where it is one."""
    machine = replace(MACHINE, kerf=())
    text = program_of(planned_box(machine), machine, "Höcker (links)")
    assert text.startswith("(H cker links : L01)\n(block 120.0 along, 120.0 up, 50.0 across, mm)\n")
    assert "guessed slot" in text
    assert text.endswith("M5\nM2\n")


@pytest.mark.parametrize(("shift", "allowance"), [(0.2, 3.0), (0.8, 3.0), (5.0, 3.0), (0.8, 0.0)])
def test_a_program_that_spoils_its_piece_is_not_written(
    monkeypatch: pytest.MonkeyPatch, shift: float, allowance: float
) -> None:
    """Written 0.2 off it is sound, 0.8 off it is told, and deeper than the allowance nothing comes of it."""

    def off(planned: Planned, machine: WireCutter, title: str) -> str:
        moved = replace(planned, ends=planned.ends + np.array([0.0, shift, 0.0, shift]))
        return program_of(moved, machine, title)

    monkeypatch.setattr("plugs.wire.programs.program_of", off)
    cut = cut_of(box_body(100.0, 100.0, 50.0), 50.0)
    if shift > max(allowance, 0.3):
        with pytest.raises(PlugError) as fault:
            write_programs(one_by_one([cut]), MACHINE, "Box", allowance)
        assert "nothing is written" in fault.value.reason
        return
    codes = [found.code for found in write_programs(one_by_one([cut]), MACHINE, "Box", allowance).findings]
    assert codes == (["wire-cuts-in"] if shift > 0.3 else [])
