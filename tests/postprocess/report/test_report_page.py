"""The report in a browser: headless Chromium opens the file and uses it as a reader would.

Needs Chromium with its driver, and selenium (extra "browser"); skipped, with the reason, without.
"""

import base64
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.postprocess.answers import make_answers
from wellring.postprocess.comparison.comparison import SchemeRow, compare_rows, scheme_row
from wellring.postprocess.report.compare_page import write_compare_page
from wellring.postprocess.report.report import write_report
from wellring.postprocess.report.report_page import Page
from wellring.postprocess.report.report_sections import Sections
from wellring.postprocess.run.answer import Curves, Part, Spans
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="no Chromium with its driver (chromium, chromedriver) here"
)
HOSTILE = '<script>window.hit=1</script><img src=x onerror="window.hit=1"> 🕳 שלום'


@pytest.fixture(scope="module")
def report(
    slashed_run: RunFolder, slashed_results: list[StageResult], tmp_path_factory: Any
) -> Path:
    """A report whose site, wells and points have names that would run if they could."""
    ledger = slashed_run.ledger
    run = RunFolder(slashed_run.path)
    run.__dict__["ledger"] = replace(
        ledger,
        site=HOSTILE,
        wells=[replace(well, name=HOSTILE) for well in ledger.wells],
        points=[replace(point, name=HOSTILE) for point in ledger.points],
    )
    answers = make_answers(slashed_run, slashed_results)
    return write_report(run, answers, tmp_path_factory.mktemp("page") / "a report.html")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    service = webdriver.ChromeService(executable_path=DRIVER)
    driver = webdriver.Chrome(options=options, service=service)
    yield driver
    driver.quit()


@pytest.fixture
def page(browser: Any, report: Path) -> Any:
    sized(browser, 1280)
    browser.get(report.as_uri())
    return browser


def sized(browser: Any, width: int) -> None:
    settings = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", settings)


def hover(page: Any, x: float, y: float, canvas: str = "plancanvas") -> None:
    """The pointer over a part of a drawing, as shares of its width and height."""
    element = page.find_element("id", canvas)
    page.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
    size = element.size
    actions = webdriver.ActionChains(page, duration=0)
    place = (int((x - 0.5) * size["width"]), int((y - 0.5) * size["height"]))
    actions.move_to_element_with_offset(element, *place).perform()


def told(page: Any, name: str, where: str = "readout") -> str:
    return page.find_element("css selector", f"#{where} [data-layer='{name}']").text


def tick(page: Any, name: str) -> None:
    page.find_element("css selector", f"#layers [data-layer='{name}']").click()


def to_stage(page: Any, number: int) -> None:
    page.execute_script(
        "const s = document.getElementById('stage'); s.value = arguments[0];"
        "s.dispatchEvent(new Event('input', {bubbles: true}))",
        number,
    )


def picture(page: Any, canvas: str) -> str:
    page.execute_async_script("requestAnimationFrame(() => requestAnimationFrame(arguments[0]))")
    return page.execute_script("return document.getElementById(arguments[0]).toDataURL()", canvas)


def test_opens_from_a_file_quietly(browser: Any, report: Path) -> None:
    browser.get_log("performance")
    browser.get(report.as_uri())
    loud = [entry for entry in browser.get_log("browser") if entry["level"] != "DEBUG"]
    assert loud == []
    urls = re.findall(
        r'"method":"Network.requestWillBeSent".*?"url":"([^"]+)"',
        "\n".join(entry["message"] for entry in browser.get_log("performance")),
    )
    assert report.as_uri() in urls
    assert all(url.startswith(("file:", "data:")) for url in urls)
    assert browser.execute_script("return window.hit") is None
    assert browser.find_element("css selector", "h1").text == HOSTILE


def test_hover_tells_the_models_number(
    page: Any, slashed_run: RunFolder, slashed_results: list[StageResult]
) -> None:
    tick(page, "water_table")
    tick(page, "settlement")
    seen = 0
    for number, result in enumerate(slashed_results):
        to_stage(page, number)
        settled = None if result.settlement is None else result.settlement.final
        for share in ((0.5, 0.5), (0.2, 0.3), (0.83, 0.71), (0.4, 0.9)):
            hover(page, *share)
            x, y = (float(value) for value in told(page, "place").split(", "))
            cell = slashed_run.plan_cell(x, y)
            assert cell is not None
            level = float(told(page, "water_table").replace("−", "-").split()[0])
            assert level == pytest.approx(result.table[cell], abs=0.006)
            if result.fall is None:
                assert told(page, "drawdown") == "no value here"
                continue
            fall = float(told(page, "drawdown").replace("−", "-").split()[0])
            assert fall == pytest.approx(result.fall.table[cell], abs=0.006)
            assert settled is not None
            if np.isfinite(settled[cell]):
                mm = float(told(page, "settlement").replace("−", "-").split()[0])
                assert mm == pytest.approx(settled[cell] * 1e3, abs=0.06)
                seen += 1
            else:
                assert told(page, "settlement") == "no value here"
    assert seen >= 4


