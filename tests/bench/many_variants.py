"""Throughput of a study against the solver alone: prints a table, asserts nothing.

Run ``python tests/bench/many_variants.py [variants] [workers]`` (about 15 s a variant's hundred
solver runs on a quiet machine: 24 variants end within four minutes, 100 within a quarter of an
hour); with ``--kill`` the study is killed by SIGKILL three times on its way and taken up again,
and is then compared with one that was not.

The site is the invented example at about 50 k cells; k of its sand and gravel varies. A variant
starts the solver once in the natural state and one to six times a stage, until the limits of all
wells hold. The ideal is the same solver runs and nothing else: in a second pass every input is
kept as it stood when the solver was started, and in a third all of it is solved again, `workers`
at the same time, the runs of a variant one after the other. On a busy machine wall times say
little: CPU times and the solver's share of them are printed too.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from wellring.model.mf6 import solve
from wellring.model.mf6.stage_copies import is_output
from wellring.model.studies.engine import Study, open_study
from wellring.model.studies.variants import Variant

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "millrace_yard"
SCHEME = "ring of deep wells"
GRID = "\n[grid]\ncell = 2.0\nsublayer = 1.0\ngrowth = 1.7\nlargest = 60.0\n"


def main(count: int, workers: int, work: Path) -> None:
    """Solve `count` variants; again, to keep the solver's input; and that by the solver alone."""
    study, variants = begun(work, "study", count, workers)
    cells = study.base.schemes[SCHEME].layout.ground.active.sum()
    own, solvers = _cpu()
    progress = study.solve(variants)
    seconds = progress.seconds
    own, solvers = (after - before for after, before in zip(_cpu(), (own, solvers), strict=True))

    second, _ = begun(work, "second", count, workers)
    with inputs_kept(work / "inputs"):
        second.solve(variants)
    chains = [sorted(chain.iterdir()) for chain in sorted((work / "inputs").iterdir())]
    same = [o.answers for o in study.outcomes(variants)] == [
        o.answers for o in second.outcomes(variants)
    ]
    shutil.rmtree(work / "second")
    os.sync()
    _, before = _cpu()
    ideal = solver_alone(study.base.solver.path, chains, workers)
    alone = _cpu()[1] - before

    print(f"| cells | {cells:,} |")
    print(f"| variants, failed | {count}, {progress.failed} |")
    print(f"| workers | {progress.workers} ({progress.kind}) |")
    print(f"| starts of the solver a variant | {sum(map(len, chains)) / len(chains):.1f} |")
    print(f"| the second pass gave the same | {'yes' if same else 'NO'} |")
    print(f"| seconds of the study, of the solver alone | {seconds:.1f}, {ideal:.1f} |")
    print(f"| share of the ideal throughput | {ideal / seconds:.0%} |")
    print(f"| CPU seconds a variant: solver in the study | {solvers / count:.2f} |")
    print(f"| CPU seconds a variant: solver alone | {alone / count:.2f} |")
    print(f"| CPU seconds a variant: all else | {own / count:.2f} |")
    print(f"| solver's share of all CPU | {solvers / (solvers + own):.0%} |")


def begun(work: Path, name: str, count: int, workers: int) -> tuple[Study, list[Variant]]:
    """A study with its base case solved, and its variants."""
    site = work / "site" / "site.toml"
    if not site.is_file():
        shutil.copytree(EXAMPLE, site.parent)
        site.write_text(site.read_text(encoding="utf-8") + GRID, encoding="utf-8")
    study = open_study(site, work / name, scheme=SCHEME, workers=workers)
    rng = np.random.default_rng(1)
    return study, [
        Variant({"soils.sand.kh": 1.5e-4 * a, "soils.gravel.kh": 8e-4 * b}, SCHEME)
        for a, b in np.exp(rng.normal(0.0, 0.4, (count, 2)))
    ]


def _cpu() -> tuple[float, float]:
    """CPU seconds of this process and of the solvers it has started (workers are threads)."""
    told = os.times()
    return told.user + told.system, told.children_user + told.children_system


