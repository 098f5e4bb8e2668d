"""From chances to something that a person can spray: the zone, its runs and its outline."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from gridmap.checks import BoolArray, FloatArray, IntArray
from gridmap.treatment import changes
from gridmap.treatment.field import Field, chances, lay_field
from gridmap.treatment.margin import within_margin
from gridmap.treatment.order import TOLD, walking_order
from gridmap.treatment.outline import GRID_M, members_of, run_lines, run_polygons
from gridmap.treatment.rows import Rows
from gridmap.treatment.runs import best_runs, number_runs
from gridmap.units import ha


@dataclass(frozen=True)
class Zone:
    """What is to be sprayed, and why.

    Parameters
    ----------
    trees : DataFrame
        Treated trees in the order in which they are walked: tree, block, row, position, run, why (chosen, margin,
        added), litres (NaN where litres per tree were not typed).
    runs : GeoDataFrame
        The contract's ``runs``, in walking order; ``from_position`` is where the run begins as it is walked.
    run_polygons : GeoDataFrame
        run, geometry.
    geometry : MultiPolygon
        Union of the run polygons [m]; empty when nothing is treated.
    barred : DataFrame
        tree, reason, keep_out, distance_m of every living tree that may not be sprayed.
    not_walked : tuple of str
        Blocks that were never considered, because nothing is known of them.
    notes : tuple of str
        What the grower should know about how it was made.
    settings : dict
        What it was made with.
    changes : DataFrame
        change (added, dropped), asked (words), trees (how many it moved in or out).
    """

    trees: pd.DataFrame
    runs: gpd.GeoDataFrame
    run_polygons: gpd.GeoDataFrame
    geometry: shapely.MultiPolygon
    barred: pd.DataFrame
    not_walked: tuple[str, ...]
    notes: tuple[str, ...]
    settings: dict[str, Any]
    changes: pd.DataFrame

    @property
    def area_ha(self) -> float:
        """Map area of the zone [ha]."""
        return ha(float(self.geometry.area))


def make_zone(
    trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, pressure: pd.DataFrame, keep_outs: gpd.GeoDataFrame | None, *,
    walked: Iterable[str], cost_per_tree: float | pd.Series, start_cost: float, loss_per_tree: float,
    margin_along_m: float = 0.0, margin_across_m: float = 0.0, add: Iterable[changes.Item] = (),
    drop: Iterable[changes.Item] = (), litres_per_tree: float | pd.Series | None = None,
    start: npt.ArrayLike | None = None, zone: str = "",
) -> Zone:
    """Tell which trees to spray, in which runs, and draw the ground that they stand on.

    Parameters
    ----------
    trees, blocks, pressure, keep_outs : frames
        As in the contract, geometry in one projected CRS in metres; ``pressure`` needs tree and chance_over.
    walked : iterable of str
        Blocks of which something is known (see `walked_blocks`); no other block is ever zoned.
    cost_per_tree : float or Series by tree
        Cost of spraying a tree [money].
    start_cost, loss_per_tree : float
        Cost of beginning a run; loss by a tree over threshold that is left [money].
    margin_along_m, margin_across_m : float, optional
        Margin along the row and into the rows beside it [m].
    add, drop : iterable, optional
        Changes by hand (see `changes.find`): trees, rows or stretches; what is dropped is dropped last.
    litres_per_tree : float or Series by tree, optional
        Litres that a tree gets [L]; None: litres stay unknown (NaN).
    start : (2,) array, optional
        Where the work starts [m].
    zone : str, optional
        Name or uuid of the zone, copied to its runs.

    Returns
    -------
    Zone

    Raises
    ------
    InputRefused
        Frames that do not belong together, numbers outside their limits, a tree added that may not be sprayed.
    InputMissing
        A spacing that only the grower knows.

    Notes
    -----
    Trees that may not be sprayed are barred, the best runs are found (`best_runs`), margins add trees, changes by hand
    follow, barred trees leave again. Runs are the maximal stretches of what is left. Every living tree inside the
    outline is treated and no other. Costs weigh trees as they stand: that pests may spread is not costed, which is what
    a margin is for.
    """
    add, drop = list(add), list(drop)
    field = lay_field(trees, blocks, keep_outs, walked=walked)
    rows = field.rows
    cost = rows.per_tree(cost_per_tree, "cost per tree")
    chosen = best_runs(chances(field, pressure), row=rows.row_id, cost_per_tree=cost, start_cost=start_cost,
                       loss_per_tree=loss_per_tree, barred=field.barred, shut_before=field.setback.shut_before)
    margin = within_margin(rows, chosen, along_m=margin_along_m, across_m=margin_across_m) & ~field.barred
    reasons = field.reasons()
    in_hand, add_words, add_notes = changes.added(rows, add, dict(zip(reasons["tree"], reasons["reason"], strict=True)))
    out_hand, drop_words = changes.dropped(rows, drop)
    treated = (margin | in_hand) & ~out_hand & ~field.barred
    why = np.select([chosen, margin], ["chosen", "margin"], "added")
    litres = np.full(len(rows), np.nan)
    if litres_per_tree is not None:
        litres = rows.per_tree(litres_per_tree, "litres per tree", "L")
    run = number_runs(treated, row=rows.row_id, shut_before=field.setback.shut_before)
    table, frame, ground = _draw(field, run, why, litres, start, zone)
    notes = list(field.setback.notes) + add_notes + ([TOLD] if len(frame) > 1 else [])
    if field.not_walked:
        notes.append(f"Not walked, so never zoned: {', '.join(field.not_walked)}. Look there.")
    return Zone(
        trees=table, runs=frame, run_polygons=ground, geometry=_union(ground.geometry.to_numpy()), barred=reasons,
        not_walked=field.not_walked, notes=tuple(notes),
        settings={"cost_per_tree": _told(cost_per_tree), "start_cost": float(start_cost),
                  "loss_per_tree": float(loss_per_tree), "margin_along_m": float(margin_along_m),
                  "margin_across_m": float(margin_across_m), "litres_per_tree": _told(litres_per_tree),
                  "walked": sorted(set(blocks["block"]) - set(field.not_walked)), "zone": zone},
        changes=_changed(rows, add, drop, add_words, drop_words, margin, treated),
    )


def _draw(
    field: Field, run: IntArray, why: npt.NDArray[np.str_], litres: FloatArray, start: npt.ArrayLike | None, zone: str,
) -> tuple[pd.DataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Make the table of trees, the runs and their polygons, all in walking order."""
    rows, trees = field.rows, field.rows.trees
    members = members_of(run)
    lines = run_lines(rows, run, field.setback.area)
    ground = run_polygons(rows, run, lines, field.setback.area)
    first = np.array([part[0] for part in members], dtype=np.int64)
    last = np.array([part[-1] for part in members], dtype=np.int64)
    frame = trees.loc[first, ["block", "row"]].assign(from_position=trees["position"].to_numpy()[first])
    order, backwards = walking_order(frame, rows.xy[first], rows.xy[last], start=start)
    # What is walked backwards is drawn and listed backwards, so that a track on a phone runs the way the feet do.
    for i in np.flatnonzero(backwards):
        members[i], lines[i] = members[i][::-1], shapely.reverse(lines[i])
    walked = [members[i] for i in order]
    trees_in_order = np.concatenate(walked) if walked else np.empty(0, dtype=np.int64)
    number_of = np.repeat(np.arange(1, len(walked) + 1), [len(part) for part in walked])
    table = trees.loc[trees_in_order, ["tree", "block", "row", "position"]].reset_index(drop=True)
    table = pd.DataFrame(table).assign(run=number_of, why=why[trees_in_order], litres=litres[trees_in_order])
    begin = np.array([part[0] for part in walked], dtype=np.int64)
    end = np.array([part[-1] for part in walked], dtype=np.int64)
    position = trees["position"].to_numpy()
    frame = gpd.GeoDataFrame({
        "zone": zone, "run": np.arange(1, len(walked) + 1), "block": trees["block"].to_numpy()[begin],
        "row": trees["row"].to_numpy()[begin], "from_position": position[begin], "to_position": position[end],
        "side": "both", "trees": [len(part) for part in walked], "length_m": shapely.length(lines[order]),
        "litres": [float(litres[part].sum()) for part in walked],
        "load": pd.array([pd.NA] * len(walked), dtype="Int64"),
    }, geometry=lines[order], crs=trees.crs)
    return table, frame, gpd.GeoDataFrame({"run": frame["run"]}, geometry=ground[order], crs=trees.crs)


def _union(ground: npt.NDArray[np.object_]) -> shapely.MultiPolygon:
    """Join the runs' polygons into one MultiPolygon."""
    joined = shapely.union_all(ground, grid_size=GRID_M)
    return shapely.MultiPolygon([part for part in shapely.get_parts(joined) if part.geom_type == "Polygon"])


def _changed(
    rows: Rows, add: Iterable[changes.Item], drop: Iterable[changes.Item], add_words: list[str], drop_words: list[str],
    before: BoolArray, after: BoolArray,
) -> pd.DataFrame:
    """List what was changed by hand and how many trees each change moved."""
    moved_in = [int((changes.find(rows, item)[0] & after & ~before).sum()) for item in add]
    moved_out = [int((changes.find(rows, item)[0] & ~after).sum()) for item in drop]
    return pd.DataFrame({"change": ["added"] * len(add_words) + ["dropped"] * len(drop_words),
                         "asked": add_words + drop_words, "trees": moved_in + moved_out})


def _told(value: float | pd.Series | None) -> float | str | None:
    """Return a setting as it can be kept beside the zone."""
    return "by tree" if isinstance(value, pd.Series) else None if value is None else float(value)
