"""Settlement of whole runs: against sums by hand, over a clay that thickens, and in time."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.inputs.site.assessment import Assessment
from wellring.inputs.site.site import Compression
from wellring.model.runs.run import run
from wellring.postprocess.figures import draw_figures
from wellring.postprocess.gis.gis_layers import make_layers
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import settlements
from wellring.postprocess.settlement.settlement_answers import assess_settlement
from wellring.postprocess.settlement.settlement_course import settlement_course, settlement_on_days
from wellring.postprocess.stage_results import StageResult, read_results

EAST, NORTH = 466000.0, 5918000.0
STIFFNESS = {
    "sand": 'compression = { e_oed = "30 MPa" }',
    "clay": 'compression = { cc = 0.4, cr = 0.05, e0 = 1.1, ocr = 1.1, cv = "2 m2/year" }',
    "gravel": 'compression = { mv = "0.01 m2/MN" }',
}
LAYERS = (("sand", -5.0), ("clay", -8.0), ("gravel", -14.0))
SOILS = {"sand": (1e-4, 1e-4), "clay": (2e-9, 1e-9), "gravel": (4e-4, 4e-4)}


def stiffened(path: Path, stiffness: dict[str, str], days: bool = True) -> Path:
    """The site file at `path` with compression tables, and days of its stages."""
    text = path.read_text(encoding="utf-8")
    for soil, line in stiffness.items():
        heading = f'[soils."{soil}"]'
        assert heading in text
        text = text.replace(heading, f"{heading}\n{line}")
    if days:
        for number in (1, 2):
            name = f'name = "dig {number}"'
            last = "\nlasts = 90" if number == 2 else ""
            text = text.replace(name, f"{name}\nday = {30 * (number - 1)}{last}")
    path.write_text(text, encoding="utf-8")
    return path


def thicken_clay(folder: Path) -> None:
    """Four borings: the clay below -5 m is 1 m thick 40 m south of the pit's middle, 4 m north."""
    rows, collars = ["id,top_depth,bottom_depth,soil"], ["id,x,y,ground,final_depth"]
    for boring, x, y, bottom in (
        ("SW", -60, -34, 6),
        ("SE", 80, -34, 6),
        ("NW", -60, 46, 9),
        ("NE", 80, 46, 9),
    ):
        collars.append(f"{boring},{EAST + x},{NORTH + y},0,14")
        rows += [f"{boring},0,5,sand", f"{boring},5,{bottom},clay", f"{boring},{bottom},14,gravel"]
    (folder / "collars.csv").write_text("\n".join(collars) + "\n")
    (folder / "layers.csv").write_text("\n".join(rows) + "\n")


@pytest.fixture(scope="module")
def wells() -> tuple[dict[str, object], ...]:
    """A ring of wells in the gravel."""
    return (
        {
            "name": "gravel wells",
            "ring": {"offset": 1.5, "count": 6},
            "screen": [-13.0, -8.5],
            "diameter": "300 mm",
            "hold": -6.0,
            "pump": {"capacity": "80 m3/h", "head": "20 m", "efficiency": 0.6},
        },
    )


@pytest.fixture(scope="module")
def settled(
    tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path], wells
) -> tuple[RunFolder, list[StageResult]]:
    """Level layers, two stages with days."""
    folder = tmp_path_factory.mktemp("settled")
    path = plain_site(
        folder,
        layers=LAYERS,
        soils=SOILS,
        formations=(-2.5, -4.0),
        drainage=wells,
        cell=4.0,
        points={"street": (30.0, 6.0)},
    )
    (done,) = run(stiffened(path, STIFFNESS), figures=False, side_studies=False)
    reader = RunFolder(done.folder)
    return reader, read_results(reader)


def test_against_a_sum_by_hand(settled):
    """One column, cell by cell in plain Python: σ' in each stage, each soil by its own law.

    In the clay's lower half σ' is a little higher in the first stage than in the last, whose sand
    has lost more of its water's weight: that compression stays.
    """
    reader, results = settled
    natural, found = results[0], settlements(reader, results)[-1]
    cell = reader.plan_cell(EAST + 30.0, NORTH + 6.0)
    grid, total, above = natural.grid, 0.0, [0.0, 0.0, 0.0]
    soil_of = [unit.soil for unit in reader.ledger.units]
    for layer in range(grid.active.shape[0]):
        if not grid.active[layer, cell]:
            continue
        top, bottom = grid.top[layer, cell], grid.bottom[layer, cell]
        soil = soil_of[reader.unit[layer, cell]]
        stresses = []
        for stage, result in enumerate(results):
            head = result.heads[layer, cell]
            wet = min(max(head - bottom, 0.0), top - bottom)
            weight = 19e3 * (top - bottom) - WATER_UNIT_WEIGHT * 0.2 * (top - bottom - wet)
            z = np.linspace(bottom, top, 20001)
            u = WATER_UNIT_WEIGHT * np.maximum(head - z, 0.0).mean()
            stresses.append(above[stage] + weight / 2 - u)
            above[stage] += weight
        s0, s1 = stresses[0], stresses[-1]
        if soil == "sand":
            strain = (s1 - s0) / 30e6
        elif soil == "gravel":
            strain = 0.01e-6 * (s1 - s0)
        else:
            passed = max(*stresses, 1.1 * s0)
            strain = (0.05 * np.log10(s1 / s0) + 0.35 * np.log10(passed / (1.1 * s0))) / 2.1
        total += strain * (top - bottom)
    assert total > 5e-3
    assert found.final[cell] == pytest.approx(total, rel=1e-3)


