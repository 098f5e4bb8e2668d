"""How far the nymphs have come in each block: the share of sheets with nymphs that show wing buds."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from api.steps.pressure import Pressure
from api.steps.visits import coordinates
from gridmap.pressure import stage_share

#: Sheets that the map of the stage takes; of a larger walk an even sample.
MOST_SHEETS: Final = 300
#: Trees of a block that stand for it.
MOST_TREES: Final = 500


def stage_by_block(result: Pressure) -> list[dict[str, Any]]:
    """Tell for each block which share of sheets with nymphs shows wing buds, with limits.

    Parameters
    ----------
    result : Pressure
        Its walk; sheets of earlier walks say nothing of the stage now.

    Returns
    -------
    list of dict
        block, sheets (with nymphs whose stage was written), with_wing_buds, mostly_wing_buds (numbers of these), share,
        low_80, high_80 (0 to 1; None where no sheet of the block tells it).

    Notes
    -----
    Each tree's share and limits come from `gridmap.pressure.stage_share`; the block's are the means over its trees.
    Limits of a mean are no further apart than the mean of the limits, so these are on the wide side.
    """
    grove = result.grove
    told = grove.counts[grove.counts["wing_buds"].notna()]
    sheets = pd.DataFrame(told.merge(grove.plants[["tree", "block", "geometry"]], on="tree", how="inner"))
    shares = _shares(result, sheets)
    lines = []
    for block in grove.blocks["block"]:
        own = sheets.loc[sheets["block"] == block, "wing_buds"]
        share = shares.get(block) if len(own) else None
        lines.append(
            {
                "block": block,
                "sheets": len(own),
                "with_wing_buds": int(own.isin(["some", "most"]).sum()),
                "mostly_wing_buds": int((own == "most").sum()),
                **dict(zip(("share", "low_80", "high_80"), share or (None, None, None), strict=True)),
            }
        )
    return lines


def _shares(result: Pressure, sheets: pd.DataFrame) -> dict[str, tuple[float, float, float]]:
    """Return share and limits of each block, the means over its trees."""
    if not len(sheets):
        return {}
    rng = np.random.default_rng(0)
    if len(sheets) > MOST_SHEETS:
        sheets = sheets.iloc[np.sort(rng.choice(len(sheets), MOST_SHEETS, replace=False))]
    trees = result.grove.trees[result.grove.trees["block"].isin(sheets["block"])]
    trees = pd.DataFrame(trees).groupby("block", sort=False, group_keys=False)[["block", "geometry"]].apply(
        lambda inside: inside.iloc[:: max(1, len(inside) // MOST_TREES)]
    )
    table = stage_share(
        coordinates(sheets),
        list(sheets["wing_buds"]),
        coordinates(trees),
        block=list(sheets["block"]),
        trees_block=list(trees["block"]),
    )
    means = table[["median_share", "low_80", "high_80"]].groupby(trees["block"].to_numpy()).mean()
    return {str(line[0]): (float(line[1]), float(line[2]), float(line[3])) for line in means.itertuples()}


def stage_table(stage: list[dict[str, Any]]) -> pd.DataFrame:
    """Set the stage as it is read."""
    return pd.DataFrame(
        {
            "block": [line["block"] for line in stage],
            "sheets with nymphs": [line["sheets"] for line in stage],
            "with wing buds": [line["with_wing_buds"] for line in stage],
            "share (80 % limits)": [
                "-" if line["share"] is None
                else f"{100 * line['share']:.0f} % ({100 * line['low_80']:.0f} to {100 * line['high_80']:.0f})"
                for line in stage
            ],
        }
    )
