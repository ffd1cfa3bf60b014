"""A set of results replaces the old one whole, also when what writes it is killed at any moment."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from wellring.postprocess.run.result_set import finish_set, result_set

WRITES = """
import sys, time
from pathlib import Path
from wellring.postprocess.run.result_set import result_set
folder, word = Path(sys.argv[1]), sys.argv[2]
print("ready", flush=True)
with result_set(folder) as place:
    for name in ("tables", "figures"):
        (place / name).mkdir()
        for index in range(20):
            (place / name / f"{index}").write_text(word)
            time.sleep(0.001)
    (place / "answers.json").write_text(word)
"""


def words(folder: Path) -> set[str]:
    """What stands in the results of a folder."""
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {path.read_text() for path in files if ".results." not in str(path)}


def written(folder: Path, word: str) -> None:
    with result_set(folder) as place:
        for name in ("tables", "figures"):
            (place / name).mkdir()
            for index in range(20):
                (place / name / str(index)).write_text(word)
        (place / "answers.json").write_text(word)


def test_the_new_set_replaces_the_old_and_leaves_the_rest(tmp_path):
    (tmp_path / "ledger.json").write_text("kept")
    written(tmp_path, "old")
    (tmp_path / "figures" / "gone.png").write_text("old")
    written(tmp_path, "new")
    assert words(tmp_path) == {"kept", "new"}
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "answers.json", "figures", "ledger.json", "tables",
    ]  # fmt: skip


def test_a_failure_leaves_the_old_set(tmp_path):
    written(tmp_path, "old")
    with pytest.raises(FileNotFoundError), result_set(tmp_path) as place:
        ((place / "answers.json").write_text("new"), (place / "no" / "file").write_text("new"))
    assert words(tmp_path) == {"old"}
    assert len(list(tmp_path.iterdir())) == 3


def test_a_kill_between_two_moves_is_made_good(tmp_path, monkeypatch):
    written(tmp_path, "old")
    moves = []
    true_rename = Path.rename

    def dies(path: Path, target: Path) -> Path:
        moves.append(path)
        if len(moves) == 3:  # the set is complete, its second folder is being moved
            raise KeyboardInterrupt
        return true_rename(path, target)

    monkeypatch.setattr(Path, "rename", dies)
    with pytest.raises(KeyboardInterrupt):
        written(tmp_path, "new")
    monkeypatch.undo()
    finish_set(tmp_path)
    assert words(tmp_path) == {"new"}
    assert len(list(tmp_path.iterdir())) == 3


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")
def test_killed_at_any_moment_all_is_old_or_all_is_new(tmp_path):
    written(tmp_path, "0")
    before = "0"
    for number in range(1, 9):
        word = str(number)
        process = subprocess.Popen(
            [sys.executable, "-c", WRITES, str(tmp_path), word], stdout=subprocess.PIPE
        )
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(random.Random(number).uniform(0.0, 0.08))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        finish_set(tmp_path)
        found = words(tmp_path)
        assert found in ({before}, {word})
        assert sum(path.is_file() for path in (tmp_path / "figures").iterdir()) == 20
        (before,) = found
