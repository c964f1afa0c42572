"""Templates as files: everything on the drawing as JSON, in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.body.side import Side
from fitkit.drawing.drawing import Drawing, Fill, Hole, Layer, Stroke, TextAnchor, Words
from fitkit.findings import Finding
from fitkit.holding.fixing import Fixing
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_json, reading_result
from fitkit.job.settings import file_stem
from fitkit.template.template import Template

__all__ = ["read_template", "read_templates", "template_file", "template_stem"]

_FORMAT = 1


def template_stem(template: Template) -> str:
    """Return a template's name in file names: ``03-shoulder-cap-left``."""
    return f"{template.number:02d}-{file_stem(template.title)}"


def template_file(template: Template) -> bytes:
    """Return a template as JSON; :func:`read_template` gives the same to the last bit."""
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "number": template.number,
        "name": template.name,
        "side": template.side.value,
        "revision": template.revision,
        "fastened": list(template.fastened),
        "fastened_by": [
            [what, fixing.rivet, fixing.metal, list(fixing.meets)]
            for what, fixing in template.fastened_by
        ],
        "material": template.material,
        "thickness_mm": template.thickness_mm,
        "stretch_range": list(template.stretch_range),
        "outline_mm": template.outline_mm.tolist(),
        "findings": [finding.as_dict() for finding in template.findings],
        "drawing": _drawing(template.drawing),
    }
    return json_bytes(values)


def read_template(folder: Path, name: str) -> Template:
    """Return the template in a file of the folder.

    Raises
    ------
    JobError
        When the file is missing or damaged.
    """
    values = read_result_json(folder, name, _FORMAT)
    with reading_result(folder, name):
        smallest, largest = values["stretch_range"]
        return Template(
            number=int(values["number"]),
            name=values["name"],
            side=Side(values["side"]),
            drawing=_read_drawing(values["drawing"]),
            outline_mm=np.array(values["outline_mm"]),
            material=values["material"],
            thickness_mm=float(values["thickness_mm"]),
            stretch_range=(float(smallest), float(largest)),
            findings=tuple(Finding.from_dict(row) for row in values["findings"]),
            revision=values.get("revision", ""),
            fastened=tuple(values.get("fastened", ())),
            fastened_by=tuple(
                (what, _read_fixing(*row)) for what, *row in values.get("fastened_by", ())
            ),
        )


def read_templates(folder: Path) -> tuple[Template, ...]:
    """Return every template in the folder, by number."""
    names = sorted(path.name for path in folder.glob("[0-9]*.json"))
    templates = [read_template(folder, name) for name in names]
    return tuple(sorted(templates, key=lambda template: template.number))


def _read_fixing(rivet: str, metal: str = "", meets: Sequence[str] = ()) -> Fixing:
    return Fixing(rivet, metal, tuple(meets))


def _drawing(drawing: Drawing) -> dict[str, Any]:
    return {
        "name": drawing.name,
        "strokes": [
            {"points_mm": x.points_mm.tolist(), "layer": x.layer.value, "closed": x.closed}
            for x in drawing.strokes
        ],
        "fills": [
            {"points_mm": x.points_mm.tolist(), "layer": x.layer.value} for x in drawing.fills
        ],
        "holes": [
            {
                "centre_mm": x.centre_mm.tolist(),
                "diameter_mm": x.diameter_mm,
                "layer": x.layer.value,
            }
            for x in drawing.holes
        ],
        "words": [
            {
                "text": x.text,
                "at_mm": x.at_mm.tolist(),
                "height_mm": x.height_mm,
                "angle_rad": x.angle_rad,
                "anchor": x.anchor.value,
                "layer": x.layer.value,
            }
            for x in drawing.words
        ],
    }


def _read_drawing(values: dict[str, Any]) -> Drawing:
    return Drawing(
        name=values["name"],
        strokes=tuple(
            Stroke(np.array(x["points_mm"]), Layer(x["layer"]), bool(x["closed"]))
            for x in values["strokes"]
        ),
        fills=tuple(Fill(np.array(x["points_mm"]), Layer(x["layer"])) for x in values["fills"]),
        holes=tuple(
            Hole(np.array(x["centre_mm"]), float(x["diameter_mm"]), Layer(x["layer"]))
            for x in values["holes"]
        ),
        words=tuple(
            Words(
                x["text"],
                np.array(x["at_mm"]),
                float(x["height_mm"]),
                float(x["angle_rad"]),
                TextAnchor(x["anchor"]),
                Layer(x["layer"]),
            )
            for x in values["words"]
        ),
    )