@contextmanager
def inputs_kept(folder: Path) -> Iterator[None]:
    """Keep a copy of all input at every start of the solver, a folder a variant."""
    run, known = solve.run_solver, threading.Lock()
    chains: dict[Path, Iterator[int]] = {}

    def kept(stage: Path, *arguments: Any) -> str:
        variant = stage.parents[1]
        with known:
            chains.setdefault(variant, itertools.count())
        target = folder / variant.name / f"{next(chains[variant]):03d}"
        target.mkdir(parents=True)
        for path in stage.iterdir():
            if not is_output(path.name) or path.name in ("start.bin", "gwf.ims", "gwf.tdis"):
                shutil.copyfile(path, target / path.name)
        return run(stage, *arguments)

    solve.run_solver = kept
    try:
        yield
    finally:
        solve.run_solver = run


def solver_alone(solver: Path, chains: list[list[Path]], workers: int) -> float:
    """Seconds of the solver alone over all that was kept, `workers` at the same time."""

    def chain(places: list[Path]) -> None:
        for place in places:
            done = subprocess.run([solver], cwd=place, stdout=subprocess.DEVNULL, check=False)
            assert done.returncode == 0, place
            for name in ("gwf.bud", "gwf.hds", "gwf.dis.grb"):
                (place / name).unlink()

    with ThreadPoolExecutor(workers) as pool:
        began = time.perf_counter()
        list(pool.map(chain, chains))
        return time.perf_counter() - began


def killed(count: int, workers: int, work: Path) -> None:
    """Kill a study thrice by SIGKILL; tell what of it was solved twice, and whether it is the same.

    A file beside the study is written to at every start of a variant, by whoever starts it.
    """
    whole, variants = begun(work, "whole", count, workers)
    whole.solve(variants)
    command = [sys.executable, __file__, str(count), str(workers), "--part", str(work)]
    folder = work / "killed" / "variants"
    lost = 0
    for kill in range(1, 4):
        process = subprocess.Popen(command)
        while process.poll() is None and len(_kept(folder)) < kill * count // 4:
            time.sleep(0.05)
        process.send_signal(signal.SIGKILL)
        process.wait()
        there = len(_kept(folder))
        lost = len((work / "begun").read_text().split()) - there
        print(f"| killed with so many kept | {there} |")
    subprocess.run(command, check=True)
    starts = (work / "begun").read_text().split()
    again = len(starts) - len(set(starts))
    print(f"| variants begun, of them again after a kill | {len(starts)}, {again} |")
    print(f"| at work at the kills | {lost} |")
    same = {k: _answers(v) for k, v in _kept(folder).items()} == {
        k: _answers(v) for k, v in _kept(work / "whole" / "variants").items()
    }
    print(f"| the same as never killed, to the bit | {'yes' if same else 'NO'} |")


def _kept(folder: Path) -> dict[str, Path]:
    return {path.parent.name: path for path in folder.glob("[!.]*/answers.json")}


def _answers(path: Path) -> Any:
    return json.loads(path.read_text())


def part(count: int, workers: int, work: Path) -> None:
    """The study that is killed."""
    from wellring.model.studies import workers as crews

    study, variants = begun(work, "killed", count, workers)
    solved = crews.solve_variant

    def noted(base: Any, variant: Variant, *rest: Any) -> Any:
        with open(work / "begun", "a") as file:
            file.write(variant.key(study.store.base_hash) + "\n")
        return solved(base, variant, *rest)

    crews.solve_variant = noted
    study.solve(variants)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("variants", type=int, nargs="?", default=24)
    parser.add_argument("workers", type=int, nargs="?", default=2)
    parser.add_argument("--kill", action="store_true")
    parser.add_argument("--part", type=Path, help=argparse.SUPPRESS)
    told = parser.parse_args()
    if told.part:
        part(told.variants, told.workers, told.part)
    else:
        with tempfile.TemporaryDirectory() as place:
            (killed if told.kill else main)(told.variants, told.workers, Path(place))
