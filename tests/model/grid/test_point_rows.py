"""Which points are rows: the grid draws no line for each of those."""

import numpy as np
import pytest

from wellring.model.grid.point_rows import point_rows


def test_a_dense_row_is_a_row_to_its_ends():
    row = np.column_stack([np.arange(0.0, 50.0, 2.5), np.zeros(20)])
    found = point_rows(row, 1.0)
    assert len(found.dense) == 20
    assert found.spacing == pytest.approx(2.5)
    assert len(found.single) == 0


def test_wide_wells_and_pairs_of_wells_are_single():
    """Two wells in two aquifers beside each other are no row, however near."""
    wells = np.array([(0.0, 0.0), (12.0, 0.0), (24.0, 0.0), (24.0, 1.5), (0.0, 1.5)])
    found = point_rows(wells, 1.0)
    assert len(found.dense) == 0
    assert found.single.tolist() == wells.tolist()


def test_what_is_dense_goes_by_the_cells():
    row = np.column_stack([np.arange(0.0, 60.0, 5.0), np.zeros(12)])
    assert len(point_rows(row, 1.0).dense) == 0
    assert len(point_rows(row, 2.0).dense) == 12


def test_points_of_two_tables_at_one_place_count_once():
    row = np.column_stack([np.arange(0.0, 20.0, 2.0), np.zeros(10)])
    found = point_rows(np.vstack([row, row + 1e-7]), 1.0)
    assert len(found.dense) == 10
    assert found.spacing == pytest.approx(2.0)


@pytest.mark.parametrize("places", [[], [(1.0, 2.0)], [(1.0, 2.0), (1.5, 2.0)]])
def test_one_or_two_points_are_single(places):
    found = point_rows(np.array(places, float).reshape(-1, 2), 1.0)
    assert len(found.single) == len(places)
    assert len(found.dense) == 0
