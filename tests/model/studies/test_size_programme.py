"""The programme of sizing against answers that are known without it: brute force, small cases."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from wellring.model.studies.sizing.programme import (
    HOUR,
    Planned,
    Prices,
    Programme,
    StageProgramme,
    plan,
)
from wellring.model.studies.sizing.rows import Limit
from wellring.model.studies.sizing.search import cost_of

T, R = 1e-3, 300.0
"""Transmissivity [m²/s] and distance of the source [m] in Thiem's formula."""
NEED = 2.0
"""Lowering [m] asked at every control."""
MOST = 4e-3


def lowering(wells: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Lowering at each place for 1 m³/s of each well, (places, wells) [m/(m³/s)]."""
    r = np.hypot(*(places[:, None, :] - wells[None, :, :]).transpose(2, 0, 1))
    return np.log(R / np.maximum(r, 0.15)) / (2 * np.pi * T)


def stage(effect: np.ndarray, need: float = NEED, most: float = MOST) -> StageProgramme:
    places, wells = effect.shape
    return StageProgramme(
        list(range(wells)),
        np.zeros(wells),
        np.full(places, need),
        -effect,
        np.zeros(places, dtype=np.intp),
        np.full(wells, most),
    )


def solve(effects: list[np.ndarray], goal: str, **more: object) -> Planned:
    limits = [Limit("water below formation", "dry", 0)]
    wells = effects[0].shape[1]
    tables = [0] * wells
    needs = more.pop("needs", [NEED] * len(effects))
    stages = [stage(e, n) for e, n in zip(effects, needs, strict=True)]
    return plan(Programme(stages, limits, tables, goal, **more))  # type: ignore[arg-type]


@pytest.fixture
def grid() -> np.ndarray:
    """Six candidates on the two long sides of a pit and nine controls in it, on no symmetry."""
    wells = np.array([[-16.0, 11], [1, 12], [19, 10], [-14, -11], [3, -10], [20, -12]])
    places = np.array(list(itertools.product([-13.0, 1.0, 16.0], [-7.0, 0.5, 8.0])))
    return lowering(wells, places)


def test_least_pumping_is_that_of_a_brute_force_search(grid: np.ndarray) -> None:
    """Every well in 9 steps, 531,441 combinations; the programme must be no worse, and its answer
    no more than a step of one well below the best of them."""
    found = solve([grid], "pumping")
    assert found.feasible
    assert (grid @ found.flows[0]).min() >= NEED - 1e-6
    steps = np.linspace(0.0, MOST, 9)
    every = np.array(list(itertools.product(steps, repeat=6)))
    held = every[(every @ grid.T).min(axis=1) >= NEED]
    best = held.sum(axis=1).min()
    assert found.flows.sum() <= best + 1e-9
    assert found.flows.sum() > best - 2 * steps[1]


def test_fewest_wells_are_those_of_all_subsets(grid: np.ndarray) -> None:
    from scipy.optimize import linprog

    found = solve([grid], "wells")
    used = int((found.flows > 1e-9).any(axis=0).sum())
    possible = {}
    for count in range(1, 7):
        for subset in itertools.combinations(range(6), count):
            done = linprog(np.ones(count), A_ub=-grid[:, subset], b_ub=np.full(9, -NEED),
                           bounds=[(0, MOST)] * count)  # fmt: skip
            if done.success:
                possible[subset] = done.fun
    fewest = min(len(subset) for subset in possible)
    assert used == fewest < 6
    least = min(flow for subset, flow in possible.items() if len(subset) == fewest)
    assert found.flows.sum() == pytest.approx(least, rel=2e-3)
    assert solve([grid], "pumping").flows.sum() <= least + 1e-9


def test_a_well_counts_once_over_all_stages(grid: np.ndarray) -> None:
    both = solve([grid, grid], "wells", needs=[0.5, NEED])
    alone = solve([grid], "wells")
    assert both.objective == alone.objective
    used = both.flows > 1e-9
    assert used.any(axis=0).sum() == used[1].sum()


def test_a_symmetric_ring_pumps_alike() -> None:
    angle = np.arange(8) * np.pi / 4
    wells = 20.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    places = np.vstack([14.0 * np.column_stack([np.cos(a), np.sin(a)])
                        for a in (angle, angle + np.pi / 8)]).reshape(-1, 2)  # fmt: skip
    found = solve([lowering(wells, places)], "pumping").flows[0]
    np.testing.assert_allclose(found, found.mean(), rtol=1e-3)


def test_what_cannot_be_has_the_least_excess_of_the_limit_that_blocks(grid: np.ndarray) -> None:
    need = float((grid @ np.full(6, MOST)).min()) + 0.3
    found = solve([grid], "pumping", needs=[need])
    assert not found.feasible
    assert found.excess == {0: pytest.approx(0.3, abs=1e-4)}
    # All wells that the worst place asks for give their most.
    worst = int(np.argmin(grid @ np.full(6, MOST)))
    assert need - grid[worst] @ found.flows[0] == pytest.approx(0.3, abs=1e-4)


def test_the_dig_comes_before_the_neighbours(grid: np.ndarray) -> None:
    """A neighbour that allows half the lowering the dig needs: the dig stays dry, it is passed."""
    dig = stage(grid)
    far = np.full((1, 6), 100.0)
    allowed = 0.5 * 100.0 * solve([grid], "pumping").flows.sum()
    dig.rows = np.concatenate([dig.rows, [-allowed]])
    dig.jacobian = np.vstack([dig.jacobian, far])
    dig.limit = np.append(dig.limit, 1)
    limits = [Limit("dry", "dry", 0), Limit("well, drawdown", "neighbour", 0)]
    found = plan(Programme([dig], limits, [0] * 6))
    assert list(found.excess) == [1]
    assert found.excess[1] == pytest.approx(allowed, rel=1e-3)


def test_equal_rates_are_equal_and_no_better(grid: np.ndarray) -> None:
    alike = solve([grid], "pumping", equal=True).flows[0]
    np.testing.assert_allclose(alike, NEED / grid.sum(axis=1).min(), rtol=1e-6)
    assert alike.sum() >= solve([grid], "pumping").flows.sum()


def test_least_cost_weighs_wells_against_flow(grid: np.ndarray) -> None:
    """Dear wells: as few as can be; wells for nothing: the least pumping."""

    def prices(well: float, flow: float) -> Prices:
        return Prices(
            np.full(6, well), np.zeros(1), np.full((1, 6), flow), np.zeros(1), pumps_per_post=3
        )

    dear = solve([grid], "cost", prices=prices(1e6, 1.0))
    free = solve([grid], "cost", prices=prices(0.0, 1e6))
    fewest, least = solve([grid], "wells"), solve([grid], "pumping")
    assert (dear.flows > 1e-9).sum() == fewest.objective
    assert free.flows.sum() == pytest.approx(least.flows.sum(), rel=1e-5)
    assert free.objective == pytest.approx(cost_of(prices(0.0, 1e6), free.flows), rel=1e-5)


def test_posts_are_whole(grid: np.ndarray) -> None:
    """With 3 pumps a post a fourth pump costs a post: it is worth it only where it saves that."""
    wages = Prices(np.zeros(6), np.zeros(1), np.full((1, 6), 1.0), np.array([1e6]), 3)
    found = solve([grid], "cost", prices=wages)
    assert (found.flows > 1e-9).sum() <= 3
    assert found.objective == pytest.approx(cost_of(wages, found.flows), rel=1e-6)


def test_rows_of_a_fine_floor_are_all_kept() -> None:
    """Thousands of places, of which few are in the first programme."""
    rng = np.random.default_rng(1)
    wells = np.array([[-16.0, 11], [1, 12], [19, 10], [-14, -11], [3, -10], [20, -12]])
    places = rng.uniform([-14, -8], [17, 8], (4000, 2))
    effect = lowering(wells, places)
    found = solve([effect], "pumping").flows[0]
    assert (effect @ found).min() >= NEED - 1e-5
    assert found.sum() * HOUR < 6 * MOST * HOUR