def test_pit_is_left_out_and_units_add_up(settled):
    reader, results = settled
    for found in settlements(reader, results):
        assert np.isnan(found.final[np.asarray(reader.ledger.inside)]).all()
        assert np.isfinite(found.final).sum() > 100
        total = np.sum(list(found.by_unit.values()), axis=0)
        assert np.allclose(total, found.final, equal_nan=True)
        assert set(found.by_unit) == {"sand", "clay", "gravel"}


def test_stages_end_before_the_clay_has_settled(settled):
    reader, results = settled
    first, last = settlements(reader, results)
    assert (first.end_day, last.end_day) == (30.0, 120.0)
    cell = reader.plan_cell(EAST + 30.0, NORTH + 6.0)
    assert first.at_stage_end is not None
    assert last.at_stage_end is not None
    # 3 m of clay drained at both ends, c_v 2 m²/year: T_v after 30 days 0.0730, U 0.305.
    tv = 2.0 / 365.25 * 30 / 1.5**2
    clay = first.by_unit_at_end["clay"][cell] / first.by_unit["clay"][cell]
    assert clay == pytest.approx(np.sqrt(4 * tv / np.pi), rel=1e-3)
    assert first.by_unit_at_end["sand"][cell] == pytest.approx(first.by_unit["sand"][cell])
    steps = last.by_unit["clay"][cell] - first.by_unit["clay"][cell]
    # After 120 and 90 days T_v is 0.292 and 0.219: Terzaghi's series gives U 0.606 and 0.528.
    share = [1 - 8 / np.pi**2 * np.exp(-(np.pi**2) / 4 * tv * days / 30) for days in (120, 90)]
    assert share == pytest.approx([0.606, 0.528], abs=2e-3)
    hand = first.by_unit["clay"][cell] * share[0] + steps * share[1]
    assert last.by_unit_at_end["clay"][cell] == pytest.approx(hand, rel=3e-3)


def test_course_goes_from_nothing_to_each_stages_end(settled):
    reader, results = settled
    course = settlement_course(reader, results)
    assert course is not None
    assert [place.name for place in course.places] == ["street", "where it is largest"]
    assert course.terzaghi[0] == pytest.approx(0.0)
    assert (np.diff(course.terzaghi, axis=0) > -1e-9).all()
    for found in settlements(reader, results):
        at = np.flatnonzero(course.day == found.end_day)[0]
        cells = [place.cell for place in course.places]
        assert course.terzaghi[at] == pytest.approx(found.at_stage_end[cells], rel=1e-9)
    assert course.model_day.size == 0


def test_figure_of_the_course_shows_what_is_final(settled, tmp_path):
    reader, results = settled
    files = {path.name: path for path in draw_figures(reader, results, tmp_path)}
    drawn = files["settlement-in-time.svg"].read_text(encoding="utf-8")
    final = settlements(reader, results)[-1].final[reader.plan_cell(EAST + 30.0, NORTH + 6.0)]
    assert f"street: finally {final * 1e3:.1f} mm" in drawn
    plan = files["settlement-02-dig-2.svg"].read_text(encoding="utf-8")
    assert "all_settlement_10" in plan
    assert f"{np.nanmax(settlements(reader, results)[-1].final) * 1e3:.1f} mm" in plan


def at_building(folder: Path, write: Callable[..., Path], wells, thickens: bool) -> list[float]:
    """Final settlement [m] of the clay at both ends of a building 16 m long, east of the pit."""
    path = write(
        folder,
        layers=(("sand", -5.0), ("clay", -7.5), ("gravel", -14.0)),
        soils=SOILS,
        formations=(-2.5,),
        drainage=wells,
        cell=4.0,
        points={"south end": (34.0, -2.0), "north end": (34.0, 14.0)},
    )
    if thickens:
        thicken_clay(folder)
        text = path.read_text(encoding="utf-8")
        assert 'surfaces = "nearest"' in text
        path.write_text(text.replace('surfaces = "nearest"', 'surfaces = "linear"'))
    (done,) = run(stiffened(path, STIFFNESS, days=False), figures=False, side_studies=False)
    answers = done.answers.answers
    return [answers[f"01-dig-1.settlement.{end} end"].value for end in ("south", "north")]


def test_a_clay_that_thickens_under_a_building(tmp_path, plain_site, wells):
    """The building lies along a contour of drawdown (nearly: the six wells stand unevenly), so
    level layers hardly bend it.

    With a clay that thickens by 3 m over 80 m to the north, as its borings say, it has 0.6 m more
    clay under its north end: times the mean strain of the level case, several times as much.
    """
    south, north = at_building(tmp_path / "level", plain_site, wells, thickens=False)
    level, strain = north - south, south / 2.5
    assert abs(level) < 1.2e-3
    south, north = at_building(tmp_path / "wedge", plain_site, wells, thickens=True)
    assert north - south > 4e-3
    assert north - south - level == pytest.approx(0.6 * strain, rel=0.3)


