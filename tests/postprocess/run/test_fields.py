"""Fields of a real run as xarray and NetCDF, its tables as frames."""

from pathlib import Path

import netCDF4
import numpy as np
import pyproj
import pytest
import xarray

from wellring.inputs.basics.faults import InputFaults
from wellring.postprocess.fields import open_fields, write_netcdf
from wellring.postprocess.notebook import read_table, table_names, wells_frame
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import settlements
from wellring.postprocess.stage_results import read_results

US_FOOT = 1200 / 3937
STAGE = '=first "dig" / 🕳 it\'s'


@pytest.fixture(scope="module")
def run(slashed_run: RunFolder) -> RunFolder:
    return slashed_run


@pytest.fixture(scope="module")
def fields(run: RunFolder) -> xarray.Dataset:
    return open_fields(run)


def test_fields_are_what_the_run_folder_holds(run: RunFolder, fields: xarray.Dataset) -> None:
    grid = run.ledger.grid
    assert dict(fields.sizes) == {
        "stage": 3, "layer": grid.nlay, "y": grid.nrow, "x": grid.ncol,
    }  # fmt: skip
    assert list(fields["stage"].values) == ["before the work", STAGE, "final dig"]
    for entry, result in zip(run.ledger.stages, read_results(run), strict=True):
        own = fields.sel(stage=entry.name)
        for name, expected in [
            ("heads", run.heads(entry)),
            ("active", result.grid.active),
            ("water_table", result.table),
            ("top", result.grid.top),
            ("bottom", result.grid.bottom),
            ("unit", run.unit),
        ]:
            np.testing.assert_array_equal(own[name].values.ravel(), expected.ravel(), name)
        if result.fall is not None:
            np.testing.assert_array_equal(own["drawdown"].values.ravel(), result.fall.table)
            largest = own["largest_drawdown"].values.ravel()
            np.testing.assert_array_equal(largest, result.fall.largest)


def test_drawdown_is_the_fall_of_the_water_table(fields: xarray.Dataset) -> None:
    table = fields["water_table"]
    fall = (table.sel(stage="before the work") - table).transpose("stage", "y", "x")
    known = np.isfinite(fall)
    np.testing.assert_allclose(fields["drawdown"].values[known], fall.values[known], atol=1e-12)
    assert float(fields["drawdown"].sel(stage="final dig").max()) > 3.0
    assert float(np.abs(fields["drawdown"].sel(stage="before the work")).max()) == 0.0
    assert (fields["largest_drawdown"] >= fields["drawdown"] - 1e-12).where(known, True).all()


def test_a_place_is_found_by_its_coordinates(run: RunFolder, fields: xarray.Dataset) -> None:
    """The cell of a named point by local coordinates, by site coordinates and by the ledger."""
    (point,) = run.ledger.points
    cell = run.plan_cell(point.x, point.y)
    assert cell is not None
    x, y = run.to_local(np.array([point.x]), np.array([point.y]))
    found = fields.sel(stage="final dig").sel(x=x[0], y=y[0], method="nearest")
    assert float(found["water_table"]) == read_results(run)[-1].table[cell]
    assert float(found["site_x"]) == pytest.approx(point.x, abs=5.0)
    distance = np.hypot(fields["site_x"] - point.x, fields["site_y"] - point.y)
    assert int(distance.values.argmin()) == cell


def test_longitude_and_latitude_are_projs(fields: xarray.Dataset) -> None:
    change = pyproj.Transformer.from_crs("EPSG:32633", "EPSG:4326", always_xy=True)
    lon, lat = change.transform(fields["site_x"].values, fields["site_y"].values)
    np.testing.assert_allclose(fields["lon"], lon, atol=1e-9)
    np.testing.assert_allclose(fields["lat"], lat, atol=1e-9)


def test_netcdf_opens_again_as_it_was(
    run: RunFolder, fields: xarray.Dataset, tmp_path: Path
) -> None:
    path = write_netcdf(run, tmp_path / "new folder" / "fields.nc")
    with xarray.open_dataset(path) as read:
        xarray.testing.assert_identical(read, fields)
    assert [item.name for item in path.parent.iterdir()] == ["fields.nc"]
    assert path.stat().st_size < 0.8 * fields.nbytes


def test_netcdf_follows_cf(run: RunFolder, tmp_path: Path) -> None:
    """CF-1.8: 2.6.1 conventions, 3.1 units, 3.5 flags, 5.6 grid mapping, 5.2 2-D coordinates."""
    path = write_netcdf(run, tmp_path / "fields.nc")
    with netCDF4.Dataset(path) as file:
        assert file.Conventions == "CF-1.8"
        assert file.invented == "yes"
        mapping = file["crs"]
        assert mapping.grid_mapping_name == "transverse_mercator"
        assert pyproj.CRS.from_wkt(mapping.crs_wkt) == pyproj.CRS(32633)
        assert pyproj.CRS.from_cf(mapping.__dict__) == pyproj.CRS(32633)
        for name in ("heads", "water_table", "drawdown", "largest_drawdown", "top", "bottom"):
            variable = file[name]
            assert variable.units == "m"
            assert variable.grid_mapping == "crs"
            assert {"site_x", "site_y", "lon", "lat"} <= set(variable.coordinates.split())
        unit = file["unit"]
        assert len(unit.flag_meanings.split()) == len(unit.flag_values) == len(run.ledger.units)
        assert unit.flag_values.dtype == unit.dtype
        assert unit[:].max() < len(unit.flag_values)
        assert file["site_x"].standard_name == "projection_x_coordinate"
        assert file["site_x"].units == "m"


