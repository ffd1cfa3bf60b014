"""What must stand by in a stage, from how fast the pit fills and which units may not fail."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from wellring.postprocess.operation.flood_answers import FloodAnswers, hours_text
from wellring.postprocess.operation.operations import STANDBY_PER, made_of, operate, prices_of
from wellring.postprocess.run.answer import counted
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results

BY_ITSELF = 1.0
"""Hours below which standby power must start by itself: too short for a crew to see, come and start
it (common practice, no source)."""
BASIS = (
    "power of all pumps of the stage at their duty; one spare for each "
    f"{STANDBY_PER} pumps of a kind begun (common practice, no source)"
)


@dataclass(frozen=True)
class StandbyNeed:
    """What must stand by in one stage.

    Parameters
    ----------
    within : hours in which it must be at work; None where the pit does not flood while followed.
    power : electric power of all pumps that run [W], of which `power_given` has a standby supply by
        [operations].
    spares : by kind of pump how many to keep; `spares_given` those of [operations], None: none
        given.
    critical : units that may not fail: their spare is connected beforehand; None: not asked.
    lifts : why the floor does not hold what comes back after the time followed; "" where it holds.
    judged : whether it is known that the floor holds or not.
    """

    within: float | None
    days: float
    pumps: int
    power: float
    power_given: float
    spares: dict[str, int]
    spares_given: int | None
    critical: list[str] | None
    lifts: str = ""
    judged: bool = True

    @property
    def by_itself(self) -> bool:
        """Whether nobody has the time to start it by hand."""
        return self.within is not None and self.within < BY_ITSELF

    @property
    def enough(self) -> bool | None:
        """Whether [operations] provides it; None where nothing must be, or that is not judged."""
        needed = self.within is not None or bool(self.lifts)
        if not needed and (not self.critical or not self.judged):
            return None
        power = not needed or self.power_given >= self.power * (1 - 1e-9)
        return power and (self.spares_given is None or self.spares_given >= self.most_spares)

    @property
    def most_spares(self) -> int:
        """All spares."""
        return sum(self.spares.values())

    @property
    def _pumps(self) -> str:
        return "all " * (self.pumps > 1) + counted(self.pumps, "pumps")

    def as_json(self) -> dict[str, Any]:
        """For ``outage.json``."""
        return {
            "within_hours": self.within,
            "days_followed": self.days,
            "pumps": self.pumps,
            "power_w": self.power,
            "power_given_w": self.power_given,
            "spares": self.spares,
            "spares_given": self.spares_given,
            "critical": self.critical,
            "starts_by_itself": self.by_itself,
            "provided": self.enough,
            "floor_does_not_hold_later": self.lifts,
            "judged": self.judged,
            "basis": BASIS,
        }

    def text(self) -> str:
        """In a few sentences."""
        if not self.pumps:
            return "No pump runs in this stage."
        kilowatts = f"{self.power / 1e3:.1f} kW"
        if self.within is None and not self.judged:
            told = (
                "NOT judged: whether the floor holds with all pumps off is not known. Keep standby "
                f"power for {self._pumps}, {kilowatts}."
            )
        elif self.within is None and not self.lifts:
            told = (
                f"The floor neither floods nor lifts within {self.days:g} days without power, and "
                "its plugs hold what comes back in the end: none must stand by for its sake "
                f"({self._pumps}: {kilowatts})."
            )
        else:
            when = (
                f"at work within {hours_text(self.within)}"
                if self.within is not None
                else f"at work within {self.days:g} days, since the floor does not hold what comes "
                f"back later ({self.lifts})"
            )
            told = f"Standby power for {self._pumps}, {kilowatts}, {when}"
            told += (
                ": it must start by itself, that is too short for a crew."
                if self.by_itself
                else "."
            )
            if self.power_given < self.power * (1 - 1e-9):
                told += f" [operations] provides {self.power_given / 1e3:.1f} kW: TOO LITTLE."
        listed = ", ".join(f"{count} {kind}" for kind, count in self.spares.items())
        told += f" Spare pumps: {listed}"
        if self.critical:
            units = ", ".join(self.critical[:6]) + (" …" if len(self.critical) > 6 else "")
            told += f", connected beforehand for those that may not fail ({units})"
        told += "."
        if self.spares_given is not None and self.spares_given < self.most_spares:
            # Where nothing must stand by for the floor, spares are for the user to choose.
            told += f" [operations] has {self.spares_given}"
            told += "." if self.enough is None else ": TOO FEW."
        if self.critical is None:
            told += " Which units may not fail was not asked for (--single-wells)."
        return told


def standby_need(
    run: RunFolder, stage: int, answers: FloodAnswers, critical: Sequence[str] | None
) -> StandbyNeed | None:
    """What must stand by in a stage; None where only some of its pumps stopped.

    Parameters
    ----------
    run : the steady stages.
    stage : its index in the ledger (1: the first that is dug).
    critical : units without which the floor is not dry; None where that was not solved.
    """
    if answers.running:
        return None
    operation = operate(run, read_results(run))[stage - 1]
    given, made = prices_of(run), operation.made
    share = 1.0 if given.standby_power is None else given.standby_power
    kinds = dict.fromkeys(duty.kind for duty in made.duties if duty.pumps)
    return StandbyNeed(
        within=answers.start_by,
        days=answers.days,
        pumps=made.pumps,
        power=made.power,
        power_given=share * made.power,
        spares={kind: math.ceil(made_of(made, kind) / STANDBY_PER) for kind in kinds},
        spares_given=given.standby_pumps,
        critical=None if critical is None else list(critical),
        lifts=answers.floor if answers.floor_holds is False else "",
        judged=answers.floor_holds is not None,
    )
