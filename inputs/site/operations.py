"""The [operations] table: crew, power, hire, fees and limits of what it takes to run a scheme.

Everything is optional. What has no price is left out of the cost and named; what has no number
otherwise takes a default that is printed (:mod:`wellring.postprocess.operation.operations`).
"""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from wellring.inputs.basics.quantities import (
    Diameter,
    Discharge,
    Fraction,
    GrainSize,
    Length,
    Level,
    Money,
    PayFactor,
    PipeC,
    PumpsPerOperator,
    Share,
    ShiftHours,
    SparePumps,
    Temperature,
    Velocity,
    Volume,
    WeekHours,
)
from wellring.inputs.basics.table import Misfit, Table, Text


class SettlingTank(Table):
    """tank = { length, width, depth }: where the discharge drops its sediment."""

    length: Length
    width: Length
    depth: Length
    particle: GrainSize = 0.06e-3
    """Smallest grain to be kept [m]; the default is the bound of silt and sand (ISO 14688-1)."""
    velocity_limit: Velocity | None = None
    """Limit of the flow's velocity through the tank [m/s]."""


class Operations(Table):
    """[operations]: what running the scheme takes and costs."""

    currency: Text | None = None

    wage: Money | None = None
    """Of one operator for one hour."""
    night_rate: PayFactor | None = None
    """How many times the wage an hour of the night is paid."""
    overtime_rate: PayFactor | None = None
    """How many times the wage an hour beyond a person's normal week is paid."""
    shift_hours: ShiftHours | None = None
    night_hours: ShiftHours | None = None
    """Hours of each day paid as night."""
    week_hours: WeekHours | None = None
    """A person's normal week; hours beyond it are overtime."""
    people_per_post: PumpsPerOperator | None = None
    """How many people share one post; one for each shift of the day where left out."""
    pumps_per_operator: PumpsPerOperator | None = None

    power_price: Money | None = None
    """Of one kWh."""
    motor_efficiency: Fraction | None = None
    standby_pumps: SparePumps | None = None
    standby_power: Share | None = None
    """Share of the running power that has a standby supply."""

    pump_hire: Money | None = None
    """Of one pump, running or standby, for one week."""
    standby_hire: Money | None = None
    """Of one kW of standby power for one week."""
    header_hire: Money | None = None
    """Of one metre of header for one week."""
    tank_hire: Money | None = None
    """Of the settling tank for one week."""
    drilling: Money | None = None
    """Of one metre drilled, from the ground to the screen's bottom."""
    installation: Money | None = None
    """Of one point, once: screen, filter, pump or riser set in place."""
    mobilisation: Money | None = None
    """Of the whole scheme, once."""
    discharge_fee: Money | None = None
    """Of one m³ discharged."""
    treatment: Money | None = None
    """Of one m³ discharged."""

    discharge_limit: Discharge | None = None
    volume_limit: Volume | None = None
    """Of all water discharged over all stages [m³]."""
    discharge_level: Level | None = None
    """Level to which all water is lifted."""
    outfall_distance: Length | None = None
    """Length of the pipe from the header's end to where the water is let go."""

    friction: Literal["darcy-weisbach", "hazen-williams"] = "darcy-weisbach"
    pipe_roughness: GrainSize | None = None
    pipe_c: PipeC | None = None
    """Hazen and Williams' C."""
    pipe_velocity: Velocity | None = None
    """Velocity that risers and headers are sized by [m/s]."""
    header_diameter: Diameter | None = None
    """Inner diameter of all headers, instead of sizing them."""
    temperature: Temperature = 10.0
    """Of the water [°C]."""
    tank: SettlingTank | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Operations:
        if self.night_hours is not None and self.night_hours >= 24:
            raise Misfit("fewer than 24 hours of night", "", "night_hours", self.night_hours)
        if self.pipe_c is not None and self.friction != "hazen-williams":
            raise Misfit(
                'friction = "hazen-williams" beside pipe_c', "Or take pipe_c out.", "pipe_c"
            )
        return self
