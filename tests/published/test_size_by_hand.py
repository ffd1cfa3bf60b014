"""Sizing against optima that are known without it: two wells by Thiem, a symmetric ring.

Thiem (1906): lowerings of wells in a confined aquifer add up; a circle of radius R held at rest
adds an image of each well at R²/d (Thomson's inversion; Bear 1979, Hydraulics of Groundwater,
ch. 8: from memory). The uplift of a tight plug over the aquifer, EN 1997-1 (2.8), then asks for a
lowering that is the same under all of the floor: a linear programme of two unknowns, whose corners
are gone through by hand.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from wellring.model.studies.size import size
from wellring.postprocess.stability.stability_rules import Rules

T, R, RADIUS = 1e-3, 300.0, 0.15
TOP, BASE, FORMATION, REST = -20.0, -60.0, -11.0, -1.0
EAST, NORTH = 466000.0, 5918000.0
WELLS = np.array([[-27.0, 3.0], [13.0, 17.0]])


def thiem(wells, places):
    """Lowering (places, wells) for 1 m³/s of each well within a circle of radius R held at rest."""
    image = R**2 * wells / (wells**2).sum(axis=1)[:, None]

    def far(points):
        return np.hypot(*(places[:, None] - points[None]).transpose(2, 0, 1))

    return np.log(far(image) * np.hypot(*wells.T) / (R * far(wells))) / (2 * np.pi * T)


def site(check_site, wells, **more):
    k = T / (TOP - BASE)
    box = check_site.box(-20, 20, -10, 10)
    return check_site(
        ground=0.0,
        layers=[("clay", TOP), ("sand", BASE)],
        soils={"clay": {"kh": 1e-11, "kv": 1e-11}, "sand": {"kh": k, "kv": k}},
        level=REST,
        pit=box,
        formation=FORMATION,
        # as CheckSite.source_from, for a rectangle of perimeter 120 m
        source_distance=R - 120.0 / (2 * np.pi),
        drainage=[
            {"points": wells.tolist(), "screen": [BASE, TOP], "diameter": 2 * RADIUS, "rate": 4e-3}
        ],
        grid={"cell": 2.5, "sublayer": 10.0},
        **more,
    )


@pytest.fixture(scope="module")
def needed():
    """Lowering [m] that EN 1997-1, UPL asks for: γ_dst·u ≤ γ_stb·Σγt, factors as printed."""
    factors = Rules.of(None, False).factors if False else {"dst": 1.0, "stb": 0.9}
    held = factors["stb"] * 20e3 * (FORMATION - TOP) / factors["dst"] / 9.81e3
    return REST - (TOP + held)


def test_two_wells_by_thiem(check_site, tmp_path, within, needed):
    done = size(site(check_site, WELLS).write(tmp_path), figures=False, workers=1)
    assert done.found
    x, y = done.rows.places[0]
    # The model has a well in the middle of its cell; so has the formula.
    plan = next(iter(done.study.base.schemes.values())).layout.plan
    cells = [int(c.point.node[0]) % plan.area.size for c in done.rows.candidates]
    wells = np.column_stack([axis.ravel()[cells] for axis in plan.centres]) - [EAST, NORTH]
    assert np.hypot(*(wells - WELLS).T).max() < 2.5
    effect = thiem(wells, np.column_stack([x - EAST, y - NORTH]))
    # The optimum lies where two rows meet, or one meets an axis; only the worst rows matter.
    ways = ([1, 0], [0, 1], [1, 1], [2, 1], [1, 2])
    rows = np.unique(np.concatenate([np.argsort(effect @ way)[:40] for way in ways]))
    corners = [needed / effect[r, i] * np.eye(2)[i] for r in rows for i in (0, 1)]
    for a, b in itertools.combinations(rows, 2):
        if abs(np.linalg.det(effect[[a, b]])) > 1e-6:
            corners.append(np.linalg.solve(effect[[a, b]], [needed, needed]))
    held = [q for q in corners if q.min() >= 0 and (effect @ q).min() >= needed * (1 - 1e-9)]
    best = min(held, key=sum)
    got = done.step.flows[0]
    within("least pumping of two wells", got.sum(), best.sum(), 1)
    within("of the first", got[0], best[0], 2)
    assert done.search.solves <= 2 + 10


def test_symmetric_ring_pumps_alike(check_site, tmp_path, within):
    """Four wells beyond the corners of a square pit: the same flow in each, by symmetry."""
    wells = np.array([[-14.0, -14], [14, -14], [14, 14], [-14, 14]])
    made = site(check_site, wells)
    made.pit = check_site.square(10.0)
    made.source_distance = check_site.source_from(10.0, R)
    done = size(made.write(tmp_path), figures=False, workers=1)
    assert done.found
    got = done.step.flows[0]
    for index, flow in enumerate(got):
        within(f"well {index + 1} against the mean", flow, float(got.mean()), 1)
