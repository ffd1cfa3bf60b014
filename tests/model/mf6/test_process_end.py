"""Waiting for a solver's end, with and without the system's own word of it."""

import os
import subprocess
import sys

import pytest

from wellring.model.mf6.process_end import ended


def begun(code):
    return subprocess.Popen([sys.executable, "-c", code])


@pytest.fixture(params=["told by the system", "looked for"])
def way(request, monkeypatch):
    if request.param == "looked for":
        monkeypatch.delattr(os, "pidfd_open", raising=False)


def test_an_end_is_seen_with_its_exit_code(way):
    process = begun("raise SystemExit(3)")
    assert ended(process, 60.0)
    assert process.returncode == 3


def test_a_process_at_work_is_not_ended(way):
    process = begun("import time; time.sleep(60)")
    assert not ended(process, 0.2)
    assert process.poll() is None
    process.kill()
    assert ended(process, 60.0)
    assert ended(process, 60.0), "asked again of one that has ended"
