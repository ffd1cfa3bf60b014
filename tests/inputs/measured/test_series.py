"""Values that change in time: what a CSV gives, and what is wrong with one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.measured.series import Series, read_series


def read(folder: Path, text: str, column="stage", start=None) -> tuple[Series | None, FaultLog]:
    (folder / "river.csv").write_text(text, encoding="utf-8")
    faults = FaultLog()
    found = read_series("river.csv", column, folder, faults, "site.toml", "water", start)
    return found, faults


def test_levels_are_joined_and_rates_hold(tmp_path):
    level, _ = read(tmp_path, "day,stage\n0,1\n10,3 m\n30,10 ft\n")
    assert level.value == pytest.approx((1, 3, 3.048))
    assert np.array(level.between(5, 20)) == pytest.approx(np.array([(0, 2), (5, 3), (15, 3.024)]))
    assert level.usual == pytest.approx((2 * 10 + 3.024 * 20) / 30)
    rain, _ = read(tmp_path, "day,rate\n0,0\n10,24 mm/day\n12,0\n", "rate")
    assert np.array(rain.between(9, 13)) == pytest.approx(
        np.array([(0, 0), (1, 0.024 / 86400), (3, 0), (4, 0)])
    )
    assert rain.usual == pytest.approx(2 * 0.024 / 86400 / 12)


def test_what_was_usual_before_the_run_is_the_natural_state(tmp_path):
    flood = "day,stage\n-20,1\n-10,2\n0,1.5\n1,6\n9,1.5\n"
    assert read(tmp_path, flood, start=0.0)[0].usual == pytest.approx((1.5 * 10 + 1.75 * 10) / 20)
    assert read(tmp_path, flood, start=-20.0)[0].usual > 1.9


def test_ends_go_on(tmp_path):
    level, _ = read(tmp_path, "day,stage\n0,1\n10,3\n")
    assert np.array(level.between(-5, 15)) == pytest.approx(
        np.array([(0, 1), (5, 1), (15, 3), (20, 3)])
    )


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("day,stage\n0,1\n0,2\n", "day", "a day after 0"),
        ("day,stage\n5,1\n2,2\n", "day", "a day after 5"),
        ("day,stage\nMonday,1\n2,2\n", "day", "a number of days"),
        ("day,stage\n0,nan\n2,2\n", "stage", ""),
        ("day,stage\n0,1\n2,20000\n", "stage", "between -2,000 and 9,000"),
        ("day,stage\n0,1 m/s\n2,2\n", "stage", ""),
        ("day,stage\n0,1\n", "table", "at least two days"),
        ("day,level\n0,1\n1,2\n", "header", "a column stage"),
    ],
)
def test_faults_are_named(tmp_path, text, place, words):
    found, faults = read(tmp_path, text)
    assert found is None
    assert any(
        place in fault.place and words in fault.expected and "river.csv" in str(fault.file)
        for fault in faults.faults
    ), faults.faults
