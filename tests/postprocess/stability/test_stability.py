"""Stability through a whole run: uplift of a clay plug and flotation of slabs, by hand.

C18: 4 m of clay (19 kN/m³) are left under the floor at −4 m, over gravel whose water stands 6.5 m
above the clay's base. Global factor Σγt/(γw·h) 1.19188; EN 1997-1:2004, 2.4.7.4, expression (2.8)
(read), used to 0.932237, with the factors 0.9 and 1.0 of its table A.15 (values from memory), so
that 6.97248 m are permitted. γw is 9.81 kN/m³. Terzaghi's critical gradient of 19.5 kN/m³ 0.987768.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from wellring.inputs.site.stability import Stability
from wellring.model.runs.run import run
from wellring.postprocess.answers import make_answers
from wellring.postprocess.gis.gis_layers import make_layers
from wellring.postprocess.run.ledger import WellEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.stability import stabilities
from wellring.postprocess.stability.stability_answers import assess_stability
from wellring.postprocess.stability.stability_rules import Rules
from wellring.postprocess.stage_results import read_results

EAST, NORTH = 466000.0, 5918000.0
WATER = 9.81
SLABS = """
[[excavation.stages]]
name = "slab"
slab = { weight = "20 kPa" }

[[excavation.stages]]
name = "piles tied"
slab = { weight = "20 kPa", tension = "10 kPa" }

