"""Meshes reach the browser whole, by what they hold and in no other way."""

from __future__ import annotations

import asyncio

import httpx
import numpy as np
import pytest
from fastapi import FastAPI

from fitkit.geometry.mesh import TriangleMesh
from fitkit.room import viewer_geometry
from fitkit.room.viewer_geometry import add_geometry_routes, colours_address, mesh_address
from tests.truth.solids import sphere


def got(address: str) -> httpx.Response:
    async def asked() -> httpx.Response:
        app = FastAPI()
        add_geometry_routes(app)
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url="http://room") as client:
            return await client.get(address)

    return asyncio.run(asked())


def test_a_mesh_arrives_as_it_is() -> None:
    mesh = sphere(100.0, 20.0)
    answer = got(mesh_address(mesh))
    assert answer.status_code == 200
    vertices, faces = np.frombuffer(answer.content, "<u4", 2)
    assert (vertices, faces) == (len(mesh.vertices), len(mesh.faces))
    at = 8 + 12 * int(vertices)
    read = np.frombuffer(answer.content[8:at], "<f4").reshape(-1, 3)
    np.testing.assert_allclose(read, mesh.vertices, atol=1e-4)
    np.testing.assert_array_equal(
        np.frombuffer(answer.content[at:], "<u4").reshape(-1, 3), mesh.faces
    )


def test_the_same_content_has_the_same_address() -> None:
    mesh = sphere(100.0, 30.0)
    again = TriangleMesh(mesh.vertices, mesh.faces)
    assert mesh_address(mesh) == mesh_address(again)
    assert mesh_address(mesh) != mesh_address(mesh.with_vertices(mesh.vertices + 1.0))
    red = np.tile(np.array([255, 0, 0], dtype=np.uint8), (len(mesh.vertices), 1))
    assert colours_address(red) == colours_address(red.copy()) != mesh_address(mesh)


@pytest.mark.parametrize("asked", ["0" * 32, "..%2f..%2fjob.toml", "%2e%2e/job.toml", "a/b"])
def test_nothing_else_can_be_fetched(asked: str) -> None:
    assert got(f"/geometry/{asked}").status_code == 404


def test_what_was_not_asked_for_longest_goes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(viewer_geometry, "_MOST_BYTES", 700)
    first, second, third = (np.full((100, 3), n, dtype=np.uint8) for n in range(3))
    one, two = colours_address(first), colours_address(second)
    colours_address(first)
    three = colours_address(third)
    found = [got(address).status_code for address in (one, two, three)]
    assert found == [200, 404, 200]
    mesh = sphere(100.0, 60.0)
    address = mesh_address(mesh)
    colours_address(first)
    colours_address(second)
    colours_address(third)
    assert mesh_address(mesh) == address  # dropped and held again
    assert got(address).status_code == 200
