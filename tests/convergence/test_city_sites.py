"""Harsh city ground converges untuned, a third of the sites in time (see `city_generator`)."""

import statistics
from dataclasses import replace

import pytest
from chain import SITE_HEAD, site_row, solve_all, solve_site
from city_generator import GROUNDS, in_time, write_city
from limits_kept import faults_of

from wellring.inputs.basics.faults import InputFaults

SITES = 300
FEW = (1, 2, 5, 6)
"""Clay over an artesian aquifer, perched water, a closed box in gravel; 6 is followed in time."""


@pytest.mark.parametrize("seed", FEW)
def test_city_ground_converges(seed, tmp_path, solver):
    found = solve_site(seed, tmp_path, solver, 2.5, write_city)
    assert found.good, found.failure
    assert bool(found.phases) == in_time(seed)
    assert faults_of(found) == []


@pytest.mark.slow
@pytest.mark.parametrize("coarser", [2.5, 1.0])
def test_all_city_sites_converge(coarser, tmp_path, solver):
    def solved(seed):
        try:
            return solve_site(seed, tmp_path / str(seed), solver, coarser, write_city)
        except InputFaults as error:  # a random trench in no modelled ground
            print(f"| seed {seed} refused: {error}")
            return None

    print(f"\n\nSizes {coarser:g} times the default\n\n| ground {SITE_HEAD}")
    found = []
    for one in solve_all(solved, range(SITES)):
        if one is None:
            continue
        ground = GROUNDS[one.site.seed % len(GROUNDS)]
        print(f"| {ground.__name__ if ground else 'random'} {site_row(one)}", flush=True)
        found.append(replace(one, stages=[]) if one.good and not faults_of(one) else one)
    times = [one.seconds for one in found]
    print(f"\nmedian {statistics.median(times):.0f} s, longest {max(times):.0f} s")
    assert len(found) > 0.95 * SITES
    bad = [one.site.seed for one in found if not one.good or one.stages]
    assert not bad, f"seeds {bad} did not converge, close a budget or keep a limit"
