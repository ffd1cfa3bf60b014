"""Realisations of kriged surfaces: the borings honoured, scattering as kriging says."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wellring.inputs.basics.faults import FaultLog, InputFaults
from wellring.inputs.read_site import read_site
from wellring.inputs.site.vary_plan import VaryParameter, VaryPlan
from wellring.model.geology.surface_interpolation import interpolate
from wellring.model.geology.surface_realisations import gaussian_field
from wellring.model.layouts.layout import lay_out
from wellring.model.runs.run import schemes_of
from wellring.model.studies.engine import open_study
from wellring.model.studies.variants import Variant
from wellring.model.studies.vary.designs import values_of

COUNT = 14


@pytest.fixture(scope="module")
def contacts() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Levels of a contact in 14 borings of 300 m by 300 m, in site coordinates."""
    rng = np.random.default_rng(1)
    x, y = rng.uniform(0, 300, (2, COUNT))
    level = -5 + 0.01 * x + np.sin(x / 60) + 0.6 * np.cos(y / 45)
    return x + 466000, y + 5918000, level


def test_realisations_honour_the_borings_and_scatter_as_kriging_says(contacts) -> None:
    x, y, level = contacts
    rng = np.random.default_rng(2)
    xq, yq = rng.uniform(-50, 350, (2, 60))
    xq, yq = xq + 466000, yq + 5918000
    estimate, std = interpolate("kriging", x, y, level, xq, yq, with_std=True)
    assert std is not None
    drawn = []
    for seed in range(1, 61):
        field = gaussian_field(x, y, level, True, seed)
        at_data, _ = interpolate("kriging", x, y, level, x, y, field=field)
        assert at_data == pytest.approx(level, abs=1e-6)
        drawn.append(interpolate("kriging", x, y, level, xq, yq, field=field)[0])
    away = std > 0.05
    wrong = (np.mean(drawn, axis=0) - estimate)[away] / std[away]
    # Means of 60: a standard error of 0.13 each; the 60 places hang together.
    assert abs(wrong.mean()) < 0.2
    assert np.abs(wrong).max() < 0.5
    ratio = np.std(drawn, axis=0)[away] / std[away]
    assert np.median(ratio) == pytest.approx(1.0, abs=0.08)


def test_a_number_is_always_the_same_realisation(contacts) -> None:
    x, y, level = contacts
    one, same, other = (gaussian_field(x, y, level, True, seed) for seed in (7, 7, 8))
    assert one is not None
    assert same is not None
    assert other is not None
    assert np.array_equal(one(x, y), same(x, y))
    assert not np.allclose(one(x, y), other(x, y))
    assert np.array_equal(one(x, y)[:3], one(x[:3], y[:3]))


def test_planes_and_few_borings_have_no_realisations(contacts) -> None:
    x, y, _ = contacts
    assert gaussian_field(x, y, 0.01 * (x - 466000) - 3, True, 1) is None
    assert gaussian_field(x[:3], y[:3], np.array([1.0, 2.0, 4.0]), True, 1) is None


@pytest.fixture
def bored_site(tmp_path: Path, plain_site: Callable[..., Path]) -> Path:
    """Eight borings around a pit; the sand's bottom scatters by half a metre."""
    site = plain_site(
        tmp_path,
        layers=(("sand", -7.0), ("clay", -12.0)),
        soils={"sand": (1e-4, 1e-4), "clay": (1e-7, 1e-7)},
        cell=5.0,
        sublayer=4.0,
        source=50.0,
        grid={"growth": 1.8},
    )
    east, north = 466000.0, 5918000.0
    places = [(-20, -15), (10, -20), (40, -12), (45, 20), (12, 30), (-15, 25), (10, 6), (25, 8)]
    falls = np.random.default_rng(4).normal(0, 0.5, len(places))
    collars, layers = ["id,x,y,ground,final_depth"], ["id,top_depth,bottom_depth,soil"]
    for number, ((x, y), fall) in enumerate(zip(places, falls, strict=True), start=1):
        collars.append(f"B{number},{east + x},{north + y},0,12")
        layers += [f"B{number},0,{7 + fall:.3f},sand", f"B{number},{7 + fall:.3f},12,clay"]
    (tmp_path / "collars.csv").write_text("\n".join(collars) + "\n")
    (tmp_path / "layers.csv").write_text("\n".join(layers) + "\n")
    site.write_text(site.read_text().replace('"nearest"', '"kriging"'))
    return site


def test_a_study_varies_the_layers_and_every_boring_is_as_logged(bored_site: Path) -> None:
    study = open_study(bored_site, bored_site.parent / "study", workers=2)
    scheme = next(iter(study.base.schemes))
    variants = [Variant({"borings.realisation": float(n)}, scheme) for n in (0, 1, 2)]
    study.solve([Variant({}, scheme), *variants])
    flow = study.values([Variant({}, scheme), *variants], ["01-dig-1.inflow_total"])[:, 0]
    assert flow[1] == pytest.approx(flow[0], rel=1e-4)  # number 0 is the estimate
    assert len(np.unique(np.round(flow[1:], 9))) == 3
    assert flow[2:] == pytest.approx(flow[0], rel=0.5)
    for variant in variants[1:]:
        site, alike = study.base.site_of(variant)
        assert not alike
        ((number, own),) = schemes_of(site)
        layout = lay_out(site, own, number)
        for boring in site.logs.borings:
            levels = layout.strata.surfaces(
                np.array([boring.x]), np.array([boring.y]), np.array([boring.ground])
            ).levels[:, 0]
            assert levels[1] == pytest.approx(boring.intervals[0].bottom, abs=1e-6)


def test_other_surfaces_have_no_realisations(bored_site: Path) -> None:
    text = bored_site.read_text().replace('"kriging"', '"linear"\nrealisation = 3')
    bored_site.write_text(text)
    with pytest.raises(InputFaults, match=r'surfaces = "kriging" beside realisation'):
        read_site(bored_site)
    bored_site.write_text(text.replace("realisation = 3", "realisation = 2.5"))
    with pytest.raises(InputFaults, match=r"the number of a realisation: a whole number"):
        read_site(bored_site)


def test_a_plan_draws_whole_numbers_of_realisations(bored_site: Path) -> None:
    from wellring.model.studies.base_case import BaseCase
    from wellring.model.studies.vary.designs import draw, read_parameters

    parameter = VaryParameter(path="borings.realisation", range=(1, 50))
    plan = VaryPlan(design="random", runs=40, parameters=(parameter,))
    site = read_site(bored_site)
    base = BaseCase(site, {}, None, {})  # type: ignore[arg-type]
    parameters = read_parameters(plan, base)
    points = draw(plan, parameters, FaultLog(), "site.toml")
    values = np.array([values_of(parameters, row)[0] for row in points])
    assert np.array_equal(values, np.round(values))
    assert values.min() >= 1
    assert values.max() <= 50
    assert len(set(values)) > 20
