"""Fields read between cells: exact for planes, nothing from where it may not be read."""

import numpy as np
import pytest
import shapely

from wellring.postprocess.run.plan_sampling import PlanSampler, points_on
from wellring.postprocess.run.run_folder import RunFolder


@pytest.fixture(scope="module")
def places(turned_run: RunFolder) -> np.ndarray:
    """Random places among the cell centres of the turned, graded grid."""
    x, y = turned_run.local_centres
    random = np.random.default_rng(7).uniform(size=(400, 2))
    local = np.array([x[0], y[-1]]) + random * np.array([np.ptp(x), np.ptp(y)])
    return np.column_stack(turned_run.to_site(local[:, 0], local[:, 1]))


def plane(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 3.0 + 0.02 * x - 0.05 * y


def test_a_plane_is_read_exactly(turned_run: RunFolder, places: np.ndarray) -> None:
    centres = turned_run.centres
    field = plane(*(c - c.mean() for c in centres))
    usable = np.ones(field.size, bool)
    sampler = PlanSampler(turned_run, places, usable)
    expected = plane(places[:, 0] - centres[0].mean(), places[:, 1] - centres[1].mean())
    np.testing.assert_allclose(sampler.values(field), expected, atol=1e-9)
    size = np.hypot(*sampler.slopes(field).T)
    np.testing.assert_allclose(size, np.hypot(0.02, 0.05), rtol=1e-9)


def test_gradient_points_along_the_grids_own_axes(
    turned_run: RunFolder, places: np.ndarray
) -> None:
    nrow, ncol = turned_run.plan_shape
    x, y = turned_run.local_centres
    usable = np.ones(nrow * ncol, bool)
    sampler = PlanSampler(turned_run, places, usable)
    for field, expected in (
        (np.broadcast_to(x, (nrow, ncol)), (1, 0)),
        (np.broadcast_to(y[:, None], (nrow, ncol)), (0, 1)),
    ):
        found = sampler.slopes(np.ascontiguousarray(field).ravel())
        np.testing.assert_allclose(found, np.broadcast_to(expected, found.shape), atol=1e-9)


def test_nothing_is_read_from_unusable_ground(turned_run: RunFolder, places: np.ndarray) -> None:
    inside = np.asarray(turned_run.ledger.inside)
    field = np.full(turned_run.area.size, 1.0)
    field[inside] = 100.0
    usable = np.ones(field.size, bool)
    usable[inside] = False
    pit = shapely.Polygon(turned_run.ledger.outline)
    around = shapely.get_coordinates(shapely.segmentize(pit.buffer(0.3).exterior, 0.5))
    for xy in (places, around):
        np.testing.assert_array_equal(PlanSampler(turned_run, xy, usable).values(field), 1.0)
    assert PlanSampler(turned_run, around, ~np.zeros_like(usable)).values(field).max() > 1.0


def test_points_lie_on_outlines_and_at_all_centres_within(turned_run: RunFolder) -> None:
    x, y = turned_run.centres
    middle = shapely.Point(x.mean(), y.mean())
    line = shapely.LineString([(x.mean(), y.mean()), (x.mean() + 30, y.mean())])
    shapes = np.array([middle.buffer(15), middle, line], dtype=object)
    xy, owner = points_on(turned_run, shapes)
    assert (np.diff(owner) >= 0).all()
    assert set(owner) == {0, 1, 2}
    assert (owner == 1).sum() == 1
    own = shapely.points(xy[owner == 0])
    inner = shapely.distance(own, shapes[0].exterior) > 1e-6
    assert inner.sum() == shapely.contains(shapes[0], shapely.points(x, y)).sum()
    along = np.sort(xy[owner == 2][:, 0])
    edges = np.asarray(turned_run.ledger.grid.x_edges)
    assert np.diff(along).max() <= np.diff(edges).max()
    assert (owner == 2).sum() >= 13
