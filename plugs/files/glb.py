"""Meshes as one binary glTF 2.0 file: metres, y up, a named node to each mesh, the same bytes every time."""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from plugs.mesh.named import NamedMesh, colour_of

MM_PER_UNIT: Final = 1000.0
"""glTF's unit of length is the metre."""

_MAGIC: Final = b"glTF"
_VERSION: Final = 2  # of glTF
_JSON_CHUNK: Final = b"JSON"
_BINARY_CHUNK: Final = b"BIN\0"
_FLOAT: Final = 5126  # codes of glTF 2.0, which are those of OpenGL (from memory)
_UNSIGNED_SHORT: Final = 5123  # likewise
_UNSIGNED_INT: Final = 5125  # likewise
_VERTEX_BUFFER: Final = 34962  # likewise
_INDEX_BUFFER: Final = 34963  # likewise
_LAST_SHORT: Final = 65534  # 65535 would restart a strip
_ROUGHNESS: Final = 0.85  # of a surface without gloss, as foam is


def glb_bytes(meshes: Sequence[NamedMesh]) -> bytes:
    """Return meshes as a binary glTF file.

    x to the rear, y to the right, z up become x to the rear, y up, z to the left: the standard has y up. No
    normals are written, and so viewers shade each triangle flat, as the standard demands of them.

    Parameters
    ----------
    meshes : sequence of NamedMesh

    Returns
    -------
    bytes
        One node, one mesh of the same name and its own index for each; a material to each colour.

    Raises
    ------
    AssertionError
        There is no mesh.

    References
    ----------
    glTF 2.0 specification, 3.4 (coordinate system and units), 3.6 (accessors), 3.7.2 (meshes),
    3.9 (materials, colours linear) and 4.4 (binary layout): from memory, held by a test that reads
    the file with another library.
    """
    if not meshes:
        raise AssertionError("there is no mesh to write")
    binary = bytearray()
    views: list[dict[str, int]] = []
    accessors: list[dict[str, Any]] = []
    colours = list(dict.fromkeys(mesh.colour for mesh in meshes))
    written = []
    for mesh in meshes:
        primitive = {
            "attributes": {"POSITION": len(accessors)},
            "indices": len(accessors) + 1,
            "material": colours.index(mesh.colour),
        }
        accessors += _accessors(mesh, binary, views)
        written.append({"name": mesh.name, "primitives": [primitive]})
    document = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(meshes)))}],
        "nodes": [{"name": mesh.name, "mesh": i} for i, mesh in enumerate(meshes)],
        "meshes": written,
        "materials": [_material(colour) for colour in colours],
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(binary)}],
    }
    return _file(document, bytes(binary))


def _accessors(mesh: NamedMesh, binary: bytearray, views: list[dict[str, int]]) -> list[dict[str, Any]]:
    """Put a mesh into the buffer, and return what tells its vertices and its triangles there."""
    points, corners = _points(mesh), _corners(mesh)
    return [
        {
            "bufferView": _put(binary, views, points.tobytes(), _VERTEX_BUFFER),
            "componentType": _FLOAT,
            "count": len(points),
            "type": "VEC3",
            "min": [float(v) for v in points.min(axis=0)],
            "max": [float(v) for v in points.max(axis=0)],
        },
        {
            "bufferView": _put(binary, views, corners.tobytes(), _INDEX_BUFFER),
            "componentType": _UNSIGNED_SHORT if corners.dtype.itemsize == 2 else _UNSIGNED_INT,
            "count": corners.size,
            "type": "SCALAR",
        },
    ]


def _points(mesh: NamedMesh) -> np.ndarray[Any, np.dtype[np.float32]]:
    """Return the vertices in metres, y up, in single precision."""
    x, y, z = mesh.vertices.T / MM_PER_UNIT
    return np.column_stack((x, z, -y)).astype("<f4") + np.float32(0.0)


def _corners(mesh: NamedMesh) -> np.ndarray[Any, Any]:
    """Return the triangles in the shortest whole numbers that the format has for them."""
    return mesh.triangles.astype("<u2" if len(mesh.vertices) - 1 <= _LAST_SHORT else "<u4")


def _put(binary: bytearray, views: list[dict[str, int]], content: bytes, target: int) -> int:
    """Add content to the buffer at a multiple of four bytes, and return the number of its view."""
    binary.extend(bytes(-len(binary) % 4))
    views.append({"buffer": 0, "byteOffset": len(binary), "byteLength": len(content), "target": target})
    binary.extend(content)
    return len(views) - 1


def _material(colour: str) -> dict[str, Any]:
    """Return a dull material of a colour, which the format wants linear."""
    parts = colour_of(colour)
    # the sRGB standard's own curve (IEC 61966-2-1, from memory)
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return {
        "name": colour,
        "pbrMetallicRoughness": {
            "baseColorFactor": [*(round(c, 6) for c in linear), 1.0],
            "metallicFactor": 0.0,
            "roughnessFactor": _ROUGHNESS,
        },
    }


def _file(document: dict[str, Any], binary: bytes) -> bytes:
    """Return the two chunks, each padded to four bytes, behind the file's head."""
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    binary += bytes(-len(binary) % 4)
    total = 12 + 8 + len(text) + 8 + len(binary)
    return b"".join(
        (
            _MAGIC,
            struct.pack("<II", _VERSION, total),
            struct.pack("<I", len(text)) + _JSON_CHUNK,
            text,
            struct.pack("<I", len(binary)) + _BINARY_CHUNK,
            binary,
        )
    )
