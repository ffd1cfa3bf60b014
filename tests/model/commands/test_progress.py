"""What is said while work goes on: every new thing once, and again where it takes long."""

import time

from wellring.model.commands import terminal
from wellring.model.mf6.outer_record import progress_line

HEAD = (
    "total_inner_iterations,totim,kper,kstp,nouter,inner_iterations,solution_outer_dvmax,"
    "solution_outer_dvmax_model,solution_outer_dvmax_package,solution_outer_dvmax_node\n"
)


def test_iterations_of_one_solve_are_one_line(capsys):
    with terminal.Progress() as say:
        for text in ("dig 1, backtracking: outer iteration 1, largest head change 3 m",
                     "dig 1, backtracking: outer iteration 9, largest head change 1 m",
                     "dig 2, backtracking: working",
                     "drawing the figures"):  # fmt: skip
            say(text)
    assert capsys.readouterr().err.splitlines() == [
        "dig 1, backtracking: outer iteration 1, largest head change 3 m",
        "drawing the figures",
    ]


def test_nothing_is_silent_for_long(capsys, monkeypatch):
    """Work that says nothing itself is told of again, with the time it has taken."""
    monkeypatch.setattr(terminal, "_SILENT_FOR", 0.2)
    with terminal.Progress() as say:
        say("drawing the figures")
        for _ in range(100):
            time.sleep(0.1)
            lines = capsys.readouterr().err.splitlines()
            if "drawing the figures (0 s)" in lines:
                break
        else:
            raise AssertionError("nothing was said for ten seconds")


def test_how_far_a_model_in_time_is(tmp_path):
    record = tmp_path / "outer.csv"
    record.write_text(HEAD + "300,22.5,1,7,3,40,-0.25,1,,17\n")
    steady = "outer iteration 3, largest head change 0.25 m"
    assert progress_line(tmp_path) == steady
    assert (
        progress_line(tmp_path, 90.0, 20.0) == f"{steady}, day 22.5 of 90, 60 s left at this pace"
    )
    record.write_text(HEAD + "300,0.02,1,1,3,40,-0.25,1,,17\n")  # too early to tell
    assert progress_line(tmp_path, 90.0, 20.0) == f"{steady}, day 0.02 of 90"
    record.write_text(HEAD)
    assert progress_line(tmp_path, 90.0, 20.0) == "working"
