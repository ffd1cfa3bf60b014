"""C09: a well beside a straight, fully penetrating river. UFC 3-220-05 (2004), figure 4-17."""


def test_well_beside_river(solve, check_site, within):
    """s = Q/(2πT)·ln(r_image/r), T 1.2e-3 m²/s, Q 15 L/s, L 60 m, r_w 0.15 m.

    60 m of aquifer let the screen take in 15 L/s; the ground beyond the river is left out.
    """
    top, base = -20.0, -80.0
    k = 1.2e-3 / 60
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("clay", top), ("sand", base)],
            soils={"clay": {"kh": 1e-11, "kv": 1e-11}, "sand": {"kh": k, "kv": k}},
            level=-1.0,
            pit=check_site.square(10.0),
            source_distance=3000.0,
            boundaries=[
                {"kind": "fixed_head", "line": [(-60, -9000), (-60, 9000)], "head": -1.0},
                {"kind": "no_flow", "line": [(-70, -9000), (-70, 9000)]},
            ],
            drainage=[{"points": [(0, 0)], "screen": [base, top], "diameter": 0.3, "rate": 0.015}],
            points={"landward": (30.0, 0.0, -50.0), "alongside": (0.0, 30.0, -50.0)},
        )
    )
    within("s in the well", -1 - solved.wells[0].level[-1], 13.2986, 3)
    within("s 30 m landward", -1 - solved.head("sand", 30.0, 0.0), 3.20187, 2)
    within("s 30 m alongside", -1 - solved.head("sand", 0.0, 30.0), 2.81825, 2)
    within("s 30 m landward, an answer", -1 - solved.answer("level.landward"), 3.20187, 2)
    within("s 30 m alongside, an answer", -1 - solved.answer("level.alongside"), 2.81825, 2)
