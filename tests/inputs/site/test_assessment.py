"""[assessment]: thresholds of maps, rising lists of quantities."""

import pytest
from pydantic import ValidationError

from wellring.inputs.site.assessment import Assessment


def test_thresholds_are_read_with_units():
    found = Assessment.model_validate({"settlements": ["5 mm", "1 cm"], "drawdowns": [0.3, "1 m"]})
    assert found.settlements == pytest.approx((0.005, 0.01))
    assert found.drawdowns == (0.3, 1.0)
    assert Assessment().settlements == (0.005, 0.010, 0.025, 0.050)


@pytest.mark.parametrize(
    "wrong",
    [
        {"drawdowns": [1.0, 0.5]},
        {"drawdowns": []},
        {"drawdowns": 1.0},
        {"settlements": ["5 mm", "5 mm"]},
        {"settlements": [0.0]},
        {"settlements": ["5 kPa"]},
        {"drawdowns": list(range(1, 14))},
        {"unknown": 1},
    ],
)
def test_what_does_not_rise_is_refused(wrong):
    with pytest.raises(ValidationError):
        Assessment.model_validate(wrong)
