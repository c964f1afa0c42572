"""Imports go leftwards along the maker's line and down to the ground floor, never back."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import fitkit

PACKAGE = Path(fitkit.__file__).parent

# Each room may import those before it, and itself.
ORDER = [
    "errors",
    "findings",
    "units",
    "spreadsheet",
    "geometry",
    "materials",
    "drawing",
    "capture",
    "body",
    "patch",
    "flatten",
    "holding",
    "template",
    "motion",
    "trace",
    "sheets",
    "shop",
    "export",
    "job",
    "workflow",
    "room",
    "cli",
]


def room_of(path: Path) -> str:
    relative = path.relative_to(PACKAGE)
    return relative.parts[0] if len(relative.parts) > 1 else relative.stem


def imported_rooms(source: str) -> set[str]:
    rooms: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide the room"
            names = [node.module or ""]
            if node.module == "fitkit":
                names = [f"fitkit.{alias.name}" for alias in node.names]
        else:
            continue
        rooms |= {name.split(".")[1] for name in names if name.startswith("fitkit.")}
    return rooms - {"__version__"}


def backward_imports(room: str, source: str) -> set[str]:
    return imported_rooms(source) - set(ORDER[: ORDER.index(room) + 1])


MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p != PACKAGE / "__init__.py")


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_module_imports_leftwards_only(path: Path) -> None:
    room = room_of(path)
    assert room in ORDER, f"{room} is not a room of the design"
    assert backward_imports(room, path.read_text(encoding="utf-8")) == set()


def test_a_backward_import_is_seen() -> None:
    assert backward_imports("body", "from fitkit.patch.patch import Patch") == {"patch"}
    assert backward_imports("geometry", "import fitkit.capture.scan") == {"capture"}
    assert backward_imports("room", "from fitkit import cli") == {"cli"}
    assert backward_imports("patch", "from fitkit.body.body import Body") == set()


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_are_touched_in_four_places_only(path: Path) -> None:
    """Only job/, export/, geometry/mesh_files and capture/photo open files (design, section 2).

    Tables that come with the package are read where they are meant: in materials/ and by
    body/survey.
    """
    relative = path.relative_to(PACKAGE).as_posix()
    if relative.startswith(("job/", "export/", "cli/", "materials/")) or relative in {
        "body/survey.py",  # its own packaged table
        "geometry/mesh_files.py",
        "capture/photo.py",
    }:
        return
    calls = {
        node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
    }
    touching = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "imread", "imwrite"}
    assert calls & touching == set()
