"""C31: the level in a well open to two aquifers that does not pump (Sokol 1963).

Case of MODFLOW 6's example ex-gwf-maw-p01, after Neville and Tonkin (2004): k 1 m/d, aquifers of
92.9 and 371.6 m under levels of 3.05 and 9.14 m; published 7.922 m. Thinner and more pervious here.
"""

DAY = 86400.0


def test_level_in_a_well_that_stands_still(solve, check_site, within):
    """h = ΣT·h/ΣT. Only the level told is tested: a well at rest joins no aquifers in the model."""
    half, thick = 5.0, 10.0
    upper, lower = 92.9 / thick / DAY, 371.6 / thick / DAY
    solved = solve(
        check_site(
            ground=10.0,
            layers=[("roof", 0.0), ("upper", -10.0), ("clay", -15.0), ("lower", -25.0)],
            soils={
                "roof": {"kh": 1e-12, "kv": 1e-12},
                "upper": {"kh": upper, "kv": upper},
                "clay": {"kh": 1e-12, "kv": 1e-12},
                "lower": {"kh": lower, "kv": lower},
            },
            level=3.05,
            levels={"lower": 9.14},
            pit=check_site.square(half),
            source_distance=check_site.source_from(half, 300.0),
            drainage=[
                {
                    "points": [(0, 0)],
                    "screen": [-25.0, 0.0],
                    "diameter": 0.3,
                    "hold": -20.0,
                    "rates": {"dug": 0.0},
                }
            ],
            grid={"cell": 2.0},
        )
    )
    (well,) = solved.wells
    within("level in the well", well.level[-1], 7.922, 0.1)
    within("upper aquifer at the well", solved.head("upper", 0.0, 0.0), 3.05, 0.1)
    within("lower aquifer at the well", solved.head("lower", 0.0, 0.0), 9.14, 0.1)
