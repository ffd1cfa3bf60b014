"""The ladder: solver settings tried one after another until a stage is solved.

No single setting solves every dewatered pit, so the way to the solution is made robust instead:
other damping, other start heads, and at last pseudo-time with storage, which follows the falling
water table to its steady state. The order was proven on seeded random sites; the table of which
rung solved how many stands in DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Rung:
    """One attempt: what differs from the plain way.

    Parameters
    ----------
    name : shown to the user when the rung was needed.
    newton_relaxed : MODFLOW 6's Newton under-relaxation (keeps heads above cell bottoms).
    damping : text lines of the nonlinear block that damp the outer iterations.
    levels : fill levels of the preconditioner.
    ptc : leave MODFLOW 6's own pseudo-transient continuation on.
    outer, inner : iterations allowed.
    stepping : pseudo-time steps with storage before the steady step.
    patience : iterations before it may be given up for coming no nearer.
    """

    name: str
    newton_relaxed: bool = True
    damping: tuple[str, ...] = ()
    levels: int = 0
    ptc: bool = False
    outer: int = 200
    inner: int = 100
    stepping: bool = False
    patience: int = 60


_DBD = (
    "UNDER_RELAXATION DBD",
    "UNDER_RELAXATION_THETA 0.85",
    "UNDER_RELAXATION_KAPPA 0.0001",
    "UNDER_RELAXATION_GAMMA 0.0",
    "UNDER_RELAXATION_MOMENTUM 0.1",
)
_BACKTRACKED = (
    "UNDER_RELAXATION DBD",
    "UNDER_RELAXATION_THETA 0.7",
    "UNDER_RELAXATION_KAPPA 0.1",
    "UNDER_RELAXATION_GAMMA 0.1",
    "UNDER_RELAXATION_MOMENTUM 0.0",
    "BACKTRACKING_NUMBER 10",
    "BACKTRACKING_TOLERANCE 1.05",
    "BACKTRACKING_REDUCTION_FACTOR 0.5",
    "BACKTRACKING_RESIDUAL_LIMIT 10.0",
)
"""Steps are cut until the residual no longer grows, but not for residuals below 10 m³/day: with a
small limit it never lets go."""
_SLOWED = ("UNDER_RELAXATION SIMPLE", "UNDER_RELAXATION_GAMMA 0.3")
"""Three tenths of every step. Thin pervious layers that run dry over tight ones can swing between
wet and dry for ever under damping that adapts; a step this short always settled them."""

LADDER: tuple[Rung, ...] = (
    Rung("backtracking", damping=_BACKTRACKED),
    Rung("damped", damping=_DBD),
    Rung("slowed", damping=_SLOWED, levels=3, patience=100),
    Rung("pseudo-time", damping=_DBD, levels=5, outer=100, stepping=True),
)

FULL = Rung("estimate", outer=60)
"""For all layers full of water, where nothing is to be damped."""

POLISH: tuple[Rung, ...] = (
    Rung("solving on", damping=_BACKTRACKED, outer=40),
    Rung("solving on, slowed", damping=_SLOWED, levels=5, outer=100),
)
"""To close a budget near the answer."""


def settings_text(rung: Rung, flow_closure: float, head_closure: float) -> str:
    """The .ims file of a rung. Closures in the files' units: m³/day and m."""
    ptc = "" if rung.ptc else "  NO_PTC ALL\n"
    damping = "".join(f"  {line}\n" for line in rung.damping)
    levels = f"  PRECONDITIONER_LEVELS {rung.levels}\n" if rung.levels else ""
    drop = "  PRECONDITIONER_DROP_TOLERANCE 0.0001\n" if rung.levels else ""
    return (
        "BEGIN OPTIONS\n  PRINT_OPTION SUMMARY\n  CSV_OUTER_OUTPUT FILEOUT outer.csv\n"
        f"{ptc}END OPTIONS\n"
        f"BEGIN NONLINEAR\n  OUTER_DVCLOSE {head_closure:.3e}\n  OUTER_MAXIMUM {rung.outer}\n"
        f"{damping}END NONLINEAR\n"
        f"BEGIN LINEAR\n  INNER_MAXIMUM {rung.inner}\n"
        f"  INNER_DVCLOSE {0.1 * head_closure:.3e}\n  INNER_RCLOSE {flow_closure:.3e} STRICT\n"
        "  LINEAR_ACCELERATION BICGSTAB\n"
        # Never a relaxed (modified) factorisation: on Newton's unsymmetric matrix over half-dry
        # columns it made BiCGSTAB stall on every dewatered pit where plain ILU took 30 steps.
        f"{levels}{drop}  RELAXATION_FACTOR 0.0\nEND LINEAR\n"
    )


def time_text(rung: Rung) -> str:
    """The .tdis file: one steady step, or pseudo-time steps and then a steady one [days]."""
    if not rung.stepping:
        return (
            "BEGIN OPTIONS\n  TIME_UNITS DAYS\nEND OPTIONS\n"
            "BEGIN DIMENSIONS\n  NPER 1\nEND DIMENSIONS\n"
            "BEGIN PERIODDATA\n  1.0 1 1.0\nEND PERIODDATA\n"
        )
    return (
        "BEGIN OPTIONS\n  TIME_UNITS DAYS\n  ATS6 FILEIN pseudo_time.ats\nEND OPTIONS\n"
        "BEGIN DIMENSIONS\n  NPER 2\nEND DIMENSIONS\n"
        "BEGIN PERIODDATA\n  1.0e6 1 1.0\n  1.0 1 1.0\nEND PERIODDATA\n"
    )


PSEUDO_TIME_STEPS = (
    "BEGIN DIMENSIONS\n  MAXATS 1\nEND DIMENSIONS\n"
    "BEGIN PERIODDATA\n  1 1.0e-3 1.0e-7 5.0e5 3.0 5.0\nEND PERIODDATA\n"
)
"""First step, shortest, longest, growth, cut of a failed step [days; –]."""


def pseudo_storage_text() -> str:
    """A storage package for pseudo-time: any storage leads to the same steady state.

    Storage generous enough that the water table moves smoothly; the last period is steady.
    """
    return (
        "BEGIN OPTIONS\nEND OPTIONS\nBEGIN GRIDDATA\n"
        "  ICONVERT\n    CONSTANT 1\n  SS\n    CONSTANT 1.0e-5\n  SY\n    CONSTANT 0.2\n"
        "END GRIDDATA\nBEGIN PERIOD 1\n  TRANSIENT\nEND PERIOD\nBEGIN PERIOD 2\n  STEADY-STATE\n"
        "END PERIOD\n"
    )
