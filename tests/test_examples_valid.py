"""Every example and the site to start from: valid, complete, invented, and true to its logs."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from wellring.inputs.read_site import read_site
from wellring.inputs.site.site import SiteDescription

EXAMPLES = Path(__file__).parents[1] / "examples"
START = Path(__file__).parents[1] / "model" / "start"
MILLRACE = EXAMPLES / "millrace_yard"
SITE_FILES = [*sorted(EXAMPLES.glob("*/site*.toml")), START / "site.toml"]
DATA_SUFFIXES = {".csv", ".ags", ".tif", ".geojson", ".gpkg", ".shp", ".fgb"}


def _read(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _site_id(path: Path) -> str:
    return f"{path.parent.name}/{path.name}"


def _texts(value: object) -> Iterator[str]:
    """Every text in a tree of tables and arrays."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def test_there_are_examples() -> None:
    assert MILLRACE / "site.toml" in SITE_FILES
    assert MILLRACE / "site_ags.toml" in SITE_FILES


@pytest.mark.parametrize("path", SITE_FILES, ids=_site_id)
def test_site_file_is_valid_and_invented(path: Path) -> None:
    description = SiteDescription.model_validate(_read(path))
    assert description.site.invented
    assert description.schemes
    head = path.read_text(encoding="utf-8").split("[site]")[0]
    assert "invented" in head.lower()


@pytest.mark.parametrize("path", SITE_FILES, ids=_site_id)
def test_every_data_file_named_is_there(path: Path) -> None:
    named = [text for text in _texts(_read(path)) if Path(text).suffix in DATA_SUFFIXES]
    assert named
    assert [name for name in named if not (path.parent / name).is_file()] == []


@pytest.mark.parametrize(
    "folder", sorted({path.parent for path in SITE_FILES}), ids=lambda p: p.name
)
def test_readme_says_first_that_it_is_invented(folder: Path) -> None:
    readmes = list(folder.glob("README.*"))
    assert len(readmes) == 1
    first = readmes[0].read_text(encoding="utf-8").splitlines()[0]
    assert "invented" in first.lower()


def test_both_millrace_files_describe_one_site() -> None:
    from_csv, from_ags = _read(MILLRACE / "site.toml"), _read(MILLRACE / "site_ags.toml")
    assert from_csv.pop("borings")["files"] != from_ags.pop("borings")["files"]
    assert from_csv == from_ags


@pytest.mark.parametrize("path", SITE_FILES, ids=_site_id)
def test_site_and_its_data_are_read_without_a_fault(path: Path) -> None:
    site = read_site(path)
    soils = {interval.soil for boring in site.logs.borings for interval in boring.intervals}
    assert soils == set(site.description.soils)


def test_readers_find_the_same_borings_in_csv_and_ags() -> None:
    from_csv = read_site(MILLRACE / "site.toml").logs
    from_ags = read_site(MILLRACE / "site_ags.toml").logs
    assert len(from_csv.borings) == 16
    assert from_csv.borings == from_ags.borings
    places = [
        {(r.boring, r.kind, round(r.level, 6)) for r in logs.readings}
        for logs in (from_csv, from_ags)
    ]
    assert places[0] == places[1]


@pytest.fixture(scope="module")
def ags() -> dict[str, pd.DataFrame]:
    """The AGS4 file's groups, numbers as numbers."""
    from python_ags4 import AGS4

    tables, _ = AGS4.AGS4_to_dataframe(str(MILLRACE / "site.ags"))
    return {name: AGS4.convert_to_numeric(table) for name, table in tables.items()}


def test_ags_file_keeps_the_rules() -> None:
    from python_ags4 import AGS4

    found = AGS4.check_file(str(MILLRACE / "site.ags"), standard_AGS4_dictionary="4.1.1")
    # Everything else it may hold is an error, a warning or a remark on a rule.
    assert set(found) == {"Summary of data", "Metadata"}


def test_ags_project_is_called_invented(ags: dict[str, pd.DataFrame]) -> None:
    assert "invented" in ags["PROJ"]["PROJ_NAME"].iloc[0]


