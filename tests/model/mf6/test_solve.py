"""Running MODFLOW 6: answers proven by their budget, failures told in words."""

import os
import stat
import struct
import sys

import numpy as np
import pytest

from wellring.inputs.basics.faults import SolverFailed
from wellring.model.grid.water import HeldLevel, WaterBoundaries
from wellring.model.mf6.binary_arrays import write_array
from wellring.model.mf6.budget_errors import budget_error, worst_step_error
from wellring.model.mf6.build import StageModel, write_stage
from wellring.model.mf6.rungs import LADDER
from wellring.model.mf6.solve import MASS_BALANCE_LIMIT, solve_full, solve_stage

FIRST = LADDER[:1]


def listing(path, *columns):
    """A listing that ends with budgets of the given (total in, percent) texts, two columns each."""
    blocks = [
        f"            TOTAL IN =  {a[0]}     TOTAL IN =  {b[0]}\n"
        f"           IN - OUT =  0.0         IN - OUT =  0.0\n"
        f" PERCENT DISCREPANCY =  {a[1]}     PERCENT DISCREPANCY =  {b[1]}\n"
        for a, b in columns
    ]
    path.write_text("VOLUME BUDGET\n" + "\nother text\n".join(blocks))
    return path


def test_the_rate_of_the_last_budget_counts(tmp_path):
    path = listing(
        tmp_path / "gwf.lst", (("1.0", "9.9"), ("2.0", "8.8")), (("3.0", "7.7"), ("120.5", "-0.03"))
    )
    assert budget_error(path) == (-0.03, 120.5)


@pytest.mark.parametrize("absurd", ["*********", "NaN", "-Infinity", "1.0E+", "nonsense"])
def test_an_absurd_percentage_is_no_closed_budget(tmp_path, absurd):
    path = listing(tmp_path / "gwf.lst", (("5.0", "0.00"), ("5.0", absurd)))
    assert not np.isfinite(budget_error(path)[0])


@pytest.mark.parametrize(
    ("percent", "total", "told"),
    [("0.4", "3.0", 0.4), ("-70.0", "2.0E-05", -0.07), ("0.5", "2.0E-02", 0.5)],
)
def test_a_percent_of_still_water_is_counted_of_twenty_litres_a_day(tmp_path, percent, total, told):
    path = listing(tmp_path / "gwf.lst", (("1.0", "9.9"), (total, percent)))
    assert budget_error(path) == (pytest.approx(told), float(total))


def test_no_budget_at_all_is_not_a_number(tmp_path):
    path = tmp_path / "gwf.lst"
    path.write_bytes(b"\xff\xfe nothing of use")
    assert np.isnan(budget_error(path)).all()


def test_the_percentage_of_next_to_no_flow_does_not_count(tmp_path):
    path = listing(tmp_path / "gwf.lst", (("1e-9", "150.0"), ("1e-9", "150.0")))
    percent, total = budget_error(path)
    assert abs(percent) < 1e-3
    assert total == 1e-9


# ---- Failures, with programs that fail in one certain way ---------------------------------------


@pytest.fixture
def strip(block):
    """Five cells between two held levels, 2 m apart over 4 m of sand of k 1e-4 m/s, 10 m thick."""

    def made(k=1e-4, drop=2.0, head=5.0):
        grid, ground = block([1.0] * 5, [1.0], [0.0, -10.0], k)
        held = [
            HeldLevel("left", np.array([0]), np.array([head])),
            HeldLevel("right", np.array([4]), np.array([head - drop])),
        ]
        return StageModel(
            "strip",
            grid,
            ground,
            ground.active,
            np.full((1, 1, 5), head),
            WaterBoundaries(held=held),
        )

    return made


@pytest.fixture
def fake(tmp_path):
    """A program of a few lines of Python in place of MODFLOW 6."""

    def made(body):
        path = tmp_path / "fake_mf6"
        path.write_text(f"#!{sys.executable}\nimport os, signal, sys, time\n{body}\n")
        path.chmod(path.stat().st_mode | stat.S_IXUSR)
        return path

    return made


def failure(strip, fake, tmp_path, body, **keys):
    model = strip()
    write_stage(model, tmp_path / "one")
    with pytest.raises(SolverFailed) as caught:
        solve_stage("dig 1", tmp_path / "one", fake(body), model.start, rungs=FIRST, **keys)
    assert caught.value.stage == "dig 1"
    assert caught.value.exit_code == 3
    assert (tmp_path / "one" / "gwf.nam").exists()  # its files are kept
    return str(caught.value)


def test_a_refused_input_is_quoted(strip, fake, tmp_path):
    body = (
        "print('ERROR REPORT:\\n\\n  1. Drain elevation (3.2) is below cell bottom.')\nsys.exit(1)"
    )
    assert "Drain elevation (3.2) is below cell bottom" in failure(strip, fake, tmp_path, body)


