"""The direct solver, behind one function."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu
from threadpoolctl import ThreadpoolController

from fejoint.errors import ConvergenceError

__all__ = ["Analysis", "Factor", "factorise", "factorise_any", "solver_name"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Factor:
    """A factored matrix: call it with right-hand sides of shape (unknowns, loads). `nbytes` is its size, about."""

    solve: Callable[[Floats], Floats]
    nbytes: int

    def __call__(self, right: Floats) -> Floats:
        """Return the solutions, shaped as the right-hand sides."""
        return self.solve(right)


@dataclass(eq=False)
class Analysis:
    """What `factorise` found of a pattern of entries, for the next matrix that has it.

    Attributes
    ----------
    nbytes : int
        Its size, about.
    lower : array
        Which entries are in the lower triangle.
    pattern, factor
        CHOLMOD's matrix and factor, which the matrices of the pattern take turns in.
    holds
        Entries of the matrix that is in there now.
    """

    nbytes: int = 0
    lower: Any = None
    pattern: Any = None
    factor: Any = None
    holds: Any = None


def factorise(matrix: sp.csc_array, analysis: Analysis | None = None) -> Factor:
    """Return the function that solves with a symmetric positive definite matrix.

    It takes right-hand sides of shape (unknowns, loads). scipy's SuperLU does
    the work, or CHOLMOD where the extra ``fast`` is installed (its wheel,
    kvxopt, is under the GPL, version 3 or later; the environment variable
    FEJOINT_SOLVER=superlu keeps to SuperLU). One BLAS thread: sections are
    small, and studies use the cores for whole joints.

    `analysis` belongs to matrices with one pattern of entries: CHOLMOD leaves
    there what the next one need not find out anew. Not shared between threads.
    (SuperLU's ordering is an eighth of its time, and scipy cannot keep it.)

    Raises
    ------
    ConvergenceError
        The matrix is singular or not positive definite.
    """
    with _thread_pools().limit(limits=1, user_api="blas"):
        return _cholmod(matrix, analysis or Analysis()) if solver_name() == "CHOLMOD" else _superlu(matrix)


def factorise_any(matrix: sp.csc_array, analysis: Analysis, symmetric: bool = False) -> Factor:
    """Return the function that solves with any regular matrix whose pattern is symmetric.

    A tangent need not be symmetric (flow that is not normal to the yield
    surface) nor positive definite (past a limit load). Where it is both,
    `symmetric` being said, CHOLMOD serves as in `factorise`; else SuperLU with partial pivoting.

    Raises
    ------
    ConvergenceError
        The matrix is singular.
    """
    with _thread_pools().limit(limits=1, user_api="blas"):
        if symmetric and solver_name() == "CHOLMOD":
            try:
                found = _cholmod(matrix, analysis)
                found(np.zeros((matrix.shape[0], 1)))  # only a solution says that a matrix is not positive definite
                return found
            except ConvergenceError:
                analysis.holds = None
        try:
            factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.01, relax=8, panel_size=4)
        except RuntimeError as error:
            raise ConvergenceError(f"the tangent cannot be factored ({error}).") from None
        return Factor(lambda right: np.asarray(factor.solve(right)), nbytes=12 * factor.nnz)


def solver_name() -> str:
    """Return which solver `factorise` uses: ``"SuperLU"`` or ``"CHOLMOD"``."""
    return "CHOLMOD" if _kvxopt() is not None and os.environ.get("FEJOINT_SOLVER", "") != "superlu" else "SuperLU"


@cache
def _thread_pools() -> ThreadpoolController:
    """Return the handle on the BLAS libraries, which takes a millisecond to find."""
    _kvxopt()  # brings its own
    return ThreadpoolController()


@cache
def _kvxopt() -> Any:
    try:
        import kvxopt
        import kvxopt.cholmod
    except ImportError:
        return None
    return kvxopt


def _superlu(matrix: sp.csc_array) -> Factor:
    try:
        # Symmetric positive definite: no pivoting, and an ordering of A^T + A.
        # Narrow panels and small relaxed supernodes suit a plane section's short columns (a sixth faster than the defaults).
        factor = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            relax=8,
            panel_size=4,
            options={"SymmetricMode": True, "Equil": False},
        )
    except RuntimeError as error:
        raise ConvergenceError(f"the stiffness matrix cannot be factored ({error}).") from None
    return Factor(lambda right: np.asarray(factor.solve(right)), nbytes=12 * factor.nnz)


def _cholmod(matrix: sp.csc_array, analysis: Analysis) -> Factor:
    kvxopt, n = _kvxopt(), matrix.shape[0]
    if analysis.factor is None:
        # The lower triangle straight from the compressed columns, without a detour over other formats.
        columns = np.repeat(np.arange(n, dtype=np.int64), np.diff(matrix.indptr))
        analysis.lower = matrix.indices >= columns
        places = (kvxopt.matrix(numbers[analysis.lower].astype(np.int64)) for numbers in (matrix.indices, columns))
        analysis.pattern = kvxopt.spmatrix(0.0, *places, matrix.shape)
        analysis.factor = kvxopt.cholmod.symbolic(analysis.pattern)
        # A plane section's factor has some four entries for each of n log2 n.
        analysis.nbytes = 16 * len(analysis.lower) + int(32 * n * math.log2(n + 1))
    entries = kvxopt.matrix(matrix.data[analysis.lower])

    def enter() -> None:
        """See to it that the factor is this matrix's."""
        if analysis.holds is not entries:
            analysis.holds, analysis.pattern.V = None, entries
            kvxopt.cholmod.numeric(analysis.pattern, analysis.factor)
            analysis.holds = entries

    def solve(right: Floats) -> Floats:
        unknowns = kvxopt.matrix(np.asfortranarray(right))
        try:
            enter()
            kvxopt.cholmod.solve(analysis.factor, unknowns)
        except ArithmeticError:
            raise _not_definite() from None
        return np.array(unknowns)

    try:
        enter()
    except ArithmeticError:
        raise _not_definite() from None
    return Factor(solve, nbytes=8 * len(entries))


def _not_definite() -> ConvergenceError:
    return ConvergenceError(
        "the stiffness matrix is not positive definite to working precision: the joint's lengths, thicknesses or "
        "stiffnesses lie too many orders of magnitude apart."
    )
