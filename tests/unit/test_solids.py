"""Solids: binary STL and 3MF of a mesh, byte for byte the same, refused when they are none."""

from __future__ import annotations

import io
import struct
import zipfile
from xml.etree import ElementTree

import numpy as np
import pytest

from plugs.files.solids import stl_bytes, threemf_bytes
from tests.counted import calls_of, peak_of

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
VERTICES = np.array([[0.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 20.0, 0.0], [0.0, 0.0, 10.0]])
TRIANGLES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
WRITERS = [stl_bytes, threemf_bytes]


def model_of(content):
    """Return the model part of a 3MF file, parsed."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None
        return ElementTree.fromstring(archive.read("3D/3dmodel.model"))


def test_stl_is_laid_out_as_described():
    """80 bytes of header, a count, 50 bytes for each facet, attribute 0."""
    content = stl_bytes(VERTICES, TRIANGLES, name="tail foam")
    assert len(content) == 84 + 50 * 4
    assert not content.lower().startswith(b"solid")
    assert b"tail foam" in content[:80]
    assert b"mm" in content[:80]
    assert struct.unpack_from("<I", content, 80) == (4,)
    first = struct.unpack_from("<12fH", content, 84)
    assert first == (0.0, 0.0, -1.0, 0.0, 0.0, 0.0, 0.0, 20.0, 0.0, 30.0, 0.0, 0.0, 0)


@pytest.mark.parametrize("name", ["solid tail", "Höcker ü", "x" * 200, ""])
def test_stl_header_takes_any_name(name):
    """Cut to its place, ASCII, never taken for the text form."""
    content = stl_bytes(VERTICES, TRIANGLES, name=name)
    assert len(content) == 284
    assert not content.startswith(b"solid")
    assert struct.unpack_from("<I", content, 80) == (4,)


def test_stl_normals_are_of_unit_length_and_point_outward():
    """The slanted face of the corner piece: (1/30, 1/20, 1/10) made one long."""
    content = stl_bytes(VERTICES, TRIANGLES, name="a")
    normal = np.array(struct.unpack_from("<3f", content, 84 + 2 * 50))
    expected = np.array([1 / 30, 1 / 20, 1 / 10])
    assert normal == pytest.approx(expected / np.linalg.norm(expected), abs=1e-6)


def test_facet_without_area_has_a_zero_normal():
    """And no division by zero."""
    content = stl_bytes(VERTICES, np.array([[0, 1, 1]]), name="a")
    assert struct.unpack_from("<3f", content, 84) == (0.0, 0.0, 0.0)


def test_3mf_holds_shared_vertices_unit_and_title():
    """Four vertices for four triangles, in millimetres."""
    model = model_of(threemf_bytes(VERTICES, TRIANGLES, name='tail <&> "Höcker"'))
    assert model.get("unit") == "millimeter"
    assert model.find(f"{CORE}metadata").text == 'tail <&> "Höcker"'
    found = [[float(v.get(k)) for k in "xyz"] for v in model.iter(f"{CORE}vertex")]
    assert found == VERTICES.tolist()
    corners = [[int(t.get(k)) for k in ("v1", "v2", "v3")] for t in model.iter(f"{CORE}triangle")]
    assert corners == TRIANGLES.tolist()
    assert model.find(f"{CORE}build/{CORE}item").get("objectid") == "1"


def test_3mf_package_has_the_earliest_time_and_no_system():
    """What would make two files of one solid differ."""
    with zipfile.ZipFile(io.BytesIO(threemf_bytes(VERTICES, TRIANGLES, name="a"))) as archive:
        entries = archive.infolist()
    assert [entry.filename for entry in entries] == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
    assert {entry.date_time for entry in entries} == {(1980, 1, 1, 0, 0, 0)}
    assert {entry.create_system for entry in entries} == {0}


@pytest.mark.parametrize("write", WRITERS)
def test_same_solid_gives_the_same_bytes_and_stays_unchanged(write):
    """Also from single-precision vertices and 32-bit indices."""
    vertices, triangles = VERTICES.copy(), TRIANGLES.copy()
    first = write(vertices, triangles, name="a")
    assert write(vertices.astype(np.float32), triangles.astype(np.uint32), name="a") == first
    assert np.array_equal(vertices, VERTICES)
    assert np.array_equal(triangles, TRIANGLES)
    assert (
        write(np.where(vertices == 0.0, -1e-9, vertices), triangles, name="a") == first or write is stl_bytes
    )


@pytest.mark.parametrize("write", WRITERS)
@pytest.mark.parametrize(
    ("vertices", "triangles", "said"),
    [
        (np.where(VERTICES == 30.0, np.nan, VERTICES), TRIANGLES, "not finite"),
        (np.where(VERTICES == 30.0, np.inf, VERTICES), TRIANGLES, "not finite"),
        (VERTICES[:0], TRIANGLES, "vertices"),
        (VERTICES, TRIANGLES[:0], "triangles"),
        (VERTICES, TRIANGLES + 1, r"indices 1\.\.4, but 4"),
        (VERTICES, TRIANGLES - 1, r"indices -1\.\.2"),
        (VERTICES[:, :2], TRIANGLES, "vertices"),
        (VERTICES, TRIANGLES[:, :2], "triangles"),
        (VERTICES, TRIANGLES.astype(float), "triangles"),
    ],
)
def test_broken_meshes_are_refused_by_name(write, vertices, triangles, said):
    """A wrong solid is never written."""
    with pytest.raises(AssertionError, match=f"tail.*{said}"):
        write(vertices, triangles, name="tail")


def tube(rows, around):
    """Return vertices and triangles of a closed tube."""
    index = np.arange(rows * around).reshape(rows, around)
    a, b = index, np.roll(index, -1, axis=1)
    c, d = np.roll(a, -1, axis=0), np.roll(b, -1, axis=0)
    triangles = np.concatenate((np.stack((a, b, d), axis=-1), np.stack((a, d, c), axis=-1))).reshape(-1, 3)
    return np.random.default_rng(0).uniform(-900.0, 900.0, (rows * around, 3)), triangles


@pytest.mark.parametrize("write", [stl_bytes, threemf_bytes])
def test_twenty_thousand_vertices_are_written_without_a_loop(write):
    """As many calls for 40 000 triangles as for 4 000, and as much memory as the triangles take."""
    few, many = tube(20, 100), tube(200, 100)
    assert many[1].shape == (40_000, 3)
    write(*few, name="tube")
    calls = calls_of(lambda: write(*many, name="tube"))
    assert calls < min(1.5 * calls_of(lambda: write(*few, name="tube")), 1000)
    assert peak_of(lambda: write(*many, name="tube")) < 500 * len(many[1])
