"""What a river loses day by day, against the solver's own budget of every step."""

import csv
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wellring.model.runs.run import run
from wellring.postprocess.neighbours.neighbours import effects_on_neighbours
from wellring.postprocess.stage_results import read_results

EAST, NORTH = 466000.0, 5918000.0
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
RIVER = [(-150, 30), (170, 30)]
MORE = """
[time]

[[neighbours]]
file = "river.geojson"
kind = "surface_water"
defaults = { boundary = "brook", flow = "20 m3/h" }
limit = { share = "15 %" }
"""


def test_day_on_which_the_brook_loses_too_much(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    path = plain_site(
        tmp_path,
        cell=4.0,
        sublayer=2.0,
        boundaries=(
            {"kind": "river", "name": "brook", "line": RIVER, "width": 4.0, "stage": -1.0,
             "bed": -3.0, "bed_conductance": 1e-5},
        ),
    )  # fmt: skip
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('name = "dig 1"', 'name = "dig 1"\nday = 0\nlasts = 60') + MORE)
    line = [[EAST + x, NORTH + y] for x, y in RIVER]
    shape = {"type": "LineString", "coordinates": line}
    brook = {"type": "Feature", "geometry": shape, "properties": {"name": "the brook"}}
    layer = {"type": "FeatureCollection", "crs": CRS, "features": [brook]}
    (tmp_path / "river.geojson").write_text(json.dumps(layer))
    (done,) = run(path, out=tmp_path / "runs", figures=False, side_studies=False)
    (phase,) = done.reader.ledger.phases
    with open(done.folder / "mf6" / phase.folder / "budget.csv", newline="") as file:
        rows = [{k.strip(): float(v) for k, v in row.items()} for row in csv.DictReader(file)]
    (into,) = [name for name in rows[0] if name.startswith("RIV") and name.endswith("_IN")]
    out = into.replace("_IN", "_OUT")
    days = np.array([0.0, *(row["time"] for row in rows)])
    # Nothing flows before the work: the river stands at the natural level.
    lost = np.array([0.0, *((row[into] - row[out]) / 24 for row in rows)])
    k = int(np.argmax(lost > 3.0))
    assert 0 < k < days.size - 1
    exact = np.interp(3.0, lost[k - 1 : k + 1], days[k - 1 : k + 1])
    effects = effects_on_neighbours(done.reader, read_results(done.reader))
    assert effects is not None
    assert effects.in_time is not None
    assert effects.in_time.day[0] == pytest.approx(exact, abs=0.02)
    assert effects.in_time.use[0] == pytest.approx(lost.max() / 3.0, rel=0.01)
    steady = effects.stages[-1].measures["depletion"][0] * 3600
    assert lost[-1] < 1.01 * steady
