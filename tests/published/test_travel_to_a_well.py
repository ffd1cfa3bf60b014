"""Travel times to a well against the closed form.

Steady flow to a fully penetrating well in a confined layer: the water of the cylinder between r and
the well, n·b·π(r² − r_w²), is pumped before that from r arrives, so t = n·b·π(r² − r_w²)/Q (plug
flow: a balance of volume; no source).
"""

import numpy as np
import shapely

from wellring.inputs.geodata.receptors import Receptors
from wellring.inputs.site.neighbours import NUMBERS, TEXTS
from wellring.postprocess.stage_results import read_results
from wellring.postprocess.travel.travel_answers import assess_travel
from wellring.postprocess.travel.travel_times import travels

EAST, NORTH = 466000.0, 5918000.0
T, Q, R, RADIUS, THICK, POROSITY = 1e-3, 0.010, 300.0, 0.15, 40.0, 0.25


def contamination(*places):
    """Points of contaminated ground as a run folder would hold them."""
    names = [f"place {k}" for k in range(len(places))]
    texts = {key: np.array([""] * len(places), object) for key in TEXTS}
    return Receptors(
        np.array([shapely.Point(EAST + x, NORTH + y) for x, y in places], object),
        np.array(["contamination"] * len(places), object),
        np.array(["old works"] * len(places), object),
        texts | {"name": np.array(names, object)},
        {key: np.full(len(places), np.nan) for key in NUMBERS},
    )


def test_radial_flow_to_a_well(solve, check_site, within):
    top = -20.0
    k = T / THICK
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("clay", top), ("sand", top - THICK)],
            soils={
                "clay": {"kh": 1e-11, "kv": 1e-11},
                "sand": {"kh": k, "kv": k, "porosity": POROSITY},
            },
            level=-1.0,
            pit=check_site.square(2.5),
            source_distance=check_site.source_from(2.5, R),
            drainage=[
                {"points": [(0, 0)], "screen": [top - THICK, top], "diameter": 0.3, "rate": Q}
            ],
        )
    )
    folder = solved.folder.with_receptors(contamination((60, 0), (0, -120), (35, 35)), {})
    results = read_results(folder)
    found = travels(folder, results)
    assert found is not None
    assert not found.dated
    for item, r in zip(found.items, (60.0, 120.0, 35 * np.sqrt(2)), strict=True):
        exact = POROSITY * THICK * np.pi * (r**2 - RADIUS**2) / Q / 86400
        within(f"days from {r:.0f} m", item.first, exact, 3)
        assert item.where == solved.wells[0].name
        # The fastest way goes straight to the well.
        away = np.hypot(item.path[:, 0] - EAST, item.path[:, 1] - NORTH)
        assert (np.diff(away) < 1e-6).all()
    part = assess_travel(folder, results)
    assert part.answers["travel.place 0.arrival"].ok is None
    assert any("no days" in text for text in part.warnings)
    assert any(
        text.startswith("clay: effective porosity taken as its sy") for text in part.assumptions
    )
    assert not any(text.startswith("sand: effective") for text in part.assumptions)
