"""Settlement by the textbooks' formulas: effective stress, oedometer laws, Terzaghi in time.

Sources: Terzaghi's series (tables of U and T_v as in every textbook: T_v 0.031, 0.126, 0.197,
0.287, 0.567, 0.848, 1.129 for U 0.2, 0.4, 0.5, 0.6, 0.8, 0.9, 0.95); the C_r–C_c line of NAVFAC
DM-7.1, ch. 5; exercises of Das, Principles of Foundation Engineering, each named where it is used.
"""

import numpy as np
import pytest

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.postprocess.run.run_folder import StageGrid
from wellring.postprocess.settlement.compressibility import Laws
from wellring.postprocess.settlement.consolidation import (
    consolidation_rate,
    degree_of_consolidation,
)
from wellring.postprocess.settlement.effective_stress import (
    Weights,
    effective_stress,
    pore_pressure,
)

YEAR = 365.25 * 86400


def column(*levels: float) -> StageGrid:
    """One column of cells between levels."""
    edges = np.array(levels, float)[:, None]
    return StageGrid(edges, np.ones((edges.size - 1, 1), bool))


def heads(grid: StageGrid, level: float) -> np.ndarray:
    return np.full(grid.active.shape, level)


def one_law(**given: float) -> Laws:
    values = {"mv": np.nan, "cc": 0.0, "cr": 0.0, "ocr": 1.0, "pop": 0.0, "cv": np.nan, "kv": 1e-9}
    arrays = {name: np.array([value]) for name, value in (values | given).items()}
    return Laws(**arrays, counted=np.array([True]))


def settle(law: Laws, height: float, before: float, after: float) -> float:
    unit = np.zeros((1, 1), np.int16)
    initial, now = np.array([[before]]), np.array([[after]])
    bears = law.preconsolidation(unit, initial)
    return height * law.strain(unit, initial, now, bears, np.maximum(bears, now)).item()


@pytest.mark.parametrize(
    ("u", "tv"),
    [
        (0.20, 0.0314159),
        (0.40, 0.125673),
        (0.50, 0.196731),
        (0.60, 0.286399),
        (0.80, 0.567164),
        (0.90, 0.848085),
        (0.95, 1.12901),
    ],
)
def test_degree_of_consolidation(u, tv, within):
    """C20: T_v of Terzaghi's series solved for U elsewhere; the tables have its first digits.

    0.02 % of U are at most 0.14 % of T_v, of the 0.5 % that C20 allows.
    """
    within("U", float(degree_of_consolidation(np.array(tv))), u, 0.02)


@pytest.mark.parametrize(("days", "published"), [(100, 3.56823), (500, 7.6395), (1000, 9.3126)])
def test_clay_between_lowered_aquifers(days, published, within):
    """C23: MODFLOW 6's example ex-gwf-csub-p02a (read), there a delay interbed; Terzaghi's series.

    1 m of clay, Kv 2.5e-6 m/d, inelastic specific storage 0.01 1/m = m_v·γ_w, heads above and below
    it lowered by 1 m at once. Followed by the model's own pressures in `test_csub.py`.
    """
    mv = 0.01 / WATER_UNIT_WEIGHT
    law = one_law(mv=mv, kv=2.5e-6 / 86400)
    cv = law.consolidation(np.zeros((1, 1), np.int16), np.array([[mv]])).item()
    final = settle(law, 1.0, 60e3, 60e3 + WATER_UNIT_WEIGHT)
    active, slow = np.ones((3, 1), bool), np.array([[False], [True], [False]])
    kv = np.array([[1e-3], [law.kv[0]], [1e-3]])
    rate, _ = consolidation_rate(active, slow, np.ones((3, 1)), kv, np.full((3, 1), cv))
    u = degree_of_consolidation(rate[1] * days * 86400).item()
    within(f"{days} d [mm]", 1e3 * final * u, published, 2)


def test_early_and_late_parts_of_the_series_meet():
    tv = np.linspace(0.0, 4.0, 4001)
    got = degree_of_consolidation(tv)
    terms = np.pi * (2 * np.arange(2000) + 1) / 2
    full = 1 - (2 / terms**2 * np.exp(-np.outer(tv, terms**2))).sum(axis=1)
    assert np.abs(got - full)[1:].max() < 1.5e-5
    assert (np.diff(got) > 0).all()


