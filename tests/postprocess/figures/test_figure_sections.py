"""Sections and borings of a real run: what is drawn is what was logged and what was solved."""

import numpy as np
import pytest

from wellring.postprocess.figures.cuts import pit_cuts
from wellring.postprocess.figures.fence import log_pairs
from wellring.postprocess.figures.section import draw_section
from wellring.postprocess.figures.style import SHEET, WATER
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult, read_results


@pytest.fixture(scope="module")
def results(turned_run: RunFolder) -> list[StageResult]:
    return read_results(turned_run)


def test_sections_run_through_the_pit_and_show_its_water(
    turned_run: RunFolder, results: list[StageResult]
) -> None:
    cuts = pit_cuts(turned_run)
    assert [cut.letter for cut in cuts] == ["A", "B"]
    lengths = [sum(end - start for start, end in cut.pit) for cut in cuts]
    assert lengths == pytest.approx([24.0, 14.0], abs=0.1)
    for cut in cuts:
        # The cells it passes are those that lie on the line between its ends.
        (x0, y0), (x1, y1) = cut.ends
        for s, cell in zip(cut.s[1:-1], cut.cells[1:-1], strict=True):
            share = s / cut.length
            assert turned_run.plan_cell(x0 + share * (x1 - x0), y0 + share * (y1 - y0)) == cell
        axes = draw_section(turned_run, results, cut).axes[0]
        water = [
            line
            for line in axes.lines
            if line.get_color() == WATER and len(line.get_xdata()) == len(cut.s)
        ]
        drawn_levels = [np.asarray(line.get_ydata(), float) for line in water]
        for result in (results[0], results[-1]):
            table = result.table[cut.cells]
            assert any(np.allclose(level, table, equal_nan=True) for level in drawn_levels)
        said = [text.get_text() for text in axes.texts]
        assert {"dig 1: −2.50", "dig 2: −4.00"} <= set(said)
        assert any(text.startswith("head in gravel") for text in said)


def test_a_wall_is_drawn_to_its_toe_where_the_section_crosses_it(
    turned_run: RunFolder, results: list[StageResult]
) -> None:
    across = pit_cuts(turned_run)[1]
    (wall,) = turned_run.ledger.walls
    (s,) = across.crossings(turned_run, wall.line)
    assert s == pytest.approx(across.pit[0][0], abs=0.05)
    axes = draw_section(turned_run, results, across).axes[0]
    stood = [line for line in axes.lines if line.get_linewidth() == 2.8]
    assert len(stood) == 1
    assert stood[0].get_xdata() == pytest.approx([s, s])
    assert min(stood[0].get_ydata()) == pytest.approx(-6.0)
    assert "toe −6.00" in [text.get_text() for text in axes.texts]


def test_exaggeration_is_what_the_note_says(
    turned_run: RunFolder, results: list[StageResult]
) -> None:
    for cut in pit_cuts(turned_run):
        figure = draw_section(turned_run, results, cut)
        axes = figure.axes[0]
        box = axes.get_position()
        across = np.ptp(axes.get_xlim()) / (box.width * SHEET[0])
        up = np.ptp(axes.get_ylim()) / (box.height * SHEET[1])
        (note,) = [t.get_text() for t in figure.texts if "exaggerated" in t.get_text()]
        said = 1.0 if "exaggerated not" in note else float(note.split("exaggerated ")[1].split()[0])
        assert across / up == pytest.approx(said, rel=1e-6)


def test_logs_beside_the_model_agree_by_soil(
    turned_run: RunFolder, results: list[StageResult]
) -> None:
    (pair,) = log_pairs(turned_run, results[0])
    depth = np.arange(-0.005, -15.99, -0.01)

    def soil_at(intervals: list[tuple[float, float, str]]) -> list[str]:
        return [next((s for top, bottom, s in intervals if bottom <= z <= top), "") for z in depth]

    logged, modelled = soil_at(pair.boring.intervals), soil_at(pair.modelled)
    alike = np.mean([a == b for a, b in zip(logged, modelled, strict=True)])
    assert pair.same == pytest.approx(alike, abs=2e-3)
    assert pair.same > 0.99
    assert [soil for _, _, soil in pair.modelled] == ["sand", "clay", "gravel", "marl"]
