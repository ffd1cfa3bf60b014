"""Sixty random sites converge without tuning; the table of rungs is printed (pytest -s)."""

import pytest
from chain import SITE_HEAD, rung_counts, site_row, solve_all

from wellring.model.mf6.rungs import LADDER

SITES = 60


@pytest.mark.slow
@pytest.mark.parametrize("coarser", [2.0, 1.0])
def test_all_sixty_sites_converge(outcome, coarser):
    found = []
    print(f"\n\nSizes {coarser:g} times the default\n\n{SITE_HEAD}")
    for one in solve_all(lambda seed: outcome(seed, coarser), range(SITES)):
        found.append(one)
        print(site_row(one), flush=True)
    counts = rung_counts(found)
    print("\n| rung | stages solved |\n| --- | --- |")
    for rung in LADDER:
        print(f"| {rung.name} | {counts.get(rung.name, 0)} |")
    bad = [one.site.seed for one in found if not one.good]
    assert not bad, f"seeds {bad} did not converge, close their budget or settle their wells"
