"""Which row every tree is in: the wave of the rows followed over the block, however the rows bend.

On a coarse grid of nodes the wave near each node is ``u(x) = c + k . (x - node) + quadratic``, in rows; the trees of
one row share one whole number of ``u``. Each node's wave maximises ``sum w cos(2 pi u)`` over its nearest trees,
starting from the wave of a node that is already solved (so the wave vector may turn from node to node). Then the
whole numbers are made to agree between nodes along the surest links (phase unwrapping by a minimum spanning tree).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial import cKDTree

from gridmap.checks import FloatArray

WINDOW = 2.0  # standard deviation of the weights round a node, in row spacings
NODE_SPACING = 0.6  # windows between nodes
STEPS = 6
LINEAR, QUADRATIC = 3, 6
STIFFNESS = np.array([0.0, 0.02, 0.02, 0.3, 0.3, 0.3])  # of each term, as a share of the weight in the window
LEAST_COHERENCE = 0.2
LEAST_STEP = 0.5  # middle step along a lone row, in mean steps
LONE_ROW = 0.4  # scatter across, in tree spacings, under which a block is one row; two rows 1.15 apart have over 0.5


@dataclass(frozen=True)
class RowWave:
    """The wave of the rows over a block: ``rows_at`` gives the row number of any position, in fractions of a row."""

    nodes: FloatArray
    terms: FloatArray
    coherence: FloatArray
    window_m: float

    def rows_at(self, xy: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the fractional row at each position, its gradient [rows per metre] and the coherence there."""
        near = min(6, len(self.nodes))
        distance, index = cKDTree(self.nodes).query(xy, k=near)
        distance, index = np.reshape(distance, (-1, near)), np.reshape(index, (-1, near))
        weight = np.exp(-0.5 * (2 * distance / self.window_m) ** 2) * self.coherence[index] ** 2 + 1e-12
        weight /= weight.sum(axis=1, keepdims=True)
        away = (xy[:, None, :] - self.nodes[index]) / self.window_m
        terms = self.terms[index]
        u = np.einsum("ijk,ijk->ij", _basis(away), terms)
        slope_x = terms[..., 1] + terms[..., 3] * away[..., 0] + terms[..., 4] * away[..., 1]
        slope_y = terms[..., 2] + terms[..., 4] * away[..., 0] + terms[..., 5] * away[..., 1]
        gradient = np.stack([(weight * slope_x).sum(1), (weight * slope_y).sum(1)], axis=1) / self.window_m
        return (weight * u).sum(axis=1), gradient, (weight * self.coherence[index]).sum(axis=1)


def follow(xy: FloatArray, vector: FloatArray, side: float, window_rows: float) -> RowWave:
    """Follow the wave with this wave vector [1/m] over all trees."""
    spacing = 1 / float(np.hypot(*vector))
    window = window_rows * spacing
    nodes = _nodes(xy, NODE_SPACING * window)
    number = int(np.clip(np.ceil(np.pi * (2.3 * window) ** 2 / side**2), 40, 300))
    near = cKDTree(xy).query(nodes, k=min(number, len(xy)))[1].reshape(len(nodes), -1)
    away = (xy[near] - nodes[:, None, :]) / window
    weight = np.exp(-0.5 * (away**2).sum(axis=2))
    links = _links(nodes, NODE_SPACING * window)
    terms, coherence = _spread(away, weight, vector * window, links)
    terms = _unwrap(nodes / window, terms, coherence, links)
    return RowWave(nodes, terms, coherence, window)


def _basis(away: FloatArray) -> FloatArray:
    """Return the terms of the quadratic at offsets from a node, in windows."""
    x, y = away[..., 0], away[..., 1]
    return np.stack([np.ones_like(x), x, y, x * x / 2, x * y, y * y / 2], axis=-1)


def _nodes(xy: FloatArray, step: float) -> FloatArray:
    """Return the middles of the grid cells that hold a tree."""
    low = xy.min(axis=0)
    return np.asarray((np.unique(np.floor((xy - low) / step), axis=0) + 0.5) * step + low, dtype=np.float64)


def _links(nodes: FloatArray, step: float) -> sparse.csr_matrix:
    """Return which nodes are beside each other; parts that stand apart are joined to their nearest part."""
    pairs = cKDTree(nodes).query_pairs(1.5 * step, output_type="ndarray")
    while True:
        graph = sparse.coo_matrix((np.ones(len(pairs)), pairs.T), shape=(len(nodes),) * 2).tocsr()
        parts, label = sparse.csgraph.connected_components(graph, directed=False)
        if parts == 1:
            return (graph + graph.T).tocsr()
        inside = np.flatnonzero(label == label[0])
        outside = np.flatnonzero(label != label[0])
        distance, nearest = cKDTree(nodes[inside]).query(nodes[outside])
        best = int(np.argmin(distance))
        pairs = np.vstack([pairs, [inside[np.atleast_1d(nearest)[best]], outside[best]]])


