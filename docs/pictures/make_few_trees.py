"""Make the three pictures of docs/why-few-trees.md: python docs/pictures/make_few_trees.py.

The grove in them is invented, drawn with a seed; the model is the one that every door uses.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from gridmap.pressure import PressureModel

HERE = Path(__file__).parent
THRESHOLD = 5.0
RAMP = ("#00224E", "#123570", "#3B496C", "#575D6D", "#707173", "#8A8678", "#A59C74", "#C3B369", "#E1CC55", "#FEE838")
HATCH = ('<defs><pattern id="h" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
         '<line x1="0" y1="0" x2="0" y2="7" stroke="#141A16" stroke-width="1.6"/></pattern></defs>')


def grove() -> np.ndarray:
    """Lay an invented grove: 1,000 trees in 25 rows of 40, 7 m by 5 m."""
    row, place = np.mgrid[0:25, 0:40]
    return np.column_stack([place.ravel() * 5.0, row.ravel() * 7.0])


def pressure(xy: np.ndarray, reach_m: float, seed: int) -> np.ndarray:
    """Draw the count to expect of each tree: neighbours alike over ``reach_m``, not at all where it is 0."""
    random = np.random.default_rng(seed)
    if reach_m == 0:
        return np.exp(np.log(2.0) + 1.0 * random.standard_normal(len(xy)))
    gap = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    factor = np.linalg.cholesky(np.exp(-2 * gap / reach_m) + 1e-6 * np.eye(len(xy)))
    return np.exp(np.log(2.0) + 1.1 * (factor @ random.standard_normal(len(xy))))


def beaten(xy: np.ndarray, n: int, seed: int) -> np.ndarray:
    """Spread ``n`` trees over the grove: each the farthest from those before."""
    chosen = [int(np.random.default_rng(seed).integers(len(xy)))]
    gap = np.linalg.norm(xy - xy[chosen[0]], axis=1)
    while len(chosen) < n:
        chosen.append(int(gap.argmax()))
        gap = np.minimum(gap, np.linalg.norm(xy - xy[chosen[-1]], axis=1))
    return np.array(chosen)


def fitted(xy: np.ndarray, truth: np.ndarray, n: int, seed: int):
    """Beat ``n`` trees (counts over-dispersed, k = 1) and map the rest."""
    random = np.random.default_rng(seed + 1)
    at = beaten(xy, n, seed)
    counts = random.poisson(random.gamma(1.0, truth[at]))
    model = PressureModel(threshold=THRESHOLD).fit(xy[at], counts)
    return at, model.predict(xy)


def colour(value: float) -> str:
    """Return the ramp's colour: by the square root, the threshold always at one place."""
    return RAMP[int(min(np.sqrt(value / (2.4 * THRESHOLD)), 0.999) * len(RAMP))]


def panel(xy: np.ndarray, value: np.ndarray, doubtful: np.ndarray, at: np.ndarray, x: float, title: str) -> str:
    """Draw trees as cells, doubt as hatching, beaten trees as dots."""
    cells = []
    for i, (east, north) in enumerate(xy):
        left, top = x + east * 2, 40 + (168 - north) * 2
        cells.append(f'<rect x="{left:.0f}" y="{top:.0f}" width="10" height="11" fill="{colour(value[i])}"/>')
        if doubtful[i]:
            cells.append(f'<rect x="{left:.0f}" y="{top:.0f}" width="10" height="11" fill="#fff" fill-opacity=".5"/>'
                         f'<rect x="{left:.0f}" y="{top:.0f}" width="10" height="11" fill="url(#h)"/>')
    dots = "".join(f'<circle cx="{x + xy[i, 0] * 2 + 5:.0f}" cy="{45 + (168 - xy[i, 1]) * 2:.0f}" r="4" fill="#fff" '
                   'stroke="#141A16" stroke-width="1.5"/>' for i in at)
    return f'<text x="{x:.0f}" y="28" font-size="18" font-weight="700">{title}</text>' + "".join(cells) + dots


def svg(width: int, height: int, alt: str, *parts: str) -> str:
    """Wrap parts as one picture."""
    head = f'viewBox="0 0 {width} {height}" role="img" aria-label="{alt}"'
    return (f'<svg xmlns="http://www.w3.org/2000/svg" {head} '
            f'font-family="Roboto, system-ui, sans-serif" fill="#141A16"><rect width="{width}" height="{height}" '
            f'fill="#fff"/>{HATCH}{"".join(parts)}<text x="12" y="{height - 10}" font-size="14">'
            "Invented grove, made by docs/pictures/make_few_trees.py.</text></svg>\n")


def doubt(told) -> np.ndarray:
    """Tell where the 80 % limits are wide: ten times and more from low to high."""
    return (told["high_80"] / told["low_80"]).to_numpy() > 10.3


