"""The fitting room: a page on this machine where a maker does the job by eye and hand.

In comes a job folder and what the maker points at, types and drops; out go calls to ``workflow``
and pictures of what came back. The room computes nothing of its own, keeps nothing that is not in
the job, and talks to nobody but the browser in front of it.
"""

from __future__ import annotations

__all__: list[str] = []
