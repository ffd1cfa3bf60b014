"""Settlement from the model's own pore pressures in time, against Terzaghi's theory.

The reference is Terzaghi's series summed over the model's own levels above and below the clay
(Duhamel): S = m_v·γ_w·H·Σ ½(δh_top + δh_bottom)·U(c_v·(t − t_k)/(H/2)²), c_v = kv/(m_v·γ_w).
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wellring.inputs.basics.units import DAY, WATER_UNIT_WEIGHT
from wellring.model.runs.run import Run, run
from wellring.postprocess.settlement.consolidation import degree_of_consolidation
from wellring.postprocess.settlement.settlement import settlement_from_heads, settlements
from wellring.postprocess.settlement.settlement_course import settlement_course
from wellring.postprocess.stage_results import read_results

EAST, NORTH = 466000.0, 5918000.0
MV, KV, HEIGHT = 0.5e-6, 1e-9, 3.0


@pytest.fixture(scope="module")
def consolidating(tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]) -> Run:
    """Clay between sand and gravel; wells lower the gravel within the first day."""
    path = plain_site(
        tmp_path_factory.mktemp("clay"),
        layers=(("sand", -5.0), ("clay", -5.0 - HEIGHT), ("gravel", -14.0)),
        soils={"sand": (1e-3, 1e-3), "clay": (2e-9, KV), "gravel": (1e-3, 1e-3)},
        formations=(-0.5,),
        cell=4.0,
        sublayer=2.0,
        points={"street": (30.0, 6.0)},
        drainage=(
            {
                "name": "gravel wells",
                "ring": {"offset": 1.5, "count": 6},
                "screen": [-13.0, -8.5],
                "diameter": "300 mm",
                "hold": -5.0,
                "pump": {"capacity": "200 m3/h", "head": "20 m", "efficiency": 0.6},
            },
        ),
    )
    text = path.read_text(encoding="utf-8")
    clay = f'ss = "auto"\ncompression = {{ mv = {MV} }}'
    for soil, keys in (
        ("sand", 'ss = 1e-6\ncompression = { e_oed = "900 MPa" }'),
        ("clay", clay),
        ("gravel", 'ss = 1e-7\ncompression = { e_oed = "900 MPa" }'),
    ):
        head, tail = text.split(f'[soils."{soil}"]', 1)
        tail = tail.replace("sy = 0.2\nss = 1e-05", f"sy = 0.001\n{keys}", 1)
        text = f'{head}[soils."{soil}"]{tail}'
    text = text.replace('name = "dig 1"', 'name = "dig 1"\nday = 0\nlasts = 250')
    text += "\n[time]\nfirst_step = 0.01\nstep_growth = 1.1\nlongest_step = 1.0\n"
    path.write_text(text, encoding="utf-8")
    (done,) = run(path, figures=False, side_studies=False)
    return done


def test_clay_is_parted_where_it_drains(consolidating):
    reader = consolidating.reader
    cell = reader.plan_cell(EAST + 30.0, NORTH + 6.0)
    grid = reader.grid_of(reader.ledger.stages[0])
    clay = (reader.unit[:, cell] == 1) & grid.active[:, cell]
    height = (grid.top - grid.bottom)[clay, cell]
    assert height.size >= 12
    assert height.sum() == pytest.approx(HEIGHT)
    assert height[0] < 0.05 * HEIGHT
    assert height.max() < 0.25 * HEIGHT


def test_settles_after_terzaghi(consolidating):
    reader = consolidating.reader
    results = read_results(reader)
    cells = np.array([reader.plan_cell(EAST + 30.0, NORTH + 6.0)], dtype=np.intp)
    (phase,) = reader.ledger.phases
    steps = list(reader.heads_in_time(phase))
    got = {
        day: parts["clay"][0] for day, parts in settlement_from_heads(reader, results, steps, cells)
    }
    there, unit = results[0].grid.active[:, cells[0]], reader.unit[:, cells[0]]
    above = np.flatnonzero(there & (unit == 0))[-1]
    below = np.flatnonzero(there & (unit == 2))[0]
    natural = results[0].heads[:, cells[0]]
    days = np.array([0.0, *(day for day, _ in steps)])
    edges = np.array([natural, *(heads[:, cells[0]] for _, heads in steps)])
    fall = natural[[above, below]] - edges[:, [above, below]]
    step = np.diff(fall, axis=0).mean(axis=1)
    assert fall[-1, 1] > 1.5
    cv = KV / (MV * WATER_UNIT_WEIGHT)
    # A level that falls during a step acts from the middle of it on.
    acts = 0.5 * (days[1:] + days[:-1])
    final = settlements(reader, results)[-1].by_unit["clay"][cells[0]]
    errors = []
    for day in days[1:]:
        tv = cv * np.maximum(day - acts, 0.0) * DAY / (HEIGHT / 2) ** 2
        exact = MV * WATER_UNIT_WEIGHT * HEIGHT * float(step @ degree_of_consolidation(tv))
        errors.append(abs(got[day] - exact))
    assert got[days[-1]] > 0.8 * final > 0.008
    assert np.max(errors) < 0.01 * final


def test_curves_from_pressures_and_from_levels_meet(consolidating):
    """The level is down within a day here, so both ways to the settlement agree at the end."""
    course = settlement_course(consolidating.reader, read_results(consolidating.reader))
    assert course is not None
    assert course.model_day[-1] == pytest.approx(250.0)
    assert course.model[-1] == pytest.approx(course.terzaghi[-1], rel=0.02)


def test_stage_end_is_told_from_both(consolidating):
    answers = consolidating.answers.answers
    by_model = answers["01-dig-1.settlement_at_end_model"].value
    assert by_model == pytest.approx(answers["01-dig-1.settlement_at_end"].value, rel=0.02)
    rows = (consolidating.folder / "tables" / "settlement_in_time.csv").read_text().splitlines()
    assert rows[0].startswith("day,method,street [m],where it is largest [m]")
    ways = {row.split(",")[1] for row in rows[1:]}
    assert ways == {"steady levels and Terzaghi", "the model's own pore pressures"}
