"""`wellring size`: least pumping, fewest wells, what blocks, and the scheme it writes."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

NAMES = ("</script><script>window.hit=1</script>", '"><img src=x onerror="window.hit=1">')
"""Names that would run if they could."""
WELLS = {
    "method": "deep wells",
    "ring": {"offset": 2.0, "count": 6},
    "screen": [-11.0, -3.0],
    "diameter": "400 mm",
    "hold": -8.5,
}


@pytest.fixture(scope="module")
def make(plain_site: Callable[..., Path]) -> Callable[..., Path]:
    def made(folder: Path, **changes: Any) -> Path:
        wells = {**WELLS, **changes}
        return plain_site(folder, formations=(-2.0, -4.0), drainage=[wells], cell=4.0, sublayer=2.0)

    return made


@pytest.fixture(scope="module")
def sized(
    tmp_path_factory: pytest.TempPathFactory,
    make: Callable[..., Path],
    wellring: Callable[..., Any],
) -> tuple[Path, Any]:
    site = make(tmp_path_factory.mktemp("sized") / "site")
    return site, wellring("size", site, "--workers", "2", "--json")


def test_the_least_pumping_is_dry_and_less_than_equal_rates(sized: tuple[Path, Any]) -> None:
    _, done = sized
    assert done.code == 0, done.err
    told = json.loads(done.out)
    assert told["found"] is True
    assert told["solves"] <= told["candidates"] + 10 == told["most_solves"]
    total = told["total_m3_s"]
    assert total["sized"] < total["equal rates"] < total["as it stands"]
    margins = [a["value"] for n, a in told["answers"].items() if n.endswith(".dry_margin")]
    assert all(0.502 <= margin <= 0.52 for margin in margins)


def test_the_new_scheme_runs_and_is_what_was_told(
    sized: tuple[Path, Any], wellring: Callable[..., Any]
) -> None:
    site, done = sized
    told = json.loads(done.out)
    file = site.with_name(told["file"])
    assert site.read_text() in file.read_text()
    run = wellring("run", file, "--scheme", told["new_scheme"], "--no-figures",
                   "--no-side-studies", "--json")  # fmt: skip
    assert run.code == 0, run.err
    answers = json.loads(run.out)
    answers = answers.get(told["new_scheme"], answers)
    for name, before in told["answers"].items():
        if name.endswith((".dry_margin", ".inflow_total")):
            assert answers[name]["value"] == pytest.approx(before["value"], rel=2e-3)
        if name.endswith(".dry_margin"):  # from rest, to the full clearance
            assert answers[name]["value"] >= 0.5


def test_the_folder_holds_table_and_figure(sized: tuple[Path, Any]) -> None:
    site, done = sized
    told = json.loads(done.out)
    folder = site.parent / "site.size" / "scheme"
    assert json.loads((folder / "size.json").read_text()) == told
    with open(folder / "tables" / "flows.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 12
    assert sum(float(row["sized [m3/s]"]) for row in rows) == pytest.approx(
        told["total_m3_s"]["sized"]
    )
    assert (folder / "figures" / "size.png").stat().st_size > 10_000
    assert "all limits hold" in (folder / "size.txt").read_text()
    report = (folder / "report.html").read_text(encoding="utf-8")
    for shown in ("How little pumping", "The model confirms", *(f"W {i}" for i in range(1, 7))):
        assert shown in report


def clean(text: str) -> None:
    """A page has its own markup and no more."""
    assert text.count("<script") == text.count("</script") == 2
    assert "<img" not in text
    json.loads(text.split('id="data">')[1].split("</script>")[0])


@pytest.mark.parametrize("name", NAMES)
def test_names_in_the_report_run_nothing(
    sized: tuple[Path, Any], monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """The same sizing, taken up again without a solve, with a name that would run if it could."""
    from wellring.model.studies.size import size
    from wellring.model.studies.sizing.programme import Planned
    from wellring.model.studies.sizing.size_page import size_page

    site, _ = sized
    done = size(site, out=site.parent / "site.size" / "scheme", workers=1, figures=False)
    rows = done.search.rows
    rows.candidates = [replace(c, name=f"{name}{i}") for i, c in enumerate(rows.candidates)]
    rows.limits = [replace(limit, text=name) for limit in rows.limits]
    done.search.stages = [name for _ in done.search.stages]
    done.new_scheme, done.warnings = name, [name]
    clean(size_page(done).html())
    step = done.step
    assert step is not None
    for other in done.search.steps:  # nothing found: the limits that block are named
        other.taken, other.excess = False, {0: 0.4}
    told = size_page(done).told  # solves ran out: that says nothing of what the wells can do
    assert "0.40 m too high" not in told
    assert "It does not mean that there are none" in told
    done.search.planned = Planned(step.flows, 0.0, {0: 0.3})  # no programme has an answer either
    told = size_page(done).told
    assert "0.40 m too high" in told
    assert "the nearest that was solved" in done.text()
    done.search.blocked = True
    page = size_page(done)
    assert "the nearest that was solved" not in done.text()
    assert page.verdict is False
    assert "0.40 m too high" in page.told  # 0.4 m less the reserve of 5 mm
    clean(page.html())


def test_what_was_solved_is_taken_up_again(
    sized: tuple[Path, Any], wellring: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second time nothing is solved: the same answer comes from what is kept."""
    from wellring.model.studies import workers

    def never(*unused: Any) -> None:
        raise AssertionError("a variant was solved again")

    monkeypatch.setattr(workers, "solve_variant", never)
    site, done = sized
    again = wellring("size", site, "--workers", "1", "--json")
    assert json.loads(again.out) == json.loads(done.out)


