"""A few of the random sites in every test run; all sixty are in test_sixty_sites.py."""

import filecmp

import numpy as np
import pytest
from site_generator import WALLS, write_site

from wellring.model.mf6.solve import MASS_BALANCE_LIMIT

FEW = (9, 10, 14, 30)
"""No wall; hanging wall, pumps that limit; into clay, no wells; no wall, screens that limit."""


@pytest.mark.parametrize("seed", FEW)
def test_a_random_site_converges_without_tuning(outcome, seed):
    found = outcome(seed, 2.0)
    assert not found.failure
    for stage in found.stages:
        assert abs(stage.solution.discrepancy) <= MASS_BALANCE_LIMIT, stage.name
        assert stage.settled is None or stage.settled.settled, stage.name
        heads = stage.heads[np.abs(stage.heads) < 1e20]
        assert heads.max() <= found.site.ground + 5.0, stage.name


def test_a_seed_is_one_site(tmp_path):
    for name in ("a", "b"):
        write_site(11, tmp_path / name)
    files = ["site.toml", "collars.csv", "layers.csv"]
    same, _, _ = filecmp.cmpfiles(tmp_path / "a", tmp_path / "b", files, shallow=False)
    assert same == files


def test_sixty_seeds_cover_the_ranges(tmp_path):
    sites = [write_site(seed, tmp_path / str(seed)) for seed in range(60)]
    k = np.concatenate([site.column.kh for site in sites])
    assert 1e-9 <= k.min() < 1e-8
    assert 1e-3 < k.max() <= 1e-2
    assert {site.column.kh.size for site in sites} == set(range(1, 9))
    assert {site.wall for site in sites} == set(WALLS)
    wells = [site.wells for site in sites]
    assert min(wells) == 0
    assert 30 <= max(wells) <= 40
    drawdown = [site.drawdown for site in sites]
    assert 0.99 <= min(drawdown) < 1.5
    assert 15 < max(drawdown) <= 20.01
    size = [site.size for site in sites]
    assert 9 <= min(size) < 15
    assert 120 < max(size) <= 151
