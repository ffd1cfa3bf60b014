"""Stability and neighbours day by day: a dig over clay under pressure, dug before its wells act."""

import csv
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.model.runs.run import Run, run
from wellring.postprocess.run.heads import unit_head
from wellring.postprocess.run.run_folder import StageGrid
from wellring.postprocess.settlement.settlement import settlement_from_heads
from wellring.postprocess.stage_results import read_results

EAST, NORTH = 466000.0, 5918000.0
WELLS = {
    "name": "gravel wells",
    "ring": {"offset": 1.5, "count": 6},
    "screen": [-13.0, -8.0],
    "diameter": "300 mm",
    "hold": -6.0,
    "pump": {"capacity": "60 m3/h", "head": "20 m", "efficiency": 0.6},
}
MORE = """
[time]
first_step = 0.01

[[neighbours]]
file = "houses.geojson"
kind = "building"

[[neighbours]]
file = "well.geojson"
kind = "well"
limit = { share = "30 %" }
"""
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}


def features(path: Path, kind: str, *rows: tuple[list[tuple[float, float]], dict]) -> None:
    found = []
    for points, properties in rows:
        xy = [[EAST + x, NORTH + y] for x, y in points]
        shape = {"type": kind, "coordinates": [[*xy, xy[0]]] if kind == "Polygon" else xy[0]}
        found.append({"type": "Feature", "geometry": shape, "properties": properties})
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": CRS, "features": found}))


@pytest.fixture(scope="module")
def dig(tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]) -> Run:
    """3 m of clay left over gravel under 6 m of water; the wells start on the day of the dig."""
    folder = tmp_path_factory.mktemp("dig")
    path = plain_site(
        folder,
        layers=(("clay", -7.0), ("gravel", -14.0)),
        soils={"clay": (2e-9, 1e-9), "gravel": (5e-4, 5e-4)},
        formations=(-4.0, -4.5),
        cell=4.0,
        sublayer=2.0,
        source=150.0,
        drainage=(WELLS,),
    )
    text = path.read_text(encoding="utf-8")
    head, tail = text.split('[soils."clay"]', 1)
    soft = 'sy = 0.03\nss = "auto"\ncompression = { mv = 1e-6 }'
    tail = tail.replace("sy = 0.2\nss = 1e-05", soft, 1)
    tail = tail.replace("ss = 1e-05", "ss = 1e-4")
    text = f'{head}[soils."clay"]{tail}'.replace('name = "dig 1"', 'name = "dig 1"\nday = 0')
    text = text.replace('name = "dig 2"', 'name = "dig 2"\nday = 1\nlasts = 60')
    path.write_text(text + MORE, encoding="utf-8")
    house = [(30, 2), (38, 2), (38, 10), (30, 10)]
    features(
        folder / "houses.geojson", "Polygon",
        (house, {"name": "soon", "limit_settlement": "20 mm"}),
        (house, {"name": "late", "limit_settlement": "60 mm"}),
    )  # fmt: skip
    features(folder / "well.geojson", "Point", ([(45, 30)], {"depth": 13.0, "pump_level": -7.0}))
    (done,) = run(path, out=folder / "runs", figures=False, side_studies=False)
    return done


def neighbours(dig: Run) -> dict[str, dict[str, str]]:
    with open(dig.folder / "tables" / "neighbours.csv", newline="", encoding="utf-8") as file:
        return {row["name"]: row for row in csv.DictReader(file)}


def test_plug_dug_before_its_gravel_is_relieved_heaves(dig):
    """By hand, before the wells act: 6 m of head under 3 m of clay of 19 kN/m³."""
    said = dig.answers.answers
    early = said["01-dig-1.uplift_in_time"]
    assert early.value == pytest.approx(6 * 9.81 / (0.9 * 19 * 3), rel=1e-3)
    assert early.ok is False
    assert said["01-dig-1.uplift"].ok is True  # its steady state is relieved
    assert 0 < said["01-dig-1.uplift_holds_from_day"].value < 1
    (told,) = [text for text in dig.answers.warnings if "HEAVES by uplift on day 0" in text]
    assert "the head in gravel is -1.00 m there and may be -1.7" in told
    assert any("rarely measured" in text for text in dig.answers.warnings)
    assert any("a plug that dries may crack" in text for text in dig.answers.warnings)


