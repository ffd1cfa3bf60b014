"""The pumps stop: plugs under the floor are judged by uplift, by hand.

Sand (natural level −2 m) to −6 m, clay to −8 m, gravel (natural level +2 m, T = 4e-4·4 m²/s) below;
formation −4 m; 19 kN/m³, γw 9.81 kN/m³, EN 1997-1 UPL. Where a well keeps the sand's water at −5 m,
1 m of it has lost its sy of 0.2: the clay's base bears 0.9·(4·19 − 9.81·0.2) = 66.6 kPa, a head of
−8 + 6.79 = −1.21 m; with all gravel wells out u = 98.1 kPa, 1.47 of that.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wellring.model.outage.outage_result import OutageRun
from wellring.model.outage.run_outage import outage

WATER = 9.81
HELD = 0.9 * (4 * 19.0 - WATER * 0.2)
WET = 0.9 * 4 * 19.0
"""Without the well in the sand."""


def _site(plain_site: Callable[..., Path], folder: Path, **changed: Any) -> Path:
    return plain_site(
        folder,
        **{
            "layers": (("sand", -6.0), ("clay", -8.0), ("gravel", -12.0)),
            "soils": {"sand": (1e-4, 1e-4), "clay": (1e-10, 1e-10), "gravel": (4e-4, 4e-4)},
            "water": {"levels": {"sand": -2.0, "gravel": 2.0}},
            "walls": [
                {"kind": "slurry", "line": "outline", "toe": -7.0, "k": 1e-12, "thickness": 0.8}
            ],
            "cell": 3.0,
            "clearance": 0.0,
            **changed,
        },
    )


GRAVEL = {
    "name": "gravel wells",
    "points": [(5, 6), (15, 6)],
    "screen": [-12.0, -8.5],
    "diameter": "1 m",
    "hold": -6.0,
}
SAND = {
    "name": "sand well",
    "points": [(10, 3)],
    "screen": [-6.0, -4.5],
    "diameter": "400 mm",
    "hold": -5.0,
}


@pytest.fixture(scope="module")
def gravel(tmp_path_factory: Any, plain_site: Callable[..., Path], solver: Path) -> OutageRun:
    """Two wells in the gravel, one in the sand. Read it, never write."""
    site = _site(plain_site, tmp_path_factory.mktemp("gravel"), drainage=[GRAVEL, SAND])
    return outage(site, solver=solver, days=2.0)


def test_a_plug_bursts_within_seconds(gravel: OutageRun) -> None:
    """V2: nothing was said but 'NOT judged'. Theis by hand from the steady flows.

    The gravel's storage is 1e-5·4 m: its head is back before the model's first minute is over.
    """
    (plug,) = (item for item in gravel.answers.bursts if item.lower == "gravel")
    assert plug.head_allowed == pytest.approx(-8 + HELD / WATER, abs=0.01)
    assert plug.head_at_end == pytest.approx(2.0, abs=0.02)
    assert plug.utilisation == pytest.approx(98.1 / HELD, rel=3e-3)
    assert plug.factor == pytest.approx(HELD / 0.9 / 98.1, rel=3e-3)
    assert plug.hours is not None
    assert 0.0 < plug.hours * 3600 < 60.0
    assert "Theis" in plug.basis
    assert gravel.answers.start_by == plug.hours
    assert gravel.exit_code == 1
    text = gravel.text()
    for words in ("plug of clay over gravel", "at its limit after", "it must start by itself"):
        assert words in text
    assert "none must stand by" not in text
    assert "NOT judged" not in text


def test_one_gravel_well_out_is_judged_by_uplift(gravel: OutageRun) -> None:
    """One of two leaves more head than the clay bears; the sand well out lifts nothing."""
    assert gravel.singles is not None
    found = {item.unit: item for item in gravel.singles}
    for name in ("gravel wells 1", "gravel wells 2"):
        item = found[name]
        assert item.dry is True  # the water's level alone would let it fail
        assert item.uplift is not None
        assert item.uplift > 1.0
        assert item.holds is False
        assert item.ok is False
        assert item.burst_hours is not None
        assert 0.0 < item.burst_hours < 1.0
    assert found["sand well 1"].holds is True
    assert found["gravel wells"].kind == "table"
    assert found["gravel wells"].uplift == pytest.approx(98.1 / HELD, rel=5e-3)
    assert gravel.need is not None
    assert {"gravel wells 1", "gravel wells 2"} <= set(gravel.need.critical or ())
    assert "NOT redundant" in gravel.text()


def test_headlines_are_the_worst_answer(gravel: OutageRun) -> None:
    page = (gravel.folder / "report.html").read_text(encoding="utf-8")
    assert "Does the floor hold when the pumps stop?" in page
    assert "May one well or header fail?" in page
    told = json.loads((gravel.folder / "outage.json").read_text(encoding="utf-8"))
    assert told["plugs"][0]["utilisation"] > 1
    assert told["floor_holds_in_the_end"] is False
    assert told["standby_needed"]["starts_by_itself"] is True
    assert [item["ok"] for item in told["one_out"][:2]] == [False, False]


def test_a_heavy_plug_needs_no_standby(
    tmp_path: Path, plain_site: Callable[..., Path], solver: Path
) -> None:
    """The gravel's natural level at −3 m: 49 of 68.4 kPa, less where the closed-in sand has drained
    through the clay, 64.9 kPa if all of it had. It holds whatever stops."""
    site = _site(
        plain_site, tmp_path, drainage=[GRAVEL],
        water={"levels": {"sand": -2.0, "gravel": -3.0}},
    )  # fmt: skip
    done = outage(site, solver=solver, days=2.0, figures=False)
    (plug,) = (item for item in done.answers.bursts if item.lower == "gravel")
    assert plug.hours is None
    dry = 0.9 * (4 * 19.0 - 2 * 0.2 * WATER)
    assert 0.995 * 5 * WATER / WET < plug.utilisation < 1.005 * 5 * WATER / dry
    assert done.answers.floor_holds is True
    assert done.need is not None
    assert "none must stand by" in done.text()
    assert done.singles is not None
    assert all(item.holds is True for item in done.singles)
    assert done.exit_code == 0


def test_relief_wells_out_one_at_a_time(
    tmp_path: Path, plain_site: Callable[..., Path], solver: Path
) -> None:
    """A passive well can clog: the only one out brings the natural head back."""
    relief = {
        "method": "relief wells", "name": "relief", "points": [(10, 6)],
        "screen": [-12.0, -8.5], "diameter": "1 m",
    }  # fmt: skip
    site = _site(plain_site, tmp_path, drainage=[relief, SAND])
    done = outage(site, solver=solver, days=0.5, figures=False)
    assert done.singles is not None
    found = {item.unit: item for item in done.singles}
    assert found["relief 1"].uplift == pytest.approx(98.1 / HELD, rel=5e-3)
    assert found["relief 1"].holds is False
    assert done.exit_code == 1


def test_under_a_slab_relief_wells_lose_their_outlet(
    tmp_path: Path, plain_site: Callable[..., Path], solver: Path
) -> None:
    """The pit of the model in time is open, a slab is not: the plug's time is Theis's, by the flow
    of the relief wells too. 30 kPa more bear 93.6 kPa of the 98.1 that come back."""
    relief = {
        "method": "relief wells", "name": "relief", "points": [(5, 6), (15, 6)],
        "screen": [-12.0, -8.5], "diameter": "1 m",
    }  # fmt: skip
    site = _site(plain_site, tmp_path, drainage=[relief, SAND])
    slab = '\n[[excavation.stages]]\nname = "slab"\nslab = { weight = "30 kPa" }\n'
    site.write_text(site.read_text(encoding="utf-8") + slab, encoding="utf-8")
    done = outage(site, solver=solver, days=0.2, single_wells=False, figures=False)
    (plug,) = (item for item in done.answers.bursts if item.lower == "gravel")
    held = HELD + 0.9 * 30
    assert plug.head_allowed == pytest.approx(-8 + held / WATER, abs=0.01)
    assert plug.utilisation == pytest.approx(98.1 / held, rel=3e-3)
    assert "Theis" in plug.basis
    assert plug.hours is not None
    assert plug.hours < 1.0
    assert done.answers.floor_holds is False
    assert done.exit_code == 1


def test_a_pump_that_does_not_matter_lifts_nothing(gravel: OutageRun, solver: Path) -> None:
    """The sand well stops, the gravel wells go on: the plug bears what they leave."""
    site = gravel.folder.parent.parent / "site.toml"
    done = outage(
        site, pumps=["sand well"], out=gravel.folder.parent / "alone", solver=solver, days=0.2,
        single_wells=False, figures=False,
    )  # fmt: skip
    assert done.answers.running == ["gravel wells 1", "gravel wells 2"]
    assert done.answers.floor_holds is True
    assert all(item.hours is None for item in done.answers.bursts)
    assert done.exit_code == 0


def test_theis_by_hand() -> None:
    """T = 1.6e-3 m²/s, S = 4e-5, 5 L/s at 10 m, 60 s: u = 10²·4e-5/(4·1.6e-3·60) = 0.0104167;
    W(u) = −0.577216 − ln u + u − u²/4 = 3.997544 (series); s = 0.005/(4π·1.6e-3)·W = 0.994104 m."""
    import numpy as np

    from wellring.postprocess.water.theis_recovery import Aquifer, recovery, seconds_to_rise

    u = 10**2 * 4e-5 / (4 * 1.6e-3 * 60)
    well = -0.5772157 - math.log(u) + u - u**2 / 4 + u**3 / 18
    by_hand = 0.005 / (4 * math.pi * 1.6e-3) * well
    assert by_hand == pytest.approx(0.9941, abs=2e-3)
    aquifer = Aquifer(1.6e-3, 4e-5)
    flow, away = np.array([0.005]), np.array([10.0])
    assert recovery(aquifer, flow, away, 60.0) == pytest.approx(by_hand, rel=1e-5)
    assert seconds_to_rise(aquifer, flow, away, by_hand) == pytest.approx(60.0, rel=1e-4)
    two = seconds_to_rise(aquifer, np.array([0.0025, 0.0025]), np.array([10.0, 10.0]), by_hand)
    assert two == pytest.approx(60.0, rel=1e-4)
    assert seconds_to_rise(aquifer, np.zeros(0), np.zeros(0), 1.0) is None
    assert seconds_to_rise(aquifer, flow, away, 0.0) == 0.0
