"""The one family of errors a maker can meet.

Every error holds a ``cause`` (what is wrong, with numbers and the photo, line or
patch by name) and a ``remedy`` (what to do next), one sentence each::

    FitkitError
    |- InputError            (ValueError)  a value, photo or mesh given from outside
    |  |- ShapeError                       an array of the wrong shape or range
    |  |- PhotoError                       photos that cannot give a body
    |  `- MeshError                        a surface that cannot be worked on
    |     `- PathError                     a line that cannot be drawn on it, with the place
    |- DesignError           (ValueError)  a line, patch or template that cannot be made as drawn
    |- JobError              (ValueError)  the job folder or its job.toml
    |  `- JobBusyError                     another process works on the job
    |- FileError             (OSError)     a file that cannot be read or written
    `- MissingLibraryError   (ImportError) a library the machine lacks
"""

from __future__ import annotations

import re
from collections.abc import Iterable

__all__ = [
    "DesignError",
    "FileError",
    "FitkitError",
    "InputError",
    "JobBusyError",
    "JobError",
    "MeshError",
    "MissingLibraryError",
    "PathError",
    "PhotoError",
    "ShapeError",
    "explain_import_failure",
]


class FitkitError(Exception):
    """Something the maker can put right.

    Parameters
    ----------
    cause
        What is wrong, with numbers and names.
    remedy
        What the maker can do next.
    """

    def __init__(self, cause: str, remedy: str) -> None:
        super().__init__(cause, remedy)
        self.cause = cause
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.cause} {self.remedy}"


class InputError(FitkitError, ValueError):
    """A value, photo or mesh given from outside is not usable."""


class ShapeError(InputError):
    """An array has the wrong shape, type or range."""


class PhotoError(InputError):
    """The photos cannot give a body."""


class MeshError(InputError):
    """A surface cannot be worked on."""


class PathError(MeshError):
    """A line cannot be drawn on a surface; ``place_mm`` holds x, y, z of where it fails."""

    def __init__(self, cause: str, remedy: str, place_mm: Iterable[float] = ()) -> None:
        super().__init__(cause, remedy)
        self.place_mm = tuple(float(x) for x in place_mm)


class DesignError(FitkitError, ValueError):
    """A tape line, patch or template cannot be made as drawn."""


class JobError(FitkitError, ValueError):
    """The job folder or its job.toml is at fault."""


class JobBusyError(JobError):
    """Another process is working on the same job."""


class FileError(FitkitError, OSError):
    """A file cannot be read or written."""


class MissingLibraryError(FitkitError, ImportError):
    """A library that a step needs is not on this machine."""


# Shared libraries that the wheels of OpenCV and Open3D expect from the system, and
# the Debian/Ubuntu package that brings each.
_DEBIAN_PACKAGE_OF = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libusb-1.0.so.0": "libusb-1.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgomp.so.1": "libgomp1",
    "libX11.so.6": "libx11-6",
    "libXext.so.6": "libxext6",
    "libSM.so.6": "libsm6",
}


def explain_import_failure(error: ImportError | OSError) -> MissingLibraryError | None:
    """Say which package brings what a failed import asked for.

    Returns None where the failure is not about a missing library.
    """
    text = str(error)
    shared = re.search(r"(lib[\w+.-]+\.so(?:\.\d+)*)", text)
    if shared:
        package = _DEBIAN_PACKAGE_OF.get(shared.group(1))
        remedy = (
            f"On Debian or Ubuntu run: sudo apt-get install {package}"
            if package
            else "Install the system package that provides it, then run the command again."
        )
        return MissingLibraryError(
            f"The system library {shared.group(1)} is not on this machine.", remedy
        )
    if isinstance(error, ModuleNotFoundError) and error.name:
        return MissingLibraryError(
            f"The Python package '{error.name}' is not installed.",
            "Install fitkit again with: pip install . (from its folder)",
        )
    return None