def test_hover_tells_of_wells_and_points(page: Any, slashed_run: RunFolder) -> None:
    goto = page.find_element("id", "goto")
    options = goto.find_elements("tag name", "option")
    assert len(options) == 1 + len(slashed_run.ledger.wells) + len(slashed_run.ledger.points) + len(
        slashed_run.ledger.borings
    )
    options[1].click()
    well = slashed_run.ledger.wells[0]
    text = told(page, "thing")
    assert f"gives {well.flow[-1] * 3600:,.1f} m³/h" in text
    assert f"limited by {well.governing[-1]}" in text
    # Names are cut to 48 letters.
    assert HOSTILE[:40] in page.find_element("id", "readout").text


def test_layers_and_stages_change_the_drawings(page: Any) -> None:
    first = picture(page, "plancanvas")
    tick(page, "water_table")
    lines = picture(page, "plancanvas")
    tick(page, "drawdown")
    other = picture(page, "plancanvas")
    assert len({first, lines, other}) == 3
    assert "Level of the water table" in page.find_element("id", "legend").text
    section = picture(page, "sectioncanvas")
    slider = page.find_element("id", "stage")
    slider.send_keys("\ue012")  # arrow left: by keyboard too
    assert "Stage: " in page.find_element("id", "sectionstage").text
    assert picture(page, "sectioncanvas") != section
    assert picture(page, "plancanvas") != other
    tick(page, "wells")
    before = picture(page, "plancanvas")
    page.find_element("id", "toall").click()
    assert picture(page, "plancanvas") != before


def test_section_tells_head_and_soil(
    page: Any, slashed_run: RunFolder, slashed_results: list[StageResult]
) -> None:
    from wellring.postprocess.figures.cuts import pit_cuts

    result = slashed_results[-1]
    for number, cut in enumerate(pit_cuts(slashed_run)):
        page.find_elements("css selector", "#cut option")[number].click()
        found = 0
        for share in ((0.15, 0.6), (0.5, 0.75), (0.85, 0.5)):
            hover(page, *share, canvas="sectioncanvas")
            s, level = (
                float(value.replace("−", "-"))
                for value in told(page, "place", "sectionread").split(", ")
            )
            at = cut.start + s
            pair = np.array([at]), np.array([cut.at])
            x, y = slashed_run.to_site(*(pair if cut.axis == 0 else pair[::-1]))
            cell = slashed_run.plan_cell(float(x[0]), float(y[0]))
            table = float(told(page, "table", "sectionread").replace("−", "-").split()[0])
            assert table == pytest.approx(result.table[cell], abs=0.011)
            grid = result.grid
            (layer,) = np.flatnonzero(
                (grid.bottom[:, cell] < level) & (level <= grid.top[:, cell]) & grid.active[:, cell]
            )
            text = told(page, "head", "sectionread")
            if text != "dry":
                head = float(text.replace("−", "-").split()[1])
                assert head == pytest.approx(result.heads[layer, cell], abs=0.011)
                found += 1
        assert found


def test_keyboard_moves_the_cross(page: Any) -> None:
    canvas = page.find_element("id", "plancanvas")
    hover(page, 0.5, 0.5)
    x, y = (float(value) for value in told(page, "place").split(", "))
    canvas.send_keys("\ue014")  # arrow right
    right = [float(value) for value in told(page, "place").split(", ")]
    assert right[0] > x
    assert right[1] == pytest.approx(y, abs=0.01)


def test_tables_sort_by_number(page: Any) -> None:
    summary = next(
        item
        for item in page.find_elements("css selector", "summary")
        if item.text.startswith("Table: Wells")
    )
    page.execute_script("arguments[0].parentNode.open = true", summary)
    table = summary.find_element("xpath", "../descendant::table")
    column = next(
        number
        for number, head in enumerate(table.find_elements("tag name", "th"))
        if head.text.startswith("flow")
    )

    def flows() -> list[float]:
        cells = table.find_elements("css selector", f"tbody td:nth-child({column + 1})")
        return [float(cell.text.replace(",", "").replace("−", "-")) for cell in cells]

    before = flows()
    button = table.find_elements("css selector", "th button")[column]
    page.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
    button.click()
    assert flows() == sorted(before)
    button.click()
    assert flows() == sorted(before, reverse=True)
    assert table.find_elements("tag name", "th")[column].get_attribute("aria-sort") == "descending"
    assert sorted(before)[0] != sorted(before)[-1]


def test_narrow_screens_need_no_sideways_scrolling(browser: Any, report: Path) -> None:
    for width in (360, 768, 1280):
        sized(browser, width)
        browser.get(report.as_uri())
        wide = browser.execute_script("return document.documentElement.scrollWidth")
        assert wide <= width, width


