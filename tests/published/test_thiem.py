"""C01 Thiem (1906): steady flow to a well that fully penetrates a confined aquifer.

s(r) = Q/(2πT)·ln(R/r). T 1e-3 m²/s, Q 10 L/s, R 300 m, well radius 0.15 m. The aquifer is made
40 m thick, because a screen of 10 m takes in no more than 6.3 L/s there (Sichardt); that limit is
checked below with the same formula as C27.
"""

import numpy as np
import pytest

T, Q, R, RADIUS = 1e-3, 0.010, 300.0, 0.15


def site(check_site, thickness, half):
    top, base = -20.0, -20.0 - thickness
    k = T / thickness
    return check_site(
        ground=0.0,
        layers=[("clay", top), ("sand", base)],
        soils={"clay": {"kh": 1e-11, "kv": 1e-11}, "sand": {"kh": k, "kv": k}},
        level=-1.0,
        pit=check_site.square(half),
        source_distance=check_site.source_from(half, R),
        drainage=[{"points": [(0, 0)], "screen": [base, top], "diameter": 2 * RADIUS, "rate": Q}],
        points={"far": (0.0, 60.0, 0.5 * (top + base))},
    )


@pytest.mark.parametrize("half", [2.5, 10.0])
def test_drawdown(solve, check_site, within, half):
    """A small shaft has plan cells narrower than its well; a larger pit has not."""
    solved = solve(site(check_site, 40.0, half))
    well = solved.wells[0]
    assert well.governing[-1] == "rate"
    within("flow", solved.answer("wells_total"), Q, 0.1)
    within("s at r = 10 m", -1 - solved.ring_head("sand", 10.0), 5.41317, 2)
    within("s at the well's face", -1 - well.level[-1], 12.0972, 3)
    expected = Q / (2 * np.pi * T) * np.log(R / 60)
    within("s at 60 m, an answer", -1 - solved.answer("level.far"), expected, 2)


def test_screen_takes_in_no_more_than_sichardt(solve, check_site, within):
    """Sichardt (1928), as in C27: i ≤ 1/(15·√k) at the borehole wall (value from memory)."""
    solved = solve(site(check_site, 10.0, 10.0))
    assert solved.wells[0].governing[-1] == "screen"
    most = 2 * np.pi * RADIUS * 10 * np.sqrt(1e-4) / 15
    within("flow", solved.answer("wells_total"), most, 0.2)
