"""How a cone, tube, spike, fin or dome is made and set on its plate."""

from __future__ import annotations

from fitkit.flatten.attachment_blank import AttachmentBlank
from fitkit.holding.fixing import Fixing
from fitkit.materials.bend_radius import least_bend_radius
from fitkit.patch.attachment_design import AttachmentDesign
from fitkit.shop.forming_step import FormingPlan, FormingStep, PlanCheck
from fitkit.shop.metal_contacts import contacts_in
from fitkit.template.mirror import mirrored_name

__all__ = ["attachment_plan"]


def attachment_plan(
    blank: AttachmentBlank, *, plate_mm: float, plate_material: str = "", twin: bool = False
) -> FormingPlan:
    """Return the plan of an attachment.

    Parameters
    ----------
    plate_mm, plate_material
        Thickness of the plate it stands on, and its sheet by name.
    twin
        Whether it stands on the mirrored plate of a pair.
    """
    design = blank.design
    on = mirrored_name(design.on) if twin else design.on
    steps = [
        FormingStep(
            "Mark and cut",
            ("trace with pencil or marker", "cut outside the line, file to it, deburr"),
            "snips or knife, file",
            "common practice",
        ),
        _form(design),
    ]
    if blank.lapped is not None:
        steps.append(
            FormingStep(
                "Close the seam",
                (f"the {design.seam_lap_mm:g} mm lap lies inside: rivet or glue it",),
                "",
                "common practice",
            )
        )
    if blank.tabs:
        least = least_bend_radius(design.material, design.thickness_mm)
        tight = ""
        if least is not None and least.radius_mm > 0:
            tight = f", no tighter than {least.radius_mm:.1f} mm inside"
        screw = design.screw
        told = f"{screw.metal} " if screw.metal else ""
        size = screw.size_in_words(screw.stock_length_for(design.thickness_mm + plate_mm))
        steps.append(
            FormingStep(
                f"Set it on '{on}'",
                (
                    f"bend {len(blank.tabs)} tabs out to lie on the plate{tight}; the mark 'up' to "
                    "the plate's own",
                    f"{told}screws {size}, or rivets, through {design.hole_mm:g} mm "
                    "holes, while the plate's inside can be reached",
                ),
                "pliers with smooth jaws",
                "common practice",
            )
        )
    size = f"{design.kind}, {design.across_mm:g} mm across, {design.height_mm:g} mm high"
    return FormingPlan(
        (size[0].upper() + size[1:], f"stands on '{on}'"),
        tuple(steps),
        (*_checks(design), *_contacts(blank, plate_material, on)),
        ("edges", *(("hammer",) if design.kind == "dome" else ())),
    )


def _form(design: AttachmentDesign) -> FormingStep:
    half = 0.5 * design.across_mm
    match design.kind:
        case "cone":
            top = 0.5 * design.top_mm
            ends = f"{half:.0f} mm radius at the foot, {top:.0f} at the top"
            return FormingStep("Roll", (ends, "the tight end first"), "round bar, mallet")
        case "tube":
            return FormingStep("Roll", (f"{half:.0f} mm radius",), "round bar, mallet")
        case "spike":
            return FormingStep("Fold", ("along the three lines, corners sharp",), "brake, bar")
        case "fin":
            return FormingStep("Keep flat", ("tabs go to either side by turns",), "pliers")
        case "dome":
            petals = f"{design.gores} petals" if design.gores else "one piece"
            return FormingStep(
                "Dish",
                (f"{petals}, to {design.height_mm:g} mm rise", "close the petals edge to edge"),
                "mallet, hollow block",
            )


def _contacts(blank: AttachmentBlank, plate: str, on: str) -> tuple[PlanCheck, ...]:
    """Return the checks of its metal, its screws' and its plate's; none where it is glued."""
    if not blank.tabs:
        return ()
    own, screw = blank.design.material, blank.design.screw.name
    found = [
        check
        for sheet, other in ((own, plate), (plate, own))
        for check in contacts_in(sheet, [(on, Fixing(screw, meets=(other,)))])
    ]
    # Two sheets are told by both, and of one metal so are its screws.
    return tuple(dict.fromkeys(found))


def _checks(design: AttachmentDesign) -> tuple[PlanCheck, ...]:
    """Return the check of its tightest bend; a pointed cone has none that could be told."""
    least = least_bend_radius(design.material, design.thickness_mm)
    radius = {"cone": 0.5 * design.top_mm, "tube": 0.5 * design.across_mm, "spike": 0.0}.get(
        design.kind
    )
    if least is None or radius is None or (design.kind == "cone" and radius == 0):
        return ()
    known = least.temper == design.material
    holds = radius >= least.radius_mm
    return (
        PlanCheck(
            "tightest bend",
            f"{radius:.1f} mm inside",
            f"{least.radius_mm:.1f} mm" if least.radius_mm else "may be folded flat",
            "holds" if holds else "over" if known else "unsure",
            least.source,
            least.confidence,
            f"bend it no tighter than {least.radius_mm:.1f} mm inside, or take a softer sheet",
            "bend-tight",
        ),
    )
