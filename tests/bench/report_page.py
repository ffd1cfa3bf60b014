"""What a report of six stages and eighty neighbours costs to build, and to open in Chromium.

Run it: ``python tests/bench/report_page.py``; it needs Chromium with its driver for the opening.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
import time
from pathlib import Path

from wellring.model.runs.run import run
from wellring.model.start_site import start_site
from wellring.postprocess.answers import make_answers
from wellring.postprocess.report.report import write_report
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results

STAGES, NEIGHBOURS = 6, 80
TABLE = """
[[neighbours]]
file = "town.geojson"
kind = "building"
limit = { settlement = "20 mm", slope = "1/500" }
"""


def town(folder: Path) -> None:
    """Eighty houses around the pit of the start site."""
    features = []
    for k in range(NEIGHBOURS):
        x, y = 465960.0 + 14 * (k % 10), 5917920.0 + 12 * (k // 10)
        if k // 10 > 4:
            y += 50.0
        ring = [[x, y], [x + 9, y], [x + 9, y + 8], [x, y + 8], [x, y]]
        place = {"type": "Polygon", "coordinates": [ring]}
        features.append(
            {"type": "Feature", "properties": {"name": f"house {k}"}, "geometry": place}
        )
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    content = {"type": "FeatureCollection", "crs": crs, "features": features}
    (folder / "town.geojson").write_text(json.dumps(content), encoding="utf-8")


def six_stages(text: str) -> str:
    """The start site's last stage split into more."""
    levels = [1.0, 0.5, 0.0, -0.5, -1.0, -1.5]
    stages = "".join(
        f'[[excavation.stages]]\nname = "dig {k + 1}"\nday = {20 * k}\nformation = {level}\n\n'
        for k, level in enumerate(levels)
    )
    first = text.index("[[excavation.stages]]")
    last = text.rindex("[[excavation.stages]]")
    end = text.index("\n\n", last)
    return text[:first] + stages + text[end:]


def opened(path: Path) -> tuple[float, float]:
    """Seconds until Chromium has loaded and drawn the page, and of them CPU of its main thread.

    The least of five each, as other work on the machine only adds.
    """
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or shutil.which("chromium-browser")
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    service = webdriver.ChromeService(executable_path=shutil.which("chromedriver"))
    browser = webdriver.Chrome(options=options, service=service)
    drawn = (
        "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame("
        "() => done(performance.now() / 1000)))"
    )
    found = []
    for _ in range(5):
        browser.get("about:blank")
        browser.execute_cdp_cmd("Performance.enable", {"timeDomain": "threadTicks"})
        browser.get(path.as_uri())
        wall = browser.execute_async_script(drawn)
        metrics = browser.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
        tasks = next(item["value"] for item in metrics if item["name"] == "TaskDuration")
        browser.execute_cdp_cmd("Performance.disable", {})
        found.append((wall, tasks))
    browser.quit()
    walls, cpus = zip(*found, strict=True)
    return min(walls), min(cpus)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as place:
        site = start_site(Path(place) / "site")
        town(site.parent)
        site.write_text(six_stages(site.read_text(encoding="utf-8")) + TABLE, encoding="utf-8")
        (done,) = run(site, figures=False, side_studies=False)
        reader = RunFolder(done.folder)
        began = time.process_time()
        answers = make_answers(reader, read_results(reader))
        read = time.process_time()
        path = write_report(reader, answers)
        built = time.process_time()
        size = path.stat().st_size / 1e6
        houses = len(re.findall(r'"house \d+"', path.read_text(encoding="utf-8")))
        print(f"{done.reader.provenance['cells']:,} cells, {len(reader.ledger.stages) - 1} stages, "
              f"{houses} names of neighbours on the plan, {size:.2f} MB")  # fmt: skip
        print(f"reading and answers {read - began:.2f} s, page {built - read:.2f} s of CPU")
        if shutil.which("chromedriver"):
            wall, cpu = opened(path)
            print(f"opened and drawn in {wall:.2f} s, {cpu:.2f} s of CPU in the page's thread")


if __name__ == "__main__":
    main()
