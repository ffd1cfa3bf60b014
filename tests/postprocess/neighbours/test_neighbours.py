"""Neighbours of a real run: what they feel, who is over a limit, and other neighbours later."""

import csv
import hashlib
import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.site.neighbours import NUMBERS, Limits
from wellring.model.runs.check import check_site
from wellring.model.runs.run import report
from wellring.model.runs.run import run as run_site
from wellring.postprocess.answers import make_answers
from wellring.postprocess.neighbours.neighbour_marks import neighbour_marks
from wellring.postprocess.neighbours.neighbour_tables import CRITERIA
from wellring.postprocess.neighbours.neighbours import Effects, effects_on_neighbours
from wellring.postprocess.report_headlines import headlines
from wellring.postprocess.run.heads import unit_head
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult, read_results

EAST, NORTH = 466000.0, 5918000.0
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
RIVER = [(-200, 45), (220, 45)]


def geojson(path: Path, kind: str, *features: tuple[Any, dict[str, Any]]) -> None:
    """A layer of shapes, given from the pit's own origin."""
    rows = []
    for points, properties in features:
        xy = [[EAST + x, NORTH + y] for x, y in points]
        coordinates: Any = [[*xy, xy[0]]] if kind == "Polygon" else xy if len(xy) > 1 else xy[0]
        shape = {"type": kind, "coordinates": coordinates}
        rows.append({"type": "Feature", "geometry": shape, "properties": properties})
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": CRS, "features": rows}))


def house(x: float, y: float, wide: float = 8.0) -> list[tuple[float, float]]:
    return [(x, y), (x + wide, y), (x + wide, y + wide), (x, y + wide)]


TABLES = """
[soils.sand.compression]
e_oed = "15 MPa"

[[neighbours]]
file = "houses.geojson"
kind = "building"
limit = { settlement = "100 mm", slope = "1/50" }

[[neighbours]]
file = "well.geojson"
kind = "well"
limit = { share = "5 %" }

[[neighbours]]
file = "river.geojson"
kind = "surface_water"
name = "brook"
defaults = { boundary = "brook", flow = "100 m3/h" }

[[neighbours]]
file = "main.geojson"
kind = "utility"
limit = { settlement = "0.01 mm" }
"""


@pytest.fixture(scope="module")
def town(plain_site: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory) -> RunFolder:
    """A pit 20 m by 12 m, 3 m below the water in sand, beside a brook; two stages with days."""
    folder = tmp_path_factory.mktemp("town")
    site = plain_site(
        folder,
        formations=(-2.5, -4.0),
        boundaries=(
            {"kind": "river", "name": "brook", "line": RIVER, "width": 4.0, "stage": -1.0,
             "bed": -3.0, "bed_conductance": 1e-5},
        ),
    )  # fmt: skip
    text = site.read_text().replace('name = "dig 1"', 'name = "dig 1"\nday = 0')
    text = text.replace('name = "dig 2"', 'name = "dig 2"\nday = 20\nlasts = 30')
    site.write_text(text + TABLES)
    piles = {"foundation": "wood piles", "pile_head": -1.6}
    geojson(
        folder / "houses.geojson", "Polygon",
        (house(20.5, 2), {"name": "beside", "height": 6.0, "foundation": "shallow"}),
        (house(40, 2), {"name": "on piles", **piles}),
        (house(-60, 2), {"name": "far", **piles}),
        (house(4000, 2), {"name": "beyond", **piles}),
    )  # fmt: skip
    geojson(folder / "well.geojson", "Point", ([(35, 30)], {"depth": 10.0, "pump_level": -6.0}))
    geojson(folder / "river.geojson", "LineString", (RIVER, {"name": "the brook"}))
    geojson(folder / "main.geojson", "LineString", ([(-30, -4), (50, -4)], {"name": "main"}))
    done = run_site(site, out=folder / "runs", figures=False, side_studies=False)
    return RunFolder(done[0].folder)


@pytest.fixture(scope="module")
def results(town: RunFolder) -> list[StageResult]:
    return read_results(town)


