"""Flows asked of wells by stage: each well gives in each stage what its list says."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.read_site import read_site
from wellring.inputs.site.overrides import find_path
from wellring.model.layouts.layout import lay_out
from wellring.model.runs.run import run
from wellring.model.studies.base_case import _VALUES


def wells(**rates: list[float] | float) -> dict[str, object]:
    return {
        "method": "deep wells",
        "points": [[-2.0, 6.0], [22.0, 6.0], [10.0, 14.0]],
        "screen": [-11.0, -3.0],
        "diameter": "400 mm",
        "rates": {name.replace("_", " "): flows for name, flows in rates.items()},
    }


def test_each_well_gives_what_its_stage_asks(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    drainage = [wells(dig_2=[1e-3, 0.0, 2e-3], dig_3=5e-4)]
    site = plain_site(tmp_path / "site", formations=(-1.5, -2.0, -2.5), drainage=drainage, cell=4.0)
    (done,) = run(site, figures=False, side_studies=False)
    found = np.array([well.flow for well in done.reader.ledger.wells])
    expected = np.array([[0, 0, 1e-3, 5e-4], [0, 0, 0, 5e-4], [0, 0, 2e-3, 5e-4]])
    np.testing.assert_allclose(found, expected, rtol=2e-3, atol=1e-9)
    assert done.reader.ledger.wells[1].governing == ["not used", "not used", "not used", "rate"]


def test_too_few_flows_and_a_stage_that_is_not_there_are_told(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    site = plain_site(tmp_path / "a", drainage=[wells(dig_1=[1e-3, 1e-3])])
    read = read_site(site)
    with pytest.raises(InputFaults, match=r"2 flows in dig 1.*each of the 3 wells"):
        lay_out(read, read.description.schemes[0])
    site = plain_site(tmp_path / "b", drainage=[wells(dig_7=1e-3)])
    with pytest.raises(InputFaults, match=r"dig 7"):
        read_site(site)


def test_a_stage_whose_name_has_dots_has_a_path(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    site = plain_site(tmp_path / "a", drainage=[wells(dig_1=[1e-3, 1e-3, 0.0])])
    text = site.read_text().replace("dig 1", "dig 1.5")
    site.write_text(text)
    read = read_site(site)
    faults = read.fault_log()
    path = 'schemes.0.drainage.0.rates."dig 1.5".2'
    keys = find_path(path, read.description, site.name, "", faults)
    assert keys == ("schemes", 0, "drainage", 0, "rates", "dig 1.5", 2)
    assert _VALUES.fullmatch(".".join(map(str, keys)))
