"""How far drawn surfaces lie from invented ground that is known: prints a table.

Run ``python tests/bench/ground_truth.py [sites per class]``. For each class of ground: mean
absolute error [m] of all contacts between units, at points within the surveyed square, of our
surfaces and of the bottoms of units interpolated one by one; then metres of wrong soil in a
column; then the share of contacts within one and two stated standard deviations (of a normal
distribution 68 and 95 %). All methods read the same sequence of units from the same borings.
Sites where the borings missed a unit count for wrong soil only.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field

import ground_generator
import numpy as np

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.logs.borings import BoringLogs
from wellring.model.geology.observed_contacts import ObservedContacts, observed_contacts
from wellring.model.geology.strata import build_strata
from wellring.model.geology.surface_interpolation import METHODS, interpolate
from wellring.model.geology.unit_sequence import unit_sequence

POINTS = 500
DEPTHS = np.arange(-0.25, ground_generator.FLOOR, -0.25)
Floats = np.ndarray


@dataclass
class Scores:
    """Errors of one class, a list entry a site."""

    error: dict[str, list[float]] = field(default_factory=dict)
    wrong: dict[str, list[float]] = field(default_factory=dict)
    misses: list[Floats] = field(default_factory=list)
    """Errors of our contacts in stated standard deviations."""


def main(sites: int) -> None:
    """Print the tables."""
    scores = {name: score(name, sites) for name in ground_generator.CLASSES}
    for title, kind in (
        ("contacts, mean absolute error [m]", "error"),
        ("wrong soil [m]", "wrong"),
    ):
        names = list(next(iter(scores.values())).error)
        print(f"\n{title:36}" + "".join(f"{name:>15}" for name in names))
        for name, part in scores.items():
            row = getattr(part, kind)
            print(f"{name:36}" + "".join(f"{np.mean(row[column]):15.3f}" for column in names))
    print(f"\n{'within 1 and 2 standard deviations':36}")
    for name, part in scores.items():
        misses = np.abs(np.concatenate(part.misses))
        print(f"{name:36}{(misses < 1).mean():15.2f}{(misses < 2).mean():15.2f}")


def score(name: str, sites: int) -> Scores:
    """Errors on so many sites of one class, seeds 0 and up."""
    make, short = ground_generator.CLASSES[name]
    scores = Scores()
    for seed in range(sites):
        rng = np.random.default_rng([seed, 19])
        ground = make(rng)
        logs = BoringLogs(tuple(ground_generator.survey(rng, ground, short)))
        x, y = rng.uniform(0.05, 0.95, (2, POINTS)) * ground_generator.SIDE
        truth = ground.contacts(x, y)
        drawn = {}
        for method in METHODS:
            strata = build_strata(logs, method, ground_generator.FLOOR, FaultLog())
            surfaces = strata.surfaces(x, y, np.zeros(POINTS))
            drawn[f"ours {method}"] = surfaces.levels
            if method == "kriging":
                std = surfaces.std
        soils = tuple(unit.soil for unit in strata.units)
        sequence = unit_sequence(logs)
        for method in METHODS:
            seen = observed_contacts(logs, sequence, method)
            drawn[method] = one_by_one(seen, method, x, y)
        for label, levels in drawn.items():
            scores.wrong.setdefault(label, []).append(
                wrong_soil(soils, levels, ground.soils, truth)
            )
            if soils == ground.soils:
                error = np.abs(levels - truth)[1:-1].mean()
                scores.error.setdefault(label, []).append(float(error))
        if soils == ground.soils and std is not None:
            told = std[1:-1] > 0.02
            off = (drawn["ours kriging"] - truth)[1:-1]
            scores.misses.append(off[told] / std[1:-1][told])
    return scores


def one_by_one(seen: ObservedContacts, method: str, x: Floats, y: Floats) -> Floats:
    """Bottoms of units interpolated one by one; crossing surfaces are cut by the upper one."""
    levels = np.zeros((len(seen.levels), x.size))
    levels[-1] = ground_generator.FLOOR
    for contact in range(1, len(levels) - 1):
        known = np.isfinite(seen.levels[contact])
        levels[contact] = interpolate(
            method, seen.x[known], seen.y[known], seen.levels[contact][known], x, y, trend=False
        )[0]
    return np.maximum(np.minimum.accumulate(levels, axis=0), ground_generator.FLOOR)


def wrong_soil(
    soils: tuple[str, ...], levels: Floats, true_soils: tuple[str, ...], truth: Floats
) -> float:
    """Mean length [m] of a column in which the soil is another than the true one."""
    names = sorted({*soils, *true_soils})
    step = float(DEPTHS[0] - DEPTHS[1])
    drawn, true = (
        np.array([names.index(soil) for soil in order])[
            (DEPTHS[:, None, None] < part[None, 1:-1]).sum(axis=1)
        ]
        for order, part in ((soils, levels), (true_soils, truth))
    )
    return float((drawn != true).sum(axis=0).mean() * step)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