def test_drained_soil_weighs_less_below_the_new_water_table(within):
    """C21 (c): γ_sat 20, γ_moist 18 kN/m³, water lowered by 4 m: 4·9.81 − 4·2 = 31.24 kPa."""
    grid = column(0.0, -1.0, -5.0, -9.0)
    weights = Weights(np.array([20e3]), np.array([2e3 / WATER_UNIT_WEIGHT]))
    unit = np.zeros(grid.active.shape, np.int16)
    before = effective_stress(grid, heads(grid, -1.0), unit, weights)
    after = effective_stress(grid, heads(grid, -5.0), unit, weights)
    exact = 4 * WATER_UNIT_WEIGHT - 4 * 2e3
    within("below", float((after - before)[2, 0]), exact, 1e-6)
    within("with 9.81", exact / 1e3, 31.24, 0.1)
    # In the drained cell itself, in its middle: half of it.
    within("between", float((after - before)[1, 0]), exact / 2, 1e-6)
    assert after[0, 0] == before[0, 0]


def test_partly_wet_cells_bear_the_mean_of_their_pressure():
    grid = column(0.0, -4.0)
    for level in (3.0, 0.0, -1.0, -2.5, -4.0, -9.0):
        z = np.linspace(-4.0, 0.0, 40001)
        exact = WATER_UNIT_WEIGHT * np.trapezoid(np.maximum(level - z, 0), z) / 4
        assert pore_pressure(grid, heads(grid, level)).item() == pytest.approx(exact, rel=1e-6)


def test_oedometer_clay_lowered_on_both_sides(within):
    """C21: H 6 m, m_v 0.3 m²/MN, Δh 3 m, c_v 2 m²/year, drained at both ends."""
    law = one_law(mv=0.3e-6)
    final = settle(law, 6.0, 60e3, 60e3 + 3 * WATER_UNIT_WEIGHT)
    within("final", final * 1e3, 52.974, 0.1)
    active = np.ones((3, 1), bool)
    slow = np.array([[False], [True], [False]])
    kv = np.array([[1e-4], [1e-9], [1e-4]])
    cv = np.full((3, 1), 2.0 / YEAR)
    rate, ends = consolidation_rate(active, slow, np.array([[5.0], [6.0], [5.0]]), kv, cv)
    assert ends[1, 0] == 2
    assert np.isinf(rate[0, 0])
    for years, expected in ((1.0, 28.1241), (0.25, 14.089)):
        u = degree_of_consolidation(rate[1, :] * years * YEAR)
        within(f"{years} years", float(final * 1e3 * u[0]), expected, 0.1)
    within("U after t90", float(degree_of_consolidation(rate[1, :] * 3.81638 * YEAR)[0]), 0.9, 0.02)


def test_subdividing_a_clay_changes_nothing_and_a_floor_closes_it():
    kv, thick = np.full((4, 1), 1e-9), np.full((4, 1), 1.5)
    cv, slow = np.full((4, 1), 1e-7), np.ones((4, 1), bool)
    rate, ends = consolidation_rate(slow, slow, thick, kv, cv)
    assert (ends == 1).all()  # the ground surface drains, the model's floor does not
    assert rate == pytest.approx(np.full((4, 1), 1e-7 / 6.0**2))
    # Two clays on one another: transformed heights 3/√c₁ + 3/√c₂.
    cv = np.array([[1e-7], [1e-7], [4e-7], [4e-7]])
    rate, _ = consolidation_rate(slow, slow, thick, kv, cv)
    exact = 1 / (3 / np.sqrt(1e-7) + 3 / np.sqrt(4e-7)) ** 2
    assert rate == pytest.approx(np.full((4, 1), exact))


def test_a_pinched_cell_between_does_not_part_a_clay():
    active = np.array([[True], [True], [False], [True], [True]])
    slow = np.array([[False], [True], [False], [True], [False]])
    kv = np.array([[1e-4], [1e-9], [1e-4], [1e-9], [1e-4]])
    thick = np.array([[2.0], [2.0], [0.0], [2.0], [2.0]])
    rate, ends = consolidation_rate(active, slow, thick, kv, np.full((5, 1), 1e-7))
    assert (ends[slow] == 2).all()
    assert rate[slow] == pytest.approx(1e-7 / 2.0**2)


@pytest.mark.parametrize(
    ("above", "below", "ends"),
    [(1e-8, 1e-8, 2), (1e-8, 9e-9, 1), (9e-9, 9e-9, 0), (1e-4, 1e-10, 1)],
)
def test_a_neighbour_drains_if_ten_times_more_pervious(above, below, ends):
    active, slow = np.ones((3, 1), bool), np.array([[False], [True], [False]])
    kv = np.array([[above], [1e-9], [below]])
    rate, found = consolidation_rate(active, slow, np.full((3, 1), 4.0), kv, np.full((3, 1), 1e-7))
    assert found[1, 0] == ends
    # With neither end open it is taken as drained at one.
    assert rate[1, 0] == pytest.approx(1e-7 * max(ends, 1) ** 2 / 4.0**2)


