"""Classes of damage at their published boundaries, and strains against closed forms."""

import numpy as np
import pytest
import shapely

from wellring.postprocess.neighbours.building_damage import (
    DAMAGE,
    RANKIN,
    beam_strain,
    damage_category,
    distortion_strain,
    longest_side,
    rankin_class,
    tilts,
)


@pytest.mark.parametrize(
    ("settlement", "slope", "expected"),
    [  # Rankin (1988): 10, 50, 75 mm; 1/500, 1/200, 1/50 (values from memory)
        (0.0099, 1 / 501, "negligible"),
        (0.0101, 1 / 1000, "slight"),
        (0.001, 1 / 499, "slight"),
        (0.0499, 1 / 201, "slight"),
        (0.0501, 1 / 1000, "moderate"),
        (0.001, 1 / 199, "moderate"),
        (0.0749, 1 / 51, "moderate"),
        (0.0751, 0.0, "high"),
        (0.0, 1 / 49, "high"),
        (0.010, 0.0, "slight"),  # on a boundary: the worse class
        (0.0, 1 / 200, "moderate"),
    ],
)
def test_rankin(settlement: float, slope: float, expected: str) -> None:
    assert RANKIN[rankin_class(np.array([settlement]), np.array([slope]))[0]] == expected


@pytest.mark.parametrize(
    ("percent", "below", "above"),
    [  # C34: Boscardin and Cording (1989), as tabulated in doi 10.1186/s40327-018-0062-9,
        # table 1 (read)
        (0.05, "negligible", "very slight"),
        (0.075, "very slight", "slight"),
        (0.15, "slight", "moderate"),
        (0.3, "moderate", "severe"),
    ],
)
def test_limiting_tensile_strains(percent: float, below: str, above: str) -> None:
    found = damage_category(np.array([percent * 0.999, percent * 1.001]) / 100)
    assert [DAMAGE[k] for k in found] == [below, above]


def test_unknown_has_no_class() -> None:
    nan = np.array([np.nan])
    assert damage_category(nan)[0] == -1
    assert rankin_class(nan, np.array([0.0]))[0] == -1


def test_panel_strain_is_the_principal_strain() -> None:
    """Pure shear β gives β/2; stretching alone gives itself (Mohr's circle)."""
    assert distortion_strain(np.array([0.002]), np.zeros(1))[0] == pytest.approx(0.001)
    assert distortion_strain(np.zeros(1), np.array([0.002]))[0] == pytest.approx(0.002)
    tensor = np.array([[0.001, 0.0005], [0.0005, 0.0]])  # εh = 1e-3, β = 1e-3
    expected = np.linalg.eigvalsh(tensor)[-1]
    assert distortion_strain(np.array([0.001]), np.array([0.001]))[0] == pytest.approx(expected)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 3.0, 8.0])
def test_deep_beam_in_hogging(ratio: float) -> None:
    """Burland and Wroth (1974): Δ/L = (0.083 L/H + 1.3 H/L) εb and (1 + 0.064 L²/H²) εd."""
    bending = 1e-3 / (0.0833 * ratio + 1.3 / ratio)
    shear = 1e-3 / (1 + 0.0641 * ratio**2)
    found = beam_strain(np.array([1e-3]), np.array([10 * ratio]), np.array([10.0]), np.zeros(1))
    assert found[0] == pytest.approx(max(bending, shear), rel=2e-3)


def test_height_unknown_leaves_the_beam_unknown() -> None:
    found = beam_strain(np.array([1e-3]), np.array([10.0]), np.array([np.nan]), np.zeros(1))
    assert np.isnan(found[0])


def test_tilt_of_a_plane_leaves_nothing_over() -> None:
    xy = np.array([[0, 0], [4, 0], [4, 3], [0, 3], [0, 0], [10, 5]], float)
    owner = np.array([0, 0, 0, 0, 1, 1])
    values = 0.002 * xy[:, 0] - 0.001 * xy[:, 1]
    tilt, residual = tilts(xy, values, owner, 2)
    np.testing.assert_allclose(tilt[0], [0.002, -0.001], atol=1e-12)
    np.testing.assert_allclose(residual, 0.0, atol=1e-12)
    # Two points know the slope along their line alone.
    along = np.array([10, 5]) / np.hypot(10, 5)
    assert tilt[1] @ along == pytest.approx((0.02 - 0.005) / np.hypot(10, 5))


def test_longest_side_of_a_turned_house() -> None:
    turned = shapely.affinity.rotate(shapely.box(0, 0, 14, 6), 33)
    assert longest_side(np.array([turned], dtype=object))[0] == pytest.approx(14)
