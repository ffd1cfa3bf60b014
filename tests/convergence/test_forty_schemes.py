"""Forty random schemes keep every limit of every method; the table is printed (pytest -s)."""

import pytest
from chain import SCHEME_HEAD, scheme_row, solve_all
from limits_kept import faults_of
from method_generator import mix_of

SCHEMES = 40
COARSER = 2.5


@pytest.mark.slow
def test_all_forty_schemes_keep_their_limits(scheme_outcome):
    bad = {}
    print(f"\n\nSizes {COARSER:g} times the default\n\n{SCHEME_HEAD}")
    solved = solve_all(lambda seed: scheme_outcome(seed, COARSER), range(SCHEMES))
    for seed, found in enumerate(solved):
        print(scheme_row(found, mix_of(seed)), flush=True)
        if faults := faults_of(found):
            bad[seed] = faults
    assert not bad, "\n".join(f"seed {seed}: {why}" for seed, why in bad.items())
