"""Quick steps in the place of the real ones."""

from __future__ import annotations

import sys

import pytest

from tests.workflow.quick_steps import CALLS, quick_modules


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Put the quick steps in place; the names of those that ran are collected."""
    for name, module in quick_modules().items():
        monkeypatch.setitem(sys.modules, name, module)
    CALLS.clear()
    return CALLS