def test_ags_and_csv_hold_the_same_collars(ags: dict[str, pd.DataFrame]) -> None:
    table = pd.read_csv(MILLRACE / "borings" / "collars.csv")
    loca = ags["LOCA"]
    assert list(table.iloc[:, 0]) == list(loca["LOCA_ID"])
    numbers = loca[["LOCA_NATE", "LOCA_NATN", "LOCA_GL", "LOCA_FDEP"]]
    np.testing.assert_allclose(
        table.iloc[:, 1:].to_numpy(float), numbers.to_numpy(float), atol=1e-9
    )


def test_ags_and_csv_hold_the_same_layers(ags: dict[str, pd.DataFrame]) -> None:
    codes = _read(MILLRACE / "site_ags.toml")["borings"]["codes"]
    table = pd.read_csv(MILLRACE / "borings" / "layers.csv")
    geol = ags["GEOL"]
    assert list(table.iloc[:, 0]) == list(geol["LOCA_ID"])
    np.testing.assert_allclose(
        table.iloc[:, 1:3].to_numpy(float),
        geol[["GEOL_TOP", "GEOL_BASE"]].to_numpy(float),
        atol=1e-9,
    )
    assert list(table["soil"]) == list(geol["GEOL_GEOL"].map(codes))


def test_ags_and_csv_hold_the_same_water(ags: dict[str, pd.DataFrame]) -> None:
    table = pd.read_csv(MILLRACE / "borings" / "water.csv")
    strikes, levels = (table[table["kind"] == kind] for kind in ("strike", "level"))
    rows = zip(ags["WSTG"]["LOCA_ID"], ags["WSTG"]["WSTG_DPTH"], strict=True)
    assert list(zip(strikes.iloc[:, 0], strikes["depth"], strict=True)) == list(rows)
    readings = ags["MOND"]["MOND_RDNG"].astype(float)
    rows = zip(ags["MOND"]["LOCA_ID"], readings, strict=True)
    assert list(zip(levels.iloc[:, 0], levels["depth"], strict=True)) == list(rows)


def test_logs_run_without_gaps_to_the_collar_depth() -> None:
    for folder in (MILLRACE / "borings", START):
        collars = pd.read_csv(folder / "collars.csv").set_index("id")
        layers = pd.read_csv(folder / "layers.csv")
        assert set(layers["id"]) == set(collars.index)
        for name, log in layers.groupby("id"):
            assert log["top_depth"].iloc[0] == 0
            assert list(log["top_depth"].iloc[1:]) == list(log["bottom_depth"].iloc[:-1])
            assert (log["bottom_depth"] > log["top_depth"]).all()
            assert log["bottom_depth"].iloc[-1] == collars.loc[name, "final_depth"]


def test_generator_writes_the_files_that_are_there(tmp_path: Path) -> None:
    script = MILLRACE / "make_data.py"
    (tmp_path / script.name).write_text(script.read_text(encoding="utf-8"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, tmp_path / script.name], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    written = [path for path in tmp_path.rglob("*") if path.suffix in {".csv", ".ags", ".geojson"}]
    assert len(written) == 13
    for path in written:
        kept = MILLRACE / path.relative_to(tmp_path)
        assert path.read_text(encoding="utf-8") == kept.read_text(encoding="utf-8"), path.name


def test_ground_raster_covers_the_site_and_meets_the_collars() -> None:
    import rasterio

    collars = pd.read_csv(MILLRACE / "borings" / "collars.csv")
    with rasterio.open(MILLRACE / "ground.tif") as raster:
        assert raster.crs.to_epsg() == 32633
        assert raster.dtypes == ("float32",)
        x, y = collars["x"].mean(), collars["y"].mean()
        west, south, east, north = raster.bounds
        assert min(x - west, east - x, y - south, north - y) > 800
        sampled = np.array([cell[0] for cell in raster.sample(collars[["x", "y"]].to_numpy())])
    assert np.abs(sampled - collars["ground"].to_numpy()).max() < 0.15


@pytest.mark.parametrize("path", SITE_FILES, ids=_site_id)
def test_description_survives_the_run_folder(path: Path) -> None:
    """Postprocess reads the description back from JSON: nothing may change on the way."""
    description = read_site(path).description
    text = description.model_dump_json(exclude_none=True)
    assert SiteDescription.model_validate_json(text) == description
