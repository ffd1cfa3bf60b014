"""Schemes solved side by side in threads of one process, as studies and comparisons do."""

import subprocess
import sys

CODE = """
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from wellring.inputs.read_site import read_site
from wellring.model.layouts.layout import lay_out
from wellring.model.runs.stages import solve_scheme
from wellring.model.start_site import start_site

sys.setswitchinterval(1e-5)
work, solver = Path(sys.argv[1]), Path(sys.argv[2])
file = start_site(work / "site")
file.write_text(file.read_text() + "\\n[grid]\\ncell = 8.0\\nsublayer = 8.0\\ngrowth = 2.0\\n")
site = read_site(file)
layout = lay_out(site, site.description.schemes[0], 0)
assert "flopy" not in sys.modules, "what is tried here is its first use"
with ThreadPoolExecutor(6) as pool:
    solved = list(pool.map(lambda n: solve_scheme(layout, work / str(n), solver), range(6)))
assert len({stages[-1].heads.tobytes() for stages in solved}) == 1
"""


def test_the_first_models_may_be_written_at_the_same_time(tmp_path, solver):
    # Without a lock flopy's tables of packages are used half made: four of four tries failed.
    command = [sys.executable, "-c", CODE, tmp_path, solver]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
