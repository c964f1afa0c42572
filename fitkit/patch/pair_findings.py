"""What a mirrored pair costs on a body whose sides differ."""

from __future__ import annotations

import numpy as np

from fitkit.findings import THIS_JOB, Finding, Severity
from fitkit.geometry.nearest import nearest_on_mesh
from fitkit.patch.form import Form
from fitkit.patch.patch import Patch
from fitkit.patch.place_in_words import place_in_words

__all__ = ["pair_findings"]

# Half of what padding gives under a plate; common practice, no source.
_OFF_MM = 3.0


def pair_findings(patch: Patch, form: Form) -> tuple[Finding, ...]:
    """Tell how far the mirrored plate of a pair lies off the other side of the form."""
    if not patch.design.paired:
        return ()
    mirrored = patch.mesh.vertices * [-1.0, 1.0, 1.0]
    off = nearest_on_mesh(form.mesh, mirrored)[2]
    worst = int(off.argmax())
    if off[worst] <= _OFF_MM:
        return ()
    name = patch.design.name
    return (
        Finding(
            "pair-differs",
            Severity.NOTE,
            name,
            f"Mirrored, the plate '{name}' lies up to {off[worst]:.1f} mm off the other side's "
            f"form ({np.sqrt((off**2).mean()):.1f} mm on the whole), most "
            f"{place_in_words(form.body, mirrored[worst])}.",
            f"See both with: fitkit pair {THIS_JOB} '{name}'; "
            "with --part each is fitted to its side.",
            number=float(off[worst]),
            limit=_OFF_MM,
            unit="mm",
        ),
    )
