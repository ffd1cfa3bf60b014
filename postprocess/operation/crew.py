"""The crew: posts manned every hour of the week, and the hours they are paid."""

from __future__ import annotations

import math
from dataclasses import dataclass

HOURS_A_WEEK = 168.0


def posts(pumps: int, pumps_per_operator: int) -> int:
    """Operators on duty at any hour: enough for all pumps, none where no pump runs."""
    return math.ceil(pumps / pumps_per_operator)


@dataclass(frozen=True)
class Manning:
    """How one post is manned through 168 hours a week.

    Parameters
    ----------
    shift_hours : of one shift.
    week_hours : of one person's normal week; what `people` leave of 168 h is overtime.
    people : who share one post.
    night_hours : of each day, paid as night.
    night_rate, overtime_rate : factors on the wage; both premiums add up.
    """

    shift_hours: float
    week_hours: float
    people: int
    night_hours: float
    night_rate: float
    overtime_rate: float

    @property
    def overtime(self) -> float:
        """Hours of overtime of one post and week."""
        return max(HOURS_A_WEEK - self.people * self.week_hours, 0.0)

    @property
    def paid_hours(self) -> float:
        """Hours of plain wage that a post's week costs."""
        night = 7 * self.night_hours * (self.night_rate - 1)
        return HOURS_A_WEEK + night + self.overtime * (self.overtime_rate - 1)


def people_per_post(shift_hours: float) -> int:
    """One person for each shift of the day."""
    return math.ceil(24 / shift_hours - 1e-9)
