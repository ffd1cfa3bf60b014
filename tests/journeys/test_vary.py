"""Uncertainty against closed forms: shares of a product's variance, chance of a log-normal flow."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from wellring.inputs.site.vary_plan import Correlation, VaryParameter, VaryPlan
from wellring.model.studies.vary.designs import Uncertain, draw
from wellring.model.studies.vary.sensitivity import variance_indices
from wellring.model.studies.vary.vary import vary
from wellring.postprocess.neighbours.chances import cases_needed, chance

SPREADS = (2.0, 1.5, 1.2)
"""Factors of one standard deviation of k, thickness and drawdown."""


def plan_of(design: Any, runs: int, **more: Any) -> VaryPlan:
    items = tuple(VaryParameter(path=f"soils.s{i}.kh", spread=s) for i, s in enumerate(SPREADS))
    return VaryPlan(design=design, runs=runs, parameters=items, **more)


def parameters_of(plan: VaryPlan) -> list[Uncertain]:
    return [
        Uncertain(item.path, stats.lognorm(np.log(item.spread)).ppf, 1.0, {}, "")
        for item in plan.parameters
        if item.spread is not None
    ]


def test_shares_of_the_variance_of_thiems_flow() -> None:
    """Q = 2π·k·D·s/ln(R/r) is a product, so with v = exp(σ²) − 1 of each log-normal factor
    S_i = v_i/(Π(1 + v) − 1) and S_Ti = v_i·Π_{j≠i}(1 + v_j)/(Π(1 + v) − 1), by hand."""
    plan = plan_of("indices", 5 * 4096)
    parameters = parameters_of(plan)
    points = draw(plan, parameters, None, "")  # type: ignore[arg-type]
    k, thick, fall = (p.quantile(u) for p, u in zip(parameters, points.T, strict=True))
    flow = 2 * np.pi * k * 1e-4 * thick * 10.0 * fall * 3.0 / np.log(300 / 0.15)
    found = variance_indices(flow, 3)
    assert found is not None
    v = np.exp(np.log(SPREADS) ** 2) - 1
    whole = np.prod(1 + v) - 1
    first, total = v / whole, v * np.prod(1 + v) / (1 + v) / whole
    assert found.first == pytest.approx(first, abs=0.02)
    assert found.total == pytest.approx(total, abs=0.03)
    assert (found.first_interval[:, 0] <= first + 0.01).all()
    assert (found.first_interval[:, 1] >= first - 0.01).all()
    flow[7] = np.nan  # a failed case takes its whole row along, and no more
    again = variance_indices(flow, 3)
    assert again is not None
    assert again.rows == found.rows - 1


def test_correlated_draws_keep_margins_and_rank_correlation() -> None:
    pair = Correlation(of=("soils.s0.kh", "soils.s2.kh"), rank=0.7)
    plan = plan_of("latin hypercube", 4000, correlations=(pair,))
    points = draw(plan, parameters_of(plan), None, "")  # type: ignore[arg-type]
    ranks = stats.spearmanr(points).statistic
    assert ranks[0, 2] == pytest.approx(0.7, abs=0.02)
    assert abs(ranks[0, 1]) < 0.05
    for column in points.T:
        assert stats.kstest(column, "uniform").pvalue > 0.01


def test_interval_of_a_chance() -> None:
    """Clopper–Pearson from the beta distribution's quantiles: 3 of 20, 95 %: 0.032 to 0.379."""
    found = chance(np.arange(20) < 3)
    assert (found.low, found.high) == pytest.approx(
        (stats.beta.ppf(0.025, 3, 18), stats.beta.ppf(0.975, 4, 17))
    )
    assert (found.low, found.high) == pytest.approx((0.032, 0.379), abs=1e-3)
    assert cases_needed(0.5) == 385  # 1.96²·0.25/0.05²


PLAN = """
[vary]
design = "random"
runs = 24
seed = 4
limits = { "01-dig-1.inflow_total" = "LIMIT m3/h" }
[[vary.parameters]]
path = "soils.sand.kh"
together = ["soils.sand.kv"]
spread = 2.0
"""


def confined_site(folder: Path, plain_site: Callable[..., Path]) -> Path:
    """One soil, an open pit, no pumps with limits: every flow is in proportion to k."""
    return plain_site(folder, cell=5.0, sublayer=3.0)