[[excavation.stages]]
name = "raised"
"""


@pytest.fixture(scope="module")
def plug(tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]) -> RunFolder:
    """Two digs and three stages of a slab; all in clay over gravel. Read it, never write."""
    folder = tmp_path_factory.mktemp("plug")
    path = plain_site(
        folder / "site",
        layers=(("clay", -8.0), ("gravel", -12.0)),
        soils={"clay": (1e-12, 1e-12), "gravel": (1e-3, 1e-3)},
        level=-1.5,
        formations=(-3.0, -4.0),
        cell=4.0,
    )
    path.write_text(path.read_text(encoding="utf-8") + SLABS, encoding="utf-8")
    (done,) = run(path, out=folder / "runs", figures=False, side_studies=False)
    return RunFolder(done.folder)


def answers_of(folder: RunFolder, rules: Stability | None = None) -> dict:
    other = folder
    if rules is not None:
        changed = folder.description.model_copy(update={"stability": rules})
        other = folder.reassessed(changed, {})
    found = make_answers(other, read_results(other))
    return {"all": found, **found.answers}


def test_uplift_by_hand(plug: RunFolder) -> None:
    said = json.loads((plug.path / "answers.json").read_text(encoding="utf-8"))
    assert said["02-dig-2.uplift_factor"]["value"] == pytest.approx(1.19188, rel=1e-3)
    assert said["02-dig-2.uplift"]["value"] == pytest.approx(0.932237, rel=1e-3)
    assert said["02-dig-2.uplift"]["ok"] is True
    over_base = said["02-dig-2.uplift_head_to_reach"]["value"] + 8.0
    assert over_base == pytest.approx(6.97248, rel=1e-3)
    assert said["02-dig-2.uplift_relief"]["value"] == 0.0
    assert said["02-dig-2.exit_gradient"]["value"] is None  # tight floor: uplift judges it
    assert said["02-dig-2.heave"]["value"] is None


def test_critical_gradient(tmp_path: Path, plain_site: Callable[..., Path]) -> None:
    """C18: sand of 19.5 kN/m³; the permitted exit gradient is the critical one over a factor."""
    path = plain_site(tmp_path / "site", cell=4.0, sublayer=2.0)
    text = path.read_text(encoding="utf-8")
    text = text.replace("sy = 0.2", 'sy = 0.2\nweight = "19.5 kN/m3"')
    path.write_text(text + "\n[stability]\nexit_gradient_factor = 1.6\n", encoding="utf-8")
    (done,) = run(path, out=tmp_path / "runs", figures=False, side_studies=False)
    answer = done.answers.answers["01-dig-1.exit_gradient"]
    assert "critical 0.988" in answer.basis
    assert answer.limit is not None
    assert 1.6 * answer.limit == pytest.approx(0.987768, rel=1e-3)


def test_both_forms_of_hyd() -> None:
    """V13, published example: i = 0.293 over d = 3.2 m of 19.5 kN/m³, factors 1.35 and 0.9 use
    97.5 % by (2.9a), total stresses, and 44.4 % by (2.9b), submerged weight (EN 1997-1 HYD)."""
    rules = Rules.of(Stability(), slab=False)
    depth, gradient, weight = 3.2, 0.293, 19.5
    stress, pressure = np.array([weight * depth]), np.array([WATER * depth * (1 + gradient)])
    assert rules.heave_total(stress, pressure) == pytest.approx(0.975, abs=1e-3)
    submerged, seepage = (weight - WATER) * depth, WATER * depth * gradient
    assert rules.heave(np.array([submerged]), np.array([seepage])) == pytest.approx(0.444, abs=1e-3)
    assert "(2.9b)" in rules.text("heave")


def test_global_factor_fails_where_partial_factors_pass(plug: RunFolder) -> None:
    """The same plug against a factor of 1.2: the head must fall to 19·4/(1.2·γw) over the base."""
    said = answers_of(plug, Stability(rules="global factor"))
    worst = said["02-dig-2.uplift"]
    assert worst.value == pytest.approx(1.2 / (19 * 4 / (WATER * 6.5)), rel=1e-3)
    assert worst.ok is False
    assert said["all"].all_ok is False
    needed = 6.5 - 19 * 4 / (1.2 * WATER)
    assert said["02-dig-2.uplift_relief"].value == pytest.approx(needed, abs=0.003)
    assert any("HEAVES by uplift: gravel under clay" in text for text in said["all"].warnings)
    assert any("uplift_factor = 1.2" in text for text in said["all"].assumptions)


def test_slab_weighs_on_the_plug(plug: RunFolder) -> None:
    said = answers_of(plug)
    used = WATER * 6.5 / (0.9 * (19 * 4 + 20))
    assert said["03-slab.uplift"].value == pytest.approx(used, rel=1e-3)
    assert "03-slab.exit_gradient" not in said


def test_flotation_by_hand(plug: RunFolder) -> None:
    """Without pumps the water stands at −1.5 m, 2.5 m over the slab's underside at −4 m."""
    said = answers_of(plug)
    water = 2.5 * WATER
    for stage, held in (
        ("03-slab", 0.9 * 20),
        ("04-piles-tied", 0.9 * 20 + 10 / 1.4),
        ("05-raised", 0.9 * 20 + 10 / 1.4),
    ):
        without = said[f"{stage}.flotation_without_pumps"]
        assert without.value == pytest.approx(water / held, rel=1e-3), stage
        assert said[f"{stage}.flotation_head_allowed"].value == pytest.approx(-4 + held / WATER)
    assert said["03-slab.flotation_without_pumps"].value > 1
    assert said["pumping_may_stop"].value.startswith("from 'piles tied' on (slab")
    one = answers_of(plug, Stability(rules="global factor", flotation_factor=1.25))
    assert one["04-piles-tied.flotation_without_pumps"].value == pytest.approx(
        1.25 * water / 30, rel=1e-3
    )
    assert one["pumping_may_stop"].value.startswith("in no stage")
    text = (plug.path / "tables" / "stability_slab.csv").read_text(encoding="utf-8")
    assert text.count("\n") == 4


def test_columns_hold_their_weights(plug: RunFolder) -> None:
    """Every column: 19 kN/m³ of clay that keeps its water; the head passes to the gravel's."""
    results = read_results(plug)
    stable = stabilities(plug, results)[2]
    assert stable is not None
    columns = stable.columns
    base = np.isclose(columns.bottom, -8.0)
    assert columns.stress[base] == pytest.approx(76e3)
    assert columns.head_at[base] == pytest.approx(-1.5, abs=0.002)
    assert np.isfinite(stable.used).all()


def test_layer_tells_every_cell(plug: RunFolder) -> None:
    results = read_results(plug)
    layer = make_layers(plug, results)["stability_02_dig_2"]
    assert layer.geometry.area.sum() == pytest.approx(20 * 12)
    assert set(layer["base_of"]) == {"clay"}
    assert layer["uplift_used"].to_numpy() == pytest.approx(0.932237, rel=1e-3)
    assert layer["holds"].all()


