"""C16: equivalent conductivities of layered ground (textbook; NAVFAC DM-7).

Layers of 3, 5, 2 and 6 m with 1e-5, 2e-4, 5e-7 and 1e-4 m/s: along them 1.01938e-4, across them
3.6488e-6 m/s.
"""

WIDTH = 10.0
LAYERS = {"a": (3.0, 1e-5), "b": (5.0, 2e-4), "c": (2.0, 5e-7), "d": (6.0, 1e-4)}
DEPTH = sum(thickness for thickness, _ in LAYERS.values())


def stack(top):
    found = []
    for name, (thickness, _) in LAYERS.items():
        top -= thickness
        found.append((name, top))
    return found


def soils(**more):
    ks = {name: k for name, (_, k) in LAYERS.items()} | more
    return {name: {"kh": k, "kv": k} for name, k in ks.items()}


def test_along_the_layers(solve, check_site, within):
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("cover", -2.0), *stack(-2.0)],
            soils=soils(cover=1e-13),
            level=-1.0,
            edge="no flow",
            pit=check_site.box(-5, 5, 0, WIDTH),
            source_distance=80.0,
            strip=(0.0, WIDTH),
            boundaries=[
                {"kind": "fixed_head", "line": [(-50, -90), (-50, 90)], "head": -1.0},
                {"kind": "fixed_head", "line": [(50, -90), (50, 90)], "head": -1.5},
            ],
        )
    )
    within("Kh", solved.flow(0) * 100 / (0.5 * DEPTH * WIDTH), 1.01938e-4, 0.1)


def test_across_the_layers(solve, check_site, within):
    """Water on top in coarse gravel, a level held in gravel beneath."""
    everywhere = check_site.box(-90, 90, -90, 90)
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("cover", -1.0), *stack(-1.0), ("drain", -18.0)],
            soils=soils(cover=0.04, drain=0.04),
            level=-0.5,
            edge="no flow",
            pit=check_site.box(-5, 5, 0, WIDTH),
            source_distance=30.0,
            strip=(0.0, WIDTH),
            boundaries=[
                {"kind": "fixed_head", "polygon": everywhere, "head": -0.5, "soils": ["cover"]},
                {"kind": "fixed_head", "polygon": everywhere, "head": -0.8, "soils": ["drain"]},
            ],
        )
    )
    area = solved.folder.area[solved.results[-1].grid.active.any(axis=0)].sum()
    within("Kv", solved.flow(0) * DEPTH / (0.3 * area), 3.6488e-6, 0.1)
