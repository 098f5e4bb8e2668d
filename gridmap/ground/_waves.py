"""How far apart and which way the rows run, before any tree is put into one.

Parallel rows are a plane wave: the density of trees swells every row spacing, square to the rows. Its wave vector
[1/m] is found in the two-dimensional spectrum of the differences between near trees (Bartlett 1964), which neither
bends nor a start of its own for each row can blur much, because only near trees are compared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from gridmap.checks import FloatArray

# Rows are looked for between these multiples of the side of the square that one tree has to itself.
CLOSEST, WIDEST = 0.7, 3.0
CLOSEST_HINTED = 0.4  # with a hint the rows may stand closer than the trees in them
REACH = 6.5  # trees further apart than this many sides are not compared
BINS_PER_SIDE = 8
PAD = 512
HINT_DEG = 25.0
COUNTS_AS_PEAK = 0.5  # share of the strongest peak
MOST_CENTRES = 2000
RING = 0.1  # share by which the spacings of the lines compared differ at most


@dataclass(frozen=True)
class Wave:
    """One set of parallel lines that the trees could stand on: wave vector [1/m] and its strength.

    ``prominence`` is the strength over the middle strength of lines as far apart that run any other way.
    """

    vector: FloatArray
    power: float
    prominence: float

    @property
    def spacing_m(self) -> float:
        """Distance between two lines [m]."""
        return float(1 / np.hypot(*self.vector))

    @property
    def bearing_deg(self) -> float:
        """Bearing of the lines, 0 <= bearing < 180."""
        return float(np.degrees(np.arctan2(-self.vector[1], self.vector[0])) % 180)


def side_m(xy: FloatArray) -> float:
    """Return the side of the square that one tree has to itself [m], from the distance to the eighth neighbour."""
    distance = cKDTree(xy).query(xy, k=[9])[0]
    return float(np.sqrt(np.pi / 8) * np.median(distance))


def find_waves(xy: FloatArray, side: float, *, hinted: bool = False) -> list[Wave]:
    """Return the sets of parallel lines that near trees agree on, strongest first."""
    closest = CLOSEST_HINTED if hinted else CLOSEST
    power, frequency = _spectrum(xy, side)
    fx, fy = np.meshgrid(frequency, frequency, indexing="ij")
    length = np.hypot(fx, fy)
    looked_at = (length >= 1 / (WIDEST * side)) & (length <= 1 / (closest * side)) & ((fy > 0) | ((fy == 0) & (fx > 0)))
    top = (power == ndimage.maximum_filter(power, size=7)) & looked_at & (power > 0)
    at = np.argwhere(top)
    at = at[np.argsort(-power[tuple(at.T)], kind="stable")][:30]
    step = frequency[1] - frequency[0]
    lengths, powers = length[looked_at], np.abs(power[looked_at])
    waves = []
    for i, j in at:
        ring = powers[np.abs(lengths / length[i, j] - 1) < RING]
        prominence = float(power[i, j] / np.median(ring))
        waves.append(Wave(_between(power, i, j, step, frequency), float(power[i, j]), prominence))
    return waves


def choose(waves: list[Wave], bearing_hint_deg: float | None) -> Wave | None:
    """Return the wave of the rows: the widest apart of the strong ones: trees stand closer along rows than across."""
    if bearing_hint_deg is not None:
        waves = [wave for wave in waves if turn_deg(wave.bearing_deg, bearing_hint_deg) <= HINT_DEG]
    if not waves:
        return None
    strong = [wave for wave in waves if wave.power >= COUNTS_AS_PEAK * waves[0].power]
    return max(strong, key=lambda wave: wave.spacing_m)


def turn_deg(first: float, second: float) -> float:
    """Return the angle between two lines [degrees], 0 to 90."""
    turn = abs(first - second) % 180
    return min(turn, 180 - turn)


def _spectrum(xy: FloatArray, side: float) -> tuple[FloatArray, FloatArray]:
    """Return the spectrum of the tapered differences between near trees, and its frequencies [1/m] on each axis."""
    reach = REACH * side
    tree = cKDTree(xy)
    if len(xy) > MOST_CENTRES:  # a sample of the trees as centres is plenty, and keeps a large grove quick
        centres = xy[np.random.default_rng(0).permutation(len(xy))[:MOST_CENTRES]]
        found = cKDTree(centres).sparse_distance_matrix(tree, reach, output_type="ndarray")
        difference = xy[found["j"]] - centres[found["i"]]
    else:
        pairs = tree.query_pairs(reach, output_type="ndarray")
        difference = xy[pairs[:, 1]] - xy[pairs[:, 0]]
    distance = np.hypot(*difference.T)
    taper = np.where(distance > 0, np.cos(np.pi / 2 * np.minimum(distance / reach, 1)) ** 2, 0)
    cell = side / BINS_PER_SIDE
    bins = np.floor(difference / cell + 0.5).astype(np.int64) % PAD
    image = np.bincount(bins[:, 0] * PAD + bins[:, 1], weights=taper, minlength=PAD * PAD).reshape(PAD, PAD)
    power = np.fft.fft2(image).real  # the image is made even by taking the real part
    return np.fft.fftshift(power), np.fft.fftshift(np.fft.fftfreq(PAD, cell))


def _between(power: FloatArray, i: int, j: int, step: float, frequency: FloatArray) -> FloatArray:
    """Return the top of the parabola through a peak and its neighbours on each axis [1/m]."""

    def shift(low: float, mid: float, high: float) -> float:
        bend = low - 2 * mid + high
        return 0.0 if bend >= 0 else float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5))

    return np.array([
        frequency[i] + step * shift(power[i - 1, j], power[i, j], power[i + 1, j]),
        frequency[j] + step * shift(power[i, j - 1], power[i, j], power[i, j + 1]),
    ])
