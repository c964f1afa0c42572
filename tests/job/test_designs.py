"""Settings become the values that the steps take."""

from __future__ import annotations

import math
import subprocess
import sys
from math import radians
from pathlib import Path

import pytest
from pydantic import ValidationError

from fitkit.body.side import Side
from fitkit.job.designs import (
    anchor_of,
    anchor_values_of,
    line_designs,
    part_number_words,
    part_numbers,
    patch_designs,
)
from fitkit.job.settings import AnchorSection, EdgeSection, LevelSection
from fitkit.job.settings_text import read_settings
from fitkit.patch.design import (
    AxisAnchor,
    BetweenAnchor,
    EdgeTreatment,
    GeodesicLine,
    HeightAnchor,
    LandmarkAnchor,
    LevelLine,
    PointAnchor,
    SymmetryLine,
    ThroughLine,
)

SETTINGS = read_settings(
    (Path(__file__).parent / "samples" / "job_format_1.toml").read_text(encoding="utf-8")
)


def test_opening_a_job_waits_for_no_heavy_library() -> None:
    """Every command opens one; the libraries of meshes and pictures take seconds to load."""
    code = (
        "import sys; from pathlib import Path; from fitkit.job.settings_text import read_settings\n"
        "read_settings(Path(sys.argv[1]).read_text(encoding='utf-8'))\n"
        "print(sorted({'cv2', 'matplotlib', 'numba', 'open3d', 'scipy', 'shapely', 'skimage'}"
        " & set(sys.modules)))"
    )
    sample = Path(__file__).parent / "samples" / "job_format_1.toml"
    done = subprocess.run([sys.executable, "-c", code, sample], capture_output=True, text=True)
    assert done.stdout.strip() == "[]", done.stderr


def test_lines_keep_their_order_and_degrees_become_radians() -> None:
    waist, chest, arm, middle, side, armhole = line_designs(SETTINGS)
    assert waist == LevelLine("waist", height_mm=1050.0)
    assert chest == LevelLine("chest", height_mm=1250.0, tilt_rad=math.pi / 20)
    assert arm == LevelLine("upper arm", axis="left arm", along=0.25)
    assert middle == SymmetryLine("middle")
    assert side == GeodesicLine(
        "left side", (HeightAnchor(1050.0, math.pi / 2), LandmarkAnchor("left armpit"))
    )
    assert armhole == ThroughLine(
        "armhole",
        (
            AxisAnchor("left arm", 0.1, 0.0),
            AxisAnchor("left arm", 0.05, math.pi),
            PointAnchor(150.0, -20.0, 1300.0),
        ),
        closed=True,
    )


def test_patches_state_clearance_side_and_edges() -> None:
    plate, belt = patch_designs(SETTINGS)
    assert plate.boundary == ("waist", "chest", "middle", "left side")
    assert (plate.side, plate.paired) == (Side.LEFT, True)
    assert plate.material == "aluminium 5052-H32"
    assert plate.clearance_mm == SETTINGS.form.clearance_mm
    assert plate.edges == {"left side": EdgeTreatment("lap", 12.0)}
    assert (belt.side, belt.seams, belt.clearance_mm) == (Side.CENTRE, ("middle",), 12.0)
    assert belt.note == "buckle at the back"


def test_a_pair_takes_two_part_numbers() -> None:
    designs = patch_designs(SETTINGS)
    assert part_numbers(designs) == {"breast plate": 1, "belt": 3}
    assert part_number_words(designs) == {"breast plate": "1/2", "belt": "3"}


def test_a_place_between_landmarks_is_read_and_written_alike() -> None:
    section = AnchorSection(between=("front waist", "front chest"), part=0.4, bearing_deg=30)
    anchor = anchor_of(section)
    assert anchor == BetweenAnchor(("front waist", "front chest"), 0.4, radians(30))
    again = anchor_of(AnchorSection(**anchor_values_of(anchor)))
    assert again == BetweenAnchor(("front waist", "front chest"), 0.4, pytest.approx(radians(30)))
    with pytest.raises(ValidationError, match="between, part and"):
        AnchorSection(between=("front waist", "front chest"), bearing_deg=30)
    with pytest.raises(ValidationError, match="part together with between"):
        LevelSection(name="belt", kind="level", height_mm=1000, part=0.5)


def test_edges_of_every_kind_and_what_is_refused() -> None:
    edge = EdgeSection.model_validate
    assert edge({"wire_mm": 3}).kind() == ("wire", 3.0)
    assert edge({"flange_mm": "1 cm", "bend_deg": 45}).kind() == ("flange", 10.0)
    assert edge({"rivets": "blind 3.2"}).kind() is None
    for wrong in (
        {"wire_mm": 3, "hem_mm": 6},
        {"hem_mm": 6, "rivets": "blind 3.2"},
        {"rivets": "nail 3"},
        {"pitch_mm": 20},
        {"lap_mm": 12, "bend_deg": 45},
    ):
        with pytest.raises(ValueError, match=r"treatment|lap|rivet|flange"):
            edge(wrong)
