"""Figures of a real run: what is drawn is what the solver found, whatever things are called."""

import json
import shutil
import threading
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.colors import to_rgba
from matplotlib.patches import PathPatch
from matplotlib.text import Text
from PIL import Image

from wellring.postprocess.figures import draw_figures
from wellring.postprocess.figures.bars import PARTS, draw_inflow
from wellring.postprocess.figures.cuts import pit_cuts
from wellring.postprocess.figures.fence import draw_fence, log_pairs
from wellring.postprocess.figures.fields import (
    METRIC_STEPS,
    aquifers,
    cells_outline,
    contour_lines,
    contour_steps,
    drawn_aquifers,
    plan_field,
)
from wellring.postprocess.figures.floor import draw_floor
from wellring.postprocess.figures.floor_sheet import FloorSheet
from wellring.postprocess.figures.plan import draw_plan, plan_windows
from wellring.postprocess.figures.soil_look import soil_looks
from wellring.postprocess.figures.style import (
    ALARM_LIGHT,
    DPI,
    SHEET,
    plain,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult, read_results

FOOT = 0.3048
SITE = 'Cost $5 & $x_1^2$ <b>"Yard"</b> 😀 שלום'
POINT = "_café $\\frac{1}{2}$"
BORING = "_B$1"


@dataclass(frozen=True)
class Drawn:
    """A run, its results and the files drawn of it."""

    run: RunFolder
    results: list[StageResult]
    files: dict[str, Path]


@pytest.fixture(scope="module")
def drawn(turned_run: RunFolder, tmp_path_factory: pytest.TempPathFactory) -> Drawn:
    """Everything of the turned run drawn once."""
    results = read_results(turned_run)
    files = draw_figures(turned_run, results, tmp_path_factory.mktemp("drawn"))
    return Drawn(turned_run, results, {file.name: file for file in files})


def texts(path: Path) -> list[str]:
    """All text of an SVG, parsed."""
    root = ElementTree.parse(path).getroot()
    return ["".join(item.itertext()) for item in root.iter("{http://www.w3.org/2000/svg}text")]


def test_every_figure_comes_as_a_sheet_of_png_and_svg(drawn: Drawn) -> None:
    stems = {name.rsplit(".", 1)[0] for name in drawn.files}
    assert stems == {
        "plan-01-dig-1",
        "plan-02-dig-2",
        "plan-02-dig-2-unit-3-gravel",
        "section-along",
        "section-across",
        "borings",
        "floor",
        "stability-01-dig-1",
        "stability-02-dig-2",
        "inflow",
        "settlement-01-dig-1",
        "settlement-02-dig-2",
        "settlement-sections",
        "influence",
    }
    size = tuple(int(side * DPI) for side in SHEET)
    for stem in stems:
        with Image.open(drawn.files[f"{stem}.png"]) as image:
            assert image.size == size
            assert image.info["dpi"][0] == pytest.approx(DPI, abs=0.1)
            grey = np.asarray(image.convert("L"))
        assert (grey < 250).mean() > 0.01
        # Nothing runs off the sheet.
        frame = 40
        for edge in (grey[:, :frame], grey[:, -frame:], grey[:frame], grey[-12:]):
            assert edge.min() == 255, stem
        assert texts(drawn.files[f"{stem}.svg"])


def test_names_stand_in_the_drawing_letter_by_letter(drawn: Drawn) -> None:
    plan = texts(drawn.files["plan-02-dig-2.svg"])
    assert any(plain(SITE, 50) in text for text in plan)
    assert POINT in plan
    assert "INVENTED SITE" in plan
    assert any("EPSG:32633" in text for text in plan)
    assert any(well.name in plan for well in drawn.run.ledger.wells)
    assert BORING in texts(drawn.files["borings.svg"])
    assert "marl" in texts(drawn.files["section-along.svg"])


@pytest.fixture(scope="module")
def otherwise(drawn: Drawn, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The figures again: in US units, not invented, under a name no drawing can hold."""
    folder = tmp_path_factory.mktemp("otherwise")
    copy = RunFolder(
        changed(
            drawn, folder, show="us", invented=False, site="bell \x07 and\nnew\tline \ud800 end"
        )
    )
    return {p.name: p for p in draw_figures(copy, read_results(copy), folder / "again")}


def test_a_site_that_is_not_invented_says_nothing(otherwise: dict[str, Path]) -> None:
    assert "INVENTED SITE" not in texts(otherwise["floor.svg"])


def test_letters_no_drawing_can_hold_are_left_out(otherwise: dict[str, Path]) -> None:
    assert any("bell and new line end" in text for text in texts(otherwise["inflow.svg"]))


def changed(drawn: Drawn, folder: Path, **changes: object) -> Path:
    copy = shutil.copytree(drawn.run.path, folder / "run")
    ledger = json.loads((copy / "ledger.json").read_text(encoding="utf-8"))
    (copy / "ledger.json").write_text(json.dumps({**ledger, **changes}), encoding="utf-8")
    return Path(copy)


def test_unsmoothed_contours_lie_on_the_heads(drawn: Drawn) -> None:
    from scipy.interpolate import RegularGridInterpolator

    fall = drawn.results[-1].fall
    assert fall is not None
    field = plan_field(drawn.run, fall.table, 1.0)
    x, y = drawn.run.local_centres
    found = RegularGridInterpolator((-y, x), field.values)
    count = 0
    for step, pieces in contour_lines(field, list(METRIC_STEPS)):
        for piece in pieces:
            local = drawn.run.to_local(*piece.T)
            values = found(np.column_stack([-local[1], local[0]]))
            # Beside the model's edge a vertex may fall a hair into a cell without water.
            assert np.isfinite(values).mean() > 0.9
            assert values[np.isfinite(values)] == pytest.approx(step, abs=1e-6)
            count += len(piece)
    assert count > 200


def bracketed(run: RunFolder, values: np.ndarray, piece: np.ndarray, step: float) -> np.ndarray:
    """Whether each vertex (CRS units) lies among four cells that hold `step` between them."""
    x, y = run.local_centres
    local_x, local_y = run.to_local(*(piece * run.ledger.metres_per_unit).T)
    column = np.clip(np.searchsorted(x, local_x) - 1, 0, len(x) - 2)
    row = np.clip(np.searchsorted(-y, -local_y) - 1, 0, len(y) - 2)
    field = values.reshape(run.plan_shape)
    around = np.stack([field[row + i, column + j] for i in (0, 1) for j in (0, 1)])
    around = around[:, np.isfinite(around).all(axis=0)]
    assert around.shape[1] > 0.5 * len(piece)
    return (around.min(axis=0) - 1e-6 <= step) & (step <= around.max(axis=0) + 1e-6)


@pytest.mark.parametrize("system", ["metric", "us"])
def test_contours_as_drawn_agree_with_the_cells(drawn: Drawn, tmp_path: Path, system: str) -> None:
    run = RunFolder(
        changed(drawn, tmp_path, show=system, metres_per_unit=1.0 if system == "metric" else FOOT)
    )
    factor = 1.0 if system == "metric" else 1 / FOOT
    results = read_results(run)
    fall = results[-1].fall
    assert fall is not None
    figure = draw_plan(run, results, 2, None, plan_windows(run, results), pit_cuts(run))
    wide, close = figure.axes[:2]
    steps = contour_steps(run, float(np.nanmax(fall.table)) * factor)
    shown = set()
    for axes in (wide, close):
        for line in (c for c in axes.collections if isinstance(c, LineCollection)):
            step = float(str(line.get_gid()).rsplit("_", 1)[1])
            vertices = np.vstack(line.get_segments())
            assert bracketed(run, fall.table * factor, vertices, step).all()
            shown.add(step)
    assert set(steps[:6]) <= shown
    labels_wide = {float(t.get_text()) for t in wide.texts if _number(t.get_text())}
    assert {steps[0], steps[2]} <= labels_wide
    unit = "m" if system == "metric" else "ft"
    assert wide.get_xlabel().startswith(f"Easting [{unit}]")
    # The outline stands where the site file put it.
    outline = np.asarray(run.ledger.outline) / run.ledger.metres_per_unit
    assert any(
        np.shape(line.get_xydata()) == outline.shape and np.allclose(line.get_xydata(), outline)
        for line in close.lines
    )


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_the_gravel_has_a_head_of_its_own_and_the_sand_has_not(drawn: Drawn) -> None:
    units = drawn.run.ledger.units
    assert [units[k].soil for k in aquifers(drawn.run, drawn.results)] == ["gravel"]
    assert [units[k].soil for k in drawn_aquifers(drawn.run, drawn.results)] == ["gravel"]


def test_contour_steps_reach_the_largest_and_are_never_alone(drawn: Drawn) -> None:
    assert contour_steps(drawn.run, 0.0) == [0.1, 0.25]
    assert contour_steps(drawn.run, 2.4) == [0.1, 0.25, 0.5, 1, 2]


def test_floor_map_marks_just_the_cells_that_fail(drawn: Drawn) -> None:
    result = drawn.results[-1]
    dry = result.dryness
    assert dry is not None
    assert not dry.dry
    assert dry.margin is not None
    assert dry.margin > 0
    failing = dry.plan[dry.depth_below < dry.needed - 1e-3]
    assert 0 < failing.size < dry.plan.size
    figure = draw_floor(drawn.run, result)
    patches = [p for p in figure.axes[0].patches if isinstance(p, PathPatch)]
    marked = [p for p in patches if p.get_facecolor() == to_rgba(ALARM_LIGHT)]
    assert len(marked) == 1
    x, y = drawn.run.centres
    path = marked[0].get_path()
    inside = path.contains_points(np.column_stack([x, y])[dry.plan])
    assert set(dry.plan[inside]) == set(failing)
    area = sum(_area(p.get_path().to_polygons()) for p in patches[:])
    assert area == pytest.approx(drawn.run.area[dry.plan].sum(), rel=1e-6)
    said = [text.get_text() for text in figure.texts]
    assert any("NOT DRY" in text for text in said)
    assert f"{dry.margin:.2f} m" in said


def test_the_label_of_the_worst_place_covers_no_well(drawn: Drawn) -> None:
    """Wherever it is beside a well, in the drawn letters' own extent."""
    run, wells = drawn.run, drawn.run.ledger.wells
    for turn in range(8):
        well = wells[turn % len(wells)]
        sheet = FloorSheet.begin(run, drawn.results[-1], "Floor")
        crs, angle = sheet.scales.crs, turn * np.pi / 4
        spot = (crs(well.x + 1.2 * np.cos(angle)), crs(well.y + 1.2 * np.sin(angle)))
        sheet.mark_worst(spot, True, "least: 1.05 m", "where", "least")
        sheet.draw_wells(run, named=True)
        renderer = FigureCanvasAgg(sheet.figure).get_renderer()
        (label,) = (text for text in sheet.axes.texts if text.get_text() == "least: 1.05 m")
        label.update_positions(renderer)
        x0, y0, x1, y1 = Text.get_window_extent(label, renderer).extents
        x, y = sheet.placer.pixels(crs(np.array([(w.x, w.y) for w in wells]))).T
        mark = 2.6 * DPI / 72  # half of a well's mark
        near = (x > x0 - mark) & (x < x1 + mark) & (y > y0 - mark) & (y < y1 + mark)
        assert not near.any(), (turn, np.array(wells)[near])


def _area(polygons: list[np.ndarray]) -> float:
    total = 0.0
    for ring in polygons:
        x, y = ring.T - ring[0][:, None]
        total += 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    return abs(total)


def test_outline_of_cells_is_their_area(drawn: Drawn) -> None:
    plan = np.asarray(drawn.run.ledger.inside)
    shape = cells_outline(drawn.run, plan)
    assert shape.area == pytest.approx(drawn.run.area[plan].sum(), rel=1e-9)


def test_a_log_that_is_not_honoured_shows(drawn: Drawn, tmp_path: Path) -> None:
    ledger = json.loads((drawn.run.path / "ledger.json").read_text(encoding="utf-8"))
    boring = ledger["borings"][0]
    boring["intervals"] = [[0.0, -12.0, "sand"], [-12.0, -16.0, "peat"]]
    run = RunFolder(changed(drawn, tmp_path, borings=[boring]))
    results = read_results(run)
    (pair,) = log_pairs(run, results[0])
    assert pair.same == pytest.approx(7.0 / 16.0, abs=1e-6)
    said = [t.get_text() for t in draw_fence(run, results).axes[0].texts]
    assert "43 %" in said


def test_bars_are_the_inflow(drawn: Drawn) -> None:
    axes = draw_inflow(drawn.run, drawn.results).axes[0]
    for container, (name, *_rest) in zip(axes.containers, PARTS, strict=True):
        for bar, result in zip(container, drawn.results[1:], strict=True):
            assert bar.get_width() == pytest.approx(
                max(getattr(result.inflow, name), 0) * 3600, abs=1e-9
            )
    for text, result in zip(axes.texts, drawn.results[1:], strict=True):
        assert result.inflow is not None
        assert text.get_text() == f"{result.inflow.total * 3600:,.1f} m³/h"


def test_us_units_are_shown_where_the_site_asks_for_them(otherwise: dict[str, Path]) -> None:
    files = otherwise
    assert "Flow [gpm]" in texts(files["inflow.svg"])
    assert "Level [ft]" in texts(files["section-along.svg"])
    said = texts(files["floor.svg"])
    assert "2.13 ft" in said  # 0.65 m asked for
    assert not any(text.endswith(" m") for text in said)


def test_drawing_leaves_matplotlib_as_it_was_and_tells_the_same_twice(
    drawn: Drawn, tmp_path: Path
) -> None:
    before = dict(matplotlib.rcParams)
    made: dict[str, list[Path]] = {}

    def draw(name: str) -> None:
        made[name] = draw_figures(drawn.run, drawn.results, tmp_path / name)

    threads = [threading.Thread(target=draw, args=(name,)) for name in ("one", "two")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert dict(matplotlib.rcParams) == before
    assert len(made["one"]) == len(made["two"]) == len(drawn.files)
    for first, second in zip(made["one"], made["two"], strict=True):
        assert first.read_bytes() == second.read_bytes() == drawn.files[first.name].read_bytes()


def test_soils_are_told_apart(drawn: Drawn) -> None:
    looks = soil_looks(drawn.run.ledger)
    assert len({(look.fill, look.hatch) for look in looks.values()}) == len(looks) == 4
    assert "-" in looks["clay"].hatch
    assert set(looks["gravel"].hatch) <= set(".oO")