def test_wall_in_sand_by_hand(tmp_path: Path, plain_site: Callable[..., Path]) -> None:
    """A pit in sand inside tight walls: what the prism sums is checked against its own columns.

    The floor is drained at -4 m, so the largest column of cells at the wall gives at least what
    the prism gives, and the gradient there is that of the modelled heads.
    """
    wall = {"kind": "slurry", "line": "outline", "toe": -8.0, "k": 1e-12, "thickness": 0.8}
    path = plain_site(tmp_path / "site", walls=[wall], cell=1.0)
    (done,) = run(path, out=tmp_path / "runs", figures=False, side_studies=False)
    folder = RunFolder(done.folder)
    results = read_results(folder)
    stable = stabilities(folder, results)[1]
    assert stable is not None
    assert stable.heave is not None
    prisms, columns = stable.heave.prisms, stable.columns
    assert prisms is not None
    assert prisms.embedment == pytest.approx(4.0)
    assert prisms.width == pytest.approx(2.0)
    assert prisms.cells.min() >= 2
    # Sand of 19 kN/m³ wholly under water: 4 m of submerged weight, less water above formation.
    assert prisms.weight == pytest.approx((19 - WATER) * 4e3, rel=0.02)
    # One prism by hand: columns inward from the middle of the west wall.
    x, y = folder.centres
    at_wall = np.flatnonzero(np.abs(x[columns.plan] - (466000.0 + 0.5)) < 0.3)
    middle = at_wall[np.argmin(np.abs(y[columns.plan[at_wall]] - 5918006.0))]
    row = np.flatnonzero(np.abs(y[columns.plan] - y[columns.plan[middle]]) < 1e-6)
    row = row[np.argsort(x[columns.plan[row]])][:2]
    layer = int(np.argmin(np.abs(columns.bottom[:, middle] + 8.0)))
    by_hand = 9.81e3 * float((columns.head_at[layer, row] + 4.0).mean())
    mine = np.flatnonzero(prisms.column == middle)
    assert prisms.seepage[mine[0]] == pytest.approx(by_hand, rel=0.02)
    said = done.answers.answers["01-dig-1.heave_prism"]
    assert said.value == pytest.approx(prisms.utilisation.max())
    for words in ("in the corners of the walls", "only 4.0 m below the floor, which is few cells"):
        assert any(words in text for text in done.answers.warnings)


def test_deeper_of_two_plugs_governs(tmp_path: Path, plain_site: Callable[..., Path]) -> None:
    """By hand: 2 m of clay over sand at -3 m, and 5.5 m of ground over gravel at +1 m."""
    path = plain_site(
        tmp_path / "site",
        layers=(("clay", -6.0), ("sand", -7.5), ("marl", -9.5), ("gravel", -12.0)),
        soils=dict.fromkeys(("clay", "marl"), (1e-12, 1e-12))
        | dict.fromkeys(("sand", "gravel"), (0.001, 0.001)),
        formations=(-4.0,),
        water={"levels": {"sand": -3.0, "gravel": 1.0}},
        cell=4.0,
    )
    (done,) = run(path, out=tmp_path / "runs", figures=False, side_studies=False)
    said, (found,) = (
        done.answers.answers,
        [p for p in done.answers.parts if "stability" in p.tables],
    )
    head, rows = found.tables["stability"]
    used = {row[head.index("above")]: row[head.index("used [-]")] for row in rows}
    assert used["clay"] == pytest.approx(WATER * 3 / (0.9 * 19 * 2), rel=2e-3)
    assert used["marl"] == pytest.approx(WATER * 10.5 / (0.9 * 19 * 5.5), rel=2e-3)
    # The sand drains freely, so that marl lies under a boundary that presses nothing down.
    assert set(used) == {"clay", "sand", "marl"}
    assert said["01-dig-1.uplift"].value == used["marl"] > 1
    assert said["01-dig-1.uplift"].ok is False
    relief = 10.5 - 0.9 * 19 * 5.5 / WATER
    assert said["01-dig-1.uplift_relief"].value == pytest.approx(relief, abs=0.01)
    layer = make_layers(RunFolder(done.folder), done.answers.stages)["stability_01_dig_1"]
    assert set(layer["base_of"]) == {"marl"}
    assert layer["relief_m"].to_numpy() == pytest.approx(relief, abs=0.01)
    assert layer["weight_over_water"].to_numpy() == pytest.approx(
        19 * 5.5 / (WATER * 10.5), rel=2e-3
    )


