"""What several test files look at and only one has to wait for."""

import pytest
from short import house, sky

from dewsim import replay


@pytest.fixture(scope="session")
def few_days():
    """Three cold days, run whole; nobody may change it."""
    done = replay.Replay(house(settings={"band_pct": 1.5}), sky(3, -26.0), 1, "house.toml")
    done.run()
    return done
