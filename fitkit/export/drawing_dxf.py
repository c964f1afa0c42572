"""A drawing as DXF in millimetres, sorted into the few layers that a cutter is set by."""

from __future__ import annotations

import importlib
import io
import math
import threading
from typing import Any

from fitkit.drawing.arc_runs import arc_runs
from fitkit.drawing.drawing import Drawing, Fill, Hole, Layer, Stroke, TextAnchor, Words
from fitkit.drawing.line_style import LINE_STYLES
from fitkit.drawing.part_content import extent_mm

__all__ = ["DXF_LAYERS", "dxf_of_drawing"]

DXF_LAYERS = {
    Layer.CUT: "CUT",
    Layer.DRILL: "DRILL",
    Layer.MARK: "MARK",
    Layer.EDGE: "MARK",
    Layer.GRAIN: "MARK",
    Layer.BEND: "BEND",
    Layer.ART: "ART",
    Layer.UNDERLAY: "UNDERLAY",
    Layer.WORDS: "WORDS",
    Layer.PAPER: "PAPER",
    Layer.SOLID: "SOLID",
}
"""The DXF layer of each layer of a drawing; what is drawn with another pen than its layer's says so
itself."""

# Polylines become arcs that lie no further from them than this.
_WITHIN_MM = 0.02

# Group code 70 of $INSUNITS: 4 is millimetres; 1 of $MEASUREMENT is metric (DXF reference).
_MILLIMETRES = 4
_METRIC = 1
# ezdxf stamps date and random ids unless this process-wide switch is on.
_fixed_stamps = threading.Lock()


def dxf_of_drawing(drawing: Drawing) -> bytes:
    """Return the drawing as a DXF file (release R2010, model space, 1 unit = 1 mm).

    Strokes become LWPOLYLINE of lines and arcs within 0.02 mm, holes CIRCLE with a POINT at the
    centre, words TEXT with the height of a capital letter, solid areas HATCH. The same drawing
    gives the same bytes.
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
            low, high = extent_mm(drawing).tolist()
            space.reset_extents((*low, 0.0), (*high, 0.0))
            # ezdxf takes a lowest corner of nothing but zeros for none.
            document.header["$EXTMIN"], document.header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
            for item in drawing.strokes:
                runs = arc_runs(item.points_mm, closed=item.closed, within_mm=_WITHIN_MM)
                space.add_lwpolyline(
                    [(x, y, b) for (x, y), b in zip(runs.points_mm, runs.bulge, strict=True)],
                    format="xyb",
                    close=item.closed,
                    dxfattribs=_pen(item.layer),
                )
            for fill in drawing.fills:
                hatch = space.add_hatch(dxfattribs=_pen(fill.layer))
                hatch.paths.add_polyline_path(fill.points_mm.tolist(), is_closed=True)
            for hole in drawing.holes:
                attributes = _pen(hole.layer)
                centre = tuple(hole.centre_mm.tolist())
                space.add_circle(centre, hole.diameter_mm / 2.0, dxfattribs=attributes)
                space.add_point(centre, dxfattribs=attributes)
            for words in drawing.words:
                text = space.add_text(
                    words.text,
                    height=words.height_mm,
                    rotation=math.degrees(words.angle_rad),
                    dxfattribs={**_pen(words.layer), "style": "words"},
                )
                text.set_placement(tuple(words.at_mm.tolist()), align=alignments[words.anchor])
            # ezdxf adds these from a set, in an order that differs from one run to the next.
            for kind in sorted(document.entitydb.dxf_types_in_use()):
                document.classes.add_class(kind)
            stream = io.StringIO(newline="")
            document.write(stream)
        finally:
            ezdxf.options.write_fixed_meta_data_for_testing = before
    return stream.getvalue().encode("utf-8")


def _pen(layer: Layer) -> dict[str, Any]:
    """Return an entity's layer and what it has in another way than that layer."""
    attributes: dict[str, Any] = {"layer": DXF_LAYERS[layer]}
    if layer is not _leading(DXF_LAYERS[layer]):
        attributes |= {"linetype": _line_type(layer), **_width_and_colour(layer)}
    return attributes


def _leading(name: str) -> Layer:
    """Return the layer whose pen a DXF layer has: the first that goes there."""
    return next(layer for layer, own in DXF_LAYERS.items() if own == name)


def _line_type(layer: Layer) -> str:
    return f"fitkit-{layer.value}" if LINE_STYLES[layer].dash_mm else "CONTINUOUS"


def _width_and_colour(layer: Layer) -> dict[str, Any]:
    from ezdxf.colors import rgb2int

    style = LINE_STYLES[layer]
    red, green, blue = (round(255 * part) for part in style.rgb)
    values: dict[str, Any] = {"lineweight": round(100 * style.width_mm)}
    if red or green or blue:
        return {**values, "true_color": rgb2int((red, green, blue))}
    # colour 7 is black on white and white on black, whichever the reader shows
    return {**values, "color": 7}


def _add_layers(document: Any, drawing: Drawing) -> None:
    """Add the layers in use and the dashes of what is drawn."""
    items: tuple[Stroke | Fill | Hole | Words, ...] = (
        *drawing.strokes,
        *drawing.fills,
        *drawing.holes,
        *drawing.words,
    )
    used = {item.layer for item in items}
    leading = {_leading(DXF_LAYERS[layer]) for layer in used}
    for layer in Layer:
        if layer in used | leading and LINE_STYLES[layer].dash_mm:
            # DXF patterns: total length, then marks positive and gaps negative
            dashes = LINE_STYLES[layer].dash_mm
            pattern = [d if i % 2 == 0 else -d for i, d in enumerate(dashes)]
            document.linetypes.add(_line_type(layer), [sum(dashes), *pattern])
        if layer in leading:
            made = document.layers.add(DXF_LAYERS[layer], linetype=_line_type(layer))
            made.update_dxf_attribs(_width_and_colour(layer))
