"""A mesh file that has arrived: what kind it is by its content, and where it waits to be taken.

It waits in ``.fitkit/waiting`` under a name of the job's own until the maker has said how it is to
be read, or leaves it.
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from fitkit.errors import MeshError
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import METRIC_SUFFIXES, mesh_from_gltf, read_mesh
from fitkit.job.arriving_file import ArrivingFile
from fitkit.job.plain_json import json_bytes
from fitkit.job.whole_writes import write_whole

__all__ = ["ArrivingMesh", "WaitingMesh", "drop_waiting", "keep_waiting", "read_waiting"]

_FOLDER = Path(".fitkit") / "waiting"
_STEM = "body-mesh"
_TOLD = f"{_STEM}.json"
_HEAD_BYTES = 1 << 16


class ArrivingMesh(ArrivingFile):
    """A mesh file that is being received."""

    def whole(self) -> tuple[str, TriangleMesh]:
        """Return the name ending for what has arrived, once all of it has, and the mesh in it.

        Raises
        ------
        MeshError
            When it is no kind of mesh file that can be read, or names other files.
        FileError
            When the disk does not take it.
        """
        self.flush()
        suffix = _mesh_suffix(self.path)
        if suffix in METRIC_SUFFIXES:
            # Every buffer must be in the file itself: what it names beside itself is not read.
            return suffix, mesh_from_gltf(self.path.read_bytes())
        named = self.path.with_suffix(suffix)
        self.path.replace(named)
        try:
            return suffix, read_mesh(named)
        except MeshError as error:
            raise MeshError(error.cause.removeprefix(f"{named.name}: "), error.remedy) from error
        finally:
            named.replace(self.path)


@dataclass(frozen=True, slots=True)
class WaitingMesh:
    """A mesh file that waits.

    Attributes
    ----------
    name
        Of the file: the job's own.
    longest
        Its longest side in its own numbers; in millimetres where ``metric``.
    triangles
        How many.
    metric
        Whether the kind of file fixes its unit and its way up.
    """

    name: str
    longest: float
    triangles: int
    metric: bool

    def path(self, job_folder: Path) -> Path:
        """Return where it lies."""
        return job_folder / _FOLDER / self.name


def keep_waiting(
    job_folder: Path, arrived: Path, suffix: str, *, longest: float, triangles: int, metric: bool
) -> WaitingMesh:
    """Let a mesh that has arrived whole wait, in the place of one that waited before."""
    drop_waiting(job_folder)
    folder = job_folder / _FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    waiting = WaitingMesh(f"{_STEM}{suffix}", longest, triangles, metric)
    arrived.replace(folder / waiting.name)
    write_whole(folder / _TOLD, json_bytes(asdict(waiting)))
    return waiting


def read_waiting(job_folder: Path) -> WaitingMesh | None:
    """Return the mesh that waits, None where none does."""
    try:
        told = json.loads((job_folder / _FOLDER / _TOLD).read_text(encoding="utf-8"))
        waiting = WaitingMesh(**told)
    except (OSError, ValueError, TypeError):
        return None
    return waiting if waiting.path(job_folder).is_file() else None


def drop_waiting(job_folder: Path) -> None:
    """Take away what waits."""
    folder = job_folder / _FOLDER
    if not folder.is_dir():
        return
    for path in folder.iterdir():
        if path.name.startswith(f"{_STEM}."):
            path.unlink(missing_ok=True)
    with contextlib.suppress(OSError):
        folder.rmdir()


def _mesh_suffix(path: Path) -> str:
    """Return the ending for a mesh file by its content."""
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    start = head.lstrip()
    if head[:4] == b"glTF":
        return ".glb"
    if head[:3] == b"ply":
        return ".ply"
    if start[:3].upper() == b"OFF" or start[:4].upper() == b"COFF":
        return ".off"
    if len(head) >= 84 and size == 84 + 50 * int.from_bytes(head[80:84], "little"):
        return ".stl"
    if start[:5].lower() == b"solid":
        return ".stl"
    if start[:1] == b"{" and b'"asset"' in head:
        return ".gltf"
    words = [line.split() for line in head.splitlines()]
    if any(row[:1] == [b"v"] and len(row) >= 4 for row in words):
        return ".obj"
    raise MeshError("This is no mesh file that can be read.", "Give PLY, OBJ, STL, OFF or GLB.")
