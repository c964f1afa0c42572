"""What a forming plan is made of: steps, checks against limits, and the whole plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fitkit.findings import Finding, Severity

__all__ = ["FormingPlan", "FormingStep", "PlanCheck", "Verdict"]

Verdict = Literal["holds", "over", "unsure"]


@dataclass(frozen=True, slots=True)
class FormingStep:
    """One thing to do.

    Attributes
    ----------
    title
        A word or two: ``"Roll"``.
    lines
        What to do, one fact a line.
    tools
        What to take for it.
    source
        Where a number in it comes from, with how far to trust it; empty where all are worked out
        from the plate itself.
    """

    title: str
    lines: tuple[str, ...]
    tools: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class PlanCheck:
    """A number of the plate held against a limit.

    Attributes
    ----------
    what
        In words.
    value, limit
        As the maker reads them, units included.
    verdict
        ``unsure`` where the limit depends on something not told, such as the alloy.
    source, confidence
        The limit's; ``seen``, ``memory`` or ``practice``.
    remedy
        What would do where it does not hold.
    code
        Short stable name of its finding; empty where an earlier step has found it already.
    """

    what: str
    value: str
    limit: str
    verdict: Verdict
    source: str
    confidence: str
    remedy: str
    code: str = ""

    def finding(self, part: str) -> Finding | None:
        """Return the finding that it makes for a part, None where it holds or is told already."""
        if self.verdict == "holds" or not self.code:
            return None
        unsure = self.verdict == "unsure"
        says = "that may be too much, the limit is" if unsure else "the limit is"
        return Finding(
            self.code,
            Severity.NOTE if unsure else Severity.WARNING,
            part,
            f"{self.what[0].upper()}{self.what[1:]}: {self.value}; {says} {self.limit} "
            f"({self.source}).",
            f"{self.remedy[0].upper()}{self.remedy[1:]}.",
        )


@dataclass(frozen=True, slots=True)
class FormingPlan:
    """How one part is made.

    Attributes
    ----------
    shape
        What the plate is like, in a line or two.
    steps
        In order.
    checks
        Bends, thinning, edges and stretch against the material's limits.
    cautions
        Keys of :data:`fitkit.shop.cautions.CAUTIONS` that hold for it.
    """

    shape: tuple[str, ...]
    steps: tuple[FormingStep, ...]
    checks: tuple[PlanCheck, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def over(self) -> tuple[PlanCheck, ...]:
        """Checks that do not hold, or may not."""
        return tuple(check for check in self.checks if check.verdict != "holds")
