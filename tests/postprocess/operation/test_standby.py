"""What must stand by: what the outage asks for against what [operations] provides."""

from __future__ import annotations

from dataclasses import replace

import pytest

from wellring.postprocess.operation.standby import StandbyNeed

NEED = StandbyNeed(
    within=6.0, days=7.0, pumps=12, power=30e3, power_given=30e3,
    spares={"deep wells": 2, "sump": 1}, spares_given=None, critical=["W 3"],
)  # fmt: skip


def test_all_pumps_power_and_spares_of_each_kind() -> None:
    text = NEED.text()
    assert "all 12 pumps, 30.0 kW, at work within 6.0 h." in text
    assert "2 deep wells, 1 sump, connected beforehand for those that may not fail (W 3)" in text
    assert NEED.enough is True
    told = NEED.as_json()
    assert told["starts_by_itself"] is False
    assert (told["within_hours"], told["days_followed"]) == (6.0, 7.0)
    assert (told["power_w"], told["power_given_w"]) == (30e3, 30e3)


def test_one_pump_is_not_all_of_several() -> None:
    assert "Standby power for 1 pump, 30.0 kW" in replace(NEED, pumps=1).text()
    assert "(1 pump: 30.0 kW)" in replace(NEED, pumps=1, within=None).text()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"power_given": 15e3}, "provides 15.0 kW: TOO LITTLE"),
        ({"spares_given": 2}, "has 2: TOO FEW"),
    ],
)
def test_too_little_is_said(change: dict[str, float], told: str) -> None:
    need = replace(NEED, **change)
    assert told in need.text()
    assert need.enough is False


def test_an_hour_is_too_short_for_a_crew() -> None:
    assert "start by itself" in replace(NEED, within=0.5).text()
    assert "start by itself" not in NEED.text()


def test_a_floor_that_stays_dry_needs_no_power_for_its_sake() -> None:
    need = replace(NEED, within=None, critical=[])
    assert "neither floods nor lifts within 7 days" in need.text()
    assert need.enough is None
    assert replace(need, critical=None).text().endswith("not asked for (--single-wells).")


def test_spares_are_not_too_few_where_nothing_must_stand_by() -> None:
    """A tight box: the floor stays dry for days and with any one well out."""
    need = replace(NEED, within=None, critical=[], spares_given=0)
    assert need.enough is None
    assert "[operations] has 0." in need.text()
    assert "TOO FEW" not in need.text()
    assert "[operations] has 0: TOO FEW" in replace(NEED, spares_given=0).text()


def test_a_floor_that_lifts_later_needs_standby_for_all() -> None:
    """V2: nothing happens within the days followed, but the plug does not hold what comes back."""
    need = replace(NEED, within=None, critical=[], lifts="plug of clay over gravel: …")
    assert "none must stand by" not in need.text()
    assert "at work within 7 days, since the floor does not hold what comes back" in need.text()
    assert need.enough is True
    assert replace(need, power_given=15e3).enough is False


def test_what_is_not_judged_is_never_none_needed() -> None:
    need = replace(NEED, within=None, critical=[], judged=False)
    assert need.text().startswith("NOT judged")
    assert "none must stand by" not in need.text()
    assert need.enough is None
