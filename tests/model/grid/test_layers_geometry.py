"""Model layers: nothing of a soil is lost, every cell is one soil, every cut is an exact edge."""

import numpy as np
import pytest

from wellring.model.grid.graded import Key
from wellring.model.grid.layers import THINNEST, choose_planes, make_layers


def random_columns(seed, n=100, units=6, thinnest=0.0):
    """Levels (units+1, n) from the ground down; many units thin or pinched out."""
    rng = np.random.default_rng(seed)
    thick = rng.exponential(2.0, (units, n)) * (rng.random((units, n)) > 0.25)
    thick = np.where((thick > 0) & (thick < thinnest), thinnest, thick)
    thick[0] += 0.5
    thick[-1] += 0.5
    floor = -15.0 + rng.normal(0, 0.4, n)
    heights = np.cumsum(thick[::-1], axis=0)[::-1]
    return np.vstack([floor + heights, floor])


def planes_for(levels, cuts):
    low, high = float(levels[-1].min()), float(levels[0].max())
    keys = [Key(cut, cut, 0.4) for cut in cuts]
    return choose_planes(list(cuts), keys, low, high, 1.6, (high - low) / 8)


def unit_at(levels, column, z):
    """Which unit of the given levels holds level z, by walking down the column."""
    for unit in range(levels.shape[0] - 1):
        top, bottom = levels[unit, column], levels[unit + 1, column]
        if bottom <= z <= top and top > bottom:
            return unit
    raise AssertionError("z lies outside the column")


@pytest.mark.parametrize("seed", range(5))
def test_every_cell_is_one_soil_and_no_soil_is_lost(seed):
    levels = random_columns(seed, thinnest=0.06)
    layers = make_layers(levels, *planes_for(levels, (-12.0, -9.3, -7.0)))
    assert np.array_equal(layers.edges[0], levels[0])
    assert np.array_equal(layers.edges[-1], levels[-1])
    assert np.all(np.diff(layers.edges, axis=0) <= 0)
    thickness = np.where(layers.present, layers.thickness, 0.0)
    for unit in range(levels.shape[0] - 1):
        modelled = np.where(layers.unit == unit, thickness, 0.0).sum(axis=0)
        assert np.allclose(modelled, levels[unit] - levels[unit + 1], atol=1e-5)
    for column in range(0, levels.shape[1], 3):
        for layer in np.flatnonzero(layers.present[:, column]):
            top, bottom = layers.edges[layer, column], layers.edges[layer + 1, column]
            for part in (0.02, 0.5, 0.98):
                z = bottom + part * (top - bottom)
                assert unit_at(levels, column, z) == layers.unit[layer, column]


@pytest.mark.parametrize("seed", range(5))
def test_only_soils_under_five_centimetres_are_closed(seed):
    levels = random_columns(100 + seed)
    thin = np.random.default_rng(seed).random((4, levels.shape[1])) < 0.3
    for unit in range(1, 5):  # make some units 1 to 4 cm thick
        levels[unit + 1] = np.where(thin[unit - 1], levels[unit] - 0.01 * unit, levels[unit + 1])
    levels = np.minimum.accumulate(levels, axis=0)
    levels[-1] = levels[-2] - 0.5
    layers = make_layers(levels, *planes_for(levels, (-10.0,)))
    thickness = np.where(layers.present, layers.thickness, 0.0)
    assert np.allclose(thickness.sum(axis=0), levels[0] - levels[-1], atol=1e-5)
    given = -np.diff(levels, axis=0)
    lost = np.where(given < THINNEST, given, 0.0).sum(axis=0)
    for unit in range(given.shape[0]):
        modelled = np.where(layers.unit == unit, thickness, 0.0).sum(axis=0)
        assert np.all(np.abs(modelled - given[unit]) <= lost + 1e-5)
        assert np.all((modelled < 1e-5) | (modelled >= THINNEST - 1e-9))
    # A column without thin units is exact.
    whole = lost == 0
    assert whole.any()
    assert thickness[layers.present].min() > 0.02


