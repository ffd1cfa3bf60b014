"""Zones, contours and rasters of settlement, and the influence of the drawdown by direction."""

import math
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

from wellring.postprocess.run.contours import contour_areas, contour_lines
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import settlements
from wellring.postprocess.settlement.settlement_answers import largest_slope
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.influence import DIRECTIONS, assess_influence, influences

pytestmark = pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")
MIDDLE = (466015.0, 5918010.0)
"""Middle of the turned pit of 30 by 20 m."""


@pytest.fixture
def cone(slashed_run: RunFolder) -> np.ndarray:
    """A field that falls by 1 in 100 m from 0.5 m in the pit's middle, like a cone."""
    x, y = slashed_run.centres
    return 0.5 - np.hypot(x - MIDDLE[0], y - MIDDLE[1]) / 100.0


def test_areas_and_lines_of_a_cone_are_circles(slashed_run: RunFolder, cone: np.ndarray) -> None:
    areas = contour_areas(slashed_run, cone, [0.1, 0.2, 0.3])
    assert [(low, high) for low, high, _ in areas] == [(0.1, 0.2), (0.2, 0.3), (0.3, np.inf)]
    rings = [40.0**2 - 30.0**2, 30.0**2 - 20.0**2, 20.0**2]
    for (_, _, shape), squared in zip(areas, rings, strict=True):
        assert shape.is_valid
        assert shape.area == pytest.approx(math.pi * squared, rel=0.01)
        assert shape.centroid.distance(shapely.Point(MIDDLE)) < 0.2
    values, lines = contour_lines(slashed_run, cone, [0.2])
    assert set(values) == {0.2}
    corners = shapely.get_coordinates(lines)
    assert np.hypot(*(corners - MIDDLE).T) == pytest.approx(np.full(len(corners), 30.0), abs=0.3)


def test_slope_of_a_cone(slashed_run: RunFolder, cone: np.ndarray) -> None:
    """Along the grid's axes a cone of 1 in 100 is nowhere steeper, and as steep beside them."""
    found = largest_slope(slashed_run, cone)
    assert found is not None
    assert found[0] == pytest.approx(0.01, rel=1e-3)


def test_no_slope_is_told_across_a_wall(slashed_run: RunFolder) -> None:
    """The pit's floor 1 m lower than the ground around: a slope of 1 in the cells at its edge.

    With a wall all around there is none left, for the ground may part at a wall.
    """
    step = np.zeros(slashed_run.area.size)
    step[slashed_run.ledger.inside] = 1.0
    walled = RunFolder(slashed_run.path)
    (wall, *_) = slashed_run.ledger.walls
    for faces, expected in (([], True), (slashed_run.ledger.rim, False)):
        walled.__dict__["ledger"] = replace(
            slashed_run.ledger, walls=[replace(wall, faces=[(b, a) for a, b in faces])]
        )
        found = largest_slope(walled, step)
        assert found is not None
        assert (found[0] > 0.5) == expected
        assert (found[0] == 0.0) != expected


def test_zones_are_the_settlement_of_their_cells(
    slashed_run: RunFolder, slashed_results: list[StageResult], slashed_layers: Path
) -> None:
    (package,) = slashed_layers.glob("*.gpkg")
    final = settlements(slashed_run, slashed_results)[-1].final
    zones = geopandas.read_file(package, layer="settlement_zones_02_final_dig")
    assert (zones["area_m2"] - zones.area).abs().max() < 1e-6 * zones.area.max()
    at = shapely.points(np.column_stack(slashed_run.centres))
    bounds = slashed_run.assessment.settlements
    for zone in zones.itertuples():
        shapely.prepare(zone.geometry)
        inside = shapely.contains(zone.geometry, at)
        assert inside.any()
        assert final[inside].min() >= zone.from_mm / 1e3 - 1e-9
        if np.isfinite(zone.to_mm):
            assert final[inside].max() <= zone.to_mm / 1e3 + 1e-9
        assert zone.from_mm / 1e3 in [pytest.approx(bound) for bound in bounds]
    # The pit itself is in no zone.
    pit = shapely.Polygon(slashed_run.ledger.outline).buffer(-0.01)
    assert zones.geometry.intersection(pit).area.sum() < 1e-6


def test_raster_and_contours_are_in_millimetres(
    slashed_run: RunFolder, slashed_results: list[StageResult], slashed_layers: Path
) -> None:
    final = settlements(slashed_run, slashed_results)[-1].final
    with rasterio.open(slashed_layers / "settlement_02_final_dig_wide.tif") as file:
        values = file.read(1, masked=True).compressed()
        assert file.units == ("mm",)
        assert file.tags()["unit"] == "mm"
    assert values.max() <= np.nanmax(final) * 1e3 + 1e-3
    assert values.max() > 0.8 * np.nanmax(final) * 1e3
    (package,) = slashed_layers.glob("*.gpkg")
    lines = geopandas.read_file(package, layer="settlement_02_final_dig")
    assert {5.0} <= set(lines["settlement_mm"])
    assert lines["settlement_mm"].max() < np.nanmax(final) * 1e3


def test_reach_by_direction_of_a_cone(
    slashed_run: RunFolder, slashed_results: list[StageResult], cone: np.ndarray
) -> None:
    """A round cone round the pit's middle: each ray ends 40 m out, less its way inside the pit."""
    fall = slashed_results[1].fall
    assert fall is not None
    made = replace(slashed_results[1], fall=replace(fall, table=cone, units={}))
    found = influences(slashed_run, [slashed_results[0], made])
    (item,) = (item for item in found if item.threshold == 0.1)
    pit = shapely.Polygon(slashed_run.ledger.outline)
    for number, reach in enumerate(item.reach):
        way = math.radians(22.5 * number)
        ray = shapely.LineString(
            [MIDDLE, (MIDDLE[0] + 99 * math.sin(way), MIDDLE[1] + 99 * math.cos(way))]
        )
        assert reach == pytest.approx(40.0 - ray.intersection(pit).length, abs=0.3)
    assert item.shape.area == pytest.approx(math.pi * 40.0**2 - pit.area, rel=0.01)
    assert not item.cut
    assert len(DIRECTIONS) == 16


def test_drawdown_at_the_models_edge_is_told(
    slashed_run: RunFolder, slashed_results: list[StageResult]
) -> None:
    fall = slashed_results[1].fall
    assert fall is not None
    everywhere = np.full(slashed_run.area.size, 0.3)
    made = replace(slashed_results[1], fall=replace(fall, table=everywhere, units={}))
    part = assess_influence(slashed_run, [slashed_results[0], made])
    assert any("0.1 m reaches the edge" in text for text in part.warnings)
    assert {row[-1] for row in part.tables["influence_areas"][1]} == {"cut off"}
