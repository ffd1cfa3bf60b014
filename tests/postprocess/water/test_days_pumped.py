"""How long each stage is pumped, which hire, wages and energy are counted by."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from wellring.inputs.read_site import read_site
from wellring.postprocess.water.discharge import days_pumped


@pytest.mark.parametrize(
    ("first", "second", "time", "days"),
    [
        ("day = 0", "day = 30\nlasts = 40", "", [30.0, 40.0]),
        ("day = 0", "day = 30\nlasts = 40", "pumping_starts = -14", [44.0, 40.0]),
        ("lasts = 20", "lasts = 10", "", [20.0, 10.0]),
        ("", "day = 30", "", [None, None]),
    ],
)
def test_days_of_each_stage(
    tmp_path: Path,
    plain_site: Callable[..., Path],
    first: str,
    second: str,
    time: str,
    days: list[float | None],
) -> None:
    """Pumping before the dig belongs to the first stage; a stage lasts until the next begins."""
    site = plain_site(tmp_path / "site", formations=(-2.0, -4.0))
    text = site.read_text().replace('name = "dig 1"', f'name = "dig 1"\n{first}')
    text = text.replace('name = "dig 2"', f'name = "dig 2"\n{second}')
    site.write_text(text + (f"\n[time]\n{time}\n" if time else ""))
    assert days_pumped(read_site(site).description) == days