@pytest.fixture(scope="module")
def effects(town: RunFolder, results: list[StageResult]) -> Effects:
    found = effects_on_neighbours(town, results)
    assert found is not None
    return found


def place(effects: Effects, name: str) -> int:
    return list(effects.receptors.name).index(name)


def answers(run: RunFolder) -> dict[str, Any]:
    return json.loads((run.path / "answers.json").read_text())


def rows(run: RunFolder, name: str) -> list[dict[str, str]]:
    with open(run.path / "tables" / f"{name}.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_every_limit_can_be_given_for_a_layer_and_a_feature_and_is_judged() -> None:
    """A limit that is added must be known to [[neighbours]], to the features and to the tables."""
    own = {name.removeprefix("limit_") for name in NUMBERS if name.startswith("limit_")}
    assert own == set(Limits.model_fields)
    assert own <= set(CRITERIA)


def test_drawdown_over_a_footprint_matches_the_cells_beneath(
    town: RunFolder, results: list[StageResult], effects: Effects
) -> None:
    fall = results[-1].fall
    assert fall is not None
    x, y = town.centres
    own = (abs(x - EAST - 44) < 4) & (abs(y - NORTH - 6) < 4)
    at, stage = place(effects, "on piles"), effects.stages[-1]
    cells = fall.largest[own]
    least, most = stage.measures["drawdown_least"][at], stage.measures["drawdown_most"][at]
    assert least <= cells.min() <= cells.max() <= most
    # Corners lie at most half a cell beyond the centres within.
    assert most - cells.max() < 0.15
    assert cells.min() - least < 0.15


def test_nothing_of_the_pit_shows_at_the_house_beside_it(
    town: RunFolder, results: list[StageResult], effects: Effects
) -> None:
    fall = results[-1].fall
    assert fall is not None
    outside = np.ones(town.area.size, bool)
    outside[town.ledger.inside] = False
    most = effects.stages[-1].measures["drawdown_most"][place(effects, "beside")]
    assert 0.5 < most <= np.nanmax(fall.largest[outside])


def test_settlement_differs_over_the_house_beside_the_pit(effects: Effects) -> None:
    measures, at = effects.stages[-1].measures, place(effects, "beside")
    least, most = measures["settlement_least"][at], measures["settlement_most"][at]
    assert 0 < least < most
    assert measures["differential"][at] == pytest.approx(most - least)
    # No slope over the house can be gentler than its mean one along the 8 m from pit to garden.
    assert measures["slope"][at] > 0.6 * (most - least) / 8.0
    assert measures["distortion"][at] < 2 * measures["slope"][at]
    assert measures["strain"][at] >= 0.5 * measures["distortion"][at]


def test_well_loses_what_its_aquifer_falls(
    town: RunFolder, results: list[StageResult], effects: Effects
) -> None:
    at, last = place(effects, "well 1"), results[-1]
    cell = town.plan_cell(EAST + 35, NORTH + 30)
    before = unit_head(results[0].grid, results[0].heads, town.unit, 0)[cell]
    after = unit_head(last.grid, last.heads, town.unit, 0)[cell]
    measures = effects.stages[-1].measures
    assert measures["drawdown_most"][at] == pytest.approx(before - after, abs=1e-9)
    assert measures["available"][at] == pytest.approx(before + 6.0, abs=1e-9)
    assert measures["share"][at] == pytest.approx((before - after) / (before + 6.0), rel=1e-9)
    assert effects.over[at] == (measures["share"][at] > 0.05)


def test_brook_loses_what_the_water_balance_says(town: RunFolder, effects: Effects) -> None:
    balance = {row["stage"]: row for row in rows(town, "water_balance") if "brook" in row["what"]}
    given = {
        stage: float(row["into the ground [m3/s]"]) - float(row["out of the ground [m3/s]"])
        for stage, row in balance.items()
    }
    lost = given["dig 2"] - given["before the work"]
    assert lost > 1e-5
    found = effects.stages[-1].measures["depletion"][place(effects, "the brook")]
    assert found == pytest.approx(lost, rel=1e-5)
    share = effects.stages[-1].measures["share"][place(effects, "the brook")]
    assert share == pytest.approx(lost * 3600 / 100, rel=1e-5)


def test_wood_piles_by_the_water_over_their_heads(effects: Effects) -> None:
    near, far = place(effects, "on piles"), place(effects, "far")
    for stage in effects.stages:
        cover = stage.measures["pile_cover"]
        for at in (near, far):
            assert stage.over[at] == (cover[at] < 0)
    assert effects.over[near]
    assert effects.stages[-1].measures["pile_cover"][far] > cover[near]


def test_first_exceedance_is_the_first_stage_over(town: RunFolder, effects: Effects) -> None:
    table = {row["name"]: row for row in rows(town, "neighbours")}
    first = effects.first_over()
    for name, row in table.items():
        number = first[place(effects, name)]
        expected = "" if number < 0 else ("dig 1", "dig 2")[number]
        assert row["over a limit from stage"] == expected
        assert row["over a limit from day"] == ("", "0.0", "20.0")[number + 1].replace(".0", "")


def test_worst_first_and_limits_in_the_answers(town: RunFolder) -> None:
    table = rows(town, "neighbours")
    parts = [float(row["part of limit"]) for row in table if row["part of limit"]]
    assert parts == sorted(parts, reverse=True)
    told = answers(town)
    over = sum(row["state"] == "over a limit" for row in table)
    assert told["neighbours.over_limit"]["value"] == over > 0
    assert told["neighbours.over_limit"]["ok"] is False
    assert told["neighbours.worst"]["value"].startswith("main (utility): settlement")
    assert told["neighbours.utility.settlement"]["ok"] is False
    assert told["neighbours.building.settlement"]["ok"] is True
    assert told["neighbours.building.settlement"]["limit"] == pytest.approx(0.1)


def test_beyond_the_model_is_not_assessed_and_told(town: RunFolder, effects: Effects) -> None:
    state = {row["name"]: row["state"] for row in rows(town, "neighbours")}
    assert state["beyond"] == "not assessed"
    again = report(town.path, figures=False)
    assert any("outside the modelled ground" in w and "beyond" in w for w in again.answers.warnings)
    assert any("screening" in w for w in again.answers.warnings)


def test_check_tells_who_lies_beyond_the_model(town: RunFolder, tmp_path: Path) -> None:
    site = town.path.parent.parent / "site.toml"
    (scheme,) = check_site(site, out=tmp_path / "check").schemes
    (told,) = [text for text in scheme.warnings if "beyond the model" in text]
    assert told.endswith("'beyond'")


def test_other_neighbours_without_solving(town: RunFolder, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(town.path, tmp_path / "run"))
    other = tmp_path / "others.geojson"
    geojson(other, "Polygon", (house(22, -12), {"name": "school", "height": 9.0}))
    done = report(copy, neighbours=other, kind="building", figures=False)
    assert [row["name"] for row in rows(RunFolder(copy), "neighbours")] == ["school"]
    # Limits of the run's own buildings hold for these, too.
    assert done.answers.answers["neighbours.building.settlement"].limit == pytest.approx(0.1)
    source = json.loads((copy / "run.json").read_text())["reassessed"]["neighbours"]
    assert source["file"] == "others.geojson"
    assert source["sha256"] == hashlib.sha256(other.read_bytes()).hexdigest()
    report(copy, figures=False)
    assert len(rows(RunFolder(copy), "neighbours")) == 7
    assert "reassessed" not in json.loads((copy / "run.json").read_text())


def test_other_neighbours_by_tables(town: RunFolder, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(town.path, tmp_path / "run"))
    geojson(tmp_path / "s.geojson", "Polygon", (house(22, -12), {"name": "school"}))
    (tmp_path / "n.toml").write_text(
        '[[neighbours]]\nfile = "s.geojson"\nkind = "building"\n'
        'limit = { settlement = "0.01 mm" }\n'
    )
    done = report(copy, neighbours=tmp_path / "n.toml", figures=False)
    assert not done.answers.all_ok
    assert done.answers.answers["neighbours.over_limit"].value == 1


def test_other_neighbours_of_no_kind_are_refused(town: RunFolder, tmp_path: Path) -> None:
    geojson(tmp_path / "s.geojson", "Polygon", (house(22, -12), {}))
    with pytest.raises(InputFaults, match="building, utility, well"):
        report(town.path, neighbours=tmp_path / "s.geojson", figures=False)


def test_marks_tell_of_every_neighbour_in_every_stage(town: RunFolder, effects: Effects) -> None:
    marks = {mark.name: mark for mark in neighbour_marks(effects)}
    assert set(marks) == set(effects.receptors.name)
    beside = marks["beside"]
    assert len(beside.corners) == 5
    assert np.array_equal(beside.corners[0], beside.corners[-1])
    assert len(marks["well 1"].corners) == 1
    most = effects.stages[-1].measures["drawdown_most"][place(effects, "beside")]
    assert f"drawdown {most:.2f} m" in beside.notes[effects.stages[-1].entry.folder]
    assert marks["main"].notes[""] == "over a limit"


def test_layers_and_figure(
    town: RunFolder, results: list[StageResult], effects: Effects, tmp_path: Path
) -> None:
    from wellring.postprocess.figures.neighbours_plan import draw_neighbours
    from wellring.postprocess.figures.style import save
    from wellring.postprocess.gis.gis_layers import write_layers

    path = write_layers(town, results, tmp_path / "layers")[0]
    with sqlite3.connect(path) as file:
        worst = file.execute("select rank, name, state from neighbours_lines").fetchone()
        styles = {row[0] for row in file.execute("select f_table_name from layer_styles")}
    assert worst == (1, "main", "over a limit")
    assert {"neighbours_areas", "neighbours_lines", "neighbours_points"} <= styles
    figure = draw_neighbours(town, results, effects)
    told = " ".join(text.get_text() for axes in figure.axes for text in axes.texts)
    assert "main" in told
    assert "on piles" in told
    legend = {text.get_text() for text in figure.legends[0].get_texts()}
    assert {"neighbour over a limit", "neighbour within limits"} <= legend
    assert save(figure, tmp_path, "neighbours")[0].stat().st_size > 10_000


def test_thousands_of_neighbours(town: RunFolder, tmp_path: Path) -> None:
    """Five thousand houses in one go; every copy of one house gets the same numbers."""
    copy = Path(shutil.copytree(town.path, tmp_path / "run"))
    spots = [(25 + 3 * (i % 10), 20 + 3 * ((i // 10) % 10)) for i in range(5000)]
    features = [(house(x, y, 2.0), {"name": f"h{i}"}) for i, (x, y) in enumerate(spots)]
    geojson(tmp_path / "many.geojson", "Polygon", *features)
    report(copy, neighbours=tmp_path / "many.geojson", kind="building", figures=False)
    table = rows(RunFolder(copy), "neighbours")
    assert len(table) == 5000
    by_spot: dict[int, set[str]] = {}
    for row in table:
        by_spot.setdefault(int(row["name"][1:]) % 100, set()).add(row["settlement most [m]"])
    assert all(len(values) == 1 for values in by_spot.values())
    assert len(by_spot) == 100


def test_the_report_marks_every_neighbour_and_names_the_worst(
    town: RunFolder, results: list[StageResult], effects: Effects
) -> None:
    found = make_answers(town, results)
    told = headlines(town, found)[2]
    over = int(effects.over.sum())
    assert over > 0
    assert told.verdict == "no"
    assert told.sentence.startswith(f"{over} over a limit. The worst: ")
    (part,) = [part for part in found.parts if part.marks]
    first = effects.order[0]
    assert part.marks[0].name == effects.receptors.name[first]
    stage = effects.stages[-1]
    note = part.marks[0].notes[stage.entry.folder]
    assert f"{stage.measures['drawdown_most'][first]:.2f} m" in note
