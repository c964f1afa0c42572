"""How the stops of a job stand before anything is made."""

from __future__ import annotations

from pathlib import Path

from fitkit.room.session import RoomSession
from fitkit.room.stops import STOPS, state_of_stop

_TEXT = 'format = 1\n[job]\nname = "Heron Warden"\n'


def states(folder: Path, text: str) -> dict[str, str]:
    folder.mkdir()
    (folder / "job.toml").write_text(text, encoding="utf-8")
    session = RoomSession(folder.parent, folder)
    return {stop.name: state_of_stop(stop, session).state for stop in STOPS}


def test_sheets_are_offered_without_stock_and_photos_are_of_no_use_to_a_mesh(
    tmp_path: Path,
) -> None:
    from_photos = states(tmp_path / "photos", _TEXT)
    assert from_photos["photos"] == from_photos["body"] == "to do"
    assert from_photos["sheets"] == from_photos["motion"] == "offered"
    from_mesh = states(tmp_path / "mesh", _TEXT + '[body]\nfrom_mesh = "a.ply"\n')
    assert from_mesh["photos"] == "not needed"
    assert from_mesh["sheets"] == "offered"
