"""Addresses of what the steps made: pictures to look at, files to take away.

An address names a step and one of the names in the record of its result; anything else is not
there. No part of an address becomes part of a path.
"""

from __future__ import annotations

from urllib.parse import quote

from fastapi import FastAPI, HTTPException
from fastapi.responses import FileResponse

from fitkit.errors import FitkitError
from fitkit.job.steps import STEPS
from fitkit.room.session import RoomSession
from fitkit.workflow.made_files import made_files

__all__ = ["add_made_routes", "made_address"]

_KINDS = {
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".html": "text/html; charset=utf-8",
    ".pdf": "application/pdf",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
    ".dxf": "image/vnd.dxf",
}
_SHOWN = {".png", ".html", ".pdf"}
# What came out of a job is looked at as a picture, never run.
_STILL = "default-src 'none'; img-src 'self' data:; style-src 'unsafe-inline'; sandbox"
_YEAR = "private, max-age=31536000, immutable"


def made_address(session: RoomSession, step: str, name: str, *, save: bool = False) -> str | None:
    """Return the address of a file of a step's result; None when there is none of that name."""
    made = session.made(step).get(name)
    if made is None:
        return None
    return f"/made/{step}/{quote(name)}?is={made.version}{'&save=1' if save else ''}"


def add_made_routes(app: FastAPI, session: RoomSession) -> None:
    """Add the addresses to the server."""
    names = {step.name for step in STEPS}

    @app.get("/made/{step}/{name}")
    def made(step: str, name: str, save: bool = False) -> FileResponse:
        try:
            file = made_files(session.job(), step).get(name) if step in names else None
        except FitkitError as error:
            raise HTTPException(404, error.cause) from error
        if file is None:
            raise HTTPException(404, "The job has no such file.")
        ending = file.path.suffix.lower()
        headers = {"cache-control": _YEAR}
        if ending != ".pdf":
            # Browsers show PDF in a viewer of their own that the policy would break.
            headers["content-security-policy"] = _STILL
        saved = save or ending not in _SHOWN
        return FileResponse(
            file.path,
            media_type=_KINDS.get(ending, "application/octet-stream"),
            filename=file.path.name,
            headers=headers,
            content_disposition_type="attachment" if saved else "inline",
        )
