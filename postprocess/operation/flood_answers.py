"""What an outage means, in numbers with their basis and in words for a terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from wellring.inputs.basics.units import shown
from wellring.postprocess.operation.flooding import FILM, Flooding
from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.bursting import PlugBurst

METHOD = (
    "MODFLOW 6 in time from the stage's steady heads; the pit is open water (specific yield 1), "
    "its level that of the volume that has run in"
)
CAUTION = (
    "These times are as good as the storage given: with half the specific yield near the pit the "
    "ground under the floor fills about twice as fast. Perched water, rain and a burst pipe come "
    "on top. Keep standby pumps and power on site, with an alarm on the level."
)
TIGHT_FLOOR = (
    "The floor is tight soil all over: the level of the water does not show whether it holds; "
    "uplift does. The time to the pit's first centimetre is no promise."
)


@dataclass(frozen=True)
class Moment:
    """When the water gets somewhere [h], None: not within the time followed; inflow then [m³/s]."""

    what: str
    level: float
    hours: float | None
    inflow: float | None


@dataclass(frozen=True)
class FloodAnswers:
    """The answers of one outage.

    `standby_hours` is the time in which standby power starts, None where none is given;
    `pumped` what the stopped pumps took in the steady stage [m³/s]; `at_formation` the hours until
    the water is at formation, `bursts` the plugs under the floor, the first to reach its limit
    first; `floor_holds` whether plugs and slab hold what comes back in the end (None: not judged),
    `floor` what decides that, in words.
    """

    scheme: str
    stage: str
    formation: float
    clearance: float
    days: float
    stopped: list[str]
    running: list[str]
    pumped: float
    moments: list[Moment]
    at_formation: float | None
    bursts: list[PlugBurst]
    floor_holds: bool | None
    floor: str
    standby_hours: float | None
    final_level: float
    final_volume: float
    final_inflow: float
    largest_inflow: float
    mass_balance: float
    show: str
    cautions: list[str] = field(default_factory=list)

    @property
    def first_burst(self) -> PlugBurst | None:
        """The plug that reaches its limit first; None where none does within the time followed."""
        return next((item for item in self.bursts if item.hours is not None), None)

    @property
    def start_by(self) -> float | None:
        """Hours in which standby power must start: water at formation or a plug at its limit."""
        burst = self.first_burst
        hours = [self.at_formation, None if burst is None else burst.hours]
        return min((hour for hour in hours if hour is not None), default=None)

    @property
    def lifts_first(self) -> bool:
        """Whether a plug reaches its limit no later than the water formation."""
        burst = self.first_burst
        return burst is not None and burst.hours == self.start_by

    @property
    def standby_ok(self) -> bool | None:
        """Whether standby power starts before the water is at formation or a plug at its limit.

        None: not asked, or in time as far as that was judged.
        """
        if self.standby_hours is None:
            return None
        if self.start_by is not None and self.start_by < self.standby_hours:
            return False
        if self.floor_holds is not True and self.standby_hours > 24.0 * self.days:
            return None
        return None if self.floor_holds is None else True

    def as_json(self) -> dict[str, Any]:
        """All of it in SI, hours and days."""
        return {
            "scheme": self.scheme,
            "stage": self.stage,
            "method": METHOD,
            "days_followed": self.days,
            "formation_m": self.formation,
            "clearance_m": self.clearance,
            "stopped": self.stopped,
            "running": self.running,
            "stopped_pumps_took_m3_per_s": self.pumped,
            "moments": [
                {
                    "what": moment.what,
                    "level_m": moment.level,
                    "hours": moment.hours,
                    "reached": moment.hours is not None,
                    "inflow_into_pit_m3_per_s": moment.inflow,
                }
                for moment in self.moments
            ],
            "water_at_formation_hours": self.at_formation,
            "plugs": [asdict(item) for item in self.bursts],
            "floor_holds_in_the_end": self.floor_holds,
            "floor_in_the_end": self.floor,
            "standby_must_start_within_hours": self.start_by,
            "standby_starts_in_hours": self.standby_hours,
            "standby_in_time": self.standby_ok,
            "pit_level_at_end_m": self.final_level,
            "volume_in_pit_at_end_m3": self.final_volume,
            "inflow_at_end_m3_per_s": self.final_inflow,
            "largest_inflow_m3_per_s": self.largest_inflow,
            "mass_balance_percent": self.mass_balance,
            "cautions": self.cautions,
        }

    def length(self, value: float) -> str:
        """A length or level [m] as shown."""
        return shown("length", self.show).text(value)

    def text(self) -> str:
        """For a terminal."""
        flow, volume = shown("flow", self.show), shown("volume", self.show)
        none = "no pumps: the seepage boundaries of the dig alone stop"
        lines = [
            f"Outage in '{self.stage}' of '{self.scheme}'",
            f"Stopped: {_listed(self.stopped) or none}; together {flow.text(self.pumped)}",
        ]
        if self.running:
            lines.append(f"Still pumping: {_listed(self.running)}")
        lines.append(f"Followed for {self.days:g} days. Method: {METHOD}.")
        lines.append("")
        for moment in self.moments:
            when = "not reached" if moment.hours is None else hours_text(moment.hours)
            told = f"  {moment.what:46} {self.length(moment.level):>11}   {when}"
            if moment.hours is None:
                told += f" within {self.days:g} days"
            elif moment.inflow:
                told += f", {flow.text(moment.inflow)} running into the pit"
            lines.append(told)
        end = (
            f"  At the end: {self.length(self.final_level - self.formation)} of water over the "
            f"floor (at {self.length(self.final_level)})"
        )
        if self.final_volume < 0.01:
            end = "  At the end: no water in the pit"
        lines += [
            f"{end}, {volume.text(self.final_volume)}, {flow.text(self.final_inflow)} running in "
            f"(at most {flow.text(self.largest_inflow)})",
            "",
            "Plugs under the floor, by uplift (water in the pit is not counted as load):",
            *(f"  {text}" for text in self.burst_texts()),
            "",
            self.standby_text(),
        ]
        lines += [f"Note: {text}" for text in [*self.cautions, CAUTION]]
        return "\n".join(lines) + "\n\n"

    def burst_texts(self) -> list[str]:
        """One line a plug: when it reaches its limit, and its heads."""
        lines = []
        for item in self.bursts:
            if item.hours is not None:
                when = f"at its limit after {hours_text(item.hours)} ({item.basis})"
            elif item.utilisation > HELD:
                when = f"not at its limit within {self.days:g} days, but later"
            else:
                when = "holds"
            factor = "" if item.factor is None else f", factor of safety {item.factor:.2f}"
            lines.append(
                f"{item.name}: {when}; head {self.length(item.head_before)}, in the end "
                f"{self.length(item.head_at_end)}, allowable {self.length(item.head_allowed)}; "
                f"in the end utilisation {item.utilisation:.2f}{factor}"
            )
        return lines or ["none lies under it"]

    def standby_text(self) -> str:
        """When standby power must start, and whether it does."""
        burst = self.first_burst
        if self.start_by is None:
            need = f"The water does not reach formation within {self.days:g} days."
            if self.floor_holds is False:
                need += (
                    " But the floor does NOT hold what comes back later: the pumps must be at work "
                    f"again before ({self.floor})."
                )
        elif self.lifts_first and burst is not None:
            need = (
                f"Standby power must start, and the pumps be at work, within "
                f"{hours_text(self.start_by)}: then the {burst.name} is at its limit "
                f"({burst.basis})."
            )
            if self.start_by == 0.0:
                need = f"The {burst.name} is over its limit {burst.basis}."
        elif self.start_by == 0.0:
            need = "The water is at formation in the steady stage already."
        else:
            need = (
                f"Standby power must start, and the pumps be at work, within "
                f"{hours_text(self.start_by)}: then the water is at formation."
            )
        if self.floor_holds is None:
            need += f" Whether the floor holds is NOT judged: {self.floor}."
        if self.standby_ok is None:
            return need
        verdict = "in time" if self.standby_ok else "TOO LATE"
        return f"{need} It starts after {hours_text(self.standby_hours or 0.0)}: {verdict}."


def flood_answers(
    run: RunFolder,
    stage: StageEntry,
    flooding: Flooding,
    stopped: Sequence[str],
    running: Sequence[str],
    days: float,
    depths: Sequence[float],
    standby: float | None,
    pumped: float,
    mass_balance: float,
    cautions: Sequence[str],
    bursts: Sequence[PlugBurst],
    floor_holds: bool | None,
    floor: str,
) -> FloodAnswers:
    """Make the answers of an outage that was followed for `days`.

    Parameters
    ----------
    depths : of water over the floor [m] whose time is wanted.
    standby : hours in which standby power starts, if given.
    pumped : what the stopped pumps took before [m³/s].
    bursts : the plugs after the stop.
    floor_holds, floor : as in :class:`FloodAnswers`.
    """
    show = run.ledger.show
    length = shown("length", show)
    formation = flooding.formation
    to_formation = flooding.to_formation()
    moments = [
        _moment(
            flooding,
            f"needed clearance ({length.text(flooding.clearance)}) is lost",
            formation - flooding.clearance,
            flooding.to_clearance(),
        ),
        _moment(flooding, "water at formation", formation, to_formation),
    ]
    for depth in sorted(set(depths)):
        moments.append(
            _moment(
                flooding,
                f"floor {length.text(depth)} under water",
                formation + depth,
                flooding.to_depth(depth),
            )
        )
    said = list(cautions)
    if all(math.isnan(value) for value in flooding.under_floor):
        said.insert(0, TIGHT_FLOOR)
        moments = moments[1:]
    elif flooding.to_clearance() == 0.0:
        said.insert(0, "The needed clearance is not kept in the steady stage to begin with.")
    if abs(mass_balance) > 0.1:
        said.append(f"The solver's water balance closes to {mass_balance:.2g} % only.")
    said.append(
        f"Water at formation: the highest water in the ground under the floor, or {FILM * 100:g} "
        "cm of water over the whole pit, whichever comes first."
    )
    return FloodAnswers(
        scheme=run.ledger.scheme,
        stage=stage.name,
        formation=formation,
        clearance=flooding.clearance,
        days=days,
        stopped=list(stopped),
        running=list(running),
        pumped=pumped,
        moments=moments,
        at_formation=to_formation,
        bursts=list(bursts),
        floor_holds=floor_holds,
        floor=floor,
        standby_hours=standby,
        final_level=float(flooding.pit_level[-1]),
        final_volume=float(flooding.volume[-1]),
        final_inflow=float(flooding.inflow[-1]),
        largest_inflow=float(flooding.inflow.max()),
        mass_balance=mass_balance,
        show=show,
        cautions=said,
    )


def _moment(flooding: Flooding, what: str, level: float, hours: float | None) -> Moment:
    return Moment(what, level, hours, flooding.inflow_at(hours))


def hours_text(hours: float) -> str:
    """A time as an engineer says it: seconds, minutes, hours or days."""
    if hours * 3600.0 < 0.5:
        return "less than a second"
    if hours * 60.0 < 2.0:
        return f"{hours * 3600:.0f} s"
    if hours < 1.0:
        return f"{hours * 60:.0f} min"
    if hours < 48.0:
        return f"{hours:.1f} h"
    return f"{hours / 24:.1f} days"


def _listed(names: Sequence[str], most: int = 8) -> str:
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:3])} … {names[-1]} ({len(names)} in all)"
