"""A stage whose wells' limits were not found together is told, and never makes a yes."""

import json

from wellring.model.limits import meet_limits


def test_unmet_limits_are_no_yes(tmp_path, plain_site, wellring, monkeypatch):
    wells = {
        "method": "deep wells",
        "ring": {"offset": 2.0, "count": 6},
        "screen": [-11.0, -3.0],
        "diameter": "400 mm",
        "hold": -8.5,
    }
    site = plain_site(tmp_path / "site", drainage=[wells], cell=4.0, sublayer=2.0)
    command = ("run", site, "--no-figures", "--no-side-studies", "--json")
    done = wellring(*command)
    assert done.code == 0, done.err
    assert not any("limits_met" in name for name in json.loads(done.out)["scheme"])
    monkeypatch.setattr(meet_limits, "_MOST_SOLVES", 1)
    monkeypatch.setattr(meet_limits, "_ESTIMATES", 0)
    done = wellring(*command)
    assert done.code == 1
    (name,) = (name for name in json.loads(done.out)["scheme"] if "limits_met" in name)
    assert json.loads(done.out)["scheme"][name]["ok"] is False
    told = wellring(*command[:-1])
    assert "limits of wells and pumps met" in told.out
    assert "did not settle" in told.out
