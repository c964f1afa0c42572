"""The printed parts as they are looked at: the part list with the files of each part."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

__all__ = ["SeenPart", "see_pages"]


@dataclass(frozen=True, slots=True)
class SeenPart:
    """One part of the part list.

    Attributes
    ----------
    number, name, side
        As on its template; the side is empty where there is but one.
    sheet
        What it is cut from.
    width_mm, height_mm, mass_g
        Its own.
    files
        Names of its files for the cutter.
    """

    number: int
    name: str
    side: str
    sheet: str
    width_mm: float
    height_mm: float
    mass_g: float
    files: tuple[str, ...]

    @property
    def title(self) -> str:
        """Name with side."""
        return f"{self.name}, {self.side}" if self.side else self.name


def see_pages(folder: Path | str) -> tuple[SeenPart, ...]:
    """Return the parts of the last pages; nothing where none were drawn.

    Raises
    ------
    JobError
        When the folder is not a job, or the part list is damaged.
    """
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.result_reading import read_result_bytes, reading_result
    from fitkit.spreadsheet import read_spreadsheet

    out = open_job(folder).result_folder("pages")
    record = MadeFrom.read(out)
    if record is None:
        return ()
    content = read_result_bytes(out, "parts.csv")
    with reading_result(out, "parts.csv"):
        return tuple(
            SeenPart(
                int(row["number"]),
                row["part"],
                "" if row["side"] == "centre" else row["side"],
                f"{row['material']}, {float(row['thickness_mm']):g} mm",
                float(row["width_mm"]),
                float(row["height_mm"]),
                float(row["mass_g"]),
                tuple(
                    name
                    for name in sorted(record.files)
                    if name.startswith(f"{int(row['number']):02d}-")
                ),
            )
            for row in read_spreadsheet(content)
        )
