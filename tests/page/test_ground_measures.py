"""Lengths, bearings and areas that the page shows while something is drawn, held to GeographicLib.

Reference: C. F. F. Karney, "Algorithms for geodesics", Journal of Geodesy 87 (2013), 43-55,
doi:10.1007/s00190-012-0578-z, as pyproj.Geod carries it.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod

MODULE = Path(__file__).parents[2] / "maps" / "page" / "js" / "ground" / "geo.js"
WGS_84 = Geod(ellps="WGS84")
ASK = """
const {{ areaHa, bearingDeg, lengthM, onwards }} = await import("{module}");
const given = {given};
console.log(JSON.stringify(given.map(({{ corners, way, metres }}) => ({{
  area: areaHa(corners), length: lengthM(corners[0], corners[1]), bearing: bearingDeg(corners[0], corners[1]),
  to: onwards(corners[0], way, metres) }}))));
"""


def test_what_is_drawn_is_measured_as_on_the_ellipsoid(node):
    """Within 400 m of its middle a shape may be laid flat: to a millimetre in length, 1 part in 10,000 in area."""
    rng = np.random.default_rng(7)
    cases = []
    for latitude in (-61.0, -33.25, 0.1, 37.9, 66.0):
        for _ in range(4):
            turns = np.sort(rng.uniform(0, 360, 7))
            far = rng.uniform(40, 400, 7)
            longitude = float(rng.uniform(-170, 170))
            lon, lat, _ = WGS_84.fwd([longitude] * 7, [latitude] * 7, turns, far)
            corners = [[float(x), float(y)] for x, y in zip(lon, lat, strict=True)]
            cases.append({"corners": corners, "way": float(turns[0]), "metres": float(far[0])})
    done = node("--input-type=module", "-e", ASK.format(module=MODULE.as_uri(), given=json.dumps(cases)))
    assert done.returncode == 0, done.stderr
    for case, told in zip(cases, json.loads(done.stdout), strict=True):
        x, y = (list(column) for column in zip(*case["corners"], strict=True))
        way, _, length = WGS_84.inv(x[0], y[0], x[1], y[1])
        area, _ = WGS_84.polygon_area_perimeter(x, y)
        assert told["length"] == pytest.approx(length, abs=1e-3)
        # The azimuth at the start differs from that of the chord's middle by half the convergence of the meridians
        assert (told["bearing"] - way + 180) % 360 - 180 == pytest.approx(0, abs=0.01)
        assert told["area"] == pytest.approx(abs(area) / 1e4, rel=1e-4)
        lon, lat, _ = WGS_84.fwd(x[0], y[0], case["way"], case["metres"])
        assert WGS_84.inv(*told["to"], lon, lat)[2] < 0.02
