"""A few of the random schemes in every test run; all forty are in test_forty_schemes.py."""

import filecmp

import pytest
from limits_kept import faults_of
from method_generator import MIXES, mix_of, write_scheme

FEW = (2, 7, 24, 29)
"""Wellpoints; deep and relief wells; vacuum wellpoints; deep wells and recharge trench."""
COARSER = 2.5


@pytest.mark.parametrize("seed", FEW)
def test_every_limit_holds_in_a_random_scheme(scheme_outcome, seed):
    assert faults_of(scheme_outcome(seed, COARSER)) == []


def test_a_seed_is_one_scheme(tmp_path):
    for name in ("a", "b"):
        write_scheme(13, tmp_path / name)
    files = ["site.toml", "collars.csv", "layers.csv"]
    same, _, _ = filecmp.cmpfiles(tmp_path / "a", tmp_path / "b", files, shallow=False)
    assert same == files


def test_forty_seeds_take_all_mixes_in_turn():
    assert [mix_of(seed) for seed in range(40)] == list(MIXES) * 4
