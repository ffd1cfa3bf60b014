"""C32: a trench whose level falls suddenly. Edelman (1947); Carslaw and Jaeger (1959).

q = s0·√(S·T/(π·t)) on each side, s = s0·erfc(x·√(S/(4·T·t))); T 86.4 m²/d, S 0.2, s0 3 m. The
trench is a level held in the sand that a CSV file lowers within a second; the sand stays full, as
the formula wants it, and stores like an open one.
"""

import numpy as np
from scipy.special import erfc

DAY = 86400.0
T, S, FALL, THICK = 86.4, 0.2, 3.0, 10.0
HALF_WIDTH, WIDTH = 1.0, 40.0


def test_sudden_fall(solve, check_site, within):
    k = T / THICK / DAY
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("clay", -20.0), ("sand", -30.0)],
            soils={
                "clay": {"kh": 1e-13, "kv": 1e-13},
                "sand": {"kh": k, "kv": k, "ss": S / THICK},
            },
            level=-1.0,
            pit=check_site.square(5.0),
            source_distance=1500.0,
            strip=(-WIDTH / 2, WIDTH / 2),
            boundaries=[
                {
                    "kind": "fixed_head",
                    "polygon": [
                        (-HALF_WIDTH, -WIDTH),
                        (HALF_WIDTH, -WIDTH),
                        (HALF_WIDTH, WIDTH),
                        (-HALF_WIDTH, WIDTH),
                    ],
                    "head": "trench.csv",
                    "soils": ["sand"],
                }
            ],
            files={"trench.csv": "day,head\n-1,-1.0\n0,-1.0\n0.00001,-4.0\n200,-4.0\n"},
            points={"aside": (50.0 + HALF_WIDTH, 0.0, -25.0)},
            stages=[{"name": "low", "day": 0, "lasts": 100}],
            time={"first_step": 0.01},
        )
    )
    (phase,) = solved.folder.ledger.phases
    day, rates = solved.folder.budget_in_time(phase)
    taken = rates["CHD_1_OUT"] * DAY / (2 * WIDTH)
    for t in (1, 10, 100):
        got = np.exp(np.interp(np.log(t), np.log(day), np.log(taken)))
        within(f"q of one side, {t} d [m²/d]", got, FALL * np.sqrt(S * T / (np.pi * t)), 4)
    s = FALL * erfc(50 * np.sqrt(S / (4 * T * 10)))
    within("s at 50 m, 10 d", -1 - solved.level_in_time("aside", 10), s, 3)
    volume = np.sum(taken * np.diff(day, prepend=0.0) * (day <= 10.0))
    until = day[day <= 10.0][-1]
    within("volume of one side [m²]", volume, 2 * FALL * np.sqrt(S * T * until / np.pi), 3)