def test_prints_every_part(page: Any, tmp_path: Path) -> None:
    made = page.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    data = base64.b64decode(made["data"])
    assert data.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type\s*/Page[^s]", data))
    assert pages >= 5
    # What is folded on the screen is unfolded on paper.
    open_now = "return document.querySelectorAll('details[open]').length"
    assert page.execute_script(open_now) == 0
    page.execute_script("window.dispatchEvent(new Event('beforeprint'))")
    assert page.execute_script(open_now) == page.execute_script(
        "return document.querySelectorAll('details').length"
    )
    page.execute_script("window.dispatchEvent(new Event('afterprint'))")
    assert page.execute_script(open_now) == 0
    if shutil.which("pdftotext"):
        import subprocess

        (tmp_path / "report.pdf").write_bytes(data)
        text = subprocess.run(
            ["pdftotext", str(tmp_path / "report.pdf"), "-"], capture_output=True, check=True
        ).stdout.decode()
        for part in (
            "The answer",
            "Plan",
            "Stage: final dig",
            "Section",
            "Water balance",
            "Inputs",
            "Cautions",
        ):
            assert part in text


@pytest.fixture(scope="module")
def compared(slashed_run: RunFolder, tmp_path_factory: Any) -> Path:
    """One run as two schemes, the second with another name, and a third that was not solved."""
    place = tmp_path_factory.mktemp("compared")
    for name in ("one", "two"):
        shutil.copytree(slashed_run.path, place / name)
    rows = [scheme_row(place / name) for name in ("one", "two")]
    rows[0].scheme, rows[1].scheme = "one", HOSTILE
    rows[1].holds, rows[1].reasons = False, [HOSTILE]
    rows.append(SchemeRow("lost", None, HOSTILE))
    (place / "compare").mkdir()
    page = write_compare_page(compare_rows(HOSTILE, rows), place / "compare")
    assert page is not None
    return page


def test_schemes_side_by_side(
    browser: Any, compared: Path, slashed_run: RunFolder, slashed_results: list[StageResult]
) -> None:
    sized(browser, 1280)
    browser.get_log("browser")
    browser.get(compared.as_uri())
    assert [entry for entry in browser.get_log("browser") if entry["level"] != "DEBUG"] == []
    assert browser.execute_script("return window.hit") is None
    assert "window.hit=1" in browser.find_element("css selector", "h1").text
    second = picture(browser, "plancanvas1")
    hover(browser, 0.6, 0.4)
    x, y = (float(value) for value in told(browser, "place").split(", "))
    cell = slashed_run.plan_cell(x, y)
    fall = slashed_results[-1].fall
    assert fall is not None
    for name in ("drawdown", "drawdown1"):
        found = float(told(browser, name).replace("−", "-").split()[0])
        assert found == pytest.approx(fall.table[cell], abs=0.006)
    assert picture(browser, "plancanvas1") != second  # the cross goes over both
    # The colours of both are the same, as the runs are.
    tick(browser, "wells")
    browser.find_element("id", "toall").click()
    assert picture(browser, "plancanvas") == picture(browser, "plancanvas1")
    head = browser.find_element("xpath", "//section[@id='s-ranked']//th[contains(., 'scheme')]")
    names = "//section[@id='s-ranked']//tbody//td[2]"
    before = [cell.text for cell in browser.find_elements("xpath", names)]
    assert before[0] == "one"
    assert before[-1] == "lost"
    for _ in range(2):
        head.find_element("tag name", "button").click()
    assert [cell.text for cell in browser.find_elements("xpath", names)] == [
        "one",
        "lost",
        before[1],
    ]
    for width in (360, 768):
        sized(browser, width)
        browser.get(compared.as_uri())
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width


def test_curves_and_bars_tell_their_numbers(
    browser: Any, slashed_run: RunFolder, tmp_path: Path
) -> None:
    part = Part(
        title="Study",
        series={
            "fill": Curves(
                HOSTILE, "length", np.array([0.0, 2.0, 10.0]), {HOSTILE: np.array([0.0, 1.0, 4.0])},
                "hours", marks={HOSTILE: 3.0},
            )
        },
        spans={
            "chance": Spans(
                "Chance", "share", {HOSTILE: (0.1, 0.25, 0.5)}, ("low", HOSTILE), "share of cases"
            )
        },
    )  # fmt: skip
    sections = Sections("metric", {})
    page = Page("a study", HOSTILE, HOSTILE, lead=[sections.part(part)], charts=sections.charts)
    path = page.write(tmp_path / "study.html")
    for width in (1280, 360):
        sized(browser, width)
        browser.get(path.as_uri())
        assert browser.execute_script("return window.hit") is None
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width
        bars, curves = browser.find_elements("css selector", ".chart > svg")
        shown = re.findall(r"([\d.]+ \S+)", bars.find_element("tag name", "title").get_property(
            "textContent"))  # fmt: skip
        assert [text for text in shown if text.endswith(("%", "%;"))] == ["10 %;", "25 %;", "50 %"]
        size = curves.size
        actions = webdriver.ActionChains(browser, duration=0)
        actions.move_to_element_with_offset(curves, -int(0.25 * size["width"]), 0).perform()
        text = browser.find_elements("css selector", ".chart .key")[1].text
        assert "1.00 m at 2 hours" in text
