"""How a phase is cut into stretches by what moves in it, and what the solver is told."""

import re

import numpy as np
import pytest

from wellring.inputs.measured.series import Series
from wellring.model.mf6.time_steps import MOST_STEPS, Stretch, stepping, stretches


def series(day, value, holds=False):
    return Series("a.csv", tuple(day), tuple(value), holds)


def test_nothing_moves():
    assert stretches(-14.0, 0.0, 0.7, []) == [Stretch(14.0, 0.7)]
    still = series([-30, 5, 40], [1.0, 1.0, 1.0])
    assert stretches(0.0, 90.0, 4.5, [still]) == [Stretch(90.0, 4.5)]


def test_a_jump_costs_steps_where_it_happens():
    """A level that drops within a minute on day 30, held before and after."""
    jump = series([0, 30, 30 + 1 / 1440, 90], [1.0, 1.0, -2.0, -2.0])
    assert stretches(0.0, 90.0, 4.5, [jump]) == [
        Stretch(30.0, 4.5),
        Stretch(60.0, 4.5, sudden=True),
    ]


def test_a_flood_of_a_day_is_followed_by_the_hour():
    day = [0, *(40 + np.arange(25) / 24), 90]
    level = [0.0, *np.sin(np.arange(25) / 24 * np.pi), 0.0]
    parts = stretches(0.0, 90.0, 4.5, [series(day, level)])
    assert [part.length for part in parts] == pytest.approx([40, 1, 49])
    assert parts[1].longest == pytest.approx(1 / 24, rel=1e-6)
    assert parts[0].longest == parts[2].longest == 4.5


def test_swings_beyond_what_can_be_followed_are_averaged():
    day = np.arange(0, 91, 0.01)
    parts = stretches(0.0, 90.0, 4.5, [series(day, np.sin(day * 60))])
    steps = sum(part.length / part.longest for part in parts)
    assert steps <= MOST_STEPS


@pytest.mark.parametrize("gap", [1.0, 30.0])
def test_rain_that_holds(gap):
    """Daily values are followed day by day; one that holds for a month begins with short steps."""
    day = np.arange(0, 90 + gap, gap)
    rain = series(day, np.arange(day.size) % 2, holds=True)
    parts = stretches(0.0, 90.0, 4.5, [rain])
    if gap == 1.0:
        assert parts == [Stretch(90.0, 1.0)]
    else:
        assert [part.sudden for part in parts] == [False, True, True]
        assert {part.longest for part in parts} == {4.5}


def test_the_solver_is_told_of_every_stretch():
    parts = [Stretch(30.0, 4.5), Stretch(1.0, 0.05), Stretch(60.0, 4.5, sudden=True)]
    told = stepping(parts, 0.02, 1.15)
    assert told.days == 91.0
    assert re.findall(r"(\S+) 1 1\.0", told.periods) == ["30.00000000", "1.00000000", "60.00000000"]
    rows = np.array(
        [line.split() for line in told.steps.splitlines() if line.startswith("  ")][1:], float
    )
    assert rows[:, 1].tolist() == [0.02, 0.05, 0.02]  # first steps
    assert rows[:, 3].tolist() == [4.5, 0.05, 4.5]
