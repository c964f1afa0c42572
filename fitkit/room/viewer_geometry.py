"""Meshes and colours on their way to the browser, as one binary each, fetched by what they hold.

The address is the digest of the content, so that a browser fetches each once, and what a client
asks for is looked up in memory and nowhere else.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from weakref import WeakKeyDictionary

import numpy as np
from fastapi import FastAPI, Response

from fitkit.geometry.arrays import Bytes
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["add_geometry_routes", "colours_address", "mesh_address", "mesh_bytes"]

_PATH = "/geometry/"
_MOST_BYTES = 300 << 20

_held: OrderedDict[str, bytes] = OrderedDict()
_of_mesh: WeakKeyDictionary[TriangleMesh, str] = WeakKeyDictionary()


def mesh_bytes(mesh: TriangleMesh) -> bytes:
    """Return a mesh as the viewer reads it.

    Little-endian: counts of vertices and faces (2 uint32), vertices (V, 3) float32 mm, faces
    (F, 3) uint32.
    """
    counts = np.array([len(mesh.vertices), len(mesh.faces)], dtype="<u4")
    parts = (counts, mesh.vertices.astype("<f4"), mesh.faces.astype("<u4"))
    return b"".join(part.tobytes() for part in parts)


def mesh_address(mesh: TriangleMesh) -> str:
    """Return where the browser finds a mesh."""
    digest = _of_mesh.get(mesh)
    if digest is None or digest not in _held:
        digest = _of_mesh[mesh] = _kept(mesh_bytes(mesh))
    _held.move_to_end(digest)
    return _PATH + digest


def colours_address(rgb: Bytes) -> str:
    """Return where the browser finds colours, (V, 3) uint8, one for each vertex of a mesh."""
    return _PATH + _kept(np.ascontiguousarray(rgb, dtype=np.uint8).tobytes())


def add_geometry_routes(app: FastAPI) -> None:
    """Let browsers fetch what has an address."""

    @app.get(_PATH + "{digest}")
    def geometry(digest: str) -> Response:
        content = _held.get(digest)
        if content is None:
            return Response("Load the page again.", 404)
        kept = {"cache-control": "private, max-age=86400, immutable"}
        return Response(content, media_type="application/octet-stream", headers=kept)


def _kept(content: bytes) -> str:
    digest = hashlib.sha256(content).hexdigest()[:32]
    _held[digest] = content
    _held.move_to_end(digest)
    while len(_held) > 1 and sum(map(len, _held.values())) > _MOST_BYTES:
        _held.popitem(last=False)
    return digest
