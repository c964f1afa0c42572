"""Pads, soft pieces and fasteners told by commands are rows of the job that hold together."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fitkit.cli.app import app
from fitkit.job.job_folder import create_job, open_job

_PATCH = (
    '[[patch]]\nname = "{}"\nradius_mm = 60\ninside = {{ height_mm = 1200, bearing_deg = {} }}\n'
)
TEXT = '\n'.join(['format = 1\n\n[job]\nname = "Heron Warden"\n', _PATCH.format("bib", 0),
                  _PATCH.format("back", 180)])  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    create_job(tmp_path / "job", TEXT)
    return tmp_path / "job"


def run(*told: str | Path) -> str:
    answer = CliRunner().invoke(app, [str(word) for word in told])
    assert answer.exit_code == 0, answer.output
    return answer.stdout


def test_pads_are_added_changed_listed_renamed_and_taken_out(folder: Path) -> None:
    run("pad", "add", folder, "lining", "--on", "bib", "--thickness", "0.6 cm", "--layers", "2")
    (pad,) = open_job(folder).settings.pad
    assert (pad.name, pad.on, pad.thickness_mm, pad.layers, pad.edge_mm) == (
        "lining", "bib", 6.0, 2, 10.0)  # fmt: skip
    run("pad", "change", folder, "lining", "--edge", "15", "--without", "thickness_mm")
    run("pad", "rename", folder, "lining", "quilt")
    (pad,) = open_job(folder).settings.pad
    assert (pad.name, pad.thickness_mm, pad.edge_mm) == ("quilt", None, 15.0)
    (row,) = json.loads(run("pad", "list", folder, "--json"))["pads"]
    assert row["name"] == "quilt"
    run("pad", "remove", folder, "quilt")
    assert run("pad", "list", folder) == "No pad yet.\n"


def test_a_soft_piece_lies_between_two_plates(folder: Path) -> None:
    run("gusset", "add", folder, "side gap", "--between", "bib", "back", "--at", "1180@90",
        "--pair", "--under", "30", "--seam", "8 mm")  # fmt: skip
    (piece,) = open_job(folder).settings.gusset
    assert (piece.between, piece.pair, piece.under_mm, piece.seam_mm) == (
        ("bib", "back"), True, 30.0, 8.0)  # fmt: skip
    assert (piece.at.height_mm, piece.at.bearing_deg) == (1180.0, 90.0)
    run("gusset", "change", folder, "side gap", "--at", "1170@92", "--no-pair", "--reach", "95")
    (piece,) = open_job(folder).settings.gusset
    assert (piece.at.height_mm, piece.pair, piece.reach_mm) == (1170.0, False, 95.0)
    assert "between bib; back" in run("gusset", "list", folder)


def test_a_fastener_holds_what_comes_off(folder: Path) -> None:
    run("fastener", "add", folder, "catch", "--on", "bib", "back", "--at", "1200@80", "--often",
        "--load", "heavy")  # fmt: skip
    (one,) = open_job(folder).settings.fastener
    assert (one.on, one.often, one.load, one.kind) == (("bib", "back"), True, "heavy", None)
    run("fastener", "change", folder, "catch", "--kind", "turn button", "--seldom")
    (one,) = open_job(folder).settings.fastener
    assert (one.kind, one.often) == ("turn button", False)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (("pad", "change", "lining"), "Say what to change"),
        (("pad", "change", "lining", "--edge", "5"), "lining"),
        (("pad", "add", "lining", "--on", "shin"), "shin"),
        (("fastener", "add", "catch", "--on", "bib", "back", "--at", "1200@80", "--kind", "nail"),
         "nail"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_written(
    folder: Path, told: tuple[str, ...], said: str
) -> None:
    before = (folder / "job.toml").read_text(encoding="utf-8")
    answer = CliRunner().invoke(app, [*told[:2], str(folder), *told[2:]])
    assert answer.exit_code in (1, 2)
    assert said in answer.output
    assert (folder / "job.toml").read_text(encoding="utf-8") == before
