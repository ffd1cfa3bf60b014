"""[operations]: quantities with units, defaults, and what does not fit."""

import pytest
from pydantic import ValidationError

from wellring.inputs.site.operations import Operations


def test_quantities_are_read_in_any_unit() -> None:
    given = Operations.model_validate(
        {
            "discharge_limit": "240 m3/h",
            "volume_limit": "1e6 gal",
            "pipe_velocity": "5 ft/s",
            "tank": {"length": "20 ft", "width": 2.0, "depth": 1.5},
        }
    )
    assert given.discharge_limit == pytest.approx(240 / 3600)
    assert Operations.model_validate({"standby_pumps": 0}).standby_pumps == 0
    assert given.volume_limit == pytest.approx(3785.411784)
    assert given.pipe_velocity == pytest.approx(1.524)
    assert given.tank is not None
    assert (given.tank.length, given.tank.particle) == (pytest.approx(6.096), 0.06e-3)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"wage": -1}, "amount of money"),
        ({"night_rate": 0.5}, "factor on the wage"),
        ({"night_hours": 24}, "fewer than 24 hours"),
        ({"pipe_c": 120}, "hazen-williams"),
        ({"volume_limit": "3 m"}, "volume"),
        ({"pumps_per_operator": 0}, "number of pumps"),
        ({"standby_pump": 1}, "Extra inputs"),
        ({"friction": "manning"}, "darcy-weisbach"),
        ({"tank": {"length": 1.0, "width": 1.0}}, "depth"),
    ],
)
def test_what_does_not_fit_is_refused(keys: dict[str, object], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        Operations.model_validate(keys)
