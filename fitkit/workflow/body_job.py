"""A mesh from elsewhere, or the tape list alone, into a job, and the body of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.workflow.body_step import body
from fitkit.workflow.found_body import mesh_of_file
from fitkit.workflow.step_report import Progress, StepReport, part_of

if TYPE_CHECKING:
    from fitkit.body.body_part import BodyPart
    from fitkit.body.mesh_unit import MeshUnit
    from fitkit.body.survey import SurveyGroup

__all__ = ["body_job", "readings_of_file"]

_OF_MESH = ("from_mesh", "mesh_unit", "up", "front", "stand")
_OF_TAPE = ("from_tape", "tape_part")


def body_job(
    folder: Path | str,
    mesh_file: Path | str | None = None,
    *,
    unit: MeshUnit | None = None,
    up: str | None = None,
    front: str | None = None,
    from_tape: SurveyGroup | None = None,
    part: BodyPart | None = None,
    progress: Progress | None = None,
) -> tuple[StepReport, ...]:
    """Make the body of a mesh, which is copied, of the tape list, or of what the job has.

    Where that fails the job is left as it was.

    Parameters
    ----------
    folder
        The job folder.
    mesh_file
        PLY, OBJ, STL, OFF or glTF; only read. None makes the body of what the job has.
    unit
        What one number of the file is; not needed where the file or its size tells.
    up, front
        Axis of the file that points up and to the wearer's front; z and -y when not given
        (with y up, z). Up may be ``"find"``.
    from_tape, part
        Build a stand-in from the tape list alone, with this survey group's sizes for what
        the list leaves out, and keep this part of it.

    Raises
    ------
    InputError
        When the unit is not plain, or the mesh cannot be made into a body.
    """
    from fitkit.errors import InputError
    from fitkit.job.job_folder import held_job, open_job
    from fitkit.job.made_from import FileDigests
    from fitkit.job.mesh_copy import kept_if_it_works
    from fitkit.job.settings_edits import with_setting, without_setting

    if all(told is None for told in (mesh_file, unit, up, front, from_tape, part)):
        from fitkit.workflow.make_job import make_job

        return make_job(folder, until="body", progress=progress)
    open_job(folder)  # refused before the mesh is read
    values: dict[str, Any] = {}
    mesh: tuple[str, bytes] | None = None
    if mesh_file is not None:
        from fitkit.geometry.mesh_files import mesh_file_bytes

        source = Path(mesh_file).expanduser()
        # Asked before anything is written: which unit, and whether it can be read at all.
        mesh_of_file(source, unit)
        mesh = (source.name, mesh_file_bytes(source))
        values["from_mesh"] = source.name
        up = up or "z"
    values |= {"mesh_unit": unit, "up": up, "front": front}
    values |= {"from_tape": from_tape, "tape_part": part}
    with held_job(folder, "body") as job:
        if part is not None and from_tape is None and job.settings.body.from_tape is None:
            raise InputError(
                f"A {part} is asked for, but not whose sizes shall fill what the tape list leaves "
                "out.",
                "Give --from-tape men or --from-tape women with it.",
            )
        text = job.text
        # What the body came from before, and how that was read, is said no more.
        gone: tuple[str, ...] = _OF_MESH if from_tape is not None else ()
        if mesh_file is not None:
            gone = (*_OF_MESH, *_OF_TAPE)
        for key in gone:
            if values.get(key) is None:
                text = without_setting(text, "body", key)
        for key, value in values.items():
            if value is not None:
                text = with_setting(text, "body", key, value)
        changed = job.with_text(text)
        digests = FileDigests(job.folder)
        with kept_if_it_works(job, changed, mesh):
            # Opened again: what is on disk now is what the step goes by.
            return (body(open_job(folder), digests=digests, progress=part_of(progress, 0, 1)),)


def readings_of_file(mesh_file: Path | str) -> str:
    """Return how the numbers of a mesh file may be read, likeliest first; empty where it is plain.

    Raises
    ------
    InputError
        When the file holds no mesh.
    """
    from fitkit.body.mesh_unit import unit_readings
    from fitkit.geometry.mesh_files import METRIC_SUFFIXES, read_mesh

    path = Path(mesh_file).expanduser()
    return "" if path.suffix.lower() in METRIC_SUFFIXES else unit_readings(read_mesh(path))
