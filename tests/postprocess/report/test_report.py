"""The report as a file: what stands in it, that it needs nothing else, and that text stays text."""

import base64
import json
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from wellring.postprocess.answers import Answers, make_answers
from wellring.postprocess.report.report import report_page, write_report
from wellring.postprocess.report.report_fields import HOLE, pack
from wellring.postprocess.report_headlines import headlines
from wellring.postprocess.run.answer import Answer, Part, PlanLayer, PlanMark, TimeSeries
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

HOSTILE = '</script><script>window.hit=1</script><img src=x onerror="window.hit=1">'


class Page(HTMLParser):
    """Elements, their attributes and the packed data of a page."""

    def __init__(self, text: str):
        super().__init__()
        self.tags: Counter[str] = Counter()
        self.attributes: list[tuple[str, str, str]] = []
        self.text: list[str] = []
        self.data = ""
        self._in_data = False
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        self._in_data = ("id", "data") in attrs

    def handle_data(self, data: str) -> None:
        self.data += data if self._in_data else ""
        self.text.append(data)

    def handle_endtag(self, tag: str) -> None:
        self._in_data = False


@pytest.fixture(scope="module")
def answers(slashed_run: RunFolder, slashed_results: list[StageResult]) -> Answers:
    return make_answers(slashed_run, slashed_results)


@pytest.fixture(scope="module")
def page(slashed_run: RunFolder, answers: Answers) -> Page:
    return Page(report_page(slashed_run, answers).html())


def unpacked(text: str, low: float, high: float) -> np.ndarray:
    whole = np.frombuffer(base64.b64decode(text), "<u2").astype(float)
    return np.where(whole == HOLE, np.nan, low + whole * (high - low) / (HOLE - 1))


def test_nothing_is_asked_of_the_outside(page: Page) -> None:
    links = [v for _, name, v in page.attributes if name in ("src", "href", "action", "srcset")]
    assert links
    assert all(re.match(r"#|data:,$", link) for link in links)
    styles = "".join(page.text)
    assert not re.search(
        r"@import|url\(|fetch\(|XMLHttpRequest|https?://(?!www\.w3\.org/2000/svg)", styles
    )
    policy = [v for _, name, v in page.attributes if name == "content" and "default-src" in v]
    assert policy
    assert policy[0].startswith("default-src 'none'")


def test_the_fields_of_the_page_are_the_runs_own(
    page: Page, slashed_results: list[StageResult]
) -> None:
    layers = {layer["name"]: layer for layer in json.loads(page.data)["plans"][0]["layers"]}
    for result in slashed_results[1:]:
        assert result.fall is not None
        for name, field in (("drawdown", result.fall.table), ("water_table", result.table)):
            layer = layers[name]
            found = unpacked(layer["stages"][result.entry.folder], layer["low"], layer["high"])
            step = (layer["high"] - layer["low"]) / (HOLE - 1)
            assert np.array_equal(np.isnan(found), np.isnan(field))
            assert np.nanmax(np.abs(found - field)) <= 0.51 * step
    assert "settlement" in layers
    assert layers["settlement"]["unit"] == "mm"


def test_packing_keeps_holes_and_bounds() -> None:
    values = np.array([1.0, np.nan, 3.0, 2.0])
    assert unpacked(pack(values, 1.0, 3.0), 1.0, 3.0) == pytest.approx(
        values, nan_ok=True, abs=2e-5
    )


