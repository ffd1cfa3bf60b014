"""`wellring size --spacing …`: the widest spacing, the fewest points that keep the dig dry."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

POINTS = {
    "method": "wellpoints",
    "ring": {"offset": 1.5, "spacing": 2.0},
    "header": -0.8,
    "screen": [-8.0, -6.5],
}


@pytest.fixture(scope="module")
def swept(
    tmp_path_factory: pytest.TempPathFactory,
    plain_site: Callable[..., Path],
    wellring: Callable[..., Any],
) -> tuple[Path, Any]:
    site = plain_site(tmp_path_factory.mktemp("sweep") / "site", formations=(-3.5,),
                      soils={"sand": (5e-5, 5e-5)}, drainage=[POINTS], cell=4.0,
                      sublayer=2.0)  # fmt: skip
    values = ("2 m", "5", "10 m", "24 m")
    asked = [word for value in values for word in ("--spacing", value)]
    return site, wellring("size", site, *asked, "--workers", "2", "--json")


def test_the_widest_spacing_that_is_dry(swept: tuple[Path, Any]) -> None:
    site, done = swept
    told = json.loads(done.out)
    cases = told["cases"]
    assert [case["spacing"] for case in cases] == [2.0, 5.0, 10.0, 24.0]
    assert [case["points"] for case in cases] == sorted(
        (case["points"] for case in cases), reverse=True
    )
    margins = [case["dry_margin_m"] for case in cases]
    assert margins == sorted(margins, reverse=True)
    dry = [case["spacing"] for case in cases if case["dry_margin_m"] >= 0.5 - 1e-3]
    assert 0 < len(dry) < 4, "the test must see both sides"
    assert told["best"] == max(dry)
    assert done.code == 0, done.err
    folder = site.parent / "site.size" / "scheme spacing"
    assert json.loads((folder / "sweep.json").read_text()) == told
    assert len((folder / "tables" / "cases.csv").read_text().splitlines()) == 5
    assert "The widest that keep every stage dry" in (folder / "sweep.txt").read_text()
    report = (folder / "report.html").read_text(encoding="utf-8")
    assert "Which spacing is the widest" in report
    assert "Least water below formation" in report


def test_the_new_scheme_has_the_spacing_and_runs(
    swept: tuple[Path, Any], wellring: Callable[..., Any]
) -> None:
    site, done = swept
    told = json.loads(done.out)
    best = next(case for case in told["cases"] if case["spacing"] == told["best"])
    file = site.with_name(told["file"])
    run = wellring("run", file, "--scheme", told["new_scheme"], "--no-figures",
                   "--no-side-studies", "--json")  # fmt: skip
    assert run.code == 0, run.err
    answers = json.loads(run.out)[told["new_scheme"]]
    assert answers["01-dig-1.dry_margin"]["value"] == pytest.approx(best["dry_margin_m"], abs=5e-3)


def test_a_sweep_tells_its_costs_in_their_currency(
    tmp_path: Path, plain_site: Callable[..., Path], wellring: Callable[..., Any]
) -> None:
    site = plain_site(tmp_path / "site", formations=(-3.5,), soils={"sand": (5e-5, 5e-5)},
                      drainage=[POINTS], cell=6.0, sublayer=3.0)  # fmt: skip
    text = site.read_text().replace('name = "dig 1"', 'name = "dig 1"\nday = 0\nlasts = 30')
    site.write_text(text + '\n[operations]\ncurrency = "crowns"\ninstallation = 100.0\n')
    done = wellring("size", site, "--spacing", "8", "--spacing", "20", "--workers", "1")
    points = [int(line.split("(")[1].split()[0]) for line in done.out.splitlines()
              if line.startswith("every")]  # fmt: skip
    assert len(points) == 2
    for count in points:
        assert f"cost {100 * count:,} crowns" in done.out
    assert "no quotation" in done.out
    page = next(site.parent.glob("site.size/*/report.html")).read_text(encoding="utf-8")
    assert "cost [crowns]" in page


def test_a_spacing_that_is_none_is_refused(
    swept: tuple[Path, Any], wellring: Callable[..., Any]
) -> None:
    site, _ = swept
    for words in (
        ("--spacing", "wide"),
        ("--count", "2.5"),
        ("--spacing", "-2"),
        ("--count", "6", "--spacing", "2"),
        ("--count", "6", "--table", "other"),
    ):
        done = wellring("size", site, *words)
        assert done.code == 2, words
        assert "Traceback" not in done.err
