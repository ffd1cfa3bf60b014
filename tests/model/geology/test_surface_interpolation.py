"""Interpolation between scattered points: exact at the data, bounded away from them."""

from __future__ import annotations

import warnings

import gstools
import numpy as np
import pytest

from wellring.model.geology.surface_interpolation import METHODS, interpolate
from wellring.model.geology.variogram import extent_of, fit_variogram

UTM = (412_000.0, 5_642_000.0)


def scattered(count: int, seed: int, extent: float = 200.0):
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, extent, (2, count))
    return x + UTM[0], y + UTM[1], random.normal(-5, 2, count)


def rectangle(x0: float, x1: float, y0: float, y1: float, count: int = 25):
    x, y = np.meshgrid(np.linspace(x0, x1, count), np.linspace(y0, y1, count))
    return x.ravel() + UTM[0], y.ravel() + UTM[1]


LAYOUTS = {
    "one": ([3.0], [4.0]),
    "two": ([0.0, 30.0], [0.0, 10.0]),
    "three": ([0.0, 30.0, 10.0], [0.0, 10.0, 25.0]),
    "collinear": ([0.0, 10.0, 20.0, 35.0, 50.0, 70.0, 90.0], [0.0, 5.0, 10.0, 17.5, 25, 35, 45]),
    "nearly collinear": (
        [0.0, 10.0, 20.0, 35.0, 50.0, 70.0, 90.0],
        [0.1, 0.0, 0.2, 0.0, 0.1, 0, 0],
    ),
    "regular grid": (np.tile(np.arange(5) * 20.0, 4), np.repeat(np.arange(4) * 20.0, 5)),
    "turned grid": (
        np.tile(np.arange(5), 4) * 17.1 - np.repeat(np.arange(4), 5) * 9.3,
        np.tile(np.arange(5), 4) * 9.3 + np.repeat(np.arange(4), 5) * 17.1,
    ),
}


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_data_are_reproduced_and_far_values_stay_bounded(method: str, layout: str):
    x, y = (np.asarray(a, dtype=float) for a in LAYOUTS[layout])
    x, y = x + UTM[0], y + UTM[1]
    values = np.random.default_rng(1).normal(-6, 2, x.size)
    at_data, _ = interpolate(method, x, y, values, x, y)
    np.testing.assert_allclose(at_data, values, atol=1e-6, rtol=0)
    far, _ = interpolate(method, x, y, values, *rectangle(-2000, 2000, -2000, 2000))
    spread = max(float(np.ptp(values)), 1e-9)
    assert far.min() >= values.min() - spread
    assert far.max() <= values.max() + spread


@pytest.mark.parametrize("method", ["kriging", "linear"])
def test_a_plane_is_recovered_inside_the_borings(method: str):
    x, y, _ = scattered(25, 2)
    plane = lambda px, py: -4 + 0.03 * (px - UTM[0]) - 0.02 * (py - UTM[1])  # noqa: E731
    xq, yq = rectangle(70, 130, 70, 130)
    found, _ = interpolate(method, x, y, plane(x, y), xq, yq)
    np.testing.assert_allclose(found, plane(xq, yq), atol=1e-6)


def test_linear_agrees_with_the_triangle_by_hand():
    x, y, values = np.array([0.0, 10, 0]), np.array([0.0, 0, 10]), np.array([1.0, 3, 5])
    # inside: 1 + 0.2 x + 0.4 y; outside: the nearest point of the rim
    xq, yq = np.array([2.0, 5, 10, -7, 30]), np.array([3.0, -4, 10, 5, -5])
    found, _ = interpolate("linear", x, y, values, xq, yq)
    np.testing.assert_allclose(found, [2.6, 2.0, 4.0, 3.0, 3.0], atol=1e-12)


@pytest.mark.parametrize("method", ["kriging", "linear"])
def test_surfaces_are_continuous_across_the_rim_of_the_borings(method: str):
    x, y, values = scattered(20, 3)
    along = np.linspace(-400, 600, 20001) + UTM[0]
    found, _ = interpolate(method, x, y, values, along, np.full(along.size, 105.0 + UTM[1]))
    # 5 cm steps: a jump would show as more than a slope of 2 m/m
    assert np.abs(np.diff(found)).max() < 0.1


def test_a_steep_plane_does_not_run_away():
    x, y, _ = scattered(20, 4)
    values = -5 + 0.1 * (x - UTM[0]) + np.random.default_rng(5).normal(0, 0.2, x.size)
    xq, yq = rectangle(-5000, 5000, -5000, 5000, 41)
    found, _ = interpolate("kriging", x, y, values, xq, yq)
    extent = np.hypot(np.ptp(x), np.ptp(y))
    assert found.max() < values.max() + 0.1 * 0.5 * extent + 1.5
    assert found.min() > values.min() - 0.1 * 0.5 * extent - 1.5
    # but just outside the slope goes on
    just_outside, _ = interpolate(
        "kriging", x, y, values, np.array([UTM[0] + 240.0]), np.array([UTM[1] + 100.0])
    )
    assert just_outside[0] == pytest.approx(-5 + 0.1 * 240, abs=1.5)


