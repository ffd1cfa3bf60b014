"""Rows of measurements: units, times, standard errors, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from wellring.inputs.basics.faults import FaultLog, InputFaults
from wellring.inputs.measured.observations import Observation, read_observations
from wellring.inputs.read_site import read_site
from wellring.inputs.site.site import SiteDescription, Time


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory, plain_site: Callable[..., Path]):
    return read_site(plain_site(tmp_path_factory.mktemp("site"))).description


@pytest.fixture(scope="module")
def timed(steady: SiteDescription) -> SiteDescription:
    return steady.model_copy(update={"time": Time()})


def rows_of(text: str, site: SiteDescription, folder: Path) -> tuple[Observation, ...]:
    (folder / "m.csv").write_text(text, encoding="utf-8")
    return read_observations("m.csv", folder, site, FaultLog(), "site.toml")[0]


def test_units_and_times(timed: SiteDescription, tmp_path: Path) -> None:
    rows = rows_of(
        "kind,point,day,value,error,weight,at_most\n"
        "drawdown,P1,12 min,12 cm,1 cm,,\n"
        "head,P1,3.5,-8.2 ft,,2,-2\n"
        "flow,,2 h,36 m3/h,5 %,,\n"
        "drawdown,P2,20,,,,0.5\n",
        timed,
        tmp_path,
    )
    assert rows[0].day == pytest.approx(12 / 1440)
    assert (rows[0].value, rows[0].error) == (pytest.approx(0.12), pytest.approx(0.01))
    assert rows[1].value == pytest.approx(-8.2 * 0.3048)
    assert (rows[1].error, rows[1].weight, rows[1].at_most) == (0.05, 2.0, -2.0)
    assert rows[2].value == pytest.approx(0.01)
    assert rows[2].error == pytest.approx(5e-4)
    assert rows[2].day == pytest.approx(1 / 12)
    assert (rows[3].value, rows[3].fitted) == (None, False)
    assert rows[1].where(("dig",)) == "head at P1, day 3.5"
    assert rows[2].error_at(0.02) == pytest.approx(1e-3)  # 5 % of whatever will be read
    assert rows[0].error_at(7.0) == rows[0].error


def test_stages_and_decimal_commas(steady: SiteDescription, tmp_path: Path) -> None:
    rows = rows_of(
        "kind;point;stage;value\nhead;P1;before the work;-1,02\nflow;;dig 1;36 m3/h\n",
        steady,
        tmp_path,
    )
    assert [row.stage for row in rows] == [0, 1]
    assert rows[0].value == -1.02
    assert rows[1].error == pytest.approx(1e-3)  # a tenth of it
    assert rows[1].where(("dig 1",)) == "flow, dig 1"


@pytest.mark.parametrize(
    ("row", "place", "expected"),
    [
        ("hed,P1,dig 1,,1,,,", "column kind", "head, drawdown or flow"),
        ("head,,dig 1,,1,,,", "column point", "the name of one of"),
        ("head,P1,dig 9,,1,,,", "column stage", "the name of a stage"),
        ("head,P1,dig 1,3,1,,,", "row", "either a stage"),
        ("head,P1,,,1,,,", "row", "either a stage"),
        ("head,P1,,3,1,,,", "column day", "a stage, since the site is not followed in time"),
        ("head,P1,dig 1,,1 kg,,,", "column value", "a length"),
        ("head,P1,dig 1,,1,-2 cm,,", "column error", "above 0"),
        ("head,P1,dig 1,,1,,-1,", "column weight", "a weight from 0"),
        ("head,P1,dig 1,,1,,,2;1", "row", "cells as in the header"),
        ("head,P1,dig 1,,,,,", "column value", "at least one measured value"),
    ],
)
def test_faults_name_row_and_column(
    steady: SiteDescription, tmp_path: Path, row: str, place: str, expected: str
) -> None:
    header = "kind,point,stage,day,value,error,weight,at_least,at_most"
    row = row if row.count(",") == 8 else f"{row},"
    if ";" in row:
        row = row.replace(";", ",") + ",9"
    with pytest.raises(InputFaults) as refused:
        rows_of(f"{header}\n{row}\n", steady, tmp_path)
    (fault,) = refused.value.faults
    assert fault.file == "m.csv"
    assert fault.place == place
    assert expected in fault.expected
    assert fault.line == (None if "at least one" in expected else 2)


def test_bounds_turned_around_and_a_bad_time(timed: SiteDescription, tmp_path: Path) -> None:
    with pytest.raises(InputFaults) as refused:
        rows_of(
            "kind,point,day,value,at_least,at_most\nhead,P1,soon,1,,\nhead,P1,3,1,2,1\n",
            timed,
            tmp_path,
        )
    assert [fault.place for fault in refused.value.faults] == ["column day", "column at_least"]


def test_a_file_that_is_not_there(steady: SiteDescription, tmp_path: Path) -> None:
    with pytest.raises(InputFaults, match=r"a CSV file of measurements"):
        read_observations("no.csv", tmp_path, steady, FaultLog(), "site.toml")
