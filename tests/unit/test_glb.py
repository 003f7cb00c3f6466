"""Binary glTF: chunks, alignment, accessors and names, walked here byte by byte.

The layout is that of the glTF 2.0 specification (4.4 and 3.6, from memory); another reader's opinion is in
`tests/reference/test_glb_read_elsewhere.py`.
"""

from __future__ import annotations

import json
import struct

import numpy as np
import pytest

from plugs.files.glb import glb_bytes
from plugs.mesh.named import NamedMesh, colour_of

TETRA = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 200.0, 0.0], [0.0, 0.0, 300.0]])
FACES = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


def tetra(name: str, colour: str = "#804020") -> NamedMesh:
    """Return a small closed mesh."""
    return NamedMesh(name=name, vertices=TETRA, triangles=FACES, colour=colour)


def chunks(raw: bytes) -> tuple[dict, bytes]:
    """Return the document and the buffer of a file, its head checked on the way."""
    magic, version, total = struct.unpack_from("<4sII", raw)
    assert (magic, version, total) == (b"glTF", 2, len(raw))
    length, kind = struct.unpack_from("<I4s", raw, 12)
    assert kind == b"JSON"
    assert length % 4 == 0
    document = json.loads(raw[20 : 20 + length])
    size, kind = struct.unpack_from("<I4s", raw, 20 + length)
    assert kind == b"BIN\0"
    assert size % 4 == 0
    assert 28 + length + size == total
    return document, raw[28 + length :]


def accessor(document: dict, binary: bytes, number: int) -> np.ndarray:
    """Return what an accessor of floats or whole numbers tells."""
    told = document["accessors"][number]
    view = document["bufferViews"][told["bufferView"]]
    assert view["byteOffset"] % 4 == 0
    kind = {5126: "<f4", 5123: "<u2", 5125: "<u4"}[told["componentType"]]
    count = told["count"] * {"VEC3": 3, "SCALAR": 1}[told["type"]]
    return np.frombuffer(binary, kind, count, view["byteOffset"])


def test_points_are_in_metres_with_y_up() -> None:
    """The rear stays x, z up becomes y, y to the right becomes -z."""
    document, binary = chunks(glb_bytes([tetra("a")]))
    attributes = document["meshes"][0]["primitives"][0]["attributes"]
    points = accessor(document, binary, attributes["POSITION"]).reshape(-1, 3)
    expected = [[0.0, 0.0, 0.0], [0.1, 0.0, 0.0], [0.0, 0.0, -0.2], [0.0, 0.3, 0.0]]
    assert np.abs(points - expected).max() < 1e-7
    told = document["accessors"][attributes["POSITION"]]
    assert told["min"] == points.min(axis=0).tolist()
    assert told["max"] == points.max(axis=0).tolist()
    assert list(attributes) == ["POSITION"]


def test_triangles_keep_their_way_round() -> None:
    """The axes are turned, not mirrored: a mesh that faces outward still does."""
    document, binary = chunks(glb_bytes([tetra("a")]))
    primitive = document["meshes"][0]["primitives"][0]
    points = accessor(document, binary, primitive["attributes"]["POSITION"]).reshape(-1, 3)
    a, b, c = points[accessor(document, binary, primitive["indices"]).reshape(-1, 3)].transpose(1, 0, 2)
    assert np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0 == pytest.approx(0.1 * 0.2 * 0.3 / 6.0, rel=1e-6)


def test_each_mesh_is_a_node_of_its_name() -> None:
    """Names with marks and letters of any kind stand as they are; a colour is one material."""
    meshes = [tetra("L01"), tetra('<b>"é 層"'), tetra("L03", "#ffffff")]
    document, _ = chunks(glb_bytes(meshes))
    assert [node["name"] for node in document["nodes"]] == [mesh.name for mesh in meshes]
    assert [document["meshes"][node["mesh"]]["name"] for node in document["nodes"]] == [
        m.name for m in meshes
    ]
    assert document["scenes"][document["scene"]]["nodes"] == [0, 1, 2]
    assert [mesh["primitives"][0]["material"] for mesh in document["meshes"]] == [0, 0, 1]
    white = document["materials"][1]["pbrMetallicRoughness"]["baseColorFactor"]
    assert white == [1.0, 1.0, 1.0, 1.0]


def test_colours_are_linear() -> None:
    """Mid grey #bcbcbc is half the light (188 of 255: 0.5028 by the curve of IEC 61966-2-1, from memory)."""
    document, _ = chunks(glb_bytes([tetra("a", "#bcbcbc")]))
    grey = document["materials"][0]["pbrMetallicRoughness"]["baseColorFactor"]
    assert grey[:3] == pytest.approx([0.5028] * 3, abs=1e-4)


def test_whole_numbers_are_as_long_as_they_must() -> None:
    """65535 vertices fit in two bytes, since the number 65535 itself is never an index; one more do not."""
    for count, kind in ((65535, 5123), (65536, 5125)):
        points = np.zeros((count, 3))
        points[-1] = 1.0
        mesh = NamedMesh(name="a", vertices=points, triangles=np.array([[0, 1, count - 1]]), colour="#000000")
        document, binary = chunks(glb_bytes([mesh]))
        number = document["meshes"][0]["primitives"][0]["indices"]
        assert document["accessors"][number]["componentType"] == kind
        assert accessor(document, binary, number).tolist() == [0, 1, count - 1]


def test_same_meshes_same_bytes() -> None:
    """No clock, no chance, and no minus in front of a zero."""
    assert glb_bytes([tetra("a"), tetra("b")]) == glb_bytes([tetra("a"), tetra("b")])
    assert b"-0.0" not in glb_bytes([tetra("a")])


def test_what_is_no_mesh_is_refused() -> None:
    """Empty, not finite, an index too high, fractions for indices, a colour by name, and nothing at all."""
    for vertices, triangles in (
        (np.zeros((0, 3)), FACES),
        (TETRA * np.nan, FACES),
        (TETRA, FACES + 1),
        (TETRA, FACES * 1.0),
        (TETRA[:, :2], FACES),
        (TETRA, FACES[:0]),
    ):
        with pytest.raises(AssertionError):
            NamedMesh(name="a", vertices=vertices, triangles=triangles, colour="#000000")
    with pytest.raises(AssertionError):
        colour_of("red")
    with pytest.raises(AssertionError):
        glb_bytes([])