def test_in_feet_site_coordinates_are_feet(run_in_feet: RunFolder, fields: xarray.Dataset) -> None:
    feet = open_fields(run_in_feet)
    assert feet["site_x"].attrs["units"] == "US_survey_foot"
    np.testing.assert_allclose(feet["site_x"] * US_FOOT, fields["site_x"], rtol=1e-14)
    np.testing.assert_array_equal(feet["x"], fields["x"])
    np.testing.assert_array_equal(feet["heads"], fields["heads"])
    assert pyproj.CRS.from_wkt(feet["crs"].attrs["crs_wkt"]).to_epsg() == 2263
    change = pyproj.Transformer.from_crs(2263, 4269, always_xy=True)
    lon, lat = change.transform(feet["site_x"].values, feet["site_y"].values)
    good = np.isfinite(lon)
    np.testing.assert_allclose(feet["lon"].values[good], lon[good], atol=1e-9)
    np.testing.assert_array_equal(np.isfinite(feet["lat"]), np.isfinite(lat))


def test_a_place_that_cannot_be_written_to_is_told(run: RunFolder, tmp_path: Path) -> None:
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "by.txt").touch()
    with pytest.raises(InputFaults, match="taken: the NetCDF file"):
        write_netcdf(run, tmp_path / "taken")
    with pytest.raises(InputFaults, match=r"fields\.nc: the NetCDF file"):
        write_netcdf(run, tmp_path / "taken" / "by.txt" / "fields.nc")
    assert [item.name for item in tmp_path.iterdir()] == ["taken"]


def test_tables_are_read_as_numbers_and_names(run: RunFolder) -> None:
    wells = read_table(run, "wells")
    assert list(wells["well"].unique()) == [well.name for well in run.ledger.wells]
    for row, well in zip(wells.tail(6).itertuples(), run.ledger.wells, strict=True):
        assert row.well == well.name
    last = wells[wells["stage"] == "final dig"]["flow [m3/s]"].to_numpy()
    np.testing.assert_allclose(last, [well.flow[-1] for well in run.ledger.wells], rtol=1e-5)
    # The apostrophe before "=" is the table's, not the user's.
    assert STAGE in set(wells["stage"])
    stages = read_table(run, "stages")
    assert list(stages["formation [m]"]) == [1.0, -1.5]
    assert list(stages["dry"]) == ["yes", "yes"]


def test_a_table_with_gaps_and_names_like_numbers(run: RunFolder, tmp_path: Path) -> None:
    (tmp_path / "tables").mkdir()
    (tmp_path / "tables" / "odd.csv").write_text(
        "stage,well,level [m]\n1,NA,\n2,007,-3.5\n,'+1,4\n", encoding="utf-8"
    )
    odd = read_table(RunFolder(tmp_path), "odd")
    assert list(odd["stage"]) == ["1", "2", ""]
    assert list(odd["well"]) == ["NA", "007", "+1"]
    np.testing.assert_array_equal(odd["level [m]"], [np.nan, -3.5, 4.0])


def test_a_table_that_is_not_there_is_told_with_the_nearest(run: RunFolder) -> None:
    assert {"inflow", "stages", "wells", "water_balance"} <= set(table_names(run))
    with pytest.raises(InputFaults, match=r"(?s)infow.*inflow"):
        read_table(run, "infow")


def test_wells_frame_has_every_well_in_every_stage(run: RunFolder) -> None:
    frame = wells_frame(run)
    assert frame.crs == pyproj.CRS(run.ledger.crs)
    assert len(frame) == 2 * len(run.ledger.wells)
    pumped = frame.groupby("stage", sort=False)["flow_m3_s"].sum()
    for entry in run.ledger.stages[1:]:
        _, flow = run.package_flows(entry, "maw")
        assert pumped[entry.name] == pytest.approx(-flow.sum(), rel=1e-6)
    assert set(frame["day"]) == {0.0, 21.0}


def test_settlement_is_among_the_fields(run: RunFolder, fields: xarray.Dataset) -> None:
    found = settlements(run, read_results(run))
    assert (fields["settlement"][0].fillna(0.0) == 0.0).all()
    for number, item in enumerate(found, start=1):
        np.testing.assert_array_equal(fields["settlement"][number].values.ravel(), item.final)
    assert fields["settlement"].attrs["units"] == "m"
