"""Fitting a site to measurements: a synthetic truth comes back, whatever kills the fit."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.measured.observations import read_observations
from wellring.inputs.read_site import read_site
from wellring.model.studies.engine import open_study
from wellring.model.studies.match.match import match
from wellring.model.studies.match.matched import Matched
from wellring.model.studies.variants import Variant

TRUE_SAND, TRUE_GRAVEL = 2.2e-4, 1.5e-4
"""m/s; the site file says 1e-4 and 4e-4."""
ROWS = [
    *(f"drawdown,{point},{stage},1,2 cm" for stage in ("dig 1", "dig 2") for point in ("P1", "P2")),
    "head,P3,dig 2,1,2 cm",
    "head,P1,before the work,1,2 cm",
    "flow,,dig 1,1,3 %",
    "flow,G 1,dig 2,1,3 %",
    "flow,,dig 2,1,3 %",
]
PLAN = """
[match]
observations = "measured.csv"
cases = 6
[[match.parameters]]
path = "soils.sand.kh"
together = ["soils.sand.kv"]
[[match.parameters]]
path = "soils.gravel.kh"
together = ["soils.gravel.kv"]
factor = [0.05, 20.0]
"""
WELLS = (
    {
        "name": "S",
        "ring": {"offset": 2.0, "count": 4},
        "screen": [-5.0, -2.0],
        "diameter": "300 mm",
        "hold": -4.5,
    },
    {
        "name": "G",
        "points": [(10, 6)],
        "screen": [-13.5, -8.0],
        "diameter": "300 mm",
        "hold": -3.5,
    },
)


@pytest.fixture(scope="module")
def measured_site(
    tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]
) -> Path:
    """A site whose measurements are those of other ks, with noise of a fixed seed."""
    folder = tmp_path_factory.mktemp("match") / "site"
    site = plain_site(
        folder,
        layers=(("sand", -5.0), ("clay", -7.0), ("gravel", -14.0)),
        soils={"sand": (1e-4, 5e-5), "clay": (1e-8, 1e-8), "gravel": (4e-4, 2e-4)},
        formations=(-2.0, -3.0),
        source=100.0,
        drainage=WELLS,
        points={"P1": (30.0, 5.0), "P2": (10.0, 30.0), "P3": (45.0, 5.0)},
        cell=6.0,
        sublayer=4.0,
        grid={"growth": 1.8},
    )
    site.write_text(site.read_text().replace('name = "P3"', 'level = -10.0\nname = "P3"'))
    text = site.read_text()
    for old, new in (
        ("kh = 0.0001", TRUE_SAND),
        ("kv = 5e-05", TRUE_SAND / 2),
        ("kh = 0.0004", TRUE_GRAVEL),
        ("kv = 0.0002", TRUE_GRAVEL / 2),
    ):
        assert old in text
        text = text.replace(old, f"{old.split()[0]} = {new}")
    truth = folder / "truth.toml"
    truth.write_text(text)
    write_rows(folder, ROWS)
    description = read_site(truth).description
    rows, _ = read_observations("measured.csv", folder, description, FaultLog(), "truth.toml")
    study = open_study(truth, folder / "truth", observations=rows, workers=2)
    study.solve([Variant({}, "scheme")])
    values = np.array(study.store.outcome(Variant({}, "scheme")).computed, dtype=float)
    noise = np.random.default_rng(5).standard_normal(len(rows))
    noisy = []
    for row, text, value, share in zip(rows, ROWS, values, noise, strict=True):
        error = 0.02 if row.kind != "flow" else 0.03 * value
        kind, point, stage, _, told = text.split(",")
        noisy.append(f"{kind},{point},{stage},{value + share * error:.6g},{told}")
    noisy += ["drawdown,P3,dig 2,,2 cm,,0.4", "drawdown,P2,dig 2,0.001,2 cm,0,"]
    write_rows(folder, noisy)
    site.write_text(site.read_text() + PLAN)
    return site


def write_rows(folder: Path, rows: list[str]) -> None:
    head = "kind,point,stage,value,error,weight,at_most"
    (folder / "measured.csv").write_text("\n".join([head, *rows]) + "\n")


@pytest.fixture(scope="module")
def done(measured_site: Path) -> Matched:
    return match(measured_site, workers=2)


def test_the_truth_lies_in_the_confidence_intervals(done: Matched) -> None:
    for value, true, (low, high) in zip(
        done.values, (TRUE_SAND, TRUE_GRAVEL), done.intervals, strict=True
    ):
        assert low < true < high
        assert value == pytest.approx(true, rel=0.25)
        assert high / low < 2
    assert done.fit.converged
    assert done.open_directions == []
    assert done.at_bounds == []
    fitted = [reading for reading in done.readings if reading.observation.fitted]
    assert len(fitted) == len(ROWS)
    assert sum(bool(reading.inside) for reading in fitted) >= len(ROWS) - 2


def test_a_row_kept_out_of_the_fit_is_tested_and_told(done: Matched) -> None:
    (apart,) = [reading for reading in done.readings if not reading.observation.fitted]
    assert apart.inside is False
    assert any("fails its test on measurements kept out" in text for text in done.advice)


def test_what_is_foretold_is_narrower_after_the_fit(done: Matched) -> None:
    (trigger,) = done.triggers
    before = trigger.before[2] - trigger.before[0]
    after = trigger.after[2] - trigger.after[0]
    assert after < before
    assert trigger.action == (None, 0.4)
    told = done.as_json()["predicted.02-dig-2.inflow_total"]
    assert told["high"] - told["low"] < 0.5 * (told["high_before"] - told["low_before"])
    assert told["low"] < told["value"] < told["high"]


def test_the_folder_holds_all_of_it_and_a_second_fit_solves_nothing(
    done: Matched, measured_site: Path
) -> None:
    folder = measured_site.parent / "site.match"
    assert {path.name for path in (folder / "tables").iterdir()} == {
        f"{name}.csv"
        for name in ("residuals", "parameters", "predictions", "triggers", "correlation",
                     "cases_before", "cases_after")
    }  # fmt: skip
    assert {"fit.png", "parameters.png", "predictions.png", "triggers.png"} <= {
        path.name for path in (folder / "figures").iterdir()
    }
    page = (folder / "report.html").read_text()
    charts = json.loads(page.split('id="data">')[1].split("</script>")[0])["charts"].values()
    (fitted,) = [
        chart for chart in charts if chart["label"] == "Fitted value over that of the file"
    ]
    sand = next(row for row in fitted["rows"] if row["name"] == "soils.sand.kh")
    assert sand["values"][1] == pytest.approx(done.values[0] / 1e-4, rel=1e-5)
    assert sand["values"][0] < TRUE_SAND / 1e-4 < sand["values"][2]
    assert any(line["dots"] for chart in charts for line in chart.get("lines", ()))
    told = json.loads((folder / "answers.json").read_text())
    assert told["fit.soils.sand.kh"]["low"] < TRUE_SAND < told["fit.soils.sand.kh"]["high"]
    assert told["match"]["correlation"][0][0] == pytest.approx(1.0)
    assert len(told["match"]["observations"]["sha256"]) == 64
    before = {p: p.stat().st_mtime_ns for p in (folder / "variants").glob("*/variant.json")}
    again = match(measured_site, workers=2, figures=False)
    after = {p: p.stat().st_mtime_ns for p in (folder / "variants").glob("*/variant.json")}
    assert after == before
    assert again.as_json() == done.as_json()
    assert "What to do next" in again.text()
    assert len(again.frame) == len(again.readings)


def test_killed_and_taken_up_again(
    done: Matched, measured_site: Path, tmp_path: Path, wellring: Callable[..., Any]
) -> None:
    """SIGKILL in the midst of it: what was solved stays, and the end is the same."""
    import sys

    folder = tmp_path / "killed"
    command = [sys.executable, "-m", "wellring.model.commands.cli", "match", measured_site]
    command += ["--out", folder]
    process = subprocess.Popen([*command, "--no-figures"], env=os.environ,
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
    deadline = time.monotonic() + 240
    while time.monotonic() < deadline and len(solved(folder)) < 5:
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    process.wait()
    kept = solved(folder)
    assert len(kept) >= 5
    assert not (folder / "answers.json").exists()
    ended = wellring("match", measured_site, "--out", folder, "--no-figures", "--json")
    assert ended.code == done.exit_code, ended.err
    assert {name: solved(folder)[name] for name in kept} == kept
    assert json.loads(ended.out) == json.loads(json.dumps(done.as_json()))


def solved(folder: Path) -> dict[str, int]:
    return {p.parent.name: p.stat().st_mtime_ns
            for p in (folder / "variants").glob("[!.]*/variant.json")}  # fmt: skip


def test_faults_of_a_plan_are_told_together(
    measured_site: Path, tmp_path: Path, wellring: Callable[..., Any]
) -> None:
    rows = (measured_site.parent / "measured.csv").read_text()
    (tmp_path / "measured.csv").write_text(rows.replace("P1", "P9"))
    (tmp_path / "plan.toml").write_text(
        'observations = "measured.csv"\n[[parameters]]\npath = "water.level"\n'
        '[[parameters]]\npath = "soils.sandd.kh"\n[[parameters]]\npath = "soils.sand.kh"\n'
        'range = [1e-6, 1e-5]\n[[parameters]]\npath = "soils.sand.ss"\ndeviation = 1.0\n'
    )
    out = tmp_path / "out"
    refused = wellring("match", measured_site, "--plan", tmp_path / "plan.toml",
                               "--out", out)  # fmt: skip
    assert refused.code == 2
    assert "Traceback" not in refused.err
    for said in (
        "match.parameters.0.range; expected this key, which is missing",
        "Did you mean 'soils.sand.kh'?",
        "bounds about the file's value",
        "spread in its place",
    ):
        assert said in refused.err
    (tmp_path / "plan.toml").write_text(
        'observations = "measured.csv"\n[[parameters]]\npath = "soils.sand.kh"\n'
    )
    refused = wellring("match", measured_site, "--plan", tmp_path / "plan.toml",
                               "--out", out)  # fmt: skip
    assert refused.code == 2
    assert "measured.csv:2: column point is 'P9'" in refused.err
    assert not (out / "answers.json").exists()


def test_a_site_without_a_plan_is_refused(
    plain_site: Callable[..., Path], tmp_path: Path, wellring: Callable[..., Any]
) -> None:
    refused = wellring("match", plain_site(tmp_path))
    assert refused.code == 2
    assert "a [match] table, or a plan given by --plan" in refused.err
