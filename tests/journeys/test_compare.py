"""`wellring compare`: every scheme in its run folder, ranked, with what each fails on."""

from __future__ import annotations

import csv
import json
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from process_groups import begin_command, group_lives

from wellring.inputs.read_site import read_site
from wellring.model.mf6.solver import find_solver
from wellring.postprocess.comparison.comparison import SchemeRow, add_flood, compare_rows
from wellring.postprocess.operation.cost_parts import CostParts, cost_parts

PRICES = """
[operations]
currency = "crowns"
wage = 32.0
power_price = 0.25
pump_hire = 90.0
installation = 900.0
discharge_fee = 0.1
"""
MEADOW = """
[[neighbours]]
file = "meadow.geojson"
kind = "wetland"
limit = { drawdown = "9 m" }
"""
SECOND = """
[[schemes]]
name = "too few"
[[schemes.drainage]]
method = "deep wells"
ring = { offset = 2.0, count = 4 }
screen = [-10.0, -3.0]
diameter = "300 mm"
rate = "0.2 m3/h"
"""


def test_schemes_are_ranked_and_reasons_told(
    tmp_path: Path,
    plain_site: Callable[..., Path],
    wellring: Callable[..., Any],
    beside_pit: Callable[..., None],
) -> None:
    site = plain_site(
        tmp_path / "site",
        formations=(-2.0, -4.0),
        drainage=[
            {
                "method": "deep wells",
                "ring": {"offset": 2.0, "count": 8},
                "screen": [-11.0, -3.0],
                "diameter": "400 mm",
                "hold": -8.5,
            }
        ],
        cell=4.0,
        sublayer=2.0,
    )
    text = site.read_text()
    text = text.replace('name = "dig 1"', 'name = "dig 1"\nday = 0')
    text = text.replace('name = "dig 2"', 'name = "dig 2"\nday = 30\nlasts = 40')
    first = next(line for line in text.splitlines() if line.startswith("name = ")
                 and text.index(line) > text.index("[[schemes]]"))  # fmt: skip
    site.write_text(text + SECOND + PRICES + MEADOW)
    beside_pit(site, "meadow.geojson", [(20, 0), (40, 0), (40, 20)], name="wet meadow")
    done = wellring("compare", site, "--workers", "2", "--json")
    assert done.code == 0, done.err
    told = json.loads(done.out)
    names = [row["scheme"] for row in told["schemes"]]
    assert names == [first.split('"')[1], "too few"]
    assert [row["all_limits_hold"] for row in told["schemes"]] == [True, False]
    assert any("dig 2: water below formation" in text for text in told["schemes"][1]["fails_on"])
    assert told["schemes"][0]["values"]["wells"]["value"] == 8
    folder = site.parent / "site.runs" / "compare"
    with open(folder / "compare.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    single = json.loads((site.parent / "site.runs" / "too few" / "answers.json").read_text())
    most = max(answer["value"] for name, answer in single.items() if name.endswith(".inflow_total"))
    # Tables are written to seven digits.
    assert float(rows[1]["peak discharge [m3/s]"]) == float(f"{most:.7g}")
    assert rows[1]["limit: water below formation"] == "fails"
    assert (folder / "compare.png").stat().st_size > 10_000
    page = (folder / "report.html").read_text()
    assert 'href="../too%20few/report.html"' in page
    assert page.count('<canvas id="plancanvas') == 2
    assert "Ranked" in (folder / "compare.txt").read_text()
    assert (folder / "costs.png").stat().st_size > 10_000
    for row in told["schemes"]:  # the parts are those of the run's own answers
        parts = cost_parts(site.parent / "site.runs" / row["scheme"])
        assert parts.currency == "crowns"
        assert set(parts.money) == {"operators", "power", "pump hire", "discharge fee",
                                    "installation"}  # fmt: skip
        assert parts.total == pytest.approx(row["values"]["cost"]["value"], rel=1e-6)
    count = told["schemes"][0]["values"]["wells"]["value"]
    assert cost_parts(site.parent / "site.runs" / names[0]).money["installation"] == 900.0 * count
    assert "cost by item" in page.lower()

    worst = told["schemes"][0]["values"]["worst neighbour"]["value"]
    assert worst.startswith("wet meadow (wetland): drawdown ")
    assert f"  {names[0]}: {worst}" in (folder / "compare.txt").read_text()
    # The time to flood is that of the command itself; the deeper water is pumped, the longer it is.
    runs = site.parent / "site.runs"
    alone = wellring("outage", runs / names[0], "--no-single-wells", "--no-figures",
                             "--out", tmp_path / "alone", "--json")  # fmt: skip
    hours = json.loads(alone.out)["standby_must_start_within_hours"]
    flood = [row["values"]["time to flood"] for row in told["schemes"]]
    assert hours > 0
    assert flood[0] == {"value": pytest.approx(hours, rel=5e-3), "unit": "h"}
    assert flood[1]["value"] == 0.0  # never dry
    assert (runs / f"{names[0]}.outage 02 dig 2.compare" / "report.html").is_file()
    assert "Time to flood: all pumps stop at once" in (folder / "compare.txt").read_text()


def test_a_pit_that_stays_dry_has_no_time_to_flood() -> None:
    row = SchemeRow("wall", None)
    told: Any = SimpleNamespace(start_by=None, days=7.0, floor_holds=True)
    add_flood(row, told)
    assert row.text("time to flood", "metric") == "> 168 h"
    assert compare_rows("site", [row]).frame()["time to flood [h]"][0] == "> 168"


def test_a_large_scheme_floods_on_a_coarser_grid_and_says_so(
    tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    """The same scheme on both grids: the comparison says which it was, and the hours are near."""
    from wellring.model.studies import compare as module

    ring = {"offset": 2.0, "count": 8}
    well = {"method": "deep wells", "ring": ring, "screen": [-11.0, -3.0],
            "diameter": "400 mm", "hold": -8.5}  # fmt: skip
    site = plain_site(
        tmp_path / "site", formations=(-4.0,), drainage=[well], cell=3.0, sublayer=1.5
    )
    name = next(iter(read_site(site).description.schemes)).name
    hours = {}
    for grid in ("fine", "coarse"):
        done = module._run_scheme(str(site), name, str(tmp_path / grid), str(find_solver().path),
                                  False, False, True, grid == "coarse")  # fmt: skip
        assert done.coarse is (grid == "coarse")
        assert done.flood is not None
        hours[grid] = done.flood.start_by
        row = SchemeRow(name, None)
        add_flood(row, done.flood, done.coarse)
        assert ("on a coarser grid" in compare_rows("site", [row]).text()) is done.coarse
        assert any("coarser" in text for text in done.flood.cautions) is done.coarse
    assert hours["coarse"] == pytest.approx(hours["fine"], rel=0.3)
    assert hours["coarse"] != hours["fine"]


def test_all_outages_of_a_comparison_are_followed_alike(
    tmp_path: Path, plain_site: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One scheme has more cells than the most, the other not: both stand on the coarser grid."""
    from wellring.model.layouts.layout import lay_out_schemes
    from wellring.model.runs.run import schemes_of
    from wellring.model.studies import compare as module

    well = {"ring": {"offset": 2.0, "count": 8}, "screen": [-11.0, -3.0],
            "diameter": "400 mm", "hold": -8.5}  # fmt: skip
    site = plain_site(tmp_path / "site", drainage=[well], cell=5.0, sublayer=4.0)
    text = site.read_text()
    other = text[text.index("[[schemes]]") :].replace('"scheme"', '"walled"')
    wall = 'walls = [{ kind = "sheet pile", toe = -6.3, joint_resistance = "3e-7 m/s" }]\n'
    site.write_text(text + other.replace('"walled"\n', f'"walled"\n{wall}'))
    read = read_site(site)
    cells = [x.ground.layers.unit.size for x in lay_out_schemes(read, schemes_of(read))]
    assert min(cells) < max(cells)
    monkeypatch.setattr(module, "FULL_GRID", min(cells))
    done = module.compare(site, workers=1, figures=False)
    assert [row.coarse_flood for row in done.comparison.rows] == [True, True]


def test_a_price_that_one_scheme_lacks_keeps_cost_from_ranking() -> None:
    """A wall without a price would make its scheme the cheapest; the same gap in all does not."""
    rows = [SchemeRow(name, Path(name), holds=True) for name in ("wells", "wall")]
    for row, cost, flow in zip(rows, (900.0, 100.0), (0.01, 0.02), strict=True):
        row.values = {"cost": (cost, "crowns"), "peak discharge": (flow, "m3/s")}
    assert [row.scheme for row in compare_rows("site", rows).rows] == ["wall", "wells"]
    rows[1].costs = CostParts(unpriced=("wall: cut-off",))
    told = compare_rows("site", rows)
    assert told.ranked_by == "peak discharge"
    assert [row.scheme for row in told.rows] == ["wells", "wall"]
    assert "wall: cut-off (wall). So the cost does not rank." in told.text()
    rows[0].costs = CostParts(unpriced=("wall: cut-off",))
    assert compare_rows("site", rows).ranked_by == "cost"


def test_stopped_it_begins_no_other_scheme(
    tmp_path: Path, plain_site: Callable[..., Path], solver: Any
) -> None:
    """Ctrl-C reaches the whole group: what was at work stops, what waited is not solved first."""
    ring = {"offset": 2.0, "count": 8}
    well = {"method": "deep wells", "ring": ring, "screen": [-11.0, -3.0],
            "diameter": "400 mm", "hold": -8.5}  # fmt: skip
    site = plain_site(tmp_path / "site", drainage=[well], cell=2.0, sublayer=0.5)
    text = site.read_text()
    at = text.index("[[schemes]]")
    more = [text[at:].replace('"scheme"', f'"scheme {i}"') for i in range(3)]
    site.write_text(text + "\n" + "\n".join(more))
    runs = site.parent / "site.runs"
    process = begin_command(["compare", str(site), "--workers", "1"], solver)
    end = time.monotonic() + 60
    while not runs.is_dir() and time.monotonic() < end:
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGINT)
    _, told = process.communicate(timeout=120)
    assert process.returncode == 130, told
    assert "Stopped" in told
    assert len([place for place in runs.iterdir() if (place / "answers.json").is_file()]) <= 1
    end = time.monotonic() + 20  # the pool's tracker of shared things goes last
    while group_lives(process) and time.monotonic() < end:
        time.sleep(0.05)
    assert not group_lives(process)


def test_a_comparison_leaves_no_figure_of_the_one_before(
    tmp_path: Path, plain_site: Callable[..., Path], wellring: Callable[..., Any]
) -> None:
    """Prices taken out: no costs.png of then beside the table of now."""
    site = plain_site(tmp_path / "site", formations=(-1.5,), cell=4.0, sublayer=3.0)
    text = site.read_text().replace('name = "dig 1"', 'name = "dig 1"\nday = 0\nlasts = 30')
    site.write_text(text + "\n[operations]\nmobilisation = 500.0\n")
    wellring("compare", site, "--workers", "1", "--no-outages")
    folder = site.parent / "site.runs" / "compare"
    assert (folder / "costs.png").is_file()
    (folder / "mine.txt").write_text("the user's own")
    site.write_text(text)
    wellring("compare", site, "--workers", "1", "--no-outages", "--no-figures")
    assert sorted(place.name for place in folder.iterdir()) == [
        "compare.csv", "compare.json", "compare.txt", "mine.txt"
    ]  # fmt: skip


def test_without_days_it_is_told_why_there_is_no_cost() -> None:
    rows = [SchemeRow(name, Path(name), holds=True) for name in ("a", "b")]
    for row in rows:
        row.values = {"cost a week": (5.0, "EUR/week"), "peak discharge": (0.01, "m3/s")}
    assert "how long some stage is pumped is not known" in compare_rows("site", rows).text()
    for row in rows:
        row.values.pop("cost a week")
    assert "No cost in all" not in compare_rows("site", rows).text()


def _row_of_costs(folder: Path, lines: str) -> SchemeRow:
    (folder / "tables").mkdir(parents=True)
    head = "stage,item,price [EUR],over the stage [EUR]\n"
    (folder / "tables" / "costs.csv").write_text(head + lines)
    return SchemeRow(folder.name, folder, holds=True, costs=cost_parts(folder))


def test_a_wall_without_a_price_is_marked_beside_its_sum(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its bar and its column would be the cheapest otherwise; another scheme has no wall at all."""
    from wellring.postprocess.figures import cost_bars
    from wellring.postprocess.report import compare_page

    rows = [
        _row_of_costs(tmp_path / "wells", "one,power,0.2,50\n"),
        _row_of_costs(tmp_path / "box", "one,power,0.2,5\none,wall: box,,\n"),
        _row_of_costs(tmp_path / "half", "one,wall: a,2,7\none,wall: b,,\n"),
    ]
    parts = [cost_parts(tmp_path / name) for name in ("wells", "box", "half")]
    assert [part.wall_unpriced for part in parts] == [False, True, True]
    table = compare_page._costs(compare_rows("site", rows))
    assert table is not None
    shown = {cells[0].text: [cell.text for cell in cells[1:]] for cells in table.rows}
    assert shown["wall"] == ["", "no price", "7 + no price"]

    ledger = SimpleNamespace(ledger=SimpleNamespace(site="Site", invented=False))
    monkeypatch.setattr(cost_bars, "RunFolder", lambda folder: ledger)
    png, svg = cost_bars.draw_costs(rows, tmp_path)
    assert png.is_file()
    text = svg.read_text(encoding="utf-8")
    assert text.count("wall without a price") == 2
    assert "5 + wall" in text


def test_prices_of_nothing_draw_no_bars(tmp_path: Path) -> None:
    from wellring.postprocess.figures.cost_bars import draw_costs

    row = _row_of_costs(tmp_path / "free", "one,power,0,0\n")
    assert draw_costs([row], tmp_path) == []
    assert not (tmp_path / "costs.png").exists()


def test_without_prices_no_cost_is_told_by_item(tmp_path: Path) -> None:
    """No table, no price, days of a stage not known: no sum that leaves something out unsaid."""
    assert cost_parts(tmp_path) == CostParts()
    table = tmp_path / "tables" / "costs.csv"
    table.parent.mkdir()
    head = "stage,item,price [EUR],over the stage [EUR]\n"
    table.write_text(head + "one,power,,\none,wage,,\n")
    assert cost_parts(tmp_path) == CostParts(unpriced=("power", "wage"))
    table.write_text(head + "one,power,0.2,50\ntwo,power,0.2,\n")
    assert cost_parts(tmp_path) == CostParts()
    table.write_text(head + "one,power,0.2,50\ntwo,power,0.2,25\ntwo,wage,,\n")
    assert cost_parts(tmp_path) == CostParts({"power": 75.0}, "EUR", ("wage",))