def test_names_are_text_and_nothing_else(slashed_run: RunFolder, answers: Answers) -> None:
    ledger = slashed_run.ledger
    named = replace(
        ledger,
        site=HOSTILE,
        scheme=HOSTILE,
        stages=[replace(stage, name=HOSTILE) for stage in ledger.stages],
        wells=[replace(well, name=HOSTILE) for well in ledger.wells],
        points=[replace(point, name=HOSTILE) for point in ledger.points],
        units=[replace(unit, label=HOSTILE) for unit in ledger.units],
        borings=[replace(boring, id=HOSTILE) for boring in ledger.borings],
    )
    run = RunFolder(slashed_run.path)
    run.__dict__["ledger"] = named
    part = Part(
        answers={"x": Answer(1.0, "m", HOSTILE, HOSTILE)},
        warnings=[HOSTILE],
        tables={"x": ([HOSTILE], [[HOSTILE]])},
        title=HOSTILE,
    )
    results = [
        replace(result, entry=entry)
        for result, entry in zip(answers.stages, named.stages, strict=True)
    ]
    told = replace(answers, parts=[part], warnings=[HOSTILE], stages=results)
    text = report_page(run, told).html()
    found = Page(text)
    assert found.tags["script"] == 2
    assert found.tags["img"] == 0
    assert not [name for _, name, _ in found.attributes if name.startswith("on")]
    # On the page it is read as it was written (to the length that is shown).
    assert "".join(found.text).count("<script>window.hit=1</script>") >= 6
    assert json.loads(found.data)["stages"][0]["name"].startswith("</script>")


def test_a_new_subject_appears_by_itself(slashed_run: RunFolder, answers: Answers) -> None:
    result = answers.stages[-1]
    field = np.linspace(0.0, 1.0, result.table.size)
    part = Part(
        answers={
            f"{result.entry.folder}.heave": Answer(
                1.2, "1", "by hand", f"{result.entry.name}: safety against heave", "", 1.5, False
            )
        },
        tables={"heave": (["place", "thickness [m]"], [["floor", 2.5]])},
        title="Stability of the floor",
        fields={"chance": PlanLayer("Chance of wet", "share", {result.entry.folder: field})},
        series={"s": TimeSeries("Curve", "flow", np.arange(3.0), {"a": np.array([0, 1e-3, 2e-3])})},
        marks=[PlanMark("Old mill", "neighbour", np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]]))],
    )
    both = Answers(
        answers.answers | part.answers, answers.warnings, answers.stages, [*answers.parts, part]
    )
    found = Page(report_page(slashed_run, both).html())
    text = "".join(found.text)
    for words in ("Stability of the floor", "safety against heave", "FAILS", "thickness [m]"):
        assert words in text
    data = json.loads(found.data)
    chance = next(layer for layer in data["plans"][0]["layers"] if layer["name"] == "chance")
    assert chance["high"] == pytest.approx(100.0)
    (curve,) = [item for item in data["charts"].values() if item["label"] == "Curve"]
    assert curve["lines"][0]["values"] == pytest.approx([0.0, 3.6, 7.2])
    assert "Old mill" in [thing["name"] for thing in data["plans"][0]["things"]]
    stable = headlines(slashed_run, both)[1]
    assert stable.verdict == "no"
    assert "safety against heave is 1.2 (limit 1.5)" in stable.sentence


def test_the_first_answer_is_the_driest_truth(slashed_run: RunFolder, answers: Answers) -> None:
    dry = headlines(slashed_run, answers)[0]
    margins = [a for name, a in answers.answers.items() if name.endswith(".dry_margin")]
    assert all(answer.ok for answer in margins)
    worst = min(float(answer.value) for answer in margins)  # type: ignore[arg-type]
    assert dry.verdict == "yes"
    assert f"{worst:.2f} m or more" in dry.sentence
    name = next(name for name in answers.answers if name.endswith(".dry_margin"))
    wet = replace(answers.answers[name], value=-0.3, ok=False)
    told = headlines(slashed_run, replace(answers, answers=answers.answers | {name: wet}))[0]
    assert told.verdict == "no"
    assert "stands 0.30 m above the floor" in told.sentence


def test_the_page_is_one_file_that_can_be_mailed(
    slashed_run: RunFolder, answers: Answers, tmp_path: Path
) -> None:
    path = write_report(slashed_run, answers, tmp_path / "report.html")
    assert path.stat().st_size < 15e6
    assert [item.name for item in tmp_path.iterdir()] == ["report.html"]
