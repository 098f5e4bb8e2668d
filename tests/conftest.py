"""What every test shares: the open data, and the rule that CI may not skip."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

OPEN_DATA = "GRIDMAP_OPEN_DATA"


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Return the folder of open data sets; skip, and say so, where it is not there."""
    folder = os.environ.get(OPEN_DATA)
    if not folder or not Path(folder).is_dir():
        pytest.skip(f"open data not here: {OPEN_DATA} names no folder")
    return Path(folder)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """Turn a skip into a failure where GRIDMAP_NO_SKIP is set (CI has everything that a test may ask for)."""
    report = yield
    if report.skipped and os.environ.get("GRIDMAP_NO_SKIP") and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, which GRIDMAP_NO_SKIP forbids: {report.longrepr}"
    return report


@pytest.fixture(scope="session")
def geopackage_faults():
    """Return the official checker: what is wrong with a GeoPackage, requirement by requirement (OGC 12-128r18).

    Pure Python, but its package asks for GDAL's bindings: ``pip install --no-deps gdal-utils``.
    """

    def faults(path: Path) -> list[object]:
        # Only when it is asked: what a test holds besides the checker is held on every machine.
        checker = "osgeo_utils.samples.validate_gpkg"
        validate = pytest.importorskip(checker, reason="gdal-utils is not installed (pip install --no-deps)")
        return list(validate.check(str(path), extra_checks=True, warning_as_error=True))

    return faults