def test_later_floor_is_judged_from_the_last_step_before_it_is_dug(dig):
    reader = dig.reader
    results = read_results(reader)
    plan = np.asarray(results[2].entry.floor)
    grid = StageGrid(results[2].grid.edges[:, plan], results[2].grid.active[:, plan])
    first = reader.ledger.phases[0]
    assert first.ends == 1.0
    heads = list(reader.heads_in_time(first))[-1][1]
    gravel = unit_head(grid, heads[:, plan], reader.unit[:, plan], 1)
    used = WATER_UNIT_WEIGHT * (gravel + 7.0) / (0.9 * 19e3 * 2.5)
    said = dig.answers.answers["02-dig-2.uplift_in_time"]
    assert said.value == pytest.approx(used.max(), rel=0.02)
    assert said.ok is True


def test_coming_floor_is_followed_from_the_first_day(dig):
    (part,) = [part for part in dig.answers.parts if "uplift_used" in part.series]
    curve = part.series["uplift_used"]
    assert curve.x[0] == 0.0
    assert curve.marks == {"dig 1": 0.0, "dig 2": 1.0}
    assert curve.lines["dig 2"][0] == pytest.approx(6 * 9.81 / (0.9 * 19 * 2.5), rel=1e-3)
    assert np.isnan(curve.lines["dig 1"][curve.x > 1.0]).all()
    held = dig.answers.answers["02-dig-2.uplift_holds_from_day"].value
    assert curve.lines["dig 2"][curve.x >= held].max() <= 1


def test_day_on_which_the_well_loses_too_much(dig):
    """Straight between the two steps about 30 % of the water over its pump."""
    reader = dig.reader
    natural = read_results(reader)[0]
    cell = reader.plan_cell(EAST + 45, NORTH + 30)
    grid = StageGrid(natural.grid.edges[:, [cell]], natural.grid.active[:, [cell]])
    unit = reader.unit[:, [cell]]
    rest = unit_head(grid, natural.heads[:, [cell]], unit, 1)[0]
    days, share = [0.0], [0.0]
    for phase in reader.ledger.phases:
        for day, heads in reader.heads_in_time(phase):
            days.append(day)
            share.append((rest - unit_head(grid, heads[:, [cell]], unit, 1)[0]) / (rest + 7.0))
    assert max(share) > 0.3
    k = int(np.argmax(np.array(share) > 0.3))
    expected = np.interp(0.3, share[k - 1 : k + 1], days[k - 1 : k + 1])
    row = neighbours(dig)["well 1"]
    assert float(row["over a limit from day"]) == pytest.approx(expected, abs=1e-6)
    assert row["day by"] == "followed in time"


def test_house_exceeds_its_limit_as_its_clay_consolidates(dig):
    reader = dig.reader
    results = read_results(reader)
    # The corners and sides nearest the pit settle most; there bilinear between cell centres.
    columns, rows = reader.local_centres
    side = reader.to_local(np.full(17, EAST + 30.0), NORTH + np.linspace(2.0, 10.0, 17))
    days, largest = [], []
    steps = (step for phase in reader.ledger.phases for step in reader.heads_in_time(phase))
    for day, parts in settlement_from_heads(reader, results, steps):
        field = sum(parts.values()).reshape(reader.plan_shape)
        at = RegularGridInterpolator((-rows, columns), field)(np.column_stack([-side[1], side[0]]))
        days.append(day)
        largest.append(at.max())
    k = int(np.argmax(np.array(largest) > 0.020))
    expected = np.interp(0.020, largest[k - 1 : k + 1], days[k - 1 : k + 1])
    row = neighbours(dig)["soon"]
    assert float(row["over a limit from day"]) == pytest.approx(expected, abs=1e-3)
    assert row["over a limit from stage"] == "dig 2"


def test_what_comes_after_the_days_followed_has_no_day(dig):
    row = neighbours(dig)["late"]
    most = float(row["settlement most [m]"])
    assert most > 0.06
    assert row["state"] == "over a limit"
    assert row["over a limit from day"] == ""
    assert row["day by"] == "not by day 61, in the steady state"
    said = dig.answers.answers
    assert said["neighbours.over_limit"].value == 3
    assert said["neighbours.over_limit_in_time"].value == 2
    table = neighbours(dig)
    first = min(float(table[name]["over a limit from day"]) for name in ("soon", "well 1"))
    assert said["neighbours.first_exceedance"].value == pytest.approx(first)
