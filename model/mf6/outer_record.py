"""The solver's own record of its outer iterations: how far it is, and whether it gets nowhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np

_RUN_AWAY = ((1e5, 20), (1e8, 5))
"""An attempt whose head changes [m] stay this large for so many iterations is given up."""
_WINDOW, _NO_LESS = 20, 0.8
"""A steady attempt is given up when the head changes of its last iterations are no less than this
share of those before them (each a window's median), not before the rung's patience is
over: at that pace it would not end within its iterations."""


def _records(folder: Path) -> list[list[str]]:
    """The last of the solver's own records of outer iterations; the very last may be cut."""
    with open(folder / "outer.csv", "rb") as file:
        file.seek(0, 2)
        file.seek(max(0, file.tell() - 8000))
        lines = file.read().decode("ascii", "replace").strip().splitlines()
    return [line.split(",") for line in lines[1:]]


def ran_away(folder: Path) -> bool:
    """Whether head changes have been absurd for many iterations on end."""
    try:
        changes = [abs(float(record[6])) for record in _records(folder)[:-1]]
    except (OSError, IndexError, ValueError):
        return False
    return any(len(changes) >= many and min(changes[-many:]) > absurd for absurd, many in _RUN_AWAY)


def going_nowhere(folder: Path, patience: int) -> bool:
    """Whether head changes have stopped falling."""
    try:
        records = _records(folder)[:-1]
        done = int(records[-1][4])
        changes = np.array([abs(float(record[6])) for record in records])
    except (OSError, IndexError, ValueError):
        return False
    if done < patience or changes.size < 2 * _WINDOW:
        return False
    last, before = changes[-_WINDOW:], changes[-2 * _WINDOW : -_WINDOW]
    return bool(np.median(last) > _NO_LESS * np.median(before))


def progress_line(folder: Path, until: float | None = None, seconds: float = 0.0) -> str:
    """How far the solver is, from its own record of outer iterations.

    Parameters
    ----------
    until : days that a model followed in time has to go, and the `seconds` it has worked.
    """
    try:
        last = _records(folder)[-1]
        line = f"outer iteration {int(last[4])}, largest head change {abs(float(last[6])):.2g} m"
        if until is None:
            return line
        day = float(last[1])
        left = seconds * (until - day) / day if day > 0.01 * until else None
        expected = "" if left is None else f", {left:.0f} s left at this pace"
        return f"{line}, day {day:.3g} of {until:.3g}{expected}"
    except (OSError, IndexError, ValueError):
        return "working"
