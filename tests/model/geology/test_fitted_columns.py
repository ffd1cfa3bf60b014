"""Columns of contacts in order, nearest to their estimates."""

from __future__ import annotations

import numpy as np
import pytest

from wellring.model.geology.fitted_columns import fitted_columns


def cost(levels, given, variance, thickness, softness):
    """What is to be least; all of one column."""
    return np.sum((levels - given) ** 2 / variance) + np.sum(
        (levels[:-1] - levels[1:] - thickness) ** 2 / softness
    )


@pytest.mark.parametrize("seed", range(20))
def test_columns_are_the_optimum_of_a_general_solver(seed: int):
    from scipy.optimize import lsq_linear

    random = np.random.default_rng(seed)
    count = int(random.integers(2, 9))
    given = random.normal(0, 3, count)
    variance = 10.0 ** random.uniform(-3, 1, count)
    thickness, softness = random.normal(0, 3, count - 1), 10.0 ** random.uniform(-3, 1, count - 1)
    softness[random.random(count - 1) < 0.3] = np.inf
    fitted = fitted_columns(*(part[:, None] for part in (given, variance, thickness, softness)))
    fitted = fitted[:, 0]
    # Unknowns: the lowest level and the thicknesses above it, which may not be negative.
    up = np.triu(np.ones((count, count)))
    rows = np.vstack([up / np.sqrt(variance)[:, None], np.eye(count)[:-1]])
    rows[count:] /= np.sqrt(softness)[:, None]
    right = np.append(given / np.sqrt(variance), thickness / np.sqrt(softness))
    bounds = (np.append(np.zeros(count - 1), -np.inf), np.full(count, np.inf))
    best = up @ lsq_linear(rows, right, bounds, method="bvls", tol=1e-14).x
    assert (np.diff(fitted) <= 0).all()
    parts = given, variance, thickness, softness
    assert cost(fitted, *parts) == pytest.approx(cost(best, *parts), rel=1e-9)
    np.testing.assert_allclose(fitted, best, atol=1e-5)


def test_without_thicknesses_it_is_isotonic_regression():
    from scipy.optimize import isotonic_regression

    random = np.random.default_rng(0)
    given, variance = random.normal(0, 2, (7, 30)), 10.0 ** random.uniform(-4, 1, (7, 30))
    fitted = fitted_columns(given, variance)
    for column in range(30):
        expected = isotonic_regression(
            given[:, column], weights=1 / variance[:, column], increasing=False
        )
        np.testing.assert_allclose(fitted[:, column], expected.x, atol=1e-9)


def test_contacts_known_exactly_stay_and_the_others_share_the_room():
    # Hand calculation: between -5 and -25 two units of 4 and 8 m expected share 20 m; with equal
    # softness each gets 4 m more.
    fitted = fitted_columns(
        np.array([[-5.0], [-15.0], [-25.0]]),
        np.array([[1e-15], [1e12], [1e-15]]),
        np.array([[4.0], [8.0]]),
        np.ones((2, 1)),
    )
    np.testing.assert_allclose(fitted[:, 0], [-5.0, -13.0, -25.0], atol=1e-6)
