"""STL files, whole and broken: read, joined, checked; trimesh wrote them and has the second opinion."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from plugs.ground.errors import PlugError
from plugs.mesh import mesh
from plugs.mesh.closed import closed_body, welded
from plugs.mesh.mesh import Body
from plugs.mesh.stl_in import read_stl
from plugs.mesh.triangles import labels

BALL = trimesh.creation.icosphere(subdivisions=3, radius=50.0)
BOX = trimesh.creation.box((100.0, 60.0, 40.0))


def binary(shape: trimesh.Trimesh) -> bytes:
    """Return a binary STL, as trimesh writes it."""
    return bytes(trimesh.exchange.stl.export_stl(shape))


def text(shape: trimesh.Trimesh) -> bytes:
    """Return an STL in text, as trimesh writes it."""
    return trimesh.exchange.stl.export_stl_ascii(shape).encode()


def body_of(content: bytes) -> tuple[Body, int]:
    """Return the body that a file holds, and how many hollows were filled."""
    return closed_body(*welded(read_stl(content, "body", "tank.stl")), "body", "tank.stl")


def refusal(content: bytes) -> PlugError:
    """Return the error that a file is refused with."""
    with pytest.raises(PlugError) as caught:
        body_of(content)
    assert caught.value.param == "body"
    return caught.value


@pytest.mark.parametrize("write", [binary, text])
@pytest.mark.parametrize("shape", [BALL, BOX])
def test_volume_and_box_are_those_of_trimesh(shape: trimesh.Trimesh, write) -> None:
    """Binary in single precision, text as it is written; all corners joined."""
    body, hollows = body_of(write(shape))
    assert hollows == 0
    assert mesh.volume_of(body) == pytest.approx(shape.volume, rel=1e-6)
    found = mesh.measure(body)
    assert found.lower == pytest.approx(shape.bounds[0], abs=1e-5)
    assert found.upper == pytest.approx(shape.bounds[1], abs=1e-5)
    assert len(mesh.triangles_of(body)[0]) == len(shape.vertices)


def test_a_binary_file_may_begin_with_solid() -> None:
    """Some programs write that word into the heading of 80 bytes."""
    content = b"solid tank".ljust(80) + binary(BALL)[80:]
    assert mesh.volume_of(body_of(content)[0]) == pytest.approx(BALL.volume, rel=1e-6)


def test_inside_out_is_turned() -> None:
    """All facets facing inward is the same body."""
    turned = trimesh.Trimesh(BALL.vertices, BALL.faces[:, ::-1], process=False)
    assert turned.volume < 0.0
    assert mesh.volume_of(body_of(binary(turned))[0]) == pytest.approx(BALL.volume, rel=1e-6)


def test_corners_that_nearly_meet_are_joined() -> None:
    """Corners that differ by a ten-thousandth of a millimetre, each facet with its own, still close."""
    corners = BALL.triangles + np.random.default_rng(2).uniform(-1e-4, 1e-4, (len(BALL.faces), 3, 3))
    vertices, triangles = welded(corners)
    body, _ = closed_body(vertices, triangles, "body", "tank.stl")
    assert mesh.volume_of(body) == pytest.approx(BALL.volume, rel=1e-4)
    assert len(mesh.triangles_of(body)[0]) == len(BALL.vertices)


def test_facets_without_area_are_left_out() -> None:
    """A facet with two corners in one place takes nothing away and opens nothing."""
    corners = np.concatenate([BOX.triangles, BOX.triangles[:2][:, [0, 0, 1]]])
    body, _ = closed_body(*welded(corners), "body", "tank.stl")
    assert mesh.volume_of(body) == pytest.approx(100.0 * 60.0 * 40.0)


def test_holes_are_counted_and_the_largest_is_placed() -> None:
    """A facet missing at the top, a ring of facets missing at +x: 2 holes, the second the larger."""
    centre = BALL.triangles_center
    top = int(np.argmax(centre[:, 2]))
    patch = np.linalg.norm(centre - [50.0, 0.0, 0.0], axis=1) < 12.0
    kept = ~patch
    kept[top] = False
    holed = trimesh.Trimesh(BALL.vertices, BALL.faces[kept], process=False)
    error = refusal(binary(holed))
    assert "not closed: 2 holes" in error.reason
    edges = holed.edges_sorted[trimesh.grouping.group_rows(holed.edges_sorted, require_count=1)]
    at_side = BALL.vertices[edges][:, :, 0].min(axis=1) > 30.0
    lengths = np.linalg.norm(BALL.vertices[edges[:, 0]] - BALL.vertices[edges[:, 1]], axis=1)
    assert f"the largest, {lengths[at_side].sum():.1f} mm round, is at x = 48." in error.reason
    assert "y = 0.0, z = 0.0 mm" in error.reason.replace("-0.0", "0.0")
    one = trimesh.Trimesh(BALL.vertices, np.delete(BALL.faces, top, axis=0), process=False)
    assert "not closed: 1 hole;" in refusal(text(one)).reason


def test_facets_turned_round_are_refused_with_their_place() -> None:
    """One facet of a box facing inward disagrees with its 3 neighbours."""
    faces = BOX.faces.copy()
    faces[0] = faces[0, ::-1]
    error = refusal(binary(trimesh.Trimesh(BOX.vertices, faces, process=False)))
    assert "along 3 edges" in error.reason


def test_several_bodies_are_refused_with_their_sizes() -> None:
    """Two boxes apart: their number, the larger first."""
    second = BOX.copy().apply_scale(0.5).apply_translation((200.0, 0.0, 0.0))
    error = refusal(binary(trimesh.util.concatenate([second, BOX])))
    assert "2 bodies, of 100 x 60 x 40; 50 x 30 x 20 mm" in error.reason


def test_hollows_inside_are_filled_and_counted() -> None:
    """A ball with a void in it, its facets facing into the void, is a ball."""
    void = trimesh.Trimesh(0.5 * BALL.vertices, BALL.faces[:, ::-1], process=False)
    body, hollows = body_of(binary(trimesh.util.concatenate([void, BALL])))
    assert hollows == 1
    assert mesh.volume_of(body) == pytest.approx(BALL.volume, rel=1e-6)


def test_a_flat_sheet_has_no_volume() -> None:
    """Two facets back to back close, but hold nothing."""
    corners = np.array([[[0, 0, 0], [10, 0, 0], [0, 10, 0]], [[0, 0, 0], [0, 10, 0], [10, 0, 0]]], float)
    with pytest.raises(PlugError) as caught:
        closed_body(*welded(corners), "body", "tank.stl")
    assert "do not enclose a volume" in caught.value.reason


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "of 0 bytes there is room for 0 facets"),
        (b"\x00" * 84, "its head would speak of 0"),
        (np.random.default_rng(3).bytes(5000), "of 5000 bytes there is room for 98 facets"),
        (binary(BALL)[:2000], "of 2000 bytes there is room for 38 facets, and its head would speak of 1280"),
        (b"%PDF-1.7\n" + b"x" * 300, "no STEP or STL file"),
    ],
)
def test_garbage_is_refused_with_its_size(content: bytes, says: str) -> None:
    """Nothing, zeros, noise, a file cut short, a file of another kind."""
    assert says in refusal(content).reason


def test_text_cut_short_is_refused() -> None:
    """A corner without its facet."""
    whole = text(BOX)
    assert "corners for 11 facets" in refusal(whole[: whole.rindex(b"endloop")]).reason


def test_a_word_for_a_number_is_refused_with_its_line() -> None:
    """The line is told."""
    lines = text(BOX).splitlines()
    row = next(i for i, line in enumerate(lines) if b"vertex" in line)
    lines[row] = b"vertex 1.0 two 3.0"
    error = refusal(b"\n".join(lines))
    assert error.value == "vertex 1.0 two 3.0"
    assert error.where == f"tank.stl, line {row + 1}"


@pytest.mark.parametrize("wrong", [np.nan, np.inf, 1e30])
def test_coordinates_that_are_no_lengths_are_refused(wrong: float) -> None:
    """Not a number, infinite, or beyond any unit: the facet is told."""
    corners = BOX.triangles.copy()
    corners[4, 1, 2] = wrong
    facets = np.zeros(12, dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    facets["corners"] = corners
    content = b"".ljust(80) + (12).to_bytes(4, "little") + facets.tobytes()
    assert "1 of its 12 facets" in refusal(content).reason
    assert "facet 5" in refusal(content).reason


def test_labels_join_what_is_linked() -> None:
    """A long chain, given backwards, and a loose pair."""
    chain = np.arange(200)
    found = labels(203, np.concatenate([chain[::-1] + 1, [201]]), np.concatenate([chain[::-1], [202]]))
    assert (found[:201] == 0).all()
    assert found[201:].tolist() == [201, 201]