def test_fewest_wells(sized: tuple[Path, Any], wellring: Callable[..., Any]) -> None:
    """No more wells than the least pumping has, and at least as much water; dry all the same."""
    site, done = sized
    least = json.loads(done.out)
    fewest = wellring("size", site, "--goal", "wells", "--workers", "2", "--no-figures",
                      "--json")  # fmt: skip
    assert fewest.code == 0, fewest.err
    told = json.loads(fewest.out)
    assert told["wells"] < least["wells"] <= 6
    assert told["total_m3_s"]["sized"] > 0.99 * least["total_m3_s"]["sized"]
    assert all(a["ok"] for n, a in told["answers"].items() if n.endswith(".dry_margin"))


def test_what_cannot_be_names_what_blocks(
    tmp_path: Path, make: Callable[..., Path], wellring: Callable[..., Any]
) -> None:
    """Pumps far too small: not dry, by how much and where, and which wells give all they can."""
    site = make(tmp_path / "site", pump={"capacity": "4 m3/h"})
    done = wellring("size", site, "--workers", "2", "--no-figures", "--json")
    assert done.code == 1, done.err
    told = json.loads(done.out)
    assert told["found"] is False
    assert told["file"] is None
    assert not site.with_name("site_sized.toml").exists()
    first = told["blocked_by"][0]
    assert first["limit"] == "dig 2: water below formation"
    assert first["unit"] == "m"
    margin = told["answers"]["02-dig-2.dry_margin"]["value"]
    assert first["excess"] == pytest.approx(0.5 - margin, abs=0.1)
    assert "x 4660" in first["where"]
    assert told["wells_at_their_most"] == {f"W {i}": "pump" for i in range(1, 7)}


def test_a_neighbours_limit_blocks_and_is_named(
    tmp_path: Path,
    make: Callable[..., Path],
    beside_pit: Callable[..., None],
    wellring: Callable[..., Any],
) -> None:
    """A well 15 m off must lose less than the dig asks for: named, by how much; left aside when
    told so, and then told as failing."""
    site = make(tmp_path / "site")
    beside_pit(site, "farm.geojson", [(15, 0)], name="farm well")
    limit = (
        '\n[[neighbours]]\nfile = "farm.geojson"\nkind = "well"\nlimit = { drawdown = "0.5 m" }\n'
    )
    site.write_text(site.read_text() + limit)
    done = wellring("size", site, "--workers", "2", "--no-figures", "--json")
    told = json.loads(done.out)
    assert done.code == 1, done.err
    assert told["found"] is False
    assert any("farm well" in item["limit"] for item in told["blocked_by"]), told["blocked_by"]
    assert all(a["ok"] for n, a in told["answers"].items() if n.endswith(".dry_margin"))
    aside = wellring("size", site, "--without-neighbours", "--workers", "2", "--no-figures",
                     "--json")  # fmt: skip
    told = json.loads(aside.out)
    assert told["found"] is True
    assert aside.code == 1
    assert any(name.startswith("neighbours.") for name in told["limits_that_fail"])


