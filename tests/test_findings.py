"""Findings survive being written as plain values."""

from __future__ import annotations

import json

from fitkit.findings import Finding, Severity


def test_a_finding_comes_back_from_json_as_it_was() -> None:
    finding = Finding(
        "sheet-bent", Severity.WARNING, "sheet 3", "It is bent.", "Lay it flat.", 2.5, 1.0, "mm"
    )
    assert Finding.from_dict(json.loads(json.dumps(finding.as_dict()))) == finding