def _spread(
    away: FloatArray, weight: FloatArray, start: FloatArray, links: sparse.csr_matrix
) -> tuple[FloatArray, FloatArray]:
    """Solve the node with the most trees first, then ring after ring, each from its most coherent solved neighbour."""
    number = len(away)
    terms, coherence = np.zeros((number, QUADRATIC)), np.zeros(number)
    ring = np.array([int(np.argmax(weight.sum(axis=1)))])
    guess = np.concatenate([[0.0], start, np.zeros(QUADRATIC - LINEAR)])[None]
    solved = np.zeros(number, bool)
    while len(ring):
        terms[ring], coherence[ring] = _fit(away[ring], weight[ring], guess)
        solved[ring] = True
        rows = links[np.flatnonzero(solved)].tocoo()
        origin, target = np.flatnonzero(solved)[rows.row], rows.col
        open_ = ~solved[target]
        origin, target = origin[open_], target[open_]
        order = np.lexsort((-coherence[origin], np.asarray(target)))
        ring, first = np.unique(target[order], return_index=True)
        guess = terms[origin[order][first]].copy()
        guess[:, 3:] = 0
    return terms, coherence


def _fit(away: FloatArray, weight: FloatArray, guess: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Maximise ``sum w cos(2 pi u)`` near a guess: steps on the phase and the vector, then with the curvature."""
    basis = _basis(away)
    total = weight.sum(axis=1)
    terms = guess.copy()
    turn = np.exp(2j * np.pi * np.einsum("ijk,ik->ij", basis, terms))
    terms[:, 0] -= np.angle((weight * turn).sum(axis=1)) / (2 * np.pi)
    coherence = np.zeros(len(away))
    for step in range(2 * STEPS):
        size = LINEAR if step < STEPS else QUADRATIC
        used = basis[..., :size]
        angle = 2 * np.pi * np.einsum("ijk,ik->ij", basis, terms)
        coherence = (weight * np.cos(angle)).sum(axis=1) / total
        pull = np.einsum("ij,ijk->ik", weight * np.sin(angle), used) / (2 * np.pi)
        level = np.maximum(coherence, LEAST_COHERENCE)[:, None]
        stiff = STIFFNESS[:size] * total[:, None] * level
        pull = pull + stiff * (terms - guess)[:, :size]
        normal = np.einsum("ij,ijk,ijl->ikl", weight, used, used) * level[..., None]
        normal[:, range(size), range(size)] += stiff + 1e-9 * total[:, None]
        terms[:, :size] -= np.linalg.solve(normal, pull[..., None])[..., 0]
    return terms, coherence


def _unwrap(
    nodes: FloatArray, terms: FloatArray, coherence: FloatArray, links: sparse.csr_matrix
) -> FloatArray:
    """Add whole rows to each node's wave so that neighbours agree, along the surest links."""
    pairs = sparse.triu(links).tocoo()
    first, second = pairs.row, pairs.col
    halfway = (nodes[second] - nodes[first]) / 2
    step = np.einsum("ik,ik->i", _basis(halfway), terms[first]) - np.einsum("ik,ik->i", _basis(-halfway), terms[second])
    gap = np.abs(step - np.round(step))
    doubt = 0.01 + gap + 0.5 * (1 - np.minimum(coherence[first], coherence[second]))
    graph = sparse.coo_matrix((doubt, (first, second)), shape=(len(nodes),) * 2).tocsr()
    tree = minimum_spanning_tree(graph)
    whole = sparse.coo_matrix((np.round(step) + 0.25, (first, second)), shape=graph.shape).tocsr()
    order, before = breadth_first_order(tree + tree.T, int(np.argmax(coherence)), directed=False)
    shift = np.zeros(len(nodes))
    for node in order[1:]:
        parent = before[node]
        if parent < node:
            shift[node] = shift[parent] + whole[parent, node] - 0.25
        else:
            shift[node] = shift[parent] - (whole[node, parent] - 0.25)
    terms = terms.copy()
    terms[:, 0] += shift
    return terms


def lone_row(xy: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Return the wave of a block that is one straight row, in place of rows as far apart as four trees; else None."""
    _, size, axes = np.linalg.svd(xy, full_matrices=False)
    far, near = size / np.sqrt(len(xy))
    spacing = float(np.sqrt(12) * far / len(xy))  # n even steps have a standard deviation of n steps / sqrt(12)
    step = np.median(np.diff(np.sort(xy @ axes[0])))
    if near > LONE_ROW * spacing or step < LEAST_STEP * spacing:  # clumps apart from each other are no row
        return None
    normal = axes[1]
    gradient = np.tile(normal / (4 * spacing), (len(xy), 1))
    u = xy @ normal / (4 * spacing)
    return u, gradient, np.full(len(xy), float(np.cos(2 * np.pi * u).mean()))
