"""The site's crs: which are taken, which are refused with what advice, and the scale at a pit."""

from __future__ import annotations

import pickle

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.geodata import SiteCrs, check_pit_place, metres_per_unit, read_crs

LONG_ISLAND = SiteCrs.of(pyproj.CRS("EPSG:2263"), "EPSG:2263")
PIT = shapely.box(390000, 5820000, 390060, 5820040)
US_FOOT = 1200 / 3937


def only(faults: FaultLog) -> str:
    """The text of the one fault there is."""
    assert len(faults.faults) == 1, faults.faults
    return str(faults.faults[0])


@pytest.mark.parametrize(
    ("text", "factor"),
    [
        ("EPSG:32633", 1.0),
        ("32633", 1.0),
        ("EPSG:32633+5773", 1.0),
        ("EPSG:2180", 1.0),  # axes listed north first
        ("EPSG:2263", US_FOOT),
        ("EPSG:2222", 0.3048),  # Arizona East, international feet
    ],
)
def test_projected_crs_is_read_with_its_unit(text: str, factor: float) -> None:
    faults = FaultLog()
    crs = read_crs(text, faults, "site.toml")
    assert faults.faults == []
    assert metres_per_unit(crs) == pytest.approx(factor, rel=1e-12)
    carried = SiteCrs.of(crs, text)
    assert pickle.loads(pickle.dumps(carried)) == carried
    assert len({carried, SiteCrs.of(crs, text)}) == 1
    assert carried.from_metres(carried.to_metres([[1.0, 2.0]])) == pytest.approx(
        np.array([[1.0, 2.0]])
    )


@pytest.mark.parametrize(
    ("text", "near", "said"),
    [
        ("EPSG:4326", None, "degrees"),
        ("EPSG:4326", (13.4, 52.5), "EPSG:32633"),
        ("EPSG:4326", (151.2, -33.9), "EPSG:32756"),
        ("EPSG:4258", None, "EPSG:326NN"),
        ("EPSG:4314", None, "EPSG:32632"),  # DHDN: its area of use is narrow enough to tell
        ("EPSG:4978", None, "no plan coordinates"),
        ("EPSG:5773", None, "no plan coordinates"),
        ("EPSG:3857", None, "1/cos(latitude)"),
        ("EPSG:2048", None, "west and south"),
        ("+proj=utm +zone=33 +datum=WGS84 +units=km", None, "kilometre"),
        ("EPSG:99999", None, "look up its EPSG code"),
        ("Millrace grid", None, "look up its EPSG code"),
        ("", None, "look up its EPSG code"),
        ("+init=epsg:4326", None, "degrees"),
    ],
)
def test_unfit_crs_is_refused_with_a_remedy(text: str, near: tuple | None, said: str) -> None:
    faults = FaultLog()
    assert read_crs(text, faults, "site.toml", near=near) is None
    message = only(faults)
    assert message.startswith("site.toml: site.crs")
    assert text in message
    assert said in message


def test_metres_per_unit_refuses_degrees() -> None:
    with pytest.raises(ValueError, match="not a projected"):
        metres_per_unit(pyproj.CRS("EPSG:4326"))


def test_scale_and_place_of_the_pit() -> None:
    def check(pit, text="EPSG:32633"):
        faults = FaultLog()
        check_pit_place(pit, SiteCrs.of(pyproj.CRS(text), text), faults, "site.toml")
        return faults

    fine = check(PIT)
    assert (fine.faults, fine.warnings) == ([], [])
    # UTM zone 31 carried to Berlin, ten degrees east of its meridian: told.
    berlin = geopandas.GeoSeries([PIT], crs=32633).to_crs(32631)[0]
    aside = check(berlin, "EPSG:32631")
    assert aside.faults == []
    assert any("outside the area" in text for text in aside.warnings)
    assert any("off by 0.5" in text for text in aside.warnings)
    # World Mercator stretches by about 1/cos(52.5°) = 1.64.
    world = geopandas.GeoSeries([PIT], crs=32633).to_crs("EPSG:3395")[0]
    assert "They are off by 64" in only(check(world, "EPSG:3395"))
    assert "EPSG:32633" in only(check(world, "EPSG:3395"))
    assert "km wide" in only(check(shapely.box(390000, 5820000, 402000, 5820040)))
    feet = shapely.box(*LONG_ISLAND.to_metres([990000, 200000, 990100, 200050]))
    assert check(feet, "EPSG:2263").warnings == []
