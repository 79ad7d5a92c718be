"""What a region's run needs beyond a plan: libraries that are an extra."""

from __future__ import annotations

from importlib.util import find_spec

from stagecast.base.errors import SeasonProblems

NEEDED = ("numba", "pyarrow", "distributed")


def need_region() -> None:
    """Say at once what to install where a library is missing.

    Raises
    ------
    SeasonProblems
    """
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        message = f"{', '.join(missing)} not installed"
        step = 'install what a region needs with: pip install "stagecast[region]"'
        raise SeasonProblems.of("stagecast region", message, next_step=step)


def need_grid() -> None:
    """The same for a weather grid.

    Raises
    ------
    SeasonProblems
    """
    if find_spec("xarray") is None:
        message = "a Zarr or NetCDF grid is read by xarray, which is not installed"
        step = "pip install xarray zarr h5netcdf, or give the weather as Parquet"
        raise SeasonProblems.of("--weather", message, next_step=step)
