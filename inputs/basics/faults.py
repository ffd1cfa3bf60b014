"""Everything that can go wrong, as exceptions, and the wording of input faults.

The tree::

    WellringError              exit code of the command line
    ├── InputFaults            2   the input is wrong; carries every Fault found
    ├── SolverMissing          3   no MODFLOW 6 was found or could be fetched
    ├── SolverFailed           3   MODFLOW 6 ran and did not answer
    └── NotAssessed            3   a run was solved, and its answers could not be made

One :class:`Fault` says where (file, line, place), what stood there, what was expected and
what to do. Readers collect faults in a :class:`FaultLog` so that a user sees all of them.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path


class WellringError(Exception):
    """Base of all errors a user can meet; `exit_code` is what the command line returns."""

    exit_code = 1


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the input.

    Parameters
    ----------
    file : the file as the user named it.
    place : where in the file: a dotted key ("soils.sand.kh"), or "row 12, column top".
    value : the offending value as text, or "" where none stands there.
    expected : what would have been accepted.
    remedy : what to do about it.
    line : 1-based line, when it is known.
    """

    file: str
    place: str
    value: str
    expected: str
    remedy: str = ""
    line: int | None = None

    def __str__(self) -> str:
        file, place, expected, remedy = (
            _flat(text, _LONGEST) for text in (self.file, self.place, self.expected, self.remedy)
        )
        where = f"{file}:{self.line}" if self.line else file
        found = f" is {_shortened(self.value)}" if self.value != "" else ""
        text = f"{where}: {place}{found}; expected {expected}"
        return f"{text}. {remedy}" if remedy else text


class InputFaults(WellringError):
    """The input is wrong. `faults` holds every :class:`Fault` that was found."""

    exit_code = 2

    def __init__(self, faults: Iterable[Fault]):
        self.faults = tuple(faults)
        count = len(self.faults)
        head = "1 fault in the input" if count == 1 else f"{count} faults in the input"
        super().__init__("\n".join([head, *(f"  - {fault}" for fault in self.faults)]))


class SolverMissing(WellringError):
    """No MODFLOW 6 executable was found, or fetching one failed."""

    exit_code = 3


class SolverFailed(WellringError):
    """MODFLOW 6 did not give an answer for `stage`; its files are kept in `folder`."""

    exit_code = 3

    def __init__(self, stage: str, why: str, folder: Path):
        self.stage, self.why, self.folder = stage, why, folder
        super().__init__(
            f"MODFLOW 6 gave no answer for stage '{stage}': {why}. Its files are kept in {folder}"
        )


class NotAssessed(WellringError):
    """A run was solved, but its answers could not be made; the solved run is kept in `folder`."""

    exit_code = 3

    def __init__(self, scheme: str, why: str, folder: Path):
        self.scheme, self.why, self.folder = scheme, why, folder
        super().__init__(
            f"'{scheme}' was solved, but its answers could not be made: {why}. This is a fault of "
            f"wellring. The solved run is kept in {folder}; 'wellring report' takes it up again"
        )


@dataclass
class FaultLog:
    """Collects faults (which stop the work) and warnings and assumptions (which do not)."""

    faults: list[Fault] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def add(
        self,
        file: str | Path,
        place: str,
        value: object,
        expected: str,
        remedy: str = "",
        line: int | None = None,
    ) -> None:
        """Record one fault."""
        shown = "" if value is None else str(value)
        self.faults.append(Fault(str(file), place, shown, expected, remedy, line))

    def warn(self, text: str) -> None:
        """Record something the user should know that does not stop the work (once)."""
        if text not in self.warnings:
            self.warnings.append(text)

    def raise_if_any(self) -> None:
        """Raise :class:`InputFaults` when at least one fault was recorded."""
        if self.faults:
            raise InputFaults(self.faults)


def nearest(name: str, known: Iterable[str]) -> str:
    """A remedy that names the known word nearest to `name`, or lists the known words."""
    words = sorted({str(word) for word in known})
    close = difflib.get_close_matches(str(name), words, n=1, cutoff=0.6)
    if close:
        return f"Did you mean '{close[0]}'?"
    return f"Known here: {', '.join(words)}" if words else ""


_LONGEST = 500
"""Letters of one part of a fault; parts quote names, headings and words of the user's files."""


def _shortened(text: str, limit: int = 120) -> str:
    """`text` in quotes on one line, cut so that a hostile value cannot fill the screen."""
    return f"'{_flat(text, limit)}'"


def _flat(text: str, limit: int) -> str:
    """`text` on one line of at most `limit` letters, without what a terminal would act on."""
    flat = "".join(ch if ch.isprintable() else "�" for ch in text[: limit + 1])
    return f"{flat[:limit]}…" if len(flat) > limit else flat
