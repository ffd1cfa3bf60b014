"""The notebook of examples/how_sure runs as it stands and finds what it was made of."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

import wellring.model.notebook as notebook

SCRIPT = Path(__file__).resolve().parents[2] / "examples" / "how_sure" / "how_sure.py"


def test_the_notebook_runs_and_finds_the_sand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    told = runpy.run_path(str(SCRIPT))
    matched = told["matched"]
    sand, joints = matched.intervals
    assert sand[0] < 3.2e-4 < sand[1]  # what the measurements were made with
    assert sand[1] / sand[0] < 1.5
    assert joints[1] / joints[0] > 3  # pumps inside the wall say little about its joints
    frame = matched.prediction_frame.set_index("answer")
    flow = frame.loc["02-final-dig.inflow_total"]
    before = flow["high before"] - flow["low before"]
    assert flow["high after"] - flow["low after"] < 0.4 * before
    assert {t.observation.point for t in matched.triggers} == {"house next door", "garden", ""}
    assert len(told["varied"].frame) == 8
    out = capsys.readouterr().out
    assert "Go on measuring" in out
    assert (tmp_path / "how_sure_results").is_dir()


def test_all_verbs_of_a_notebook_are_there() -> None:
    public = {name for name in vars(notebook) if not name.startswith("_")} - {"annotations"}
    assert public == set(notebook.__all__)
    assert {"run", "vary", "match", "compare", "read_table", "open_fields"} <= public
