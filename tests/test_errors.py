"""Every error tells the maker what is wrong and what to do next."""

from __future__ import annotations

import pytest

from fitkit import errors

FAMILY = [
    member
    for name in errors.__all__
    if isinstance(member := getattr(errors, name), type) and issubclass(member, Exception)
]


@pytest.mark.parametrize("kind", FAMILY, ids=lambda k: k.__name__)
def test_every_error_is_of_the_family_and_holds_cause_and_remedy(kind: type) -> None:
    error = kind("Photo 7 is too dark.", "Take it again with more light.")
    assert isinstance(error, errors.FitkitError)
    assert (error.cause, error.remedy) == ("Photo 7 is too dark.", "Take it again with more light.")
    assert str(error) == "Photo 7 is too dark. Take it again with more light."


@pytest.mark.parametrize(
    ("kind", "builtin"),
    [
        (errors.InputError, ValueError),
        (errors.ShapeError, ValueError),
        (errors.PhotoError, ValueError),
        (errors.MeshError, ValueError),
        (errors.DesignError, ValueError),
        (errors.JobError, ValueError),
        (errors.FileError, OSError),
        (errors.MissingLibraryError, ImportError),
    ],
)
def test_errors_are_also_what_python_calls_them(kind: type, builtin: type) -> None:
    assert issubclass(kind, builtin)


@pytest.mark.parametrize(
    ("message", "package"),
    [
        ("libGL.so.1: cannot open shared object file: No such file or directory", "libgl1"),
        ("libusb-1.0.so.0: cannot open shared object file: No such file", "libusb-1.0-0"),
        ("libEGL.so.1: cannot open shared object file", "libegl1"),
        ("libgthread-2.0.so.0: cannot open shared object file", "libglib2.0-0"),
    ],
)
def test_a_missing_system_library_names_its_debian_package(message: str, package: str) -> None:
    """Package names as Debian 12 ships these libraries (checked with dpkg -S)."""
    explained = errors.explain_import_failure(ImportError(message))
    assert explained is not None
    assert message.split(":")[0] in explained.cause
    assert explained.remedy.endswith(f"apt-get install {package}")


def test_a_missing_python_package_is_named() -> None:
    explained = errors.explain_import_failure(
        ModuleNotFoundError("No module named 'igl'", name="igl")
    )
    assert explained is not None
    assert "'igl'" in explained.cause


def test_an_import_failure_of_another_kind_is_left_alone() -> None:
    assert errors.explain_import_failure(ImportError("cannot import name 'x' from 'y'")) is None
