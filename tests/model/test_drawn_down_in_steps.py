"""Wells whose drawdown is not found at one stroke draw the water down in steps, to the same end."""

from __future__ import annotations

import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wellring.model.approach import _eased
from wellring.model.drainage.points import PointDrive
from wellring.model.run import run

WELLS = {
    "points": [(-2, 6), (22, 6), (10, -2), (10, 14)],
    "screen": [-10.0, -2.0],
    "diameter": "400 mm",
    "hold": -8.0,
}


@pytest.fixture
def stumbling(solver: Path, tmp_path: Path) -> Path:
    """MODFLOW 6, but the first time that the wells are asked for their last level it fails."""
    path = tmp_path / "stumbling_mf6"
    path.write_text(
        f"#!{sys.executable}\n"
        "import os, sys, pathlib\n"
        "wells, asked = pathlib.Path('maw.dat'), pathlib.Path('asked.txt')\n"
        "if wells.exists() and len(sys.argv) == 1:\n"
        "    rows = wells.read_text().lower().split('begin period')[1]\n"
        "    levels = [row.split()[2] for row in rows.splitlines() if 'well_head' in row]\n"
        "    first = not asked.exists()\n"
        "    asked.open('a').write(' '.join(levels[:1]) + '\\n')\n"
        "    if first:\n"
        "        sys.exit('no luck')\n"
        f"os.execv({str(solver)!r}, ['mf6', *sys.argv[1:]])\n"
    )
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def test_steps_lead_to_the_answer_of_one_stroke(
    plain_site: Callable[..., Path], solver: Path, stumbling: Path, tmp_path: Path
) -> None:
    found: dict[str, dict[str, Any]] = {}
    for name, program in (("stroke", solver), ("steps", stumbling)):
        site = plain_site(tmp_path / name, drainage=[WELLS], formations=(-3.0,))
        (done,) = run(site, solver=program, figures=False, side_studies=False)
        found[name] = done.answers.answers
        folder = done.folder
    for key in ("inflow_total", "dry_margin"):
        stroke, steps = (found[name][f"01-dig-1.{key}"].value for name in ("stroke", "steps"))
        assert steps == pytest.approx(stroke, rel=1e-3)
    (asked,) = folder.glob("mf6/01*/asked.txt")
    levels = [float(line) for line in asked.read_text().split()]
    assert levels[0] == -8.0
    assert levels[1] > levels[2] > -8.0
    assert levels[1] - levels[2] == pytest.approx(levels[2] + 8.0, rel=1e-3)  # by thirds
    # From there to where the screens' limits are expected, not to a level they never reach.
    assert levels[3:] == []


def test_a_share_of_drawdown_or_flow_is_asked_for() -> None:
    assert _eased(PointDrive(-8.0, None, "level"), 1.0, 1 / 3).held == pytest.approx(-2.0)
    assert _eased(PointDrive(None, 0.03, "rate"), 1.0, 2 / 3).rate == pytest.approx(0.02)
    assert _eased(PointDrive(-8.0, None, "level"), float("nan"), 1 / 3).held == -8.0
    shut = PointDrive(None, None, "dry")
    assert _eased(shut, 1.0, 1 / 3) is shut