def test_bad_requests_are_refused(
    tmp_path: Path, make: Callable[..., Path], wellring: Callable[..., Any]
) -> None:
    site = make(tmp_path / "site")
    done = wellring("size", site, "--goal", "cost")
    assert done.code == 2
    assert "a price for --goal cost" in done.err
    done = wellring("size", site, "--scheme", "another")
    assert done.code == 2
    mine = site.with_name("mine.toml")
    mine.write_text(site.read_text())
    done = wellring("size", site, "--write", mine, "--workers", "2", "--no-figures")
    assert done.code == 2
    assert "no file, or one that wellring size wrote" in done.err
    assert mine.read_text() == site.read_text()


def test_least_cost_weighs_wells_against_water(
    tmp_path: Path, sized: tuple[Path, Any], wellring: Callable[..., Any]
) -> None:
    """Dear wells and water for nothing: as few wells as --goal wells finds, 3 of the 6 at most, and
    a cost, confirmed dry by the model, below that of the least pumping at the same prices."""
    site, done = sized
    folder = shutil.copytree(
        site.parent, tmp_path / "site", ignore=shutil.ignore_patterns("*size*")
    )
    prices = '\n[operations]\ncurrency = "crowns"\ninstallation = 10000.0\ndischarge_fee = 0.01\n'
    file = folder / "site.toml"
    file.write_text(file.read_text() + prices)
    cheapest = wellring("size", file, "--goal", "cost", "--workers", "2", "--no-figures",
                        "--json")  # fmt: skip
    assert cheapest.code == 0, cheapest.err
    told, least = json.loads(cheapest.out), json.loads(done.out)
    assert all(a["ok"] for n, a in told["answers"].items() if n.endswith(".dry_margin"))
    assert told["wells"] < least["wells"]

    def cost(of: dict[str, Any]) -> float:
        # A stage without days counts as one week.
        return 10000.0 * of["wells"] + 0.01 * 7 * 86400 * of["total_m3_s"]["sized"]

    assert cost(told) < cost(least)
    assert any("no quotation" in text for text in told["warnings"])
    assert told["costs"] == {}  # no days, no sum


def test_a_cost_is_told_in_money(
    tmp_path: Path, sized: tuple[Path, Any], wellring: Callable[..., Any]
) -> None:
    """With days the sizing tells what the model's own run costs, before and after."""
    site, _ = sized
    folder = shutil.copytree(
        site.parent, tmp_path / "site", ignore=shutil.ignore_patterns("*size*")
    )
    file = folder / "site.toml"
    text = file.read_text()
    stages = text.count("[[excavation.stages]]")
    for number in range(stages):
        named = f'name = "dig {number + 1}"'
        text = text.replace(named, f"{named}\nday = {30 * number}\nlasts = 30")
    file.write_text(text + '\n[operations]\ncurrency = "crowns"\ndischarge_fee = 0.5\n')
    done = wellring("size", file, "--goal", "cost", "--workers", "2", "--no-figures", "--json")
    told = json.loads(done.out)
    assert done.code == 0, done.err
    for name in ("as it stands", "sized"):
        volume = 30 * 86400 * told["total_m3_s"][name]
        assert told["costs"][name]["unit"] == "crowns"
        assert told["costs"][name]["value"] == pytest.approx(0.5 * volume, rel=2e-3)
    words = next(folder.glob("site.size/*/size.txt")).read_text()
    assert "Cost [crowns], an estimate, no quotation: as it stands" in words
    assert "less water than the scheme as it stands" in words


@pytest.mark.parametrize(
    ("excess", "text"),
    [(2e-4, "0.02 % over its limit"), (0.034, "3.4 % over its limit"),
     (0.25, "25 % over its limit"), (6.8, "7.8 times its limit")],
)  # fmt: skip
def test_a_share_over_its_limit_is_told_in_plain_figures(excess: float, text: str) -> None:
    from wellring.model.studies.sizing.result import Blocker

    assert Blocker("fen, drawdown", excess, "1").words() == f"fen, drawdown: {text}"
