"""The steps of a job, in order: where each keeps its result and what it is made from."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fitkit.job.settings import JobSettings

__all__ = [
    "CORRECTING",
    "CUT_WORDS",
    "HELD_TO",
    "MEASURES_FILES",
    "RESHAPING",
    "STEPS",
    "STRAPS_SHOWN",
    "Step",
    "settings_of_step",
    "step_named",
    "steps_before",
]


@dataclass(frozen=True, slots=True)
class Step:
    """One step.

    Attributes
    ----------
    name
        As the maker is told.
    folder
        Where the result lies in the job folder.
    format
        Raised when a step makes something else of the same inputs, so that old results
        are made again.
    after
        Steps whose results it takes in.
    where_made
        Further steps whose results it takes in where they have been made and still hold.
    on_request
        Whether it is made only when asked for by name.
    beside
        Files that commands put beside the result; they go when it is made again.
    """

    name: str
    folder: str
    format: int
    after: tuple[str, ...] = ()
    where_made: tuple[str, ...] = ()
    on_request: bool = False
    beside: tuple[str, ...] = ()


MEASURES_FILES = ("measures.csv", "measures.json", "tapes.png")
"""What ``fitkit measure`` leaves beside the body."""

STRAPS_SHOWN = "straps.png"
"""What ``fitkit strap show`` leaves beside the patches."""

SHOWN_FILES = ("lines.png", "patches.png")
"""What ``fitkit line show`` and ``fitkit patch show`` leave beside the body."""

STEPS = (
    Step("scan", "scan", 1),
    Step("body", "body", 2, ("scan",), beside=(*MEASURES_FILES, *SHOWN_FILES)),
    Step("patches", "patches", 2, ("body",), beside=(STRAPS_SHOWN,)),
    Step("blanks", "blanks", 3, ("patches",)),
    Step("templates", "templates", 8, ("body", "blanks"), where_made=("motion",)),
    Step("pages", "out", 2, ("templates",)),
    Step("sheets", "sheets", 3, ("templates",)),
    Step("motion", "motion", 4, ("body", "patches"), on_request=True),
    Step(
        "book",
        "book",
        4,
        ("body", "blanks", "templates"),
        where_made=("sheets", "motion"),
        on_request=True,
    ),
)
"""Every step in the order of the work, those made when asked for last."""

CUT_WORDS = ("cuts", "no_cuts", "cut_to_pct", "stop_hole_mm")
"""What a patch's row says on relief cuts; its blank is made from them."""

RESHAPING = ("[wearer.tape]", "[[girth]]")
"""Sections that the body is made from only when it is reshaped to the tape list."""

CORRECTING = "[body.landmarks]"
"""What puts landmarks right by hand, after the body has been found."""

HELD_TO = "[capture] checks of the body"
"""What the finished body is held to, which changes findings and nothing else of it."""


def step_named(name: str) -> Step:
    """Return the step of that name."""
    return next(step for step in STEPS if step.name == name)


def steps_before(name: str) -> frozenset[str]:
    """Return the names of all steps that a step's result rests on."""
    after = step_named(name).after
    return frozenset(after).union(*(steps_before(one) for one in after))