def test_range_is_bounded_on_sloping_values():
    # The mean is all that is taken out here, so the slope leaves no sill to be found.
    x, y, _ = scattered(40, 6)
    values = 0.2 * (x - UTM[0])
    variogram = fit_variogram(x, y, values - values.mean())
    assert variogram.range <= 1.25 * np.hypot(np.ptp(x), np.ptp(y))
    assert variogram.sill == pytest.approx(np.var(values, ddof=1))


def test_range_of_a_known_random_field_is_found():
    # 400 points of a spherical field of range 60 m and variance 4, by Cholesky factorisation.
    random = np.random.default_rng(7)
    x, y = random.uniform(0, 400, (2, 400))
    h = np.hypot(x[:, None] - x, y[:, None] - y) / 60.0
    covariance = 4.0 * np.where(h < 1, 1 - 1.5 * h + 0.5 * h**3, 0.0)
    values = np.linalg.cholesky(covariance + 1e-10 * np.eye(400)) @ random.normal(size=400)
    variogram = fit_variogram(x, y, values)
    assert 40 < variogram.range < 90


@pytest.mark.parametrize("count", [7, 15])
def test_kriging_agrees_with_its_system_of_equations_solved_directly(count: int):
    # Ordinary kriging system, written out: [C 1; 1' 0] [w; mu] = [c; 1].
    x, y, values = scattered(count, 8)
    xq, yq = rectangle(-50, 250, -50, 250, 9)
    variogram = fit_variogram(x, y, values - values.mean())

    def covariance(distance: np.ndarray) -> np.ndarray:
        h = distance / variogram.range
        return variogram.sill * np.where(h < 1, 1 - 1.5 * h + 0.5 * h**3, 0.0)

    left = np.ones((count + 1, count + 1))
    left[:-1, :-1] = covariance(np.hypot(x[:, None] - x, y[:, None] - y))
    left[-1, -1] = 0.0
    right = np.ones((count + 1, xq.size))
    right[:-1] = covariance(np.hypot(x[:, None] - xq, y[:, None] - yq))
    weights = np.linalg.solve(left, right)
    expected = weights[:-1].T @ values
    variance = variogram.sill - np.sum(weights * right, axis=0)

    found, std = interpolate("kriging", x, y, values, xq, yq, with_std=True, trend=False)
    np.testing.assert_allclose(found, expected, atol=1e-8)
    np.testing.assert_allclose(std, np.sqrt(np.maximum(variance, 0)), atol=1e-6)


def test_kriging_std_is_zero_at_the_data_and_grows_away():
    x, y, values = scattered(20, 9)
    _, at_data = interpolate("kriging", x, y, values, x, y, with_std=True)
    assert at_data is not None
    np.testing.assert_allclose(at_data, 0.0, atol=1e-6)
    east = x.argmax()
    reach = fit_variogram(x, y, values - values.mean()).range
    steps = x[east] + reach * np.array([0.01, 0.05, 0.2, 0.8, 3.0])
    _, std = interpolate("kriging", x, y, values, steps, np.full(5, y[east]), with_std=True)
    assert std is not None
    assert (np.diff(std)[:3] > 0).all()
    assert std[4] >= std[3] > 0  # beyond the range nothing is known but the mean


def test_std_is_unknown_with_few_points_and_absent_for_other_methods():
    x, y, values = np.array([0.0, 10, 20]), np.array([0.0, 8, 1]), np.array([1.0, 2, 3])
    _, std = interpolate("kriging", x, y, values, np.array([0.0, 5]), np.zeros(2), with_std=True)
    assert std is not None
    assert std[0] == 0
    assert np.isnan(std[1])
    for method in ("linear", "nearest"):
        assert interpolate(method, x, y, values, x, y, with_std=True)[1] is None


@pytest.mark.parametrize("method", METHODS)
def test_borings_at_one_place_take_their_mean(method: str):
    x, y, values = scattered(12, 10)
    x, y, values = np.append(x, x[3]), np.append(y, y[3]), np.append(values, values[3] + 1.0)
    found, _ = interpolate(method, x, y, values, x, y)
    assert found[3] == pytest.approx(values[3] + 0.5, abs=1e-6)
    np.testing.assert_allclose(np.delete(found, [3, 12]), np.delete(values, [3, 12]), atol=1e-6)


