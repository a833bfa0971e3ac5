"""What several test files look at and only one has to wait for."""

import pytest
from short import house, sky

from dewsim import install_files, replay

# Begun first, so that no worker ends with one of them while the others have nothing left to do.
LONG = (
    "fast_build", "replay", "bench_broker", "bench_script", "houses", "onboard", "install_rom", "types", "bench_board",
)  # fmt: skip


def pytest_collection_modifyitems(items: list) -> None:
    """The long files first; `start` keeps workers from changing the order."""
    items.sort(key=lambda item: item.path.stem.removeprefix("test_") not in LONG)


@pytest.fixture(scope="session")
def few_days():
    """Three cold days, run whole; nobody may change it."""
    done = replay.Replay(house(settings={"band_pct": 1.5}), sky(3, -26.0), 1, "house.toml")
    done.run()
    return done


@pytest.fixture(scope="session", autouse=True)
def compiled_once():
    """What was compiled for a board once is not compiled again, nor made lean."""
    compiled, leaned, done = install_files._compiled, install_files.leaned, {}

    def compiled_anew(name, path, text, scratch):
        if (name, text) not in done:
            done[name, text] = compiled(name, path, text, scratch)
        return done[name, text]

    def leaned_anew(found):
        key = tuple((name, path.read_bytes()) for name, path in found.items())
        if key not in done:
            done[key] = leaned(found)
        return done[key]

    install_files._compiled, install_files.leaned = compiled_anew, leaned_anew
    yield
    install_files._compiled, install_files.leaned = compiled, leaned
