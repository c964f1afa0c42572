"""Laying all tape lines of a design, those that lean on others after them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from fitkit.errors import DesignError
from fitkit.geometry.topology import border_vertices
from fitkit.patch.design import MirroredLine, TapeLineDesign, lines_needed
from fitkit.patch.form import Form
from fitkit.patch.mirrored_line import mirrored_line
from fitkit.patch.tape_line import TapeLine, lay_tape_line

__all__ = ["lay_tape_lines", "lay_what_can_be", "lines_below", "unchanged_lines", "unmirrored"]


def lay_tape_lines(
    form: Form,
    designs: Sequence[TapeLineDesign],
    *,
    kept: Mapping[str, TapeLine] | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[TapeLine, ...]:
    """Return all lines of a design on a form, in the order of the designs.

    Parameters
    ----------
    kept
        Lines by name that are laid on this very form already and did not change, nor any that
        they lean on; they are taken as they are.
    progress
        Called with the fraction done and what is being done.

    Raises
    ------
    DesignError
        When a line cannot be laid, leans on one that is not there, or on itself.
    """
    laid, faults = lay_what_can_be(form, designs, kept=kept, progress=progress)
    for fault in faults.values():
        raise fault
    return laid


def lay_what_can_be(
    form: Form,
    designs: Sequence[TapeLineDesign],
    *,
    kept: Mapping[str, TapeLine] | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[tuple[TapeLine, ...], dict[str, DesignError]]:
    """Return the lines that can be laid, in the order of the designs, and by name why others not.

    Parameters as for :func:`lay_tape_lines`.

    Raises
    ------
    DesignError
        When a line leans on one that is not there, or on itself.
    """
    by_name = _named(designs)
    laid: dict[str, TapeLine] = dict(kept or {})
    faults: dict[str, DesignError] = {}
    rim = border_vertices(form.mesh) if len(laid) < len(by_name) else None
    wanted = _in_order(by_name)
    for index, design in enumerate(wanted):
        if design.name in laid:
            continue
        if progress is not None:
            progress(index / len(wanted), f"laying the line '{design.name}'")
        try:
            under = [name for name in _needed(design, by_name) if name in faults]
            if under:
                raise DesignError(
                    f"The line '{design.name}' leans on the line '{under[0]}', which cannot be "
                    "laid.",
                    f"Put the line '{under[0]}' right first.",
                )
            laid[design.name] = lay_tape_line(form, unmirrored(design, by_name), laid, rim=rim)
        except DesignError as error:
            faults[design.name] = error
    if progress is not None:
        progress(1.0, "lines laid")
    return tuple(laid[design.name] for design in designs if design.name in laid), faults


def lines_below(name: str, designs: Sequence[TapeLineDesign]) -> tuple[TapeLineDesign, ...]:
    """Return the designs that a line is made from: those it leans on, theirs, and its own last."""
    by_name = _named(designs)
    found: dict[str, TapeLineDesign] = {}

    def visit(name: str) -> None:
        for needed in _needed(by_name[name], by_name):
            visit(needed)
        found[name] = by_name[name]

    _in_order(by_name)  # refuses rings
    visit(name)
    return tuple(found.values())


def unchanged_lines(
    before: Sequence[TapeLineDesign],
    laid: Sequence[TapeLine],
    designs: Sequence[TapeLineDesign],
) -> dict[str, TapeLine]:
    """Return those lines laid before that new designs ask for unchanged, to be kept.

    Neither the line nor any that it leans on may differ.

    Parameters
    ----------
    before, laid
        The designs from before and, in the same order, what they came to.
    """
    return {
        design.name: line
        for design, line in zip(before, laid, strict=True)
        if design in designs
        and lines_below(design.name, before) == lines_below(design.name, designs)
    }


def unmirrored(design: TapeLineDesign, lines: Mapping[str, TapeLineDesign]) -> TapeLineDesign:
    """Return a mirrored line as the line that it comes to; any other as it is."""
    if not isinstance(design, MirroredLine):
        return design
    of = unmirrored(lines[design.of], lines)
    return replace(mirrored_line(of, lines), name=design.name)


def _named(designs: Sequence[TapeLineDesign]) -> dict[str, TapeLineDesign]:
    by_name: dict[str, TapeLineDesign] = {}
    for design in designs:
        if design.name in by_name:
            raise DesignError(
                f"Two tape lines are called '{design.name}'.", "Give each line a name of its own."
            )
        by_name[design.name] = design
    return by_name


def _needed(design: TapeLineDesign, by_name: Mapping[str, TapeLineDesign]) -> tuple[str, ...]:
    """Lines to be laid before one, those that a mirrored line comes to lean on among them."""
    needed = _known(design, by_name)
    if isinstance(design, MirroredLine):
        needed += _known(unmirrored(design, by_name), by_name)
    return tuple(dict.fromkeys(needed))


def _known(design: TapeLineDesign, by_name: Mapping[str, TapeLineDesign]) -> tuple[str, ...]:
    needed = lines_needed(design)
    for name in needed:
        if name not in by_name:
            raise DesignError(
                f"The line '{design.name}' leans on the line '{name}', which is not drawn.",
                f"Draw the line '{name}', or use one of: {', '.join(by_name)}.",
            )
    return needed


def _in_order(by_name: Mapping[str, TapeLineDesign]) -> list[TapeLineDesign]:
    """Sort lines so that each comes after those it leans on."""
    order: dict[str, TapeLineDesign] = {}

    def visit(name: str, above: tuple[str, ...]) -> None:
        if name in order:
            return
        if name in above:
            ring = " -> ".join(f"'{other}'" for other in (*above[above.index(name) :], name))
            raise DesignError(
                f"The lines {ring} lean on each other in a ring.",
                "Draw one of them by places on the body.",
            )
        design = by_name[name]
        for needed in _known(design, by_name):
            visit(needed, (*above, name))
        for needed in _needed(design, by_name):
            visit(needed, (*above, name))
        order[name] = design

    for name in by_name:
        visit(name, ())
    return list(order.values())
