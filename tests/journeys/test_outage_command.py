"""`wellring outage` as a user drives it: from a site file alone, with standby power."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


def test_standby_power_in_time_or_too_late(
    tmp_path: Path, plain_site: Callable[..., Path], wellring: Callable[..., Any]
) -> None:
    site = plain_site(
        tmp_path / "site",
        formations=(-3.0,),
        cell=4.0,
        sublayer=2.0,
        drainage=[
            {
                "ring": {"offset": 2.0, "count": 4},
                "screen": [-11.0, -2.0],
                "diameter": "400 mm",
                "hold": -8.5,
            }
        ],
    )
    late = wellring("outage", site, "--standby", "200", "--no-single-wells", "--json")
    assert late.code == 1, late.err
    told = json.loads(late.out)
    within = told["standby_must_start_within_hours"]
    assert 0 < within < 200
    assert told["standby_in_time"] is False
    assert told["one_out"] is None
    need = told["standby_needed"]
    assert need["within_hours"] == within
    assert need["pumps"] == 4
    assert sum(need["spares"].values()) == 1  # four pumps of a kind
    # Power by hand: ρ·g·Q·H over the pump's and the motor's efficiency, H from the wells' level up.
    flow = told["stopped_pumps_took_m3_per_s"]
    assert need["power_w"] > 9.81e3 * flow * 8.5 / (0.75 * 0.95)
    assert (
        "Which units may not fail was not asked for"
        in late.err
        + (site.parent / "site.runs" / "scheme.outage 01 dig 1" / "outage.txt").read_text()
    )
    (folder,) = (site.parent / "site.runs").iterdir()
    page = (folder / "report.html").read_text()
    data = json.loads(page.split('id="data">')[1].split("</script>")[0])
    levels = next(c for c in data["charts"].values() if c["label"].startswith("Water in and under"))
    marks = {mark["name"]: mark["at"] for mark in levels["marks"]}
    assert marks["water at formation"] == pytest.approx(within, rel=1e-5)
    assert "too late" in page
    soon = wellring(
        "outage", site, "--standby", str(0.5 * within), "--no-single-wells", "--no-figures"
    )
    assert soon.code == 0, soon.err
    assert "in time" in soon.out
    one = wellring(
        "outage", site, "--pump", "W 1", "--for", "20", "--no-single-wells", "--no-figures"
    )
    assert one.code == 0, one.err
    assert "Stopped: W 1;" in one.out
    assert "must stand by" not in one.out  # that is told of all pumps only
    assert "Still pumping: W 2, W 3, W 4" in one.out
    assert "does not reach formation within 20 days" in one.out
    assert folder.name == "scheme.outage 01 dig 1"
    wrong = wellring("outage", site, "--stage", "dig 9", "--for", "3")
    assert wrong.code == 2
    assert "dig 1" in wrong.err
