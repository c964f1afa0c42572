"""The usual cautions of the work, each with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CAUTIONS", "DEFERRING", "Caution"]


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard and what is usually done about it.

    Attributes
    ----------
    title
        A word or three.
    short
        For the foot of a part's page.
    words
        In full.
    source, confidence
        ``seen``, ``memory`` or ``practice``.
    """

    title: str
    short: str
    words: str
    source: str
    confidence: str


DEFERRING = (
    "Local codes, the data sheets of what you use, and licensed or qualified practice come first. "
    "What stands here is the usual, no more. A costume plate is not protective equipment."
)
"""Said above every list of cautions."""

CAUTIONS: dict[str, Caution] = {
    "edges": Caution(
        "Cut edges",
        "deburr every edge and hole before anything else; gloves for handling sheet",
        "Cut sheet and drilled holes are sharp. Deburr every edge and hole, round the corners, and "
        "wear gloves to handle sheet; take them off near drills and other turning tools.",
        "glove choice: OSHA 3151; the rest common practice, no source",
        "seen",
    ),
    "knife": Caution(
        "Knives and punches",
        "sharp blade, cut away from the hand that holds the rule",
        "Cut away from the hand that holds, against a steel rule on a mat, in light strokes "
        "with a fresh blade; keep fingers from under a punch. Cover or retract the blade between "
        "cuts, put used ones in a closed tin.",
        "common practice, no source",
        "practice",
    ),
    "hammer": Caution(
        "Noise and chips",
        "ears and eyes covered when hammering, grinding or drilling",
        "Hammering sheet is louder than hearing bears: OSHA acts from 85 and limits at 90 dB(A) "
        "over 8 hours, the EU from 80. Cover ears and eyes; warn others in the room.",
        "OSHA and EU noise levels, from memory",
        "memory",
    ),
    "hot metal": Caution(
        "Hot aluminium",
        "hot aluminium looks cold; no glow before it melts",
        "Aluminium gives no useful colour before it melts: hot and cold plates look alike. Use a "
        "temperature crayon or a furnace; soap, soot and marker lines are signs only. Keep the "
        "flame moving, work on a fire-safe bench with an extinguisher and fresh air, mark hot "
        "pieces, touch nothing without testing it. Never heat painted or galvanised stock.",
        "melting ranges: a distributor's table; signs: a metal-shaping teacher's column; the rest "
        "common practice, no source",
        "seen",
    ),
    "hot steel": Caution(
        "Hot steel, brass and copper",
        "hot long after it is dark again; no galvanised, plated or painted sheet",
        "Steel, brass and copper glow only in dim light and still burn long after they are dark. "
        "Never heat galvanised, plated or painted sheet: its fumes poison. Molten brass gives "
        "off zinc. Work on a fire-safe bench with an extinguisher and fresh air, mark hot pieces, "
        "touch nothing without testing it; stand off from the steam when you cool in water, and "
        "cover your eyes when you brush off scale.",
        "common practice, no source",
        "practice",
    ),
    "rivets": Caution(
        "Riveting",
        "eyes covered: blind-rivet stems fly",
        "Blind-rivet stems fly when they break: cover eyes. Never point a pneumatic hammer at "
        "anyone, keep its retaining spring on, and do not run it without work in front of it.",
        "tool-safety article, builders' article, university shop-safety page",
        "seen",
    ),
    "glue": Caution(
        "Glue, dust and fumes",
        "fresh air, no flame near glue, mask against dust",
        "Contact cement and solvent glues want moving air and no flame or spark. Sanding foam "
        "wants a dust mask. A heat gun held too close makes fumes that should not be breathed. "
        "Two-pack paints and some PU foams hold isocyanates, the commonest cause of occupational "
        "asthma: leave spraying them to shops equipped for it. Keep epoxy off the skin.",
        "isocyanates: HSE pages; epoxy: EU-OSHA; the rest common practice, no source",
        "seen",
    ),
    "hot water": Caution(
        "Heat on foam and leather",
        "heat gun and hot water burn",
        "A heat gun's nozzle and hot wet leather burn. Form on a stand or with gloves, never on "
        "the wearer.",
        "common practice, no source",
        "practice",
    ),
    "worn": Caution(
        "Worn in sun and heat",
        "bare metal in the sun burns; drink, rest, take it off",
        "Bare metal burns skin from about 65 to 70 °C at a second's touch, 51 °C at a minute's: "
        "line it, shade it. Plates hold heat in: drink, rest, and take them off early.",
        "ISO 13732-1 thresholds from memory; the rest common practice, no source",
        "memory",
    ),
    "pinch": Caution(
        "Pinching",
        "round and pad edges that meet at a joint",
        "Where plates move over each other skin is pinched. Round and pad the edges, and overlap "
        "them by more than the joint travels. Keep throat, eyes, armpit, groin and the backs of "
        "knees and elbows free of edges.",
        "common practice, no source",
        "practice",
    ),
    "release": Caution(
        "Getting out",
        "a helper can take it off in a minute",
        "A helper must be able to take every piece off quickly: straps within reach, nothing "
        "that needs a tool. Try it before the first outing.",
        "common practice, no source",
        "practice",
    ),
}
"""Cautions by key, in the order they are told."""
