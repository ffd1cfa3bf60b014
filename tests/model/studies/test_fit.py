"""The fit itself, on models with closed answers."""

import numpy as np
import pytest

from wellring.model.studies.match.fit import NoStart, fit

DAYS = np.array([0.1, 0.3, 1.0, 3.0, 10.0])


def solver_of(model, calls=None, fails=lambda x: False):
    def solve(points):
        if calls is not None:
            calls.append(len(points))
        return [None if fails(x) else model(x) for x in points]

    return solve


def fitted(model, measured, errors, start, *, wide=5.0, steps=0.05, prior=None, **more):
    start = np.asarray(start, float)
    p = start.size
    return fit(
        solver_of(model, **more),
        start,
        (start - wide, start + wide),
        np.full(p, steps),
        measured,
        np.asarray(errors, float),
        np.ones(p),
        np.zeros(p, bool) if prior is None else np.asarray(prior),
    )


def test_a_line_is_fitted_with_the_covariance_of_the_textbook():
    """y = a + b·t: estimate and covariance (XᵀWX)⁻¹ by hand; errors as given, so no scaling."""
    design = np.column_stack([np.ones(5), DAYS])
    errors = np.array([0.1, 0.1, 0.2, 0.2, 0.3])
    measured = design @ [1.0, 0.5] + 0.5 * errors * np.array([1, -1, 1, -1, 0.5])
    got = fitted(lambda x: design @ x, measured, errors, [0.0, 0.0])
    weight = np.diag(errors**-2.0)
    exact = np.linalg.inv(design.T @ weight @ design)
    assert got.x == pytest.approx(exact @ design.T @ weight @ measured, abs=1e-4)
    assert got.scale == 1.0
    assert got.covariance == pytest.approx(exact, rel=1e-6)
    assert got.quantile == pytest.approx(3.182, abs=1e-3)  # Student's t, 3 degrees of freedom
    assert got.spread_of(design) == pytest.approx(
        np.sqrt(np.diag(design @ exact @ design.T)), rel=1e-6
    )


def test_large_residuals_widen_the_intervals():
    design = np.column_stack([np.ones(5), DAYS])
    measured = design @ [1.0, 0.5] + np.array([1, -1, 1, -1, 0.5])
    got = fitted(lambda x: design @ x, measured, np.full(5, 0.1), [0.0, 0.0])
    left = measured - design @ np.linalg.lstsq(design, measured, rcond=None)[0]
    assert got.scale == pytest.approx(left @ left / 0.01 / 3, rel=1e-3)


def test_a_curved_model_is_recovered_and_a_row_without_weight_is_not_counted():
    def model(x):
        return np.exp(x[0]) * (1 - np.exp(-np.exp(x[1]) * DAYS))

    true = np.array([0.7, -0.4])
    measured = model(true)
    measured[2] = 99.0
    errors = np.array([0.05, 0.05, np.inf, 0.05, 0.05])
    got = fitted(model, measured, errors, [0.0, 0.5])
    assert got.x == pytest.approx(true, abs=2e-3)
    assert got.converged


def test_what_was_known_joins_as_one_more_measurement():
    """One measurement 2 ± 1 of x, known before as 0 ± 1: 1 ± √½."""
    got = fitted(lambda x: x.copy(), np.array([2.0]), [1.0], [0.0], prior=[True])
    assert got.x[0] == pytest.approx(1.0, abs=1e-3)
    assert got.deviations[0] == pytest.approx(np.sqrt(0.5) * np.sqrt(got.scale), rel=1e-6)


def test_a_direction_that_nothing_tells_is_found():
    """Only a product is measured: the sum of logarithms is known, their difference is not."""
    got = fitted(lambda x: np.full(3, x[0] + x[1]), np.full(3, 0.8), np.full(3, 0.01), [0.0, 0.0])
    assert got.x.sum() == pytest.approx(0.8, abs=1e-3)
    assert got.singular[0] > 100
    assert got.singular[1] == pytest.approx(0.0, abs=1e-6)
    assert np.abs(got.directions[1]) == pytest.approx([np.sqrt(0.5)] * 2)
    assert got.directions[1][0] * got.directions[1][1] < 0
    assert abs(got.correlation[0, 1]) > 0.99


def test_points_without_an_answer_are_stepped_around():
    """Differences fall back on the other side; where the start has none, that is told."""

    def model(x):
        return x[0] * np.ones(3)

    got = fitted(
        model, np.full(3, 1.0), np.full(3, 0.1), [0.0], fails=lambda x: 0.001 < x[0] < 0.06
    )
    assert got.x[0] == pytest.approx(1.0, abs=1e-3)
    with pytest.raises(NoStart):
        fitted(model, np.ones(3), np.ones(3), [0.0], fails=lambda x: True)


def test_a_point_and_its_neighbours_are_asked_for_at_once():
    calls: list[int] = []
    design = np.column_stack([np.ones(5), DAYS])
    fitted(lambda x: design @ x, design @ [1.0, 0.5], np.ones(5), [0.0, 0.0], calls=calls)
    assert set(calls[:-1]) == {3}  # the point and one step of each parameter
    assert calls[-1] == 4  # both sides of each, at the end