def test_a_thin_soil_goes_to_the_one_below_and_the_lowest_to_the_one_above():
    levels = np.array([[0.0], [-2.0], [-2.03], [-6.0], [-6.04]])
    layers = make_layers(levels, np.zeros(0), np.zeros(0, bool))
    found = {
        int(u): t
        for u, t in zip(layers.unit[layers.present], layers.thickness[layers.present], strict=True)
    }
    assert found == pytest.approx({0: 2.0, 2: 4.04})


@pytest.mark.parametrize("seed", range(5))
def test_cuts_are_exact_edges_unless_a_soil_boundary_is_nearer_than_five_centimetres(seed):
    levels = random_columns(200 + seed)
    cuts = (-13.0, -11.1, -8.4, -5.0)
    layers = make_layers(levels, *planes_for(levels, cuts))
    checked = 0
    for cut in cuts:
        for column in range(levels.shape[1]):
            if not levels[-1, column] + 0.05 < cut < levels[0, column] - 0.05:
                continue
            apart = np.abs(layers.edges[:, column] - cut).min()
            if np.abs(levels[:, column] - cut).min() > THINNEST:
                assert apart < 1e-9
                checked += 1
            else:
                assert apart <= THINNEST + 1e-9
    assert checked > 100


def test_cells_are_no_thinner_than_four_centimetres():
    thinnest = []
    for seed in range(20):
        levels = random_columns(seed, thinnest=0.06)
        layers = make_layers(levels, *planes_for(levels, (-12.0, -9.0)))
        thinnest.append(layers.thickness[layers.present].min())
    assert min(thinnest) > 0.04


def test_a_dipping_soil_stays_connected_where_it_climbs_through_planes():
    """A 0.8 m sand dips 5 m over 100 columns: neighbours meet in some layer everywhere."""
    dip = np.linspace(-3.0, -8.0, 100)
    levels = np.vstack([np.zeros(100), dip, dip - 0.8, np.full(100, -12.0)])
    planes = np.arange(-11.5, 0.0, 0.5)
    layers = make_layers(levels, planes, np.zeros(planes.size, bool))
    sand = layers.present & (layers.unit == 1)
    together = sand[:, 1:] & sand[:, :-1]
    assert together.any(axis=0).all()
    # What meets in one layer lies at nearly one level: no cell is linked far up or down.
    step = np.abs(np.diff(layers.mid, axis=1))[layers.present[:, 1:] & layers.present[:, :-1]]
    assert step.max() < 0.5


def test_edges_follow_the_soils_without_leaps_where_only_cuts_are_made():
    dip = np.linspace(-3.0, -8.0, 400)
    levels = np.vstack([np.zeros(400), dip, dip - 0.8, np.full(400, -12.0)])
    cuts = np.array([-7.0, -5.5, -4.0])
    layers = make_layers(levels, cuts, np.ones(3, bool))
    slope = 5.0 / 399
    assert np.abs(np.diff(layers.edges, axis=1)).max() <= slope + THINNEST + 1e-9


def test_planes_hold_every_cut_inside_and_none_outside():
    planes, required = choose_planes(
        [-3.0, -3.02, 5.0, -50.0, -9.5], [Key(-3.0, -3.0, 0.3)], -12.0, 0.0, 1.6, 2.0
    )
    assert np.all(np.diff(planes) > 0)
    assert planes.min() > -12.0
    assert planes.max() < 0.0
    # -3.02 and -3.0 are one cut; what lies outside the ground is none.
    assert planes[required].tolist() == [-9.5, -3.02]
    spacing = np.diff(np.concatenate([[-12.0], planes, [0.0]]))
    assert spacing.max() < 2.0 * 1.5
    near = np.argmin(np.abs(planes + 3.02))
    assert planes[near + 1] - planes[near] < 0.5


def test_no_planes_leave_the_soils_as_layers():
    levels = np.array([[1.0, 1.0], [-2.0, 1.0], [-5.0, -5.0]])
    layers = make_layers(levels, np.zeros(0), np.zeros(0, bool))
    assert layers.present.tolist() == [[True, False], [True, True]]
    assert layers.unit[:, 0].tolist() == [0, 1]
