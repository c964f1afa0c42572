"""A drawing as DXF in millimetres, one DXF layer for each layer of the drawing."""

from __future__ import annotations

import importlib
import io
import math
import threading
from typing import Any

from fitkit.drawing.drawing import Drawing, Fill, Hole, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.line_style import LINE_STYLES

__all__ = ["dxf_of_drawing"]

# Group code 70 of $INSUNITS: 4 is millimetres; 1 of $MEASUREMENT is metric (DXF reference).
_MILLIMETRES = 4
_METRIC = 1
# ezdxf stamps date and random ids unless this process-wide switch is on.
_fixed_stamps = threading.Lock()


def dxf_of_drawing(drawing: Drawing) -> bytes:
    """Return the drawing as a DXF file (release R2010, model space, 1 unit = 1 mm).

    Strokes become LWPOLYLINE, holes CIRCLE with a POINT at the centre, words TEXT with the
    height of a capital letter, solid areas HATCH. Layers carry the drawing's layer names. The
    same drawing gives the same bytes.
    """
    from ezdxf.enums import TextEntityAlignment

    alignments = {
        TextAnchor.LEFT: TextEntityAlignment.LEFT,
        TextAnchor.CENTRE: TextEntityAlignment.CENTER,
        TextAnchor.RIGHT: TextEntityAlignment.RIGHT,
    }
    # ezdxf fills its top level at run time, which a type checker cannot follow
    ezdxf: Any = importlib.import_module("ezdxf")
    with _fixed_stamps:
        before = ezdxf.options.write_fixed_meta_data_for_testing
        ezdxf.options.write_fixed_meta_data_for_testing = True
        try:
            document = ezdxf.new("R2010")
            document.header["$INSUNITS"] = _MILLIMETRES
            document.header["$MEASUREMENT"] = _METRIC
            document.styles.new("words", dxfattribs={"font": "DejaVuSans.ttf"})
            _add_layers(document, drawing)
            space = document.modelspace()
            for item in drawing.strokes:
                space.add_lwpolyline(
                    item.points_mm.tolist(),
                    close=item.closed,
                    dxfattribs={"layer": item.layer.value},
                )
            for fill in drawing.fills:
                hatch = space.add_hatch(color=256, dxfattribs={"layer": fill.layer.value})
                hatch.paths.add_polyline_path(fill.points_mm.tolist(), is_closed=True)
            for hole in drawing.holes:
                attributes = {"layer": hole.layer.value}
                centre = tuple(hole.centre_mm.tolist())
                space.add_circle(centre, hole.diameter_mm / 2.0, dxfattribs=attributes)
                space.add_point(centre, dxfattribs=attributes)
            for words in drawing.words:
                text = space.add_text(
                    words.text,
                    height=words.height_mm,
                    rotation=math.degrees(words.angle_rad),
                    dxfattribs={"layer": words.layer.value, "style": "words"},
                )
                text.set_placement(tuple(words.at_mm.tolist()), align=alignments[words.anchor])
            stream = io.StringIO(newline="")
            document.write(stream)
        finally:
            ezdxf.options.write_fixed_meta_data_for_testing = before
    return stream.getvalue().encode("utf-8")


def _add_layers(document: Any, drawing: Drawing) -> None:
    """Add the layers in use, with their widths, dashes and colours."""
    from ezdxf.colors import rgb2int

    items: tuple[Stroke | Fill | Hole | Words, ...] = (
        *drawing.strokes,
        *drawing.fills,
        *drawing.holes,
        *drawing.words,
    )
    used = {item.layer for item in items}
    for layer in Layer:
        if layer not in used:
            continue
        style = LINE_STYLES[layer]
        line_type = "CONTINUOUS"
        if style.dash_mm:
            line_type = f"fitkit-{layer.value}"
            # DXF patterns: total length, then marks positive and gaps negative
            pattern = [d if i % 2 == 0 else -d for i, d in enumerate(style.dash_mm)]
            document.linetypes.add(line_type, [sum(style.dash_mm), *pattern])
        made = document.layers.add(
            layer.value, linetype=line_type, lineweight=round(100 * style.width_mm)
        )
        red, green, blue = (round(255 * part) for part in style.rgb)
        if red or green or blue:
            made.dxf.true_color = rgb2int((red, green, blue))
        else:
            # colour 7 is black on white and white on black, whichever the reader shows
            made.dxf.color = 7
