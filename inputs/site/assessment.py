"""The [assessment] table: at which values the maps of a run are drawn and its areas counted."""

from __future__ import annotations

from wellring.inputs.basics.quantities import DrawdownLimits, SettlementLimits
from wellring.inputs.basics.table import Table


class Assessment(Table):
    """[assessment]: thresholds of maps and areas, least first."""

    drawdowns: DrawdownLimits = (0.1, 0.5, 1.0, 2.0)
    """Drawdowns whose area and reach are told [m]."""
    settlements: SettlementLimits = (0.005, 0.010, 0.025, 0.050)
    """Bounds of the settlement zones [m]; the least also tells how far settlement reaches."""