def test_compression_index_with_preconsolidation(within):
    """C22: H 5 m, e0 1.1, Cc 0.45, Cr 0.06, 60 → 100 kPa; σ'_p 80 kPa, then 60 kPa."""
    lines = {"cc": 0.45 / 2.1, "cr": 0.06 / 2.1}
    within("80 kPa", 1e3 * settle(one_law(**lines, ocr=80 / 60), 5.0, 60e3, 100e3), 121.681, 0.01)
    within("pop", 1e3 * settle(one_law(**lines, pop=20e3), 5.0, 60e3, 100e3), 121.681, 0.01)
    within("60 kPa", 1e3 * settle(one_law(**lines), 5.0, 60e3, 100e3), 237.695, 0.01)


def test_normally_consolidated_clay_under_sand(within):
    """A solved homework after Das, Principles of Foundation Engineering (SHW12, 2012, read).

    2 m of sand of 16.4 kN/m³ over 1.5 m of it under water (20.1) over 2.5 m of clay (17.6, e0
    1.2, Cc 0.315): in the clay's middle σ 85.0, u 27.0, σ' 58.0 kPa; Δσ' 140 kPa gives 191 mm.
    """
    grid = column(0.0, -2.0, -3.5, -6.0)
    unit = np.array([[0], [0], [1]], np.int16)
    weights = Weights(np.array([20.1e3, 17.6e3]), np.array([3.7e3 / WATER_UNIT_WEIGHT, 0.0]))
    water = heads(grid, -2.0)
    within("u", float(pore_pressure(grid, water)[2, 0]) / 1e3, 27.0, 0.2)
    stress = float(effective_stress(grid, water, unit, weights)[2, 0])
    within("effective", stress / 1e3, 58.0, 0.2)
    got = settle(one_law(cc=0.315 / 2.2, cr=0.06 / 2.2), 2.5, stress, stress + 140e3)
    within("settlement", got * 1e3, 191.0, 0.2)


def test_overconsolidated_clay_on_rock(within):
    """Das, Principles of Foundation Engineering, problem 2.13 (its statement read; solved by hand).

    2 m of sand of 17 kN/m³ above the water, 3 m of it below (20), 3 m of clay on rock: w 22.5 %,
    G_s 2.72, σ'_c 110 kPa, Cc 0.52, Cs 0.06, 40 kPa of fill. e0 = 0.612, γ_sat = 20.28 kN/m³,
    σ'0 = 34 + 30.6 + 15.7 = 80.3 kPa: 3/1.612·(0.06·lg(110/80.3) + 0.52·lg(120.3/110)) = 52.8 mm.
    """
    e0 = 0.225 * 2.72
    clay = (2.72 + e0) / (1 + e0) * WATER_UNIT_WEIGHT
    grid = column(0.0, -2.0, -5.0, -8.0)
    unit = np.array([[0], [0], [1]], np.int16)
    weights = Weights(np.array([20e3, clay]), np.array([3e3 / WATER_UNIT_WEIGHT, 0.0]))
    stress = float(effective_stress(grid, heads(grid, -2.0), unit, weights)[2, 0])
    within("effective", stress / 1e3, 80.3, 0.1)
    law = one_law(cc=0.52 / (1 + e0), cr=0.06 / (1 + e0), pop=110e3 - stress)
    within("settlement", settle(law, 3.0, stress, stress + 40e3) * 1e3, 52.8, 0.3)


def test_gravelly_sand_lowered_for_a_dig(within):
    """Das, Principles of Foundation Engineering, problem 2.9 (its statement read; by hand).

    10 m of gravelly sand (17 and 20 kN/m³) on soft clay, water lowered from 1 to 3 m below the
    ground: at the clay's top σ' rises by 2·9.81 − 2·(20 − 17) = 13.6 kPa.
    """
    grid = column(0.0, -1.0, -3.0, -10.0, -10.001)
    weights = Weights(np.array([20e3]), np.array([3e3 / WATER_UNIT_WEIGHT]))
    unit = np.zeros(grid.active.shape, np.int16)
    before, after = (
        effective_stress(grid, heads(grid, level), unit, weights) for level in (-1.0, -3.0)
    )
    within("rise", float((after - before)[3, 0]) / 1e3, 2 * 9.81 - 2 * 3, 0.1)


