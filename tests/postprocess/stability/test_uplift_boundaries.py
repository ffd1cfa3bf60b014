"""Uplift boundary by boundary, on columns written down by hand: which counts, which governs.

Every number follows from γ·z over γw·h with 20 kN/m³ of ground and γw 9.81 kN/m³.
"""

from dataclasses import replace

import numpy as np
import pytest

from wellring.inputs.site.stability import Stability
from wellring.postprocess.stability.floor_columns import FloorColumns
from wellring.postprocess.stability.stability_rules import Rules
from wellring.postprocess.stability.uplift import uplift

WATER = 9.81e3
NAN = float("nan")

# Four columns from left to right under a floor at 0 m; rows are cells from the top down.
UNIT = [[2, 0, 0, 2], [2, 1, 1, 2], [2, 2, 2, 9], [2, 2, 2, 2], [2, 3, 3, 2]]
ACTIVE = [[1, 1, 1, 1], [1, 1, 1, 1], [1, 1, 1, 0], [1, 1, 1, 1], [1, 1, 1, 1]]
BELOW = [[1, 1, 1, 1], [2, 2, 2, 3], [3, 3, 3, 3], [4, 4, 4, 4], [5, 5, 5, 5]]
BOTTOM = [[-0.2, 0.0, 0.0, -0.2], [-0.5] * 4, [-2.0] * 4, [-3.0] * 4, [-6.0] * 4]
HEAD_AT = [
    [9.0, 9.0, 9.0, 9.0],
    [9.0, 0.0, -0.1, 9.0],
    [9.0, 1.0, 1.0, NAN],
    [9.0, 2.0, 3.0, 9.0],
    [NAN] * 4,
]


@pytest.fixture
def columns() -> FloorColumns:
    """The outer columns hold no boundary; the others those of units 1 | 2 and 2 | 3.

    Units 0 | 1 meet at the floor itself, with nothing above that could be lifted.
    """
    bottom = np.array(BOTTOM)
    thickness = -np.diff(np.vstack([np.zeros(4), bottom]), axis=0)
    return FloorColumns(
        plan=np.arange(4),
        formation=0.0,
        active=np.array(ACTIVE, bool),
        tight=np.zeros((5, 4), bool),
        kv=np.full((5, 4), 1e-4),
        bottom=bottom,
        thickness=thickness,
        heads=np.zeros((5, 4)),
        unit=np.array(UNIT, np.int16),
        below=np.array(BELOW),
        stress=-20e3 * bottom,
        head_at=np.array(HEAD_AT),
        table=np.zeros(4),
        critical=np.ones(4),
    )


RULES = Rules.of(Stability(rules="global factor", uplift_factor=1.2), slab=False)


def test_each_boundary_once_the_governing_first(columns: FloorColumns) -> None:
    found = uplift(columns, RULES).boundaries
    assert [(item.upper, item.lower) for item in found] == [(2, 3), (1, 2)]
    assert [(item.column, item.layer) for item in found] == [(2, 3), (1, 1)]
    assert [item.utilisation for item in found] == pytest.approx(
        [1.2 * 6 * WATER / 60e3, 1.2 * 0.5 * WATER / 10e3]
    )


def test_numbers_of_the_governing_boundary(columns: FloorColumns) -> None:
    worst = uplift(columns, RULES).boundaries[0]
    allowed = -3.0 + 60e3 / 1.2 / WATER
    assert (worst.level, worst.head, worst.stress) == (-3.0, 3.0, pytest.approx(60e3))
    assert worst.pressure == pytest.approx(6 * WATER)
    assert worst.head_allowed == pytest.approx(allowed)
    assert worst.relief == pytest.approx(3.0 - allowed)
    assert worst.factor == pytest.approx(60e3 / (6 * WATER))


def test_relief_is_the_largest_anywhere_and_none_where_it_holds(columns: FloorColumns) -> None:
    found = uplift(columns, RULES).boundaries
    # The other column of 2 | 3 holds: its 2.0 m lie below the 2.1 m allowed.
    assert found[0].relief == pytest.approx(0.9032, abs=1e-4)
    assert found[1].relief == 0.0


def test_columns_without_a_boundary_have_no_answer(columns: FloorColumns) -> None:
    found = uplift(columns, RULES)
    used = [NAN, 1.2 * 5 * WATER / 60e3, 1.2 * 6 * WATER / 60e3, NAN]
    allowed = -3.0 + 60e3 / 1.2 / WATER
    np.testing.assert_allclose(found.utilisation, used)
    np.testing.assert_allclose(found.head_allowed, [NAN, allowed, allowed, NAN])
    assert found.layer[1:3].tolist() == [3, 3]


def test_factor_where_hardly_any_water_presses(columns: FloorColumns) -> None:
    worst = uplift(columns, RULES).boundaries[0]
    assert replace(worst, pressure=0.5).factor == pytest.approx(120e3)
    assert replace(worst, pressure=0.0).factor is None


@pytest.mark.parametrize(("kv", "told"), [(1e-4, 0), (2e-6, 0), (0.9e-6, 1), (1e-9, 2)])
def test_a_plug_is_tight_or_much_tighter_than_what_lies_beneath(
    columns: FloorColumns, kv: float, told: int
) -> None:
    """Unit 1 over unit 2 (1e-4 m/s) over unit 3 (1e-8 m/s): tight is below 1e-7, or 1/100."""
    values = np.array([1e-3, kv, 1e-4, 1e-8])[np.minimum(columns.unit, 3)]
    plugged = replace(columns, kv=values, tight=values < 1e-7)
    found = uplift(plugged, RULES, plugged.plugged).boundaries
    assert len(found) == told
