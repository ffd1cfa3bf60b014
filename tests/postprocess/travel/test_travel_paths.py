"""Paths of water: exact within a cell, whatever is cut into steps; and through a whole run."""

import csv
import json
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from wellring.model.runs.run import Run, run
from wellring.postprocess.gis.gis_layers import write_layers
from wellring.postprocess.run.flow_field import DIG, FlowField
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.travel.travel_paths import (
    ON_ITS_WAY,
    STAYS,
    TAKEN,
    Particles,
    follow_paths,
)
from wellring.postprocess.travel.travel_times import travels

EAST, NORTH = 466000.0, 5918000.0
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}


def row_of_cells(speeds: list[float]) -> FlowField:
    """Cells in a row with given speeds (fractions a second) at their faces; the last one takes."""
    count = len(speeds) - 1
    rate, beyond = np.zeros((3, 2, count)), np.full((3, 2, count), -1)
    rate[0, 0], rate[0, 1] = speeds[:-1], speeds[1:]
    beyond[0, 0, 1:], beyond[0, 1, :-1] = np.arange(count - 1), np.arange(1, count)
    takes = np.zeros(count, np.int8)
    takes[-1] = DIG
    return FlowField(rate, beyond, takes, np.ones(count, bool), np.arange(count))


def one(u: float) -> Particles:
    return Particles.start(np.array([0]), np.array([[u], [0.5], [0.5]]), 0.0)


def test_even_flow_takes_a_second_a_cell():
    particles = one(0.25)
    follow_paths(row_of_cells([1.0, 1.0, 1.0, 1.0]), particles, np.inf)
    assert particles.state[0] == TAKEN
    assert particles.time[0] == pytest.approx(1.75)
    assert particles.node[0] == 2


def test_on_a_watershed_a_particle_stays_on_it():
    """Water parts to both sides a thousand times faster than it flows along."""
    field = row_of_cells([1.0, 1.0, 1.0])
    field.rate[1, 0], field.rate[1, 1] = -1e3, 1e3
    particles = one(0.5)
    follow_paths(field, particles, np.inf)
    assert particles.state[0] == TAKEN
    assert particles.time[0] == pytest.approx(0.5)
    assert particles.at[1, 0] == 0.5


def test_growing_flow_by_hand():
    """Within a cell v = v₁ + (v₂ − v₁)·u: the time across is ln(v₂/v)/(v₂ − v₁)."""
    particles = one(0.5)
    follow_paths(row_of_cells([1.0, 2.0, 4.0, 4.0]), particles, np.inf)
    exact = np.log(2.0 / 1.5) / 1.0 + np.log(4.0 / 2.0) / 2.0
    assert particles.time[0] == pytest.approx(exact)


@pytest.mark.parametrize("pieces", [2, 7, 50])
def test_time_cut_into_pieces_changes_nothing(pieces):
    field = row_of_cells([1.0, 3.0, 0.5, 2.0, 2.0])
    whole, parts = one(0.1), one(0.1)
    follow_paths(field, whole, np.inf)
    for until in np.linspace(0.0, 1.1 * whole.time[0], pieces):
        follow_paths(field, parts, float(until))
    follow_paths(field, parts, np.inf)
    assert parts.time[0] == pytest.approx(whole.time[0], rel=1e-9)
    assert parts.state[0] == TAKEN


def test_water_that_meets_stays():
    """Flow from both sides into a cell that nothing leaves: it never arrives anywhere."""
    particles = one(0.3)
    follow_paths(row_of_cells([1.0, -1.0, -1.0, -1.0]), particles, 5.0)
    assert particles.state[0] == ON_ITS_WAY
    assert particles.at[0, 0] == pytest.approx(0.5, abs=1e-3)
    follow_paths(row_of_cells([1.0, -1.0, -1.0, -1.0]), particles, np.inf)
    assert particles.state[0] == STAYS


def test_water_in_a_cell_that_is_dug_away_has_arrived():
    field = row_of_cells([1.0, 1.0, 1.0])
    gone = replace(field, active=np.array([False, True]))
    particles = one(0.3)
    follow_paths(gone, particles, 1.0)
    assert particles.state[0] == TAKEN
    assert particles.time[0] == 0.0


def test_water_sinks_with_the_table():
    field = replace(row_of_cells([1.0, 1.0, 1.0, 1.0]), lands=np.array([1, 1, 2]))
    particles = one(0.3)
    follow_paths(field, particles, 0.0)
    assert particles.node[0] == 1
    assert particles.at[2, 0] == 1.0


