"""May the pumps stop: the slab and every plug against the heads that come back, by hand.

Sand (natural level −2 m) to −6 m, clay to −8 m, gravel (natural level +2 m) below; formation −4 m;
all soils 19 kN/m³, γw 9.81 kN/m³; EN 1997-1 UPL with 0.9 on weights and 1.0 on the water. At the
clay's base u = γw·(2 + 8) = 98.1 kPa; the weight above it is 4·19 = 76 kPa and the slab's.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wellring.inputs.site.site import SiteDescription
from wellring.model.runs.run import run
from wellring.postprocess.answers import Answers, make_answers
from wellring.postprocess.report_headlines import NO, WATCH, YES, headlines
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.enclosed_water import enclosed_head
from wellring.postprocess.stability.pump_stop import pump_stop
from wellring.postprocess.stability.stability import stabilities
from wellring.postprocess.stage_results import read_results

WATER = 9.81
STAGES = """
[[excavation.stages]]
name = "slab"
slab = { weight = "30 kPa" }

[[excavation.stages]]
name = "storey"
slab = { weight = "60 kPa" }
"""
RELIEF = {
    "method": "relief wells",
    "name": "relief",
    "points": [(4, 6), (10, 6), (16, 6)],
    "screen": [-11.5, -8.5],
    "diameter": "600 mm",
}
WELL = {
    "name": "well",
    "points": [(10, 3)],
    "screen": [-6.0, -4.5],
    "diameter": "300 mm",
    "hold": -4.05,
}


def _site(plain_site: Callable[..., Path], folder: Path, **changed: Any) -> Path:
    site = plain_site(
        folder,
        **{
            "layers": (("sand", -6.0), ("clay", -8.0), ("gravel", -12.0)),
            "soils": {"sand": (1e-4, 1e-4), "clay": (1e-12, 1e-12), "gravel": (1e-4, 1e-4)},
            "water": {"levels": {"sand": -2.0, "gravel": 2.0}},
            "drainage": [RELIEF, WELL],
            "cell": 4.0,
            **changed,
        },
    )
    site.write_text(site.read_text(encoding="utf-8") + STAGES, encoding="utf-8")
    return site


@pytest.fixture(scope="module")
def artesian(tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]) -> Any:
    """The run. Read it, never write."""
    folder = tmp_path_factory.mktemp("artesian")
    (done,) = run(_site(plain_site, folder), figures=False, side_studies=False)
    return done


def _weighing(folder: RunFolder, *weights: float) -> tuple[RunFolder, Answers]:
    """The same run with other slabs [Pa] in its last stages."""
    told = folder.description.model_dump(exclude_none=True)
    for stage, weight in zip(told["excavation"]["stages"][1:], weights, strict=True):
        stage["slab"] = {"weight": weight}
    other = folder.reassessed(SiteDescription.model_validate(told), {})
    return other, make_answers(other, read_results(other))


def _headline(folder: RunFolder, answers: Answers) -> Any:
    (found,) = (h for h in headlines(folder, answers) if h.question == "May the pumps stop?")
    return found


def test_a_plug_forbids_what_the_slab_alone_would_allow(artesian: Any) -> None:
    """V1: the slab holds 27 kPa against 19.6 kPa; the plug only 95.4 kPa against 98.1 kPa."""
    folder = RunFolder(artesian.folder)
    other, answers = _weighing(folder, 30e3, 30e3)
    said = answers.answers
    slab = said["02-slab.flotation_without_pumps"]
    assert slab.value == pytest.approx(2 * WATER / 27, rel=2e-3)
    held = 0.9 * (76 + 30)
    assert said["02-slab.recovered"].value == pytest.approx(98.1 / held, rel=3e-3)
    may = said["pumping_may_stop"]
    assert may.ok is False
    assert answers.all_ok is False
    assert "NOT from 'slab' on" in str(may.value)
    found = pump_stop(other, answers.stages)
    assert found is not None
    plug = found.stages[0][0].check.plug
    assert plug is not None
    assert plug.head == pytest.approx(2.0, abs=0.01)
    assert plug.head_allowed == pytest.approx(-8 + held / WATER, abs=0.02)
    assert plug.factor == pytest.approx(106 / 98.1, rel=3e-3)
    for words in ("clay over gravel", "head 2.00 m", "factor of safety 1.08"):
        assert words in str(may.value)
    assert _headline(other, answers).verdict == NO
    assert any("the pumps may NOT stop with relief wells sealed" in w for w in answers.warnings)


def test_open_relief_wells_press_on_the_slab(artesian: Any) -> None:
    """60 kPa hold the plug (122.4 of 98.1 kPa) but, with 54 kPa, not the gravel's head of 2 m under
    the slab (58.9 kPa): the wells must be sealed first. 70 kPa (63) hold even that."""
    folder = RunFolder(artesian.folder)
    said = artesian.answers.answers["pumping_may_stop"]
    assert str(said.value).startswith("from 'storey' on, once the relief wells are sealed")
    assert said.ok is None
    assert _headline(folder, artesian.answers).verdict == WATCH
    found = pump_stop(folder, artesian.answers.stages)
    assert found is not None
    sealed, left_open = found.stages[1]
    assert sealed.holds is True
    assert left_open.check.slab is not None
    assert left_open.check.slab.utilisation == pytest.approx(6 * WATER / 54, rel=3e-3)
    assert left_open.holds is False
    other, answers = _weighing(folder, 30e3, 70e3)
    assert answers.answers["pumping_may_stop"].ok is True
    assert _headline(other, answers).verdict == YES


def test_pumps_may_stop_only_where_every_later_stage_holds(artesian: Any) -> None:
    """A slab stated lighter later on: what held in between allows nothing."""
    _, answers = _weighing(RunFolder(artesian.folder), 70e3, 30e3)
    assert answers.answers["pumping_may_stop"].ok is False


def test_each_group_alone(artesian: Any) -> None:
    """Sealing the relief wells brings the gravel's head back; the sand well does not reach it."""
    said = artesian.answers.answers
    assert str(said["02-slab.may_stop.relief"].value).startswith("no: plug of clay over gravel")
    assert str(said["02-slab.may_stop.well"].value).startswith("not judged")
    _, answers = _weighing(RunFolder(artesian.folder), 70e3, 70e3)
    for group in ("relief", "well"):
        assert str(answers.answers[f"02-slab.may_stop.{group}"].value).startswith("yes")


