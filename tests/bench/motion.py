"""What sweeping a whole job's plates through every joint takes: python -m tests.bench.motion JOB.

The job's body and patches have to be made; nothing in it is changed. Goal: the sample in 5 degree
steps within 30 s on 2 cores.
"""

from __future__ import annotations

import sys
import time
from itertools import pairwise
from pathlib import Path

from fitkit.body.coarse_skin import with_coarse_skin
from fitkit.body.joints import find_joints
from fitkit.body.skin_shares import skin_shares
from fitkit.job.body_files import read_body
from fitkit.job.designs import patch_designs
from fitkit.job.job_folder import open_job
from fitkit.job.patch_files import read_patch
from fitkit.motion.asked_range import asked_ranges
from fitkit.motion.movement import movements_of
from fitkit.motion.riding_plate import riding_plates
from fitkit.motion.sweep import SkinBody, SweepSettings, sweep
from fitkit.motion.trim import plan_trims


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
    print(f"{len(plates)} plates, {sum(len(plate.spots_mm) for plate in plates)} places")
    for (_, wall, cpu), (name, wall_after, cpu_after) in pairwise(stages):
        print(f"{name:44s} {wall_after - wall:6.1f} s, {cpu_after - cpu:6.1f} CPU s")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
