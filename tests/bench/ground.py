"""What the answers about the ground cost after reading heads: prints a table, asserts nothing.

Run ``python tests/bench/ground.py [run folder]``; without a folder the invented example is run
first (254 k cells, three stages, eleven neighbours). Goals: under 10 s of CPU in all, and arrays
of less than twice the heads array beside what is kept.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import tracemalloc
from collections.abc import Callable, Sequence
from pathlib import Path

from wellring.postprocess.neighbours.neighbour_answers import assess_neighbours
from wellring.postprocess.run.answer import Part
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement_answers import assess_settlement
from wellring.postprocess.stability.stability_answers import assess_stability
from wellring.postprocess.stage_results import StageResult, read_results
from wellring.postprocess.water.influence import assess_influence

SUBJECTS: dict[str, Callable[[RunFolder, Sequence[StageResult]], Part]] = {
    "stability": assess_stability,
    "settlement": assess_settlement,
    "influence": assess_influence,
    "neighbours": assess_neighbours,
}
EXAMPLE = Path(__file__).parents[2] / "examples" / "millrace_yard" / "site.toml"


def seconds() -> float:
    """CPU seconds of this process so far."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def time_all(folder: Path) -> dict[str, float]:
    """CPU seconds of each subject, in order; each finds what those before it left."""
    run = RunFolder(folder)
    begun = seconds()
    results = read_results(run)
    found = {"reading": seconds() - begun}
    for name, assess in SUBJECTS.items():
        begun = seconds()
        assess(run, results)
        found[name] = seconds() - begun
    return found


def peaks(folder: Path) -> dict[str, float]:
    """Largest size of new arrays in each subject, in heads arrays (8 bytes a cell of the grid)."""
    run = RunFolder(folder)
    results = read_results(run)
    heads = results[0].heads.nbytes
    tracemalloc.start()
    found = {}
    for name, assess in SUBJECTS.items():
        tracemalloc.reset_peak()
        before = tracemalloc.get_traced_memory()[0]
        assess(run, results)
        found[name] = (tracemalloc.get_traced_memory()[1] - before) / heads
    tracemalloc.stop()
    return found


def main(folder: Path) -> None:
    """Print the table for a run folder."""
    spent, size = time_all(folder), peaks(folder)
    print("| subject | CPU s | largest new arrays, in heads arrays |\n| --- | --- | --- |")
    for name, value in spent.items():
        print(f"| {name} | {value:.2f} | {size.get(name, float('nan')):.1f} |")
    after = sum(value for name, value in spent.items() if name != "reading")
    print(f"| all after reading | {after:.2f} | {max(size.values()):.1f} |")


if __name__ == "__main__":
    if sys.argv[1:]:
        main(Path(sys.argv[1]))
    else:
        from wellring.model.runs.run import run as run_site

        with tempfile.TemporaryDirectory() as place:
            (done,) = run_site(EXAMPLE, scheme="ring of deep wells", out=Path(place), figures=False)
            main(done.folder)
