"""A stop that comes at the very moment at which the solver is started leaves no solver running."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from wellring.inputs.basics.faults import SolverMissing
from wellring.model.mf6.held_signals import held_signals
from wellring.model.mf6.solve import run_solver

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")


class Stop(BaseException):
    """What a handler raises in these tests."""


@pytest.fixture
def stopped_by(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Handlers in Python for both signals, as the command line has them; what came."""
    came: list[int] = []

    def handler(number: int, _: object) -> None:
        came.append(number)
        raise Stop

    before = {n: signal.signal(n, handler) for n in (signal.SIGINT, signal.SIGTERM)}
    yield came
    for number, old in before.items():
        signal.signal(number, old)


@pytest.fixture
def sleeper(tmp_path: Path) -> Path:
    """A program that stays for a minute in place of MODFLOW 6, and says who it is."""
    path = tmp_path / "mf6"
    path.write_text("#!/bin/sh\necho $$ > pid.new; mv pid.new pid\nexec sleep 60\n")
    path.chmod(0o755)
    return path


def lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Every process that Popen started, also when Popen did not come to its end."""
    found: list[int] = []
    whole = subprocess.Popen._execute_child

    def noted(self: subprocess.Popen, *rest: object) -> None:
        whole(self, *rest)
        found.append(self.pid)

    monkeypatch.setattr(subprocess.Popen, "_execute_child", noted)
    return found


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda item: item.name)
def test_a_stop_inside_popen_ends_the_solver(
    number: signal.Signals,
    stopped_by: list[int],
    begun: list[int],
    sleeper: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The real signal, sent when the process is there and Popen has not returned yet."""
    whole = subprocess.Popen._execute_child

    def interrupted(self: subprocess.Popen, *rest: object) -> None:
        whole(self, *rest)
        os.kill(os.getpid(), number)

    monkeypatch.setattr(subprocess.Popen, "_execute_child", interrupted)
    with pytest.raises(Stop):
        run_solver(tmp_path, sleeper, "one", None, 30.0)
    assert len(begun) == 1
    assert stopped_by == [number]
    assert not lives(begun[0])


def run_and_stop(stop: threading.Timer, folder: Path, program: Path) -> None:
    stop.start()
    run_solver(folder, program, "one", None, 30.0)


# A stop while the file of its output is being opened leaves that file to Python to close.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_a_stop_at_any_moment_ends_the_solver(
    stopped_by: list[int], begun: list[int], sleeper: Path, tmp_path: Path
) -> None:
    """Forty stops, from before the start of the process to well after it."""
    for turn in range(40):
        # From another thread: the signal comes wherever the main thread then is.
        stop = threading.Timer(turn * 2.5e-4, os.kill, (os.getpid(), signal.SIGTERM))
        with pytest.raises(Stop):
            run_and_stop(stop, tmp_path, sleeper)
        stop.join()
        assert len(stopped_by) == turn + 1
        assert not any(lives(process) for process in begun)
    gc.collect()
    assert len(begun) > 20


def test_signals_within_come_afterwards_and_once(stopped_by: list[int]) -> None:
    reached = []

    def stopped_twice() -> None:
        with held_signals():
            os.kill(os.getpid(), signal.SIGINT)
            os.kill(os.getpid(), signal.SIGTERM)
            reached.append(True)

    with pytest.raises(Stop):
        stopped_twice()
    assert reached == [True]
    assert stopped_by == [signal.SIGINT]
    with pytest.raises(Stop):  # as before
        signal.raise_signal(signal.SIGTERM)


def test_other_threads_and_other_handlers_are_left_alone() -> None:
    before = signal.signal(signal.SIGTERM, signal.SIG_IGN)
    try:
        with held_signals():
            assert signal.getsignal(signal.SIGTERM) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGTERM, before)
    failed: list[BaseException] = []

    def elsewhere() -> None:
        try:
            with held_signals():
                pass
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=elsewhere)
    thread.start()
    thread.join()
    assert failed == []


def test_a_solver_that_has_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(SolverMissing, match=r"could not be started any more.*No such file"):
        run_solver(tmp_path, tmp_path / "gone", "one", None, 30.0)
