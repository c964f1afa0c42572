"""The way older formats are brought up to date."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from fitkit.errors import JobError
from fitkit.job.migrations import MIGRATIONS, migrated
from fitkit.job.settings import FORMAT
from fitkit.job.settings_text import read_settings

SAMPLES = Path(__file__).parent / "samples"


def test_every_format_there_was_has_a_kept_sample_that_still_reads() -> None:
    for number in range(min(MIGRATIONS, default=FORMAT), FORMAT + 1):
        text = (SAMPLES / f"job_format_{number}.toml").read_text(encoding="utf-8")
        assert tomllib.loads(text)["format"] == number
        assert read_settings(text).format == FORMAT


def test_steps_are_taken_one_after_the_other() -> None:
    chain = {
        0: lambda values: {**values, "seen": [*values["seen"], 0]},
        1: lambda values: {**values, "seen": [*values["seen"], 1]},
    }
    values = migrated({"format": 0, "seen": []}, newest=2, migrations=chain)
    assert values == {"format": 2, "seen": [0, 1]}


def test_a_format_without_a_way_up_is_refused() -> None:
    with pytest.raises(JobError, match="format 0 is too old"):
        migrated({"format": 0}, newest=1, migrations={})


@pytest.mark.parametrize("number", [-1, "1", True, 1.0])
def test_a_format_that_is_no_count_is_refused(number: object) -> None:
    with pytest.raises(JobError, match="the format is"):
        migrated({"format": number})
