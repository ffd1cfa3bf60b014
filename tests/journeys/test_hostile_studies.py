"""Names that would run if they could, from a site through `vary` and `match` to their files."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

from wellring.model.studies.match.match import match
from wellring.model.studies.vary.vary import vary

HOSTILE = "</script><script>hit()</script>🕳שלום<img src=x>"
FORMULA = "=1+1 <b>שלום"
PLAN = """
[vary]
design = "one at a time"
[[vary.parameters]]
path = 'soils."=1+1 <b>שלום".kh'
factor = [0.8, 1.2]
[match]
observations = "measured.csv"
cases = 2
[[match.parameters]]
path = 'soils."=1+1 <b>שלום".kh'
"""


def looked_through(folder: Path) -> None:
    """No markup of a name's own in pages, no script in figures, no formula in tables."""
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert page.count("<script") == 2
    assert "<img" not in page.partition('id="data">')[0]
    assert HOSTILE not in page
    data = page.split('id="data">')[1].split("</script>")[0]
    assert "hit()" in json.dumps(json.loads(data)) + page
    figures = list(folder.rglob("*.svg"))
    for figure in figures:
        names = {item.tag.rpartition("}")[2] for item in ElementTree.parse(figure).iter()}
        assert not names & {"script", "img", "b"}, figure
    tables = list(folder.glob("*.csv")) + list(folder.glob("tables/*.csv"))
    assert tables
    for table in tables:
        with open(table, newline="", encoding="utf-8") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        for cell in cells:
            if cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
                float(cell)  # a number below nought, and nothing else


def test_vary_and_match(tmp_path: Path, plain_site: Callable[..., Path]) -> None:
    site = plain_site(
        tmp_path / "site", layers=((FORMULA, -12.0),), soils={FORMULA: (1e-4, 1e-4)}, cell=6.0,
        sublayer=5.0, points={"POINT": (40.0, 6.0)},
    )  # fmt: skip
    text = site.read_text(encoding="utf-8")
    for plain in ("Plain", "dig 1", "POINT"):
        assert f'"{plain}"' in text
        name = json.dumps(f"=1+1 {plain} {HOSTILE}", ensure_ascii=False)
        text = text.replace(f'"{plain}"', name)
    site.write_text(text + PLAN, encoding="utf-8")
    with open(site.with_name("measured.csv"), "w", newline="", encoding="utf-8") as file:
        write = csv.writer(file)
        write.writerow(["kind", "point", "stage", "value", "error"])
        stage = f"=1+1 dig 1 {HOSTILE}"
        write.writerow(["drawdown", f"=1+1 POINT {HOSTILE}", stage, "0.4 m", "5 cm"])
        write.writerow(["flow", "", stage, "0.01 m3/s", "5 %"])
    looked_through(vary(site, workers=2).folder)
    looked_through(match(site, workers=2).folder)