def test_unknown_head_is_not_judged(artesian: Any) -> None:
    """No head before the work in a cell under the floor: never a yes."""
    folder = RunFolder(artesian.folder)
    results = read_results(folder)
    results[0].heads[:, results[1].entry.floor[0]] = float("nan")
    found = pump_stop(folder, results)
    assert found is not None
    assert found.holds is None
    assert found.since is None
    assert "not known" in found.decisive.text(folder)


def test_water_closed_in_takes_the_head_beneath(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    """Leaks of walls against that of the plug, by hand.

    Walls 1e-9 m/s over 0.8 m along 64 m, 2 m high under formation: 1.6e-7 m²/s. The plug: 240 m²
    over 2 m of clay of 1e-9 m/s (and 2 m of sand): 1.2e-7 m²/s. The water under the slab comes to
    −2 + 1.2/2.8·(2 + 2) = −0.286 m, and presses with 36.4 kPa on a slab that holds 27 kPa.
    """
    wall = {"kind": "slurry", "line": "outline", "toe": -7.0, "k": 1e-9, "thickness": 0.8}
    soils = {"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9), "gravel": (1e-3, 1e-3)}
    site = _site(plain_site, tmp_path / "site", walls=[wall], soils=soils)
    (done,) = run(site, out=tmp_path / "runs", figures=False, side_studies=False)
    folder, results = RunFolder(done.folder), done.answers.stages
    stable = stabilities(folder, results)[2]
    assert stable is not None
    head = enclosed_head(folder, results[0], results[2], stable.columns)
    assert head == pytest.approx(-0.286, abs=0.05)
    found = pump_stop(folder, results)
    assert found is not None
    shut = found.stages[0][0]
    assert shut.holds is not True