MORE = """
[[neighbours]]
file = "works.geojson"
kind = "contamination"
"""


def square(x: float, y: float, wide: float) -> list[list[float]]:
    ring = [(x, y), (x + wide, y), (x + wide, y + wide), (x, y + wide), (x, y)]
    return [[EAST + a, NORTH + b] for a, b in ring]


@pytest.fixture(scope="module")
def dig(tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]) -> Run:
    """Open pit in sand: an old works beside it, one farther off, one beyond the model."""
    folder = tmp_path_factory.mktemp("works")
    path = plain_site(folder, formations=(-2.5, -4.0), source=100.0, cell=2.0)
    text = path.read_text(encoding="utf-8").replace("sy = 0.2", "sy = 0.2\nporosity = 0.3")
    text = text.replace('name = "dig 1"', 'name = "dig 1"\nday = 10')
    path.write_text(text.replace('name = "dig 2"', 'name = "dig 2"\nday = 20\nlasts = 60') + MORE)
    rows = [
        {"type": "Feature", "properties": properties,
         "geometry": {"type": "Polygon", "coordinates": [square(*place)]}}
        for place, properties in (
            ((26, 3, 4), {"name": "near"}),
            ((26, 3, 4), {"name": "its top", "bottom": -3.0}),
            ((88, 3, 4), {"name": "far"}),
            ((4000, 0, 4), {"name": "beyond"}),
        )
    ]  # fmt: skip
    layer = {"type": "FeatureCollection", "crs": CRS, "features": rows}
    (folder / "works.geojson").write_text(json.dumps(layer))
    (done,) = run(path, out=folder / "runs", figures=False, side_studies=False)
    return done


def test_whether_it_arrives_within_the_digs_time(dig):
    said = dig.answers.answers
    near, far = said["travel.near.arrival"], said["travel.far.arrival"]
    assert 10 < near.value < 20
    assert near.ok is False
    assert far.value > 80
    assert far.ok is True
    assert said["travel.beyond.arrival"].value is None
    assert said["travel.beyond.arrival"].ok is None
    assert any("water from 'near' reaches the dig on day" in text for text in dig.answers.warnings)
    assert any("ten times faster" in text for text in dig.answers.warnings)


def test_arrival_fits_the_mean_gradient(dig):
    """By hand: v = K·i/n with the mean slope of the modelled table, over the way it went."""
    stage = dig.answers.stages[1]
    x, y = dig.reader.centres
    row = np.flatnonzero(np.abs(y - NORTH - 5) < 1.01)
    row = row[(x[row] > EAST + 20) & (x[row] < EAST + 28)]
    slope = np.ptp(stage.table[row]) / np.ptp(x[row])
    found = travels(dig.reader, dig.answers.stages)
    (near,) = (item for item in found.items if item.name == "near")
    way = np.linalg.norm(np.diff(near.path[:, :2], axis=0), axis=1).sum()
    by_hand = way / (1e-4 * slope / 0.3) / 86400
    assert near.first - 10 == pytest.approx(by_hand, rel=0.15)


def test_what_lies_higher_is_taken_from_its_own_depth(dig):
    with open(dig.folder / "tables" / "travel_paths.csv", newline="", encoding="utf-8") as file:
        table = {row["from"]: row for row in csv.DictReader(file)}
    assert 0 < int(table["its top"]["paths"]) < int(table["near"]["paths"])
    assert table["beyond"]["paths"] == "0"
    assert table["near"]["reaches"] == "the dig"
    assert float(table["near"]["length of the way [m]"]) > 3.5
    begun = float(table["near"]["first arrival on day"]) - float(table["near"]["days on its way"])
    assert begun == pytest.approx(10.0)
    within, ever = (
        float(table["near"][f"share {what} [-]"])
        for what in ("within the dig's time", "in a century")
    )
    assert 0.9 < within <= ever <= 1


def test_ways_on_the_map(dig, tmp_path):
    (part,) = [part for part in dig.answers.parts if part.title == "Travel paths"]
    names = [mark.name for mark in part.marks]
    assert "way from near" in names
    assert "way from beyond" not in names
    package = write_layers(RunFolder(dig.folder), dig.answers.stages, tmp_path / "layers")[0]
    with sqlite3.connect(package) as file:
        rows = file.execute(
            "select name, reaches from travel_paths order by arrival_day"
        ).fetchall()
        styled = {row[0] for row in file.execute("select f_table_name from layer_styles")}
    assert ("near", "the dig") in rows
    assert "travel_paths" in styled
