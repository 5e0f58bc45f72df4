"""A chain of unknowns over time, estimated from all that was measured at once.

Owns the arithmetic of fixed-interval smoothing and none of its meaning. Every measurement and every
link between neighbouring nodes is one row "these unknowns, so weighted, make this value, to
within this sigma". The least-squares answer equals that of a Kalman filter followed by a
Rauch-Tung-Striebel pass (Rauch, Tung and Striebel, AIAA Journal 3, 1965, from memory); because rows
reach over two neighbouring nodes only, the normal matrix is a narrow band and one Cholesky
factor of it gives estimate, covariance and likelihood.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.record import Floats


class Chain:
    """Rows gathered for a chain of nodes, each with the same few unknowns."""

    def __init__(self, nodes: int, unknowns: int) -> None:
        """Begin without rows.

        Args:
            nodes: At least 2.
            unknowns: Of one node.
        """
        self.nodes = nodes
        self.unknowns = unknowns
        self._band = np.zeros((2 * unknowns, nodes * unknowns))
        """Lower half of the normal matrix, by diagonals."""
        self._right = np.zeros(nodes * unknowns)
        self._squares = 0.0
        self._log_sigmas = 0.0

    def copy(self) -> Chain:
        """Return a chain with the same rows, to go on from."""
        other = Chain(self.nodes, self.unknowns)
        other._band = self._band.copy()
        other._right = self._right.copy()
        other._squares, other._log_sigmas = self._squares, self._log_sigmas
        return other

    def add(
        self, node: NDArray[np.intp], weights: Floats, values: Floats | float, sigmas: Floats
    ) -> None:
        """Take rows.

        Args:
            node: (m) the earlier of a row's two nodes; the last node but one at most.
            weights: (m, 2 unknowns) of the earlier node's unknowns, then of the later one's.
            values: (m) what they make, or one for all.
            sigmas: (m) to within this.
        """
        size = self._right.shape[0]
        scaled = weights / sigmas[:, None]
        aims = np.broadcast_to(values, sigmas.shape) / sigmas
        first = node * self.unknowns
        used = np.flatnonzero(scaled.any(axis=0)).tolist()
        for at in used:
            column = scaled[:, at]
            self._right += np.bincount(first + at, column * aims, minlength=size)
            for below in used:
                if below >= at:
                    products = column * scaled[:, below]
                    self._band[below - at] += np.bincount(first + at, products, minlength=size)
        self._squares += float(aims @ aims)
        self._log_sigmas += float(np.log(sigmas).sum())

    def solve(self) -> Smoothed:
        """Return the estimate.

        Raises:
            numpy.linalg.LinAlgError: The rows leave something undetermined.
        """
        from scipy.linalg import cho_solve_banded, cholesky_banded

        factor = cholesky_banded(self._band, lower=True, check_finite=False)
        solution = cho_solve_banded((factor, True), self._right, check_finite=False)
        left_over = self._squares - float(self._right @ solution)
        halved_log_determinant = float(np.log(factor[0]).sum())
        evidence = -0.5 * left_over - halved_log_determinant - self._log_sigmas
        return Smoothed(solution.reshape(self.nodes, self.unknowns), factor, evidence)


class Smoothed:
    """The answer: the most likely unknowns, and how sure they are."""

    def __init__(self, estimate: Floats, factor: Floats, evidence: float) -> None:
        self.estimate = estimate
        """(nodes, unknowns)."""
        self.evidence = evidence
        """Logarithm of the likelihood of all rows' values, but for a constant of their number."""
        self._factor = factor

    def covariance(self, node: NDArray[np.intp], weights: Floats) -> Floats:
        """Return the covariance (m, m) of sums of unknowns over neighbouring nodes.

        Args:
            node: (m) the earlier of the two nodes.
            weights: (m, 2 unknowns) as for `Chain.add`.
        """
        # Above the first node asked for there are only zeros. `einsum`, because a product of
        # matrices wakes threads that cost more than they bring for so few columns.
        roots = self._roots(node, weights)[int(node.min()) * self.estimate.shape[1] :]
        spread: Floats = np.einsum("ij,ik->jk", roots, roots)
        return spread

    def sigmas(self, node: NDArray[np.intp], weights: Floats) -> Floats:
        """Return the standard deviations (m) of such sums."""
        roots = self._roots(node, weights)
        sigmas: Floats = np.sqrt(np.einsum("ij,ij->j", roots, roots))
        return sigmas

    def _roots(self, node: NDArray[np.intp], weights: Floats) -> Floats:
        """Return columns whose inner products are the covariances: L^-1 times the sums."""
        from scipy.linalg.lapack import dtbtrs

        unknowns = self.estimate.shape[1]
        sums = np.zeros((self.estimate.size, len(node)), order="F")
        columns = np.arange(len(node))
        for at in range(2 * unknowns):
            sums[node * unknowns + at, columns] = weights[:, at]
        roots: Floats
        roots, _ = dtbtrs(self._factor, sums, uplo="L", overwrite_b=True)
        return roots