LIGHT = WATER_UNIT_WEIGHT / 10e3
"""Ours over the 10 kN/m³ of water that the next examples take; their weights are scaled by it."""


@pytest.mark.parametrize(("level", "published"), [(0.0, 27.0), (2.0, 27.0), (-1.0, 37.0)])
def test_water_table_moves_over_a_clay(within, level, published):
    """A lecture's worked example on changes of the water table (2020, scribd 444291394, read).

    3 m of silty sand of 19 kN/m³, wet or not, on clay; water at the ground, 2 m above it and 1 m
    below it: effective stress at the clay's top 27, 27 and 37 kPa. Above the ground the water
    weighs on it and presses in it alike.
    """
    grid = column(0.0, -1.0, -3.0, -3.001)
    weights = Weights(np.array([19e3 * LIGHT]), np.array([0.0]))
    unit = np.zeros(grid.active.shape, np.int16)
    stress = effective_stress(grid, heads(grid, level), unit, weights)[2, 0]
    stress += max(level, 0.0) * WATER_UNIT_WEIGHT
    within("effective", float(stress) / LIGHT / 1e3, published, 0.1)


@pytest.mark.parametrize(("moist", "rise", "settled"), [(20.0, 100.0, 125.0), (18.0, 80.0, 100.0)])
def test_clay_under_sand_drained_for_years(within, moist, rise, settled):
    """An exam's question (GATE, civil engineering; interviewmania.com 91149 and 91150, read).

    Water lowered from 5 to 15 m below the ground by pumping, sand of 20 kN/m³ wet and 18 drained
    on 5 m of clay of m_v 0.25 m²/MN. The answer printed there, 100 kPa and 125 mm, forgets that
    drained sand weighs less; with it 80 kPa and 100 mm, both among the choices, by hand.
    """
    grid = column(0.0, -5.0, -15.0, -20.0, -25.0)
    loss = (20.0 - moist) * 1e3 * LIGHT / WATER_UNIT_WEIGHT
    weights = Weights(np.array([20e3, 20e3]) * LIGHT, np.array([loss, 0.0]))
    unit = np.array([[0], [0], [0], [1]], np.int16)
    before, after = (
        float(effective_stress(grid, heads(grid, level), unit, weights)[3, 0]) / LIGHT
        for level in (-5.0, -15.0)
    )
    within("rise", (after - before) / 1e3, rise, 0.1)
    within("settlement", 1e3 * settle(one_law(mv=0.25e-6), 5.0, before, after), settled, 0.1)


def test_pumped_clay_under_a_fill(within):
    """A university's class example (Foundation Engineering, example 8; scribd 268950952, read).

    12 m of normally consolidated clay (G 2.65, w 37.8 %) full of water; pumping lowers it by 4 m,
    the clay stays saturated; 1.5 m of fill of 16.7 kN/m³: it settled by 550 mm. Asked is C_c, by
    hand 0.25: γ 17.9 kN/m³, in the middle 48.5 kPa before and 112.8 after, 1 + e0 = 2.00.
    """
    void = 2.65 * 0.378
    clay = WATER_UNIT_WEIGHT * (2.65 + void) / (1 + void)
    grid = column(0.0, -4.0, -8.0, -12.0)  # the middle one's mean is that of the clay's middle
    weights = Weights(np.array([clay]), np.array([0.0]))
    unit = np.zeros(grid.active.shape, np.int16)
    before, after = (
        float(effective_stress(grid, heads(grid, level), unit, weights)[1, 0])
        for level in (0.0, -4.0)
    )
    within("before", before / 1e3, 48.5, 0.2)
    within("after", after / 1e3 + 1.5 * 16.7, 112.8, 0.2)
    law = one_law(cc=0.25 / (1 + void), cr=0.05)
    within("settlement", 1e3 * settle(law, 12.0, before, after + 1.5 * 16.7e3), 550.0, 1.0)


def test_unloading_gives_back_only_the_reloading_part():
    """Loaded beyond σ'_p and back: what stays is (C_c − C_r)·lg(σ'_max/σ'_p)."""
    law, unit = one_law(cc=0.2, cr=0.02), np.zeros((1, 1), np.int16)
    start = np.array([[50e3]])
    bears = law.preconsolidation(unit, start)
    highest = np.maximum(bears, 100e3)
    back = law.strain(unit, start, start, bears, highest).item()
    assert back == pytest.approx(0.18 * np.log10(2.0))
