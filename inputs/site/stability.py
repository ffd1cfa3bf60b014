"""The [stability] table: by which rules floor, ground at walls and slab are judged."""

from __future__ import annotations

from typing import Literal

from wellring.inputs.basics.quantities import PartialFactor, SafetyFactor
from wellring.inputs.basics.table import Table


class Stability(Table):
    """[stability]: rules and factors; what is left out is filled in and told as an assumption."""

    rules: Literal["EN 1997-1", "global factor"] = "EN 1997-1"
    uplift_destabilising: PartialFactor | None = None
    """UPL: partial factor on the water pressure, also under a slab."""
    uplift_stabilising: PartialFactor | None = None
    """UPL: partial factor on the weight of soil and slab."""
    pile_tension: PartialFactor | None = None
    """UPL: the tension piles' characteristic resistance is divided by it."""
    heave_destabilising: PartialFactor | None = None
    """HYD: partial factor on the seepage force."""
    heave_stabilising: PartialFactor | None = None
    """HYD: partial factor on the submerged weight."""
    uplift_factor: SafetyFactor | None = None
    """Global factor: weight over water pressure under a plug."""
    heave_factor: SafetyFactor | None = None
    """Global factor: submerged weight over seepage force."""
    flotation_factor: SafetyFactor | None = None
    """Global factor: weight and tension over water pressure under a slab."""
    exit_gradient_factor: SafetyFactor | None = None
    """Critical over exit gradient, under either rules."""