def warned(settled, **tables: dict[str, object] | None) -> tuple[list[str], list[str]]:
    """Warnings and assumptions of the settlement with other compression tables."""
    reader, _ = settled
    soils = dict(reader.description.soils)
    for name, table in tables.items():
        law = None if table is None else Compression.model_validate(table)
        soils[name] = soils[name].model_copy(update={"compression": law})
    described = reader.description.model_copy(update={"soils": soils})
    other = reader.reassessed(described, {})
    part = assess_settlement(other, read_results(other))
    return part.warnings, part.assumptions


def test_what_is_not_known_is_never_silent(settled):
    warnings, assumptions = warned(settled, clay=None, sand=None)
    assert any("'clay' is NOT counted" in text and "kPa" in text for text in warnings)
    assert any(text.startswith("sand: stiffness E_oed 20 MPa assumed") for text in assumptions)
    warnings, assumptions = warned(settled, clay={"cc": 0.3, "e0": 1.0})
    assert not any("NOT counted" in text for text in warnings)
    assert any(text.startswith("clay: cr 0.06 taken as 0.2·cc") for text in assumptions)
    assert any(text.startswith("clay: taken as normally consolidated") for text in assumptions)
    warnings, assumptions = warned(settled)
    assert not any(text.startswith(("clay", "sand", "gravel")) for text in assumptions)


def test_leaving_a_methods_range_is_told(settled):
    warnings, _ = warned(settled, clay={"cc": 3.0, "e0": 1.0})
    assert any("creeps and flows sideways" in text for text in warnings)
    warnings, _ = warned(settled, clay={"mv": "1 m2/MN", "cv": "300 m2/year"})
    assert any("does not fit kv/(mv·γw) = 3.2" in text for text in warnings)
    warnings, _ = warned(settled, clay={"mv": "1 m2/MN", "cv": "5 m2/year"})
    assert not any("does not fit" in text for text in warnings)


def test_a_clay_that_is_drained_is_told(tmp_path, plain_site):
    """The pit drains sand below a thin clay that lay under water."""
    path = plain_site(
        tmp_path,
        layers=(("sand", -2.0), ("clay", -3.0), ("gravel", -12.0)),
        soils=SOILS,
        formations=(-6.0,),
        cell=4.0,
    )
    (done,) = run(stiffened(path, STIFFNESS, days=False), figures=False, side_studies=False)
    assert any("the water falls through 'clay'" in text for text in done.answers.warnings)


def test_water_that_carries_the_ground_is_told(tmp_path, plain_site):
    """Artesian water under a light clay: no effective stress before the work."""
    path = plain_site(
        tmp_path,
        layers=(("sand", -2.0), ("clay", -4.0), ("gravel", -12.0)),
        soils=SOILS,
        formations=(-1.5,),
        level=-0.5,
        water={"levels": {"gravel": 5.0}},
        cell=4.0,
    )
    (done,) = run(stiffened(path, STIFFNESS, days=False), figures=False, side_studies=False)
    assert any("no effective stress" in text for text in done.answers.warnings)


def test_settlement_on_any_day_of_the_whole_plan(settled):
    reader, results = settled
    first, last = settlements(reader, results)
    field = settlement_on_days(reader, results, np.array([-5.0, 0.0, 15.0, 30.0, 120.0, 1e6]))
    assert field is not None
    seen = np.isfinite(last.final)
    assert (np.isfinite(field) == seen).all()
    assert (field[:2, seen] == 0.0).all()
    assert (field[2, seen] <= field[3, seen] + 1e-12).all()
    assert field[3, seen] == pytest.approx(first.at_stage_end[seen], abs=1e-12)
    assert field[4, seen] == pytest.approx(last.at_stage_end[seen], abs=1e-12)
    # After ever so long what is final is reached.
    assert field[5, seen] == pytest.approx(last.final[seen], abs=1e-9)


def test_users_thresholds_draw_the_maps(settled):
    reader, results = settled
    given = Assessment.model_validate({"settlements": ["3 mm", "12 mm"], "drawdowns": [0.33]})
    other = reader.reassessed(reader.description.model_copy(update={"assessment": given}), {})
    layers = make_layers(other, results)
    assert 0.33 in set(layers["drawdown_02_dig_2"]["drawdown"])
    assert set(layers["influence_02_dig_2"]["drawdown_m"]) == {0.33}
    assert set(layers["settlement_zones_02_dig_2"]["from_mm"]) == {3.0, 12.0}
    assert {3.0, 12.0} <= set(layers["settlement_02_dig_2"]["settlement_mm"])
    part = assess_settlement(other, results)
    assert "02-dig-2.settlement_reach" in part.answers
    assert "3 mm" in part.answers["02-dig-2.settlement_reach"].label
