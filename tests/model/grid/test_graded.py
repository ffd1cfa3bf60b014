"""Graded spacing: through every fixed line, fine at keys, growing no faster than asked."""

import numpy as np
import pytest

from wellring.model.grid.graded import Key, graded_edges, merged_lines, spacing_at


@pytest.mark.parametrize("seed", range(40))
def test_edges_ascend_from_end_to_end_through_every_fixed_line(seed):
    rng = np.random.default_rng(seed)
    low, high = -float(rng.uniform(10, 500)), float(rng.uniform(10, 500))
    fixed = tuple(rng.uniform(low, high, int(rng.integers(0, 8))))
    at = rng.uniform(low, high, 4)
    keys = tuple(Key(a, a + float(rng.uniform(0, 5)), float(rng.uniform(0.1, 3))) for a in at)
    edges = graded_edges(low, high, keys, fixed, float(rng.uniform(1.1, 1.9)), 30.0)
    assert (edges[0], edges[-1]) == (low, high)
    assert np.all(np.diff(edges) > 0)
    assert set(fixed) <= set(edges.tolist())


@pytest.mark.parametrize("growth", [1.1, 1.3, 1.6])
def test_cells_grow_from_the_key_by_no_more_than_the_factor(growth):
    edges = graded_edges(0.0, 400.0, (Key(0.0, 10.0, 1.0),), (10.0,), growth, 25.0)
    widths = np.diff(edges)
    assert np.allclose(widths[edges[1:] <= 10.0], 1.0)
    ratio = widths[1:] / widths[:-1]
    assert ratio.max() < growth * 1.05  # a whole number of cells must fit
    assert np.median(ratio[(widths[:-1] > 1.2) & (widths[1:] < 20)]) > growth / 1.05
    assert ratio.min() > 1 / 1.02  # never finer again farther off
    assert widths[-1] == pytest.approx(25.0, rel=0.06)
    assert widths.max() < 25.0 * 1.06


def test_number_of_cells_is_that_of_a_geometric_series():
    # 1, 1.2, 1.44 … reaches 100 m after n cells: (1.2^n − 1)/0.2 = 100, n = 16.7.
    edges = graded_edges(0.0, 100.0, (Key(0.0, 0.0, 1.0),), growth=1.2)
    assert edges.size - 1 == pytest.approx(np.log(21.0) / np.log(1.2), abs=2)


def test_symmetric_wishes_give_symmetric_edges():
    keys = (Key(-20.0, -20.0, 0.5), Key(20.0, 20.0, 0.5))
    edges = graded_edges(-150.0, 150.0, keys, (-20.0, 20.0), 1.3, 12.0)
    assert np.allclose(edges, -edges[::-1], atol=1e-6)


def test_nothing_asked_is_one_cell_between_lines():
    assert graded_edges(0.0, 9.0, (), (4.0,)).tolist() == [0.0, 4.0, 9.0]
    assert graded_edges(0.0, 9.0, (), (-1.0, 0.0, 9.0, 12.0)).tolist() == [0.0, 9.0]


def test_the_finest_key_decides_and_widths_grow_with_distance_from_a_key():
    keys = (Key(0.0, 4.0, 2.0), Key(10.0, 10.0, 1.0))
    x = np.array([2.0, 4.0, 7.0, 10.0, 30.0, 1e4])
    # ln(growth) = 0.5: from the first key 2 + 0.5·d, from the second 1 + 0.5·d, never above 8.
    expected = [2.0, 2.0, 2.5, 1.0, 8.0, 8.0]
    assert spacing_at(x, keys, float(np.exp(0.5)), 8.0) == pytest.approx(expected)


@pytest.mark.parametrize("seed", range(20))
def test_merged_lines_are_apart_and_stand_for_all(seed):
    values = np.random.default_rng(seed).uniform(0, 10, 40).tolist()
    kept = merged_lines(values, 0.4)
    assert min(np.diff(kept)) >= 0.4
    assert set(kept) <= set(values)
    for value in values:
        assert any(0 <= value - line < 0.4 for line in kept)


def test_a_very_fine_key_in_a_long_span_is_still_fine():
    edges = graded_edges(0.0, 5000.0, (Key(2500.0, 2500.0, 0.05),), (2500.0,), 1.3, 300.0)
    at = int(np.flatnonzero(edges == 2500.0)[0])
    assert 0.03 < edges[at + 1] - edges[at] < 0.08
    assert 0.03 < edges[at] - edges[at - 1] < 0.08
