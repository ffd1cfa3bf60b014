"""More water comes to a sump than its pumps take: no answer says that the pit stays dry."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wellring.model.runs.run import run
from wellring.postprocess.figures.floor import draw_floor
from wellring.postprocess.report_headlines import NO, YES, headlines
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.summary import summary

WELLS = {
    "points": [(-2, 6), (22, 6), (10, -2), (10, 14)],
    "screen": [-11.0, -3.0],
    "diameter": "400 mm",
    "hold": -7.0,
}


@pytest.fixture(scope="module", params=["1 L/h", "50 m3/h"])
def sumped(
    request: Any, tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]
) -> Any:
    """Wells keep the floor dry; leaky sheet piles let some litres a minute through to the sump."""
    folder = tmp_path_factory.mktemp("sump")
    wall = {
        "kind": "sheet pile", "line": "outline", "toe": -10.0, "joint_resistance": 1e-6,
        "pile_width": 0.6,
    }  # fmt: skip
    sump = {"method": "sump", "pump_capacity": request.param}
    site = plain_site(
        folder,
        layers=(("sand", -6.0), ("clay", -7.0), ("gravel", -12.0)),
        soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9), "gravel": (1e-4, 1e-4)},
        drainage=[{**WELLS, "points": [(4, 6), (16, 6)], "screen": [-6.0, -4.5], "hold": -5.5},
                  {**WELLS, "screen": [-12.0, -7.0], "hold": -5.0}, sump],
        walls=[wall],
        formations=(-3.0,),
    )  # fmt: skip
    (done,) = run(site, figures=False, side_studies=False)
    return done, request.param == "1 L/h"


def test_headline_figure_table_and_exit_code_follow_the_sump(sumped: Any) -> None:
    """V3: the model drains the floor as if the sump took all; 1 L/h of pumps do not."""
    done, floods = sumped
    folder, answers = RunFolder(done.folder), done.answers
    sump, dry = (answers.answers[f"01-dig-1.{name}"] for name in ("sump", "dry_margin"))
    assert sump.value > 0.01 / 3600
    assert dry.value > folder.ledger.clearance  # the water under the floor alone says dry
    assert (sump.ok, dry.ok) == ((False, False) if floods else (True, True))
    assert answers.all_ok is not floods
    found = headlines(folder, answers)[0]
    assert found.verdict == (NO if floods else YES)
    assert ("come to the sump" in found.sentence) is floods
    told = " ".join(text.get_text() for text in draw_floor(folder, answers.stages[1]).texts)
    assert ("NOT DRY" in told) is floods
    text = summary(folder, answers, done.folder)
    (row,) = [line for line in text.splitlines() if "water below formation" in line]
    assert row.endswith("NOT OK") is floods
    table = (done.folder / "tables" / "stages.csv").read_text(encoding="utf-8")
    assert (",no," in table) is floods
