"""What stands between the pressure model's door and its heart: trees asked about, their curves, their joint draws."""

from __future__ import annotations

from collections.abc import Hashable, Iterator

import numpy as np

from gridmap.checks import FloatArray, IntArray
from gridmap.errors import InputRefused
from gridmap.pressure._draw import Asked, draw_log_counts
from gridmap.pressure._fit import Fitted
from gridmap.pressure._predict import Curves, When, block_index, curves_of
from gridmap.pressure._walk import block_names, positions, treatment_numbers, visit_number


class Asking:
    """A fitted walk that can be asked about trees."""

    tree_share_: float
    _fitted: Fitted | None

    def _draw(self, asked: Asked, n: int, seed: int) -> FloatArray:
        """Return joint draws of trees whose visits may differ; a tree's own share is kept from visit to visit."""
        rng = np.random.default_rng(seed)
        logs, point = draw_log_counts(self._of_walk(), asked, n, rng)
        if self.tree_share_ > 0:
            share = self._share_variance()[point][:, None]
            trees, which = np.unique(np.column_stack([asked.xy, asked.treated]), axis=0, return_inverse=True)
            logs += np.sqrt(share) * rng.standard_normal((n, len(trees)))[:, which] - 0.5 * share
        return np.exp(logs)

    def _share_variance(self) -> FloatArray:
        """Return phi log(1 + 1/k) of each grid point: gamma unevenness of size k as a log-normal of the same spread."""
        return np.asarray(self.tree_share_ * np.log1p(1.0 / self._of_walk().points.size))

    def _curves(self, asked: Asked, *, by_size: bool = False) -> Iterator[tuple[IntArray, Curves]]:
        # A count's own unevenness already holds the tree's share, so predictive counts get none on top.
        fitted = self._of_walk()
        share = np.zeros(len(fitted.points)) if by_size else self._share_variance()
        for treated in np.flatnonzero(np.bincount(asked.treated)):
            rows = np.flatnonzero(asked.treated == treated)
            when = When(int(asked.visit[0]), int(treated))
            for some, curves in curves_of(
                fitted, asked.xy[rows], asked.block[rows], when, share=share, by_size=by_size
            ):
                yield rows[some], curves

    def _of_walk(self) -> Fitted:
        if self._fitted is None:
            raise InputRefused("the model has seen no walk", "a map needs counts", "call fit with a walk first")
        return self._fitted

    def _asked(self, xy: object, block: object, visit: Hashable, treated: object) -> Asked:
        """Return positions and block, visit and treatment numbers of the trees asked for."""
        walk, place = self._of_walk().walk, positions(xy)
        if walk.blocks is not None and block is None:
            raise InputRefused("the trees come without blocks, but the walk told them", "give the block of each tree")
        if walk.treatments and treated is None:
            raise InputRefused(
                "it is not said which trees were treated, but the walk told treatments",
                "give the last treatment of each tree before the visit, None for none",
            )
        names = None if block is None else block_names(block, len(place))
        number = visit_number(walk, visit)
        state, _ = treatment_numbers(treated, len(place), walk.treatments)
        return Asked(place, block_index(walk, names, len(place)), np.full(len(place), number), state)
