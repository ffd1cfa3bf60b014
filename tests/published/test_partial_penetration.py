"""C06: a well that reaches only the upper part of an aquifer. Series of Hantush (1961).

b 20 m, k 10 m/d isotropic, screen in the upper 8 m, 500 m³/d, r_w 0.2 m, no drawdown at 400 m.
"""

DAY = 86400.0


def test_partially_penetrating_well(solve, check_site, within):
    k, half = 10 / DAY, 10.0
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("clay", -20.0), ("sand", -40.0)],
            soils={"clay": {"kh": 1e-12, "kv": 1e-12}, "sand": {"kh": k, "kv": k}},
            level=-1.0,
            pit=check_site.square(half),
            source_distance=check_site.source_from(half, 400.0),
            drainage=[
                {"points": [(0, 0)], "screen": [-28, -20], "diameter": 0.4, "rate": 500 / DAY}
            ],
            points={"top": (10.0, 0.0, -20.1), "bottom": (10.0, 0.0, -39.9)},
        )
    )
    within("s in the well", -1 - solved.wells[0].level[-1], 4.9496, 5)
    within("s at 10 m, top", -1 - solved.answer("level.top"), 1.59001, 3)
    within("s at 10 m, bottom", -1 - solved.answer("level.bottom"), 1.35622, 3)
    within("s at 40 m, mean", -1 - solved.ring_head("sand", 40.0), 0.916169, 2)