def chart(lines: list[tuple[str, np.ndarray, np.ndarray, str]], labels: tuple[str, str], top: float) -> str:
    """Draw curves with their names at their ends."""
    left, right, low, high = 70, 560, 330, 50
    most = max(x.max() for _, x, _, _ in lines)
    parts = [f'<path d="M{left},{high}V{low}H{right}" fill="none" stroke="#737F76" stroke-width="1.5"/>',
             f'<text x="{left}" y="{low + 44}" font-size="16">{labels[0]}</text>',
             f'<text x="{left - 50}" y="{high - 20}" font-size="16">{labels[1]}</text>']
    for tick in np.linspace(0, top, 5):
        y = low - (low - high) * tick / top
        parts.append(f'<text x="{left - 8}" y="{y + 5:.0f}" font-size="14" text-anchor="end">{tick:g}</text>')
    step = 5 if most < 40 else 20
    for tick in np.arange(0, most + 0.1, step):
        x = left + (right - left) * tick / most
        parts.append(f'<text x="{x:.0f}" y="{low + 20}" font-size="14" text-anchor="middle">{tick:.0f}</text>')
    for name, x, y, dash in lines:
        points = [(left + (right - left) * a / most, low - (low - high) * min(b, top) / top)
                  for a, b in zip(x, y, strict=True)]
        path = "M" + "L".join(f"{a:.1f},{b:.1f}" for a, b in points)
        parts.append(f'<path d="{path}" fill="none" stroke="#8B1D5D" stroke-width="2.5" stroke-dasharray="{dash}"/>'
                     f'<text x="{points[-1][0] + 8:.0f}" y="{points[-1][1] + 5:.0f}" font-size="16">{name}</text>')
    return "".join(parts)


def main() -> None:
    """Write the three pictures and print the figures that the page tells."""
    xy = grove()
    truth = pressure(xy, 50.0, 7)
    at, told = fitted(xy, truth, 50, 3)
    nothing = np.zeros(len(xy), dtype=bool)
    picture = svg(900, 430, "What is there, and what fifty beaten trees tell of it",
                  panel(xy, truth, nothing, at[:0], 20, "What nobody sees: every tree"),
                  panel(xy, told["median_per_beat"].to_numpy(), doubt(told), at, 470, "What 50 beaten trees tell"))
    (HERE / "few-trees-map.svg").write_text(picture, "utf-8")
    inside = ((told["low_80"] <= truth) & (truth <= told["high_80"])).mean()
    sys.stdout.write(f"map: the truth lies in the 80 % limits of {100 * inside:.0f} % of trees\n")

    kinds = (("alike over 80 m", 80.0, ""), ("alike over 30 m", 30.0, "9 4"), ("not alike at all", 0.0, "3 5"))
    bins, lines = np.arange(0, 36, 5.0), []
    for name, reach, dash in (kinds[0], kinds[2]):
        total, seen = np.zeros(len(bins) - 1), np.zeros(len(bins) - 1)
        for seed in range(24):
            truth = pressure(xy, reach, 100 + seed)
            at, told = fitted(xy, truth, 40, seed)
            near = np.linalg.norm(xy[:, None] - xy[at][None], axis=2).min(axis=1)
            off = np.abs(np.log(told["median_per_beat"].to_numpy() / truth))
            for b in range(len(bins) - 1):
                here = (near >= bins[b]) & (near < bins[b + 1])
                total[b] += off[here].sum()
                seen[b] += here.sum()
        known = seen > 200
        factor = np.exp(total[known] / seen[known])
        lines.append((name, ((bins[:-1] + bins[1:]) / 2)[known], factor, dash))
        sys.stdout.write(f"{name}: {np.round(factor, 2).tolist()}\n")
    (HERE / "few-trees-reach.svg").write_text(svg(
        760, 410, "How far off the map is, near a beaten tree and far from one",
        chart(lines, ("metres to the nearest beaten tree (40 beaten)", "the map is off by this factor"), 4.0)), "utf-8")

    numbers, lines = np.array([10, 20, 30, 50, 80, 120]), []
    for name, reach, dash in kinds:
        found = []
        for n in numbers:
            each = []
            for seed in range(16):
                truth = pressure(xy, reach, 200 + seed)
                told = fitted(xy, truth, int(n), seed)[1]
                each.append(np.corrcoef(np.log(told["median_per_beat"]), np.log(truth))[0, 1])
            found.append(100 * np.mean(each) ** 2)
        lines.append((name, numbers.astype(float), np.array(found), dash))
        sys.stdout.write(f"{name}: {dict(zip(numbers.tolist(), np.round(found).tolist(), strict=True))}\n")
    (HERE / "few-trees-number.svg").write_text(svg(
        760, 410, "What part of the differences between trees the map finds",
        chart(lines, ("trees beaten, of a thousand", "percent of the differences between trees found"), 80.0)), "utf-8")


if __name__ == "__main__":
    main()
