"""What sweeping a whole job's plates through every joint takes: python -m tests.bench.motion JOB.

The job's body and patches have to be made; nothing in it is changed. Goal: the sample in 5 degree
steps within 30 s on 2 cores. Beside it, over every sixth range, the same poses the plain way: every
place of every plate against every other plate and the whole skin, by Open3D's own search.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from fitkit.body.coarse_skin import with_coarse_skin
from fitkit.body.joints import find_joints
from fitkit.body.skin_shares import skin_shares
from fitkit.geometry.mesh_scene import MeshScene
from fitkit.job.body_files import read_body
from fitkit.job.designs import patch_designs
from fitkit.job.job_folder import open_job
from fitkit.job.patch_files import read_patch
from fitkit.motion.asked_range import AskedRange, asked_ranges
from fitkit.motion.movement import movements_of
from fitkit.motion.pose import pose_of
from fitkit.motion.riding_plate import RidingPlate, riding_plates
from fitkit.motion.skin_body import SkinBody
from fitkit.motion.sweep import SweepSettings, sweep
from fitkit.motion.trim import plan_trims

_EVERY = 6


def main(folder: Path) -> None:
    """Sweep every joint through its norm and look for trims; print seconds by the stage."""
    job = open_job(folder)
    rides = job.settings.motion.rides
    stages: list[tuple[str, float, float]] = []

    def done(name: str) -> None:
        stages.append((name, time.perf_counter(), time.process_time()))

    done("start")
    whole = read_body(job.result_folder("body"))
    joints = find_joints(whole)
    body = with_coarse_skin(whole)
    shares = skin_shares(body, joints)
    patches = [
        read_patch(job.result_folder("patches"), design) for design in patch_designs(job.settings)
    ]
    plates = riding_plates(patches, body.mesh, shares, joints, rides=rides)
    ranges = asked_ranges(movements_of(joints))
    done("joints, skin and plates")
    skin = SkinBody(body.mesh, joints, shares)
    swept = sweep(skin, plates, ranges)
    done(f"sweep of {len(ranges)} ranges, {sum(len(one.parts) for one in swept)} poses")
    trims, _ = plan_trims(skin, plates, swept, SweepSettings())
    done(f"{len(trims)} trims")
    few = ranges[::_EVERY]
    sweep(skin, plates, few)
    done(f"{len(few)} of the ranges again")
    _plainly(skin, plates, few)
    done("the same, every place in every pose")
    print(f"{len(plates)} plates, {sum(len(plate.spots_mm) for plate in plates)} places")
    for (_, wall, cpu), (name, wall_after, cpu_after) in pairwise(stages):
        print(f"{name:44s} {wall_after - wall:6.1f} s, {cpu_after - cpu:6.1f} CPU s")
    (_, _, start), (_, _, ours), (_, _, plain) = stages[-3:]
    print(f"the plain way takes {(plain - ours) / (ours - start):.1f} times the CPU seconds")


def _plainly(
    skin: SkinBody, plates: Sequence[RidingPlate], ranges: Sequence[AskedRange]
) -> list[float]:
    """Return the least distance of anything in each pose, with no place left out."""
    sheets = {plate.name: MeshScene(plate.mesh) for plate in plates}
    step = SweepSettings().step_rad
    least = []
    for asked in ranges:
        for part in np.linspace(0.0, 1.0, int(np.ceil(asked.turn_rad / step)) + 1).tolist():
            pose = pose_of(skin.joints, asked.turned(part))
            posed = MeshScene(skin.posed(pose))
            carried = {plate.name: plate.carried(pose) for plate in plates}
            near = []
            for plate in plates:
                places = carried[plate.name].apply(plate.spots_mm)
                near.append(np.abs(posed.beside_nearest_mm(places)[0]).min())
                for other in plates:
                    if other is not plate:
                        own = carried[other.name].inverse().apply(places)
                        off = own - sheets[other.name].nearest_mm(own)
                        near.append(np.linalg.norm(off, axis=1).min())
            least.append(float(min(near)))
    return least


if __name__ == "__main__":
    main(Path(sys.argv[1]))