def test_chance_of_a_log_normal_flow(tmp_path: Path, plain_site: Callable[..., Path]) -> None:
    """Q = c·k: P(Q > limit) = 1 − Φ(ln(limit/Q₀)/ln 2), by hand; and 24 cases, each Q₀·k/k₀."""
    site = confined_site(tmp_path / "site", plain_site)
    site.write_text(site.read_text() + PLAN.replace("LIMIT", "1e6"))
    done = vary(site, workers=2, figures=True)
    name = "01-dig-1.inflow_total"
    base = done.base.answers[name]["value"]
    k = np.array([variant.overrides["soils.sand.kh"] for variant in done.variants])
    ours = np.array([base * value / 1e-4 for value in k])
    assert done.values(name) == pytest.approx(ours, rel=2e-3)
    limit = 1.2 * base
    exact = 1 - stats.norm.cdf(np.log(1.2) / np.log(2.0))
    site.write_text(site.read_text().replace("1e6 m3/h", f"{limit * 3600} m3/h"))
    again = vary(site, workers=2, figures=False)
    found = next(c for n, c in again.chances().items() if "above" in n)
    assert found.cases == 24
    assert found.low <= exact <= found.high
    # Another limit asks for no case anew; the drawn ks are log-normal.
    assert again.study.solve(again.variants).solved == 0
    assert stats.kstest(np.log(k / 1e-4) / np.log(2.0), "norm").pvalue > 0.01
    folder = site.parent / "site.vary"
    told = json.loads((folder / "vary.json").read_text())
    assert told["answers"][name]["rank_correlation"]["soils.sand.kh"] > 0.95
    assert len((folder / "vary.csv").read_text().splitlines()) == 25
    assert (folder / "figures" / "01-dig-1-inflow_total.png").stat().st_size > 10_000
    page = (folder / "report.html").read_text()
    data = json.loads(page.split('id="data">')[1].split("</script>")[0])
    (chances,) = [
        c for c in data["charts"].values() if c["label"].startswith("Chance that a limit")
    ]
    low, middle, high = chances["rows"][0]["values"]
    assert low <= middle <= high
    tornado = [c for c in data["charts"].values() if c["label"].startswith("What moves it: ")]
    assert [row["name"] for row in tornado[0]["rows"]] == ["soils.sand.kh"]
    layers = {layer["name"]: layer for layer in data["plans"][0]["layers"]}
    assert layers["chance_drawdown"]["high"] == 100.0
    assert layers["drawdown"]["unit"] == "m"
    fields = again.fields()
    assert fields.shape[0] == 24
    # Levels are held and all ground alike: the drawdown, and so the map, is the same in all cases.
    import rasterio

    with rasterio.open(folder / "maps" / "chance_drawdown_01_dig_1_near.tif") as file:
        shares = file.read(1, masked=True)
    assert set(np.unique(shares.compressed().round(3))) >= {1.0}
    assert shares.min() >= 0
    assert shares.max() <= 1


def test_faults_of_a_plan_are_told_together(
    tmp_path: Path, plain_site: Callable[..., Path], wellring: Callable[..., Any]
) -> None:
    site = confined_site(tmp_path / "site", plain_site)
    plain = site.read_text()
    site.write_text(
        plain
        + """
[vary]
[[vary.parameters]]
path = "soils.sandd.kh"
spread = 2.0
[[vary.parameters]]
path = "water.level"
range = [-0.5, -1.5]
[[vary.parameters]]
path = "grid.largest"
factor = [0.5, 2.0]
"""
    )
    done = wellring("vary", site)
    assert done.code == 2
    assert "Did you mean 'soils.sand.kh'?" in done.err
    assert "a low end below the high end" in done.err
    assert "a value that stands in the site file" in done.err
    site.write_text(plain)
    done = wellring("vary", site)
    assert done.code == 2
    assert "a [vary] table, or a plan given by --plan" in done.err


def test_contradicting_correlations_are_refused(
    tmp_path: Path, plain_site: Callable[..., Path], wellring: Callable[..., Any]
) -> None:
    site = confined_site(tmp_path / "site", plain_site)
    paths = ("soils.sand.kh", "water.level", "excavation.clearance")
    text = "[vary]\n" + "".join(
        f'[[vary.parameters]]\npath = "{path}"\ndeviation = {wide}\n'
        for path, wide in zip(paths, (1e-5, 0.1, 0.1), strict=True)
    )
    for pair, rank in (((0, 1), 0.9), ((1, 2), 0.9), ((0, 2), -0.9)):
        text += f'[[vary.correlations]]\nof = ["{paths[pair[0]]}", "{paths[pair[1]]}"]\n'
        text += f"rank = {rank}\n"
    site.write_text(f"{site.read_text()}\n{text}")
    done = wellring("vary", site)
    assert done.code == 2, done.err
    assert "not positive definite" in done.err
