"""A run seen with other soils, other neighbours, or both."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from wellring.inputs.geodata.receptors import TEXTS, Receptors
from wellring.inputs.site.neighbours import NUMBERS
from wellring.postprocess.run.run_folder import RunFolder


@pytest.fixture
def others() -> Receptors:
    """One well of somebody else's."""
    return Receptors(
        np.array([shapely.Point(466050.0, 5918050.0)], object),
        np.array(["well"], object),
        np.array(["wells"], object),
        {key: np.array(["their well" if key == "name" else ""], object) for key in TEXTS},
        {key: np.full(1, np.nan) for key in NUMBERS},
    )


def test_other_neighbours_and_other_soils_stand_together(
    start_copy: Path, others: Receptors
) -> None:
    """Whichever comes first, neither change loses the other."""
    run = RunFolder(start_copy)
    stricter = run.description.assessment.model_copy(update={"settlement": [0.001]})
    changed = run.description.model_copy(update={"assessment": stricter})
    assert run.assessment is run.description.assessment  # read before, as by a report
    for seen in (
        run.with_receptors(others, {"neighbours": 1}).reassessed(changed, {"soils": 2}),
        run.reassessed(changed, {"soils": 2}).with_receptors(others, {"neighbours": 1}),
    ):
        assert seen.receptors is others
        assert seen.description is changed
        assert seen.assessment is stricter
        assert seen.provenance["reassessed"] == {"neighbours": 1, "soils": 2}
    assert run.receptors is None
    assert "reassessed" not in run.provenance
