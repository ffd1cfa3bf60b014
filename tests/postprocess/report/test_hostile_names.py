"""Names that would run if they could: in a study's CSV files, in SVG figures, in its pages."""

from __future__ import annotations

import csv
import json
import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from wellring.model.outage.one_out import OneOut
from wellring.model.outage.outage_page import outage_page
from wellring.postprocess.comparison.comparison import SchemeRow, compare_rows, scheme_row
from wellring.postprocess.figures.side_by_side import draw_side_by_side
from wellring.postprocess.figures.style import plain
from wellring.postprocess.operation.flood_answers import FloodAnswers, Moment
from wellring.postprocess.operation.flooding import Flooding
from wellring.postprocess.operation.standby import StandbyNeed
from wellring.postprocess.report.compare_page import compare_page
from wellring.postprocess.run.ledger import LEDGER_FILE
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.tables import write_frame, write_table
from wellring.postprocess.stability.bursting import PlugBurst

SCRIPT = "</script><script>window.hit=1</script>"
FORMULAS = ('=HYPERLINK("http://x","y")', "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1")
NAMES = (SCRIPT, '"><img src=x onerror="window.hit=1">', "🕳 שלום עולם", "a\u202eb", "{{ 7*7 }}")


class Tags(HTMLParser):
    """Elements and attributes of a page."""

    def __init__(self, text: str):
        super().__init__()
        self.tags: list[str] = []
        self.events: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.events += [name for name, _ in attrs if name.startswith("on")]


def told(text: str) -> None:
    """A page has its own markup and no more."""
    page = Tags(text)
    assert page.tags.count("script") == 2
    assert "img" not in page.tags
    assert page.events == []
    json.loads(text.split('id="data">')[1].split("</script>")[0])


@pytest.mark.parametrize("name", NAMES)
def test_pages_of_studies(name: str, slashed_run: RunFolder) -> None:
    row = scheme_row(slashed_run.path)
    row.scheme, row.reasons, row.holds = name, [name], False
    row.limits = {name: False}
    page = compare_page(compare_rows(name, [row, SchemeRow(name, None, name)]))
    assert page is not None
    page.warnings, page.assumptions = [name], [name]
    told(page.html())
    assert "49" not in re.findall(r"<h1><bdi>(.*?)</bdi>", page.html())[0]


def test_page_of_an_outage(slashed_run: RunFolder) -> None:
    name = "".join(NAMES)
    ledger = slashed_run.ledger
    run = RunFolder(slashed_run.path)
    wells = [replace(well, name=f"{name}{k}") for k, well in enumerate(ledger.wells)]
    run.__dict__["ledger"] = replace(ledger, site=name, scheme=name, wells=wells)
    hours = np.array([0.0, 2.0, 4.0])
    stage = ledger.stages[-1]
    assert stage.formation is not None
    level = stage.formation + np.array([-1.0, 0.0, 0.5])
    flooding = Flooding(
        hours, level, np.array([0.0, 0.0, 9.0]), level, np.full(3, 1e-3), stage.formation, 0.5, 20.0
    )
    answers = FloodAnswers(
        scheme=name, stage=name, formation=stage.formation, clearance=0.5, days=0.2,
        stopped=[wells[0].name], running=[wells[1].name], pumped=0.01,
        moments=[Moment(name, 0.0, 2.0, 1e-3)], at_formation=2.0,
        bursts=[PlugBurst(name, name, 0.0, 1.0, 2.0, 0.9, 1.2, 1.0, name)], floor_holds=False,
        floor=name, standby_hours=3.0, final_level=0.5,
        final_volume=9.0, final_inflow=1e-3, largest_inflow=1e-3, mass_balance=0.0, show="metric",
        cautions=[name],
    )  # fmt: skip
    singles = [OneOut(wells[0].name, 1, -0.1, False, 0.01, name)]
    need = StandbyNeed(2.0, 0.2, 2, 1e3, 1e3, {"deep wells": 1}, 0, [name])
    page = outage_page(run, stage, flooding, answers, singles, need)
    text = page.html()
    told(text)
    assert page.verdict is False
    data = json.loads(text.split('id="data">')[1].split("</script>")[0])
    notes = [
        thing["notes"][""] for thing in data["plans"][0]["things"] if thing["group"] == "wells"
    ]
    assert "stops; with it alone out: water 0.10 m above formation" in notes[0]
    assert "goes on pumping" in notes[1]
    levels = next(c for c in data["charts"].values() if c["label"].startswith("Water in and"))
    assert {mark["name"]: mark["at"] for mark in levels["marks"]} == {
        "water at formation": 2.0,
        "plug at its limit": 1.0,
        "standby power": 3.0,
    }


@pytest.mark.parametrize("start", FORMULAS)
def test_no_cell_of_a_table_starts_a_formula(start: str, tmp_path: Path) -> None:
    import pandas

    write_frame(tmp_path / "frame.csv", pandas.DataFrame({start: [start, "x"], "v": [1.5, None]}))
    write_table(tmp_path / "table.csv", [start], [[start]])
    for path in tmp_path.glob("*.csv"):
        with open(path, newline="", encoding="utf-8") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert any(start in cell for cell in cells)
        assert not [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]


def test_figures_of_studies(slashed_run: RunFolder, tmp_path: Path) -> None:
    name = f"{SCRIPT} 🕳 שלום"
    folder = Path(shutil.copytree(slashed_run.path, tmp_path / "run"))
    ledger = json.loads((folder / LEDGER_FILE).read_text(encoding="utf-8"))
    ledger["site"] = ledger["scheme"] = name
    (folder / LEDGER_FILE).write_text(json.dumps(ledger), encoding="utf-8")
    draw_side_by_side([folder], tmp_path)
    root = ElementTree.parse(tmp_path / "compare.svg")
    assert not [item for item in root.iter() if item.tag.rpartition("}")[2] == "script"]
    texts = ["".join(item.itertext()) for item in root.iter("{http://www.w3.org/2000/svg}text")]
    assert any(plain(name, 20)[:12] in text for text in texts)
