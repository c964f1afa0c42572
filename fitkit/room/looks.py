"""How the room looks: quiet, legible in a bright workshop, with targets for a gloved hand."""

from __future__ import annotations

from pathlib import Path

__all__ = ["FAVICON", "KEPT_FOCUS", "STYLE"]

STYLE = Path(__file__).with_name("looks.css")
"""The room's style sheet."""

KEPT_FOCUS = Path(__file__).with_name("kept_focus.js")
"""Script that keeps the keyboard's place on a page."""

FAVICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" '
    'rx="7" fill="#0b5563"/><path d="M5 20c5-9 17-9 22 0" fill="none" stroke="#fff" '
    'stroke-width="3"/><path d="M9 17v5m7-8v5m7-2v5" stroke="#fff" stroke-width="2"/></svg>'
)
"""A tape over a shoulder."""
