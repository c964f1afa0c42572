"""Every change of a job can be taken back and made again, also those made by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.errors import JobError
from fitkit.job.edit_history import EditHistory


def changed(folder: Path, before: str, after: str) -> str:
    EditHistory.read(folder).added(before, after, f"{before} to {after}").keep()
    return after


def stepped(folder: Path, text: str, *, back: bool) -> str:
    history, there = EditHistory.read(folder).stepped(text, back=back)
    history.keep()
    return there


def test_steps_lead_back_to_the_first_text_and_forward_to_the_last(tmp_path: Path) -> None:
    text = "0"
    for number in range(1, 60):
        text = changed(tmp_path, text, str(number))
    back = [text := stepped(tmp_path, text, back=True) for _ in range(59)]
    assert back == [str(number) for number in range(58, -1, -1)]
    with pytest.raises(JobError, match="no change to take back"):
        stepped(tmp_path, text, back=True)
    forward = [text := stepped(tmp_path, text, back=False) for _ in range(59)]
    assert forward == [str(number) for number in range(1, 60)]
    with pytest.raises(JobError, match="no change to make again"):
        stepped(tmp_path, text, back=False)


def test_a_change_after_a_step_back_drops_what_was_taken_back(tmp_path: Path) -> None:
    changed(tmp_path, changed(tmp_path, "a", "b"), "c")
    changed(tmp_path, stepped(tmp_path, stepped(tmp_path, "c", back=True), back=True), "d")
    history = EditHistory.read(tmp_path)
    assert history.edits == ("a to d",)
    assert history.to_redo is None
    assert sorted(path.name for path in history.folder.glob("*.toml")) == [
        "000000.toml",
        "000001.toml",
    ]


def test_a_text_written_by_hand_is_a_change_of_its_own(tmp_path: Path) -> None:
    changed(tmp_path, "a", "b")
    changed(tmp_path, "by hand", "c")
    assert EditHistory.read(tmp_path).edits == (
        "a to b",
        "changed job.toml by hand",
        "by hand to c",
    )
    text = stepped(tmp_path, "c", back=True)
    assert text == "by hand"
    assert stepped(tmp_path, text, back=True) == "b"


def test_an_edit_by_hand_can_be_taken_back_first(tmp_path: Path) -> None:
    changed(tmp_path, "a", "b")
    assert EditHistory.read(tmp_path).met("oops").to_undo == "changed job.toml by hand"
    assert stepped(tmp_path, "oops", back=True) == "b"
    assert stepped(tmp_path, "b", back=False) == "oops"


@pytest.mark.parametrize("back", [True, False])
def test_a_step_interrupted_before_it_was_kept_is_not_lost(tmp_path: Path, back: bool) -> None:
    """job.toml was written, the list was not: the text is found one beside where it should be."""
    changed(tmp_path, changed(tmp_path, "a", "b"), "c")
    if not back:
        stepped(tmp_path, "c", back=True)
    now = "b" if back else "c"
    met = EditHistory.read(tmp_path).met(now)
    assert met.edits == ("a to b", "b to c")
    assert met.standing == (1 if back else 2)


def test_a_damaged_list_loses_the_words_and_not_the_texts(tmp_path: Path) -> None:
    changed(tmp_path, "a", "b")
    (tmp_path / ".fitkit" / "edits" / "edits.json").write_text("{", encoding="utf-8")
    changed(tmp_path, "b", "c")
    assert EditHistory.read(tmp_path).edits == ("changed job.toml by hand", "b to c")
    assert stepped(tmp_path, "c", back=True) == "b"
    assert stepped(tmp_path, "b", back=True) == "a"


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(["change", "undo", "redo", "by hand"]), max_size=25))
def test_it_agrees_with_a_plain_list_of_texts(
    tmp_path_factory: pytest.TempPathFactory, moves: list[str]
) -> None:
    """The oracle keeps all texts in a list and a finger on the current one."""
    folder = tmp_path_factory.mktemp("job")
    texts, at, disk = ["start", "first"], 1, changed(folder, "start", "first")
    for number, move in enumerate(moves):
        if move == "by hand":
            disk = f"hand {number}"
            continue
        met, here = texts, at
        if disk != texts[at]:
            met, here = [*texts[: at + 1], disk], at + 1
        if move == "change":
            met = [*met[: here + 1], f"text {number}"]
            disk = changed(folder, disk, met[-1])
            texts, at = met, here + 1
            continue
        to = here + (-1 if move == "undo" else 1)
        if 0 <= to < len(met):
            disk = stepped(folder, disk, back=move == "undo")
            texts, at = met, to
            assert disk == texts[at]
        else:
            with pytest.raises(JobError):
                stepped(folder, disk, back=move == "undo")