def test_no_convergence_is_said(strip, fake, tmp_path):
    body = (
        "open('mfsim.lst', 'w').write('Simulation convergence failed\\n FAILED TO CONVERGE')\n"
        "print('Premature termination of simulation.')\nsys.exit(1)"
    )
    assert "did not converge" in failure(strip, fake, tmp_path, body)


def test_death_by_a_signal_is_said(strip, fake, tmp_path):
    body = "os.kill(os.getpid(), signal.SIGSEGV)"
    assert f"signal {11}" in failure(strip, fake, tmp_path, body)


def test_a_solver_that_hangs_is_stopped(strip, fake, tmp_path):
    body = "open('pid', 'w').write(str(os.getpid()))\ntime.sleep(60)"
    text = failure(strip, fake, tmp_path, body, time_limit=1.0)
    assert "stopped after 1 s" in text
    pid = int((tmp_path / "one" / "pid").read_text())
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_an_early_end_shows_the_last_line(strip, fake, tmp_path):
    text = failure(strip, fake, tmp_path, "print('out of memory, alas')\nsys.exit(4)")
    assert "exit code 4" in text
    assert "out of memory, alas" in text


def test_a_normal_end_without_a_closed_budget_is_no_answer(strip, fake, solver, tmp_path):
    body = (
        f"import subprocess; subprocess.run([{str(solver)!r}])\n"
        "open('gwf.lst', 'w').write('TOTAL IN = 5.0 PERCENT DISCREPANCY = 55.0')\n"
        "print('Normal termination of simulation.')"
    )
    assert "does not close (55" in failure(strip, fake, tmp_path, body)


SWINGS = (
    "with open('outer.csv', 'w') as file:\n"
    "    print('inner,totim,kper,kstp,nouter,inner,dvmax,model,package,node', file=file)\n"
    "    for n in range(1, 75):\n"
    "        change = {change}\n"
    "        print(100 * n, 1.0, 1, 1, n, 100, change, 1, '', 4810, sep=',', file=file)\n"
    "time.sleep({seconds})\nopen('ended by itself', 'w').close()\nsys.exit(1)"
)
"""Writes the solver's record of 74 iterations, then works on without end."""


def test_an_attempt_that_swings_for_ever_is_given_up(strip, fake, tmp_path):
    body = SWINGS.format(change="(-1) ** n * (4.0 + n % 3)", seconds=60)
    assert "did not converge (outer iteration 74" in failure(strip, fake, tmp_path, body)
    assert not (tmp_path / "one" / "ended by itself").exists()


def test_an_attempt_that_comes_nearer_slowly_goes_on(strip, fake, tmp_path):
    body = SWINGS.format(change="5.0 * 0.95 ** n", seconds=2)
    failure(strip, fake, tmp_path, body)
    assert (tmp_path / "one" / "ended by itself").exists()


def test_the_next_rung_is_tried_when_one_fails(strip, fake, solver, tmp_path):
    model = strip()
    write_stage(model, tmp_path / "one")
    program = fake(
        "if not os.path.exists('tried'):\n"
        "    open('tried', 'w').close(); print('no luck'); sys.exit(1)\n"
        f"os.execv({str(solver)!r}, ['mf6'])"
    )
    found = solve_stage("one", tmp_path / "one", program, model.start)
    assert [attempt.answered for attempt in found.attempts] == [False, True]
    assert found.rung == LADDER[1].name
    assert np.allclose(found.heads.ravel(), [5.0, 4.5, 4.0, 3.5, 3.0], atol=1e-3)


def test_the_rung_that_worked_before_is_tried_first(strip, solver, tmp_path):
    model = strip()
    write_stage(model, tmp_path / "one")
    found = solve_stage("one", tmp_path / "one", solver, model.start, first=LADDER[2].name)
    assert found.rung == LADDER[2].name
    assert len(found.attempts) == 1
    stepping = next(rung.name for rung in LADDER if rung.stepping)
    found = solve_stage("one", tmp_path / "one", solver, found.heads, first=stepping)
    assert found.rung == LADDER[0].name  # heads from pseudo-time are near: the plain way again


def test_progress_is_told_while_the_solver_works(strip, fake, solver, tmp_path):
    model = strip()
    write_stage(model, tmp_path / "one")
    said = []
    program = fake(f"time.sleep(1.2)\nos.execv({str(solver)!r}, ['mf6'])")
    solve_stage("dig 1", tmp_path / "one", program, model.start, progress=said.append)
    assert said
    assert all("dig 1" in line for line in said)


# ---- Answers -----------------------------------------------------------------------------------


