"""Parts of figures that need no run: labels, smoothing, classes, text and numbers."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.fields import PlanField
from wellring.postprocess.figures.floor import depth_classes
from wellring.postprocess.figures.labels import LabelPlacer, spread
from wellring.postprocess.figures.style import DPI, SHEET, Scales, key_text, panel, plain


def test_smoothing_keeps_the_cells_and_makes_no_new_highs() -> None:
    rng = np.random.default_rng(4)
    x, y = np.meshgrid(np.cumsum(rng.uniform(1, 5, 9)), -np.cumsum(rng.uniform(1, 5, 7)))
    turn_x, turn_y = 0.8 * x - 0.6 * y, 0.6 * x + 0.8 * y
    values = rng.uniform(0, 3, x.shape)
    values[:2, :3] = np.nan
    fine = PlanField(turn_x, turn_y, values).smoothed(3)
    assert fine.x[::3, ::3] == pytest.approx(turn_x)
    assert fine.y[::3, ::3] == pytest.approx(turn_y)
    assert np.allclose(fine.values[::3, ::3], values, equal_nan=True)
    assert np.nanmax(fine.values) <= np.nanmax(values) + 1e-12
    assert np.nanmin(fine.values) >= np.nanmin(values) - 1e-12


def test_depth_classes_are_few_and_in_order() -> None:
    for deepest in (0.2, 0.55, 0.9, 2.3, 7.0, 31.0):
        limits = depth_classes(deepest, 0.5)
        assert limits[:2] == [0.0, 0.5]
        assert limits == sorted(set(limits))
        assert len(limits) <= 9


def test_labels_keep_off_each_other_and_off_marks() -> None:
    figure = Figure(figsize=SHEET, dpi=DPI)
    axes = panel(figure, 1, 1, 5, 5)
    axes.set_xlim(0, 100)
    axes.set_ylim(0, 100)
    placer = LabelPlacer(axes)
    rng = np.random.default_rng(1)
    points = rng.uniform(5, 95, (250, 2))
    placer.block(points, 3)
    placed = [placer.place(tuple(p), f"well {i}\n10.4") for i, p in enumerate(points)]
    assert 60 < sum(placed) < 250
    renderer = FigureCanvasAgg(figure).get_renderer()
    boxes = []
    for text in axes.texts:
        text.update_positions(renderer)
        # Of the text alone: an annotation's own extent holds its leader too.
        boxes.append(Text.get_window_extent(text, renderer).extents)
    boxes = np.array(boxes)
    x, y = placer.pixels(points).T
    third = (boxes[:, 2:] - boxes[:, :2]) / 6
    low, high = boxes[:, :2] + third, boxes[:, 2:] - third
    covered = (x > low[:, :1]) & (x < high[:, :1]) & (y > low[:, 1:]) & (y < high[:, 1:])
    assert not covered.any()
    shared = np.clip(
        np.minimum(boxes[:, None, 2:], boxes[None, :, 2:])
        - np.maximum(boxes[:, None, :2], boxes[None, :, :2]),
        0,
        None,
    ).prod(axis=2)
    np.fill_diagonal(shared, 0)
    # Sizes are estimated before they are drawn; an overlap of a hair is one of estimates.
    assert shared.max() < 0.1 * (boxes[0, 2:] - boxes[0, :2]).prod()


def test_spread_moves_as_little_as_it_can() -> None:
    assert spread(np.array([5.0, 1.0]), 2.0, 0, 10) == pytest.approx([5.0, 1.0])
    assert spread(np.array([5.0, 5.0, 5.0]), 2.0, 0, 10) == pytest.approx([3, 5, 7])
    assert spread(np.array([9.9, 9.8]), 2.0, 0, 10) == pytest.approx([10, 8])
    tight = spread(np.linspace(4, 5, 30), 2.0, 0, 10)
    assert np.diff(tight) == pytest.approx(np.full(29, 10 / 29))


def test_text_from_data() -> None:
    assert plain("a" * 60, 10) == "aaaaaaaaa…"
    assert key_text("_x") == " _x"
    assert plain("  two \n lines ") == "two lines"


def test_numbers_carry_no_minus_before_nothing() -> None:
    scales = Scales(shown("length", "metric"), shown("flow", "metric"), 1.0)
    assert scales.number(-0.001) == "0.00"
    assert scales.number(-4.8) == "−4.80"
    assert scales.amount(-1e-9) == "0.00"
    assert scales.amount(0.03) == "108.0"
