"""What the maker is told of plates that stop a joint."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.motion.asked_range import AskedRange
from fitkit.motion.motion_findings import motion_findings
from fitkit.motion.movement import Movement
from fitkit.motion.sweep import Contact, Swept
from tests.motion.simple_plates import hinge, plate, tube

_CROOK = ", for there is not enough gap in the crook of the left elbow"


@pytest.mark.parametrize(("upper_rides", "fold"), [({}, _CROOK), ({"left elbow": 1.0}, "")])
def test_a_fold_is_named_only_where_its_joint_parts_the_two(
    upper_rides: dict[str, float], fold: str
) -> None:
    """Beyond the elbow both plates go with it: what brings them together is the wrist."""
    body, asked = hinge(to_deg=100.0)
    elbow = body.joints["left elbow"]
    wrist = replace(elbow, name="left wrist", centre_mm=np.array([0.0, 0.0, -200.0]))
    bend = Movement("left wrist bend", "left wrist", np.array([-1.0, 0, 0]), 0.0, "wrist bend")
    both = AskedRange("hold a cup", (*asked.movements, (bend, 0.5)), "wanted")
    upper = replace(plate("upper", tube(40, 40, 30, 150), beyond=False), shares=upper_rides)
    lower = replace(plate("lower", tube(40, 40, -150, -30), beyond=True),
                    shares={"left elbow": 1.0, "left wrist": 1.0})  # fmt: skip
    touch = Contact("lower", "upper", 0.5, 0.9, 3.0, np.array([0.0, -40.0, -30.0]))
    swept = Swept(both, np.array([0.0, 1.0]), {}, (touch,))
    (found,) = motion_findings({"left elbow": elbow, "left wrist": wrist}, [upper, lower], [swept])
    assert f"its upper front edge meets the upper{fold}." in found.message