def test_prism_lies_across_a_slanted_wall(tmp_path: Path, plain_site: Callable[..., Path]) -> None:
    """A wall at an angle to the grid: its prism by hand from the columns within d/2 of its line."""
    wall = {"kind": "slurry", "line": "outline", "toe": -8.0, "k": 1e-12, "thickness": 0.8}
    pit = [(0, 0), (26, 0), (14, 12), (0, 12)]
    path = plain_site(tmp_path / "site", pit=pit, walls=[wall], cell=0.8, sublayer=0.5)
    (done,) = run(path, out=tmp_path / "runs", figures=False, side_studies=False)
    folder = RunFolder(done.folder)
    stable = stabilities(folder, read_results(folder))[1]
    assert stable is not None
    assert stable.heave is not None
    prisms, columns = stable.heave.prisms, stable.columns
    assert prisms is not None
    x, y = (c[columns.plan] - o for c, o in zip(folder.centres, (EAST, NORTH), strict=True))
    along = np.array([-12.0, 12.0]) / np.hypot(12, 12)
    part = (x - 26) * along[0] + y * along[1]
    away = np.abs((x - 26) * along[1] - y * along[0])
    middle = (part > 6) & (part < 11)
    layer = np.argmin(np.abs(columns.bottom + 8.0), axis=0)
    head = columns.head_at[layer, np.arange(layer.size)]
    area = folder.area[columns.plan]
    near = middle & (away < 2.0)
    by_hand = 9.81e3 * float(np.average(head[near] + 4.0, weights=area[near]))
    mine = middle[prisms.column] & (away[prisms.column] < 1.0)
    assert mine.sum() > 4
    assert prisms.width[mine] == pytest.approx(2.0)
    assert prisms.seepage[mine].mean() == pytest.approx(by_hand, rel=0.012)
    # Walked along the rows the prism would be 2 m/√2 wide and see more.
    close = middle & (away < 2.0 / np.sqrt(2))
    too_much = 9.81e3 * float(np.average(head[close] + 4.0, weights=area[close]))
    assert too_much > 1.025 * by_hand


def test_foot_of_open_faces_is_told_not_judged(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    """Toward the foot of an open face the gradient follows the cells, so it is no verdict."""
    path = plain_site(tmp_path / "site", cell=1.0)
    (done,) = run(path, out=tmp_path / "runs", figures=False, side_studies=False)
    folder = RunFolder(done.folder)
    stable = stabilities(folder, read_results(folder))[1]
    assert stable is not None
    assert stable.heave is not None
    foot, gradient = stable.heave.foot, stable.heave.gradient
    x, y = (c[stable.columns.plan] - o for c, o in zip(folder.centres, (EAST, NORTH), strict=True))
    away = np.minimum.reduce([x, 20 - x, y, 12 - y])
    assert (away[foot] <= 1.001).all()
    assert (away[~foot] > 0.99).all()
    assert gradient[foot].max() > 1.2 * gradient[~foot].max()
    said = done.answers.answers["01-dig-1.exit_gradient"]
    assert said.value == pytest.approx(gradient[~foot].max())
    for words in ("foot of open faces", "water seeps from open faces"):
        assert any(words in text for text in done.answers.warnings)


def test_slab_without_working_pumps_is_judged_without(plug: RunFolder) -> None:
    """Where no point of the scheme works any more the slab must hold the natural water."""
    ledger = plug.ledger
    count = len(ledger.stages)
    idle = WellEntry(
        "W1", "deep wells", EAST, NORTH, (-12.0, -9.0), 0.1, [], -9.0, None, None,
        [None] * count, ["level"] * (count - 3) + ["not used"] * 3, [None] * count, [0.0] * count,
    )  # fmt: skip
    other = RunFolder(plug.path)
    other.__dict__["ledger"] = replace(ledger, wells=[idle])
    part = assess_stability(other, read_results(other))
    slab = part.answers["03-slab.flotation"]
    assert slab.value == pytest.approx(2.5 * WATER / 18, rel=1e-3)
    assert slab.ok is False
    assert part.answers["04-piles-tied.flotation"].ok is True
    assert any("no pump works in this stage" in text for text in part.warnings)