@pytest.mark.parametrize("method", METHODS)
def test_order_of_points_does_not_matter(method: str):
    x, y, values = scattered(30, 11)
    xq, yq = rectangle(-100, 300, -100, 300, 12)
    shuffle = np.random.default_rng(12).permutation(30)
    one = interpolate(method, x, y, values, xq, yq, with_std=True)
    other = interpolate(method, x[shuffle], y[shuffle], values[shuffle], xq, yq, with_std=True)
    np.testing.assert_array_equal(one[0], other[0])


def test_equal_values_give_a_level_surface_without_spread():
    x, y, _ = scattered(10, 13)
    xq, yq = rectangle(-100, 300, -100, 300, 5)
    found, std = interpolate("kriging", x, y, np.full(10, -7.0), xq, yq, with_std=True)
    np.testing.assert_allclose(found, -7.0, atol=1e-12)
    np.testing.assert_array_equal(std, 0.0)


def test_wrong_input_is_refused():
    one = np.zeros(1)
    with pytest.raises(ValueError, match="kriging, linear, nearest"):
        interpolate("splines", one, one, one, one, one)
    with pytest.raises(ValueError, match="n ≥ 1"):
        interpolate("linear", np.zeros(0), np.zeros(0), np.zeros(0), one, one)
    with pytest.raises(ValueError, match="finite"):
        interpolate("linear", one, one, np.full(1, np.nan), one, one)
    with pytest.raises(ValueError, match="one shape"):
        interpolate("linear", one, one, one, one, np.zeros(2))


@pytest.mark.parametrize("count", [0, 1])
def test_the_extent_of_fewer_than_two_points_is_refused(count: int):
    few = np.full(count, 3.0)
    for asked in (lambda: extent_of(few, few), lambda: fit_variogram(few, few, few)):
        with pytest.raises(ValueError, match=f"needs at least two of them, not {count}"):
            asked()
    assert extent_of(np.array([0.0, 3.0]), np.array([0.0, 4.0])) == 5.0


def test_kriging_and_its_deviation_are_those_of_an_independent_library():
    # GSTools solves the same kriging equations point by point.
    rng = np.random.default_rng(8)
    x, y = rng.uniform(0.0, 400.0, (2, 230))
    values = np.sin(x / 60.0) + np.cos(y / 40.0) + 0.2 * rng.normal(size=x.size)
    xq, yq = rng.uniform(-300.0, 700.0, (2, 300))
    got, std = interpolate("kriging", x, y, values, xq, yq, with_std=True, trend=False)
    residuals = values - values.mean()
    fitted = fit_variogram(x, y, residuals)
    model = gstools.Spherical(dim=2, var=fitted.sill, len_scale=fitted.range, hankel_kw={"N": 10})
    field, variance = gstools.krige.Ordinary(model, (x, y), residuals)((xq, yq), return_var=True)
    np.testing.assert_allclose(got, values.mean() + field, atol=1e-9)
    np.testing.assert_allclose(std, np.sqrt(np.maximum(variance, 0.0)), atol=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_the_fitted_range_is_that_of_an_independent_library(seed):
    """GSTools with the same bins, weights and bounds: fields of known and of no structure."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0.0, 300.0, (2, int(rng.integers(10, 120))))
    values = rng.normal(size=x.size)
    if seed % 2:  # a range of 90 m
        away = np.hypot(x[:, None] - x, y[:, None] - y)
        lag = np.minimum(away / 90.0, 1.0)
        values = np.linalg.cholesky(1 - 1.5 * lag + 0.5 * lag**3 + 1e-9 * np.eye(x.size)) @ values
    values -= values.mean()
    extent = np.hypot(x[:, None] - x, y[:, None] - y).max()
    apart = np.sort(np.hypot(x[:, None] - x, y[:, None] - y), axis=1)[:, 1].mean()
    model = gstools.Spherical(dim=2, len_scale=0.5, hankel_kw={"N": 10})
    model.set_arg_bounds(check_args=False, len_scale=[apart / extent, 1.25])
    bins = np.linspace(0, 0.7, int(np.clip(np.sqrt(x.size * (x.size - 1) / 2), 4, 15)) + 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        centre, gamma, pairs = gstools.vario_estimate(
            (x / extent, y / extent), values / values.std(ddof=1), bins, return_counts=True
        )
        some = pairs > 0
        model.fit_variogram(
            centre[some],
            gamma[some],
            sill=1.0,
            nugget=False,
            init_guess={"len_scale": 0.5},
            weights=np.sqrt(pairs[some]),
        )
    fitted = fit_variogram(x, y, values)
    assert fitted.range == pytest.approx(model.len_scale * extent, rel=1e-4)
    assert fitted.sill == pytest.approx(values.var(ddof=1))
