"""Which versions of other packages are taken: all from a lowest on, some below the next major."""

import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

# Their majors count the calendar, or come by the year and have left alone what is used.
ROLLING = {"dask", "distributed", "filelock", "pillow", "psutil", "pyarrow", "rich", "xarray"}


def requirements() -> dict[str, Requirement]:
    """Of everything but tests, by name."""
    path = Path(__file__).parents[1] / "pyproject.toml"
    project = tomllib.loads(path.read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    listed = [*project["dependencies"]]
    listed += [one for name, more in extras.items() if name != "test" for one in more]
    return {(found := Requirement(one)).name: found for one in listed}


@pytest.mark.parametrize("name", sorted(requirements()))
def test_bounds(name: str) -> None:
    bounds = {one.operator: one.version for one in requirements()[name].specifier}
    assert bounds.keys() == ({">="} if name in ROLLING else {">=", "<"})
    if "<" in bounds:
        assert int(bounds["<"]) == int(bounds[">="].split(".")[0]) + 1


def test_the_rolling_ones_are_used() -> None:
    assert requirements().keys() > ROLLING