@pytest.mark.parametrize("k", [1e-4, 1e-7, 1e-9, 1e-11])
def test_flows_of_any_size_close_their_budget(strip, solver, tmp_path, k):
    """Darcy: 10 m² · k · 2/4, from 43 m³/day down to 4 cm³/day."""
    model = strip(k=k)
    write_stage(model, tmp_path / "one")
    found = solve_stage("one", tmp_path / "one", solver, model.start)
    assert abs(found.discrepancy) <= MASS_BALANCE_LIMIT
    assert np.allclose(found.heads.ravel(), [5.0, 4.5, 4.0, 3.5, 3.0], atol=1e-3)
    _, total = budget_error(tmp_path / "one" / "gwf.lst")
    assert total == pytest.approx(10 * k * 0.5 * 86400, rel=1e-3)


def test_a_loose_answer_is_solved_on_until_its_budget_closes(block, solver, tmp_path):
    """A hundredth of a millimetre over 60 by 60 cells of sand: any heads meet the usual closure."""
    grid, ground = block([5.0] * 60, [5.0] * 60, [0.0, -10.0], 1e-3)
    west, east = (grid.shape[1] * np.arange(60) + column for column in (0, 59))
    held = [
        HeldLevel("west", west, np.full(60, -3.0)),
        HeldLevel("east", east, np.full(60, -3.00001)),
    ]
    start = np.full((1, 60, 60), -3.0)
    model = StageModel("sand", grid, ground, ground.active, start, WaterBoundaries(held=held))
    write_stage(model, tmp_path / "one")
    found = solve_stage("sand", tmp_path / "one", solver, start)
    assert abs(found.attempts[0].discrepancy) > 0.25 * MASS_BALANCE_LIMIT
    assert len(found.attempts) == 2
    assert abs(found.discrepancy) <= MASS_BALANCE_LIMIT
    # Darcy: k · 7 m · 300 m · 1e-5/295, and heads that fall evenly.
    assert np.allclose(found.heads[0, 30], np.linspace(-3.0, -3.00001, 60), atol=1e-7)
    _, total = budget_error(tmp_path / "one" / "gwf.lst")
    assert total == pytest.approx(1e-3 * 7 * 300 * 1e-5 / 295 * 86400, rel=0.002)


def test_start_heads_are_written_as_modflow_reads_them(tmp_path):
    heads = np.arange(24.0).reshape(2, 3, 4)
    write_array(tmp_path, "start", heads)
    raw = (tmp_path / "start.bin").read_bytes()
    *_, ncol, nrow, layer = struct.unpack("<iidd16siii", raw[:52])
    assert (ncol, nrow, layer) == (4, 2 * 3, 1)
    assert np.array_equal(np.frombuffer(raw[52:]).reshape(2, 3, 4), heads)


def test_full_layers_have_no_water_table(strip, tmp_path, solver):
    model, folder = strip(drop=12.0), tmp_path / "one"
    write_stage(model, folder)
    full = solve_full("strip", folder, solver, model.start)
    assert np.diff(full.ravel()) == pytest.approx(-3.0)  # straight
    water = np.diff(solve_stage("strip", folder, solver, model.start).heads.ravel())
    assert water[-1] < water[0] < 0.0


def test_full_layers_leave_the_stage_as_it_is(strip, fake, tmp_path):
    """Its files may be linked to other cases', which another solver reads at the same moment."""
    model, folder = strip(), tmp_path / "one"
    write_stage(model, folder)
    linked = tmp_path / "linked.npf"
    os.link(folder / "gwf.npf", linked)
    before = linked.read_text(), (folder / "gwf.nam").read_text()
    body = "open('seen', 'w').write(open('../linked.npf').read())\nsys.exit(1)"
    assert solve_full("strip", folder, fake(body), model.start) is None
    assert (folder / "seen").read_text() == linked.read_text() == before[0]
    assert linked.samefile(folder / "gwf.npf")
    assert (folder / "gwf.nam").read_text() == before[1]


def test_the_step_that_closes_worst_counts(tmp_path):
    path = tmp_path / "budget.csv"
    path.write_text(
        "time, TOTAL_IN, PERCENT_DIFFERENCE\n1.0, 50.0, 0.01\n2.0, 40.0, -0.6\n3.0, 1e-4, 80.0\n"
    )
    assert worst_step_error(path) == (-0.6, 40.0)  # the last is of still water: 0.4 %
    path.write_text("time, TOTAL_IN, PERCENT_DIFFERENCE\n1.0, 50.0, NaN\n2.0, 40.0, 0.0\n")
    assert not np.isfinite(worst_step_error(path)[0])
    path.write_text("time, TOTAL_IN, PERCENT_DIFFERENCE\n")
    assert not np.isfinite(worst_step_error(path)[0])
