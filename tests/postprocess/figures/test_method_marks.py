"""Every drainage method has a mark of its own; headers and double pipes join their points."""

from typing import get_args

import matplotlib
import numpy as np

from wellring.inputs.site.drainage import Placed
from wellring.model.drainage import methods
from wellring.postprocess.figures.method_marks import MARKS, SUMP, draw_pipes
from wellring.postprocess.run.ledger import WellEntry

matplotlib.use("Agg")


def point(name: str, method: str) -> WellEntry:
    return WellEntry(name, method, 0, 0, (-5, -4), 0.1, [], -5, None, None, [], [], [], [])


def test_every_method_has_its_own_mark() -> None:
    placed = [table for table in methods() if issubclass(table, Placed)]
    names = {get_args(table.model_fields["method"].annotation)[0] for table in placed}
    assert names == set(MARKS)
    looks = {
        (mark.marker, mark.look(5, working=True)["markerfacecolor"])
        for mark in (*MARKS.values(), SUMP)
    }
    assert len(looks) == len(MARKS) + 1
    assert len({mark.label for mark in (*MARKS.values(), SUMP)}) == len(MARKS) + 1


def test_pipes_follow_the_points_of_one_table() -> None:
    """A ring is closed, a row is not; an ejector's pipe is double; deep wells have none."""
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    ring = np.array([[0.0, 0], [4, 0], [4, 4], [0, 4]])
    row = np.array([[10.0, 0], [14, 0], [18, 0], [22, 0]])
    wells = [point(f"upper {i}", "wellpoints") for i in range(1, 5)]
    wells += [point(f"jet{i}", "ejectors") for i in range(1, 5)]
    wells += [point(f"W{i}", "deep wells") for i in range(1, 5)]
    draw_pipes(axes, wells, np.vstack([ring, row, row + 50.0]), 5.0)
    header, outer, inner = axes.get_lines()
    assert np.array_equal(header.get_xydata(), np.vstack([ring, ring[:1]]))
    assert np.array_equal(outer.get_xydata(), row)
    assert np.array_equal(inner.get_xydata(), row)
    assert inner.get_linewidth() < outer.get_linewidth()
