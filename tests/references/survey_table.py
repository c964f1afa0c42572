"""Write the table of body sizes, ``fitkit/body/survey.toml``, from a survey's individual data.

Run as ``python -m tests.references.survey_table FOLDER`` with the folder that holds the two CSV
files of the public release of ANSUR II.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np

from fitkit.geometry.arrays import Floats

TABLE = Path(__file__).resolve().parents[2] / "fitkit" / "body" / "survey.toml"
FILES = {"men": "ANSUR_II_MALE_Public.csv", "women": "ANSUR_II_FEMALE_Public.csv"}
# Our measure: the survey's columns, added up.
COLUMNS = {
    "stature": ("stature",),
    "neck height": ("cervicaleheight",),
    "front neck height": ("suprasternaleheight",),
    "shoulder height": ("acromialheight",),
    "chest height": ("chestheight",),
    "waist height": ("waistheightomphalion",),
    "hip height": ("buttockheight",),
    "crotch height": ("crotchheight",),
    "knee height": ("kneeheightmidpatella",),
    "ankle height": ("lateralmalleolusheight",),
    "head": ("headcircumference",),
    "neck": ("neckcircumference",),
    "neck base": ("neckcircumferencebase",),
    "chest": ("chestcircumference",),
    "waist": ("waistcircumference",),
    "hip": ("buttockcircumference",),
    "upper arm": ("bicepscircumferenceflexed",),
    "forearm": ("forearmcircumferenceflexed",),
    "wrist": ("wristcircumference",),
    "thigh": ("thighcircumference",),
    "calf": ("calfcircumference",),
    "ankle": ("anklecircumference",),
    "back length": ("waistbacklength",),
    "shoulder length": ("shoulderlength",),
    "arm length": ("acromionradialelength", "radialestylionlength"),
    "shoulder breadth": ("biacromialbreadth",),
    "chest breadth": ("chestbreadth",),
    "waist breadth": ("waistbreadth",),
    "hip breadth": ("hipbreadth",),
    "chest depth": ("chestdepth",),
    "waist depth": ("waistdepth",),
    "hip depth": ("buttockdepth",),
    "upper arm length": ("acromionradialelength",),
    "hand length": ("handlength",),
    "hand breadth": ("handbreadth",),
    "foot length": ("footlength",),
    "foot breadth": ("footbreadthhorizontal",),
    "head length": ("headlength",),
    "head breadth": ("headbreadth",),
}
HEAD = """\
# Body sizes of men and women, in mm: means, standard deviations and correlations.
#
# C. C. Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel: Methods and Summary
# Statistics, NATICK/TR-15/007, 2014 (ANSUR II; a work of the US Government, in the public domain).
# Computed from the public individual data, 4082 men and 1986 women, soldiers of 17 to 58, by
# tests/references/survey_table.py; not weighted to any population. What the survey calls by
# other names: neck height is cervicale height, front neck height suprasternale height, shoulder
# height acromial height, knee height mid-patella, ankle height lateral malleolus, hip buttock.
# Waist, waist height and back length go by the navel; upper arm and forearm are flexed; arm length
# is acromion to radiale to stylion, chest breadth that of the ribs, arms and back muscles aside.
# Row k of correlations holds those of measure k + 1 with measures 0 to k, in order of names.
"""


def people(folder: Path, group: str) -> Floats:
    """(people, measures) float mm, measures in the order of COLUMNS."""
    with (folder / FILES[group]).open(encoding="latin-1", newline="") as file:
        rows = list(csv.DictReader(file))
    return np.array(
        [
            [sum(float(row[column]) for column in columns) for columns in COLUMNS.values()]
            for row in rows
        ]
    )


def table_text(folder: Path) -> str:
    """Return the whole table as TOML."""
    names = ",\n".join(f'    "{name}"' for name in COLUMNS)
    text = f"{HEAD}names = [\n{names},\n]\n"
    for group in FILES:
        values = people(folder, group)
        mean, spread = values.mean(axis=0), values.std(axis=0, ddof=1)
        together = np.corrcoef(values.T)
        text += f"\n[{group}]\npeople = {len(values)}\n"
        for key, numbers in (("mean_mm", mean), ("spread_mm", spread)):
            text += f"{key} = [{', '.join(f'{number:.1f}' for number in numbers)}]\n"
        text += "correlations = [\n"
        for k in range(1, len(COLUMNS)):
            text += f"    [{', '.join(f'{number:.3f}' for number in together[k, :k])}],\n"
        text += "]\n"
    return text


if __name__ == "__main__":
    TABLE.write_text(table_text(Path(sys.argv[1])), encoding="utf-8")