def settings_of_step(step: str, settings: JobSettings) -> Mapping[str, Any]:
    """Return those settings that a step's result depends on, as plain values by section.

    A change of anything else, a note or the paper say, leaves the result fresh.
    """
    match step:
        case "scan":
            captured = settings.capture.model_dump(mode="json")
            return {"[capture]": captured | {"checks": _checks(settings, on_body=False)}}
        case "body":
            told = settings.body.model_dump(mode="json", exclude={"adapt", "landmarks"})
            # An empty row stands for the corrections, so that results without any hold on.
            made: dict[str, Any] = {"[body]": {**told, "landmarks": {}}}
            if corrected := settings.body.model_dump(mode="json")["landmarks"]:
                made[CORRECTING] = corrected
            girths = [girth.model_dump(mode="json") for girth in settings.girth]
            if checks := _checks(settings, on_body=True):
                made[HELD_TO] = [checks, settings.wearer.tape, girths]
            if settings.body.from_tape is not None:
                made["[wearer.tape] for the stand-in"] = settings.wearer.tape
            if not settings.body.adapt:
                return made
            return made | dict(zip(RESHAPING, (settings.wearer.tape, girths), strict=True))
        case "patches":
            drawn = {
                "name",
                "lines",
                "inside",
                "more_inside",
                "radius_mm",
                "side",
                "seam",
                "clearance_mm",
                "thickness_mm",
                "bridge_mm",
                "over",
                "grain",
                "grain_deg",
            }
            # Laps and pairs matter where another patch lies over them.
            under = {name for patch in settings.patch for name in patch.over}
            return {
                "[form]": settings.form.model_dump(mode="json"),
                "[[padding]]": [pad.model_dump(mode="json") for pad in settings.padding],
                "[[patch]] under others": [
                    patch.model_dump(mode="json", include={"name", "pair", "edges"})
                    for patch in settings.patch
                    if patch.name in under
                ],
                "[[line]]": [line.model_dump(mode="json") for line in settings.line],
                "[[patch]]": [
                    patch.model_dump(mode="json", include=drawn) for patch in settings.patch
                ],
            }
        case "blanks":
            stuff = {"name", "material", "thickness_mm", "forming", "ease", "hold", *CUT_WORDS}
            return {
                "[[patch]] material and cuts": [
                    patch.model_dump(mode="json", include=stuff) for patch in settings.patch
                ],
                **_rows(settings, "attachment", but={"screw_metal"}),
            }
        case "templates":
            return {
                "[job]": settings.job.model_dump(mode="json"),
                "[wearer] name": settings.wearer.name,
                "[[patch]]": [patch.model_dump(mode="json") for patch in settings.patch],
                "[[correction]]": [one.model_dump(mode="json") for one in settings.correction],
                **_rows(
                    settings, "artwork", "attachment", "strap", "fastener", but={"screw_metal"}
                ),
                **_metals(settings),
                **_pads(settings),
                **_gussets(settings),
            }
        case "pages":
            return {
                "[job]": settings.job.model_dump(mode="json"),
                "[print]": settings.print.model_dump(mode="json"),
            }
        case "sheets":
            return {
                "[[stock]]": [
                    row.model_dump(mode="json", exclude={"left_by", "left_by_id"})
                    for row in settings.stock
                ],
                "[nest]": settings.nest.model_dump(mode="json", exclude={"seconds"}),
                "[[pinned]]": [row.model_dump(mode="json") for row in settings.pinned],
            }
        case "book":
            return {
                "[job]": settings.job.model_dump(mode="json"),
                "[book]": settings.book.model_dump(mode="json"),
                "[print] paper": settings.print.paper,
                "[wearer]": settings.wearer.model_dump(mode="json"),
                "[[girth]]": [girth.model_dump(mode="json") for girth in settings.girth],
                "[[patch]]": [patch.model_dump(mode="json") for patch in settings.patch],
                "[[hardware]]": [row.model_dump(mode="json") for row in settings.hardware],
                "[[correction]]": [one.model_dump(mode="json") for one in settings.correction],
                **_rows(settings, "attachment"),
                **_moving(settings),
            }
        case "motion":
            worn = {"name", "side", "pair", "thickness_mm"}
            return {
                "[motion]": settings.motion.model_dump(mode="json"),
                "[[pivot]]": [
                    row.model_dump(mode="json", exclude={"screw_metal"}) for row in settings.pivot
                ],
                "[[lames]]": [
                    row.model_dump(mode="json", exclude={"rivet_metal"}) for row in settings.lames
                ],
                "[[need]]": [need.model_dump(mode="json") for need in settings.need],
                "[[patch]] as worn": [
                    patch.model_dump(mode="json", include=worn) for patch in settings.patch
                ],
            }
    raise ValueError(step)


def _checks(settings: JobSettings, *, on_body: bool) -> list[str]:
    """Return the rows that hold the scan to a length between sheets, or the body to its tape."""
    from fitkit.capture.check_length import BodyCheck, parse_check

    return [
        row for row in settings.capture.checks if isinstance(parse_check(row), BodyCheck) == on_body
    ]


def _rows(settings: JobSettings, *sections: str, but: Collection[str] = ()) -> dict[str, Any]:
    """Return what the job says in some sections of rows, nothing on those it has none of.

    ``but`` are words that make no difference.
    """
    return {
        f"[[{section}]]": [
            row.model_dump(mode="json", exclude=set(but)) for row in getattr(settings, section)
        ]
        for section in sections
        if getattr(settings, section)
    }


def _pads(settings: JobSettings) -> dict[str, Any]:
    """Return what the job says on pads, nothing where it has none."""
    if not settings.pad:
        return {}
    rows = [row.model_dump(mode="json") for row in settings.pad]
    return {"[[pad]]": [rows, settings.form.padding_mm, settings.form.room_mm()]}


def _gussets(settings: JobSettings) -> dict[str, Any]:
    """Return what the job says on soft pieces and on the motion that widens their gaps."""
    if not settings.gusset:
        return {}
    rows = [row.model_dump(mode="json") for row in settings.gusset]
    return {"[[gusset]]": rows, **settings_of_step("motion", settings)}


def _metals(settings: JobSettings) -> dict[str, Any]:
    """Return what pivots and lames turn on, by their metal, nothing where none is told."""
    told = [(row.patch, row.screw_metal) for row in settings.pivot]
    told += [(row.name, row.rivet_metal) for row in settings.lames]
    return {"metal of pivots and lames": told} if any(metal for _, metal in told) else {}


def _moving(settings: JobSettings) -> dict[str, Any]:
    """Return what the job says on pivots and lames, nothing where it has none."""
    if not settings.pivot and not settings.lames:
        return {}
    return {
        "[[pivot]] and [[lames]]": [
            row.model_dump(mode="json") for row in (*settings.pivot, *settings.lames)
        ]
    }
