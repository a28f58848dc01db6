"""The direct solver, behind one function."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu
from threadpoolctl import threadpool_limits

from fejoint.errors import ConvergenceError

__all__ = ["factorise", "solver_name"]

Floats = NDArray[np.float64]


def factorise(matrix: sp.csc_array) -> Callable[[Floats], Floats]:
    """Return the function that solves with a symmetric positive definite matrix.

    It takes right-hand sides of shape (unknowns, loads). scipy's SuperLU does
    the work, or CHOLMOD where the extra ``fast`` is installed (its wheel,
    kvxopt, is under the GPL, version 3 or later; the environment variable
    FEJOINT_SOLVER=superlu keeps to SuperLU). One BLAS thread: sections are
    small, and studies use the cores for whole joints.

    Raises
    ------
    ConvergenceError
        The matrix is singular or not positive definite.
    """
    with threadpool_limits(1, user_api="blas"):
        return _cholmod(matrix) if solver_name() == "CHOLMOD" else _superlu(matrix)


def solver_name() -> str:
    """Return which solver `factorise` uses: ``"SuperLU"`` or ``"CHOLMOD"``."""
    return "CHOLMOD" if _kvxopt() is not None and os.environ.get("FEJOINT_SOLVER", "") != "superlu" else "SuperLU"


@cache
def _kvxopt() -> Any:
    try:
        import kvxopt
        import kvxopt.cholmod
    except ImportError:
        return None
    return kvxopt


def _superlu(matrix: sp.csc_array) -> Callable[[Floats], Floats]:
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
    return lambda right: np.asarray(factor.solve(right))


def _cholmod(matrix: sp.csc_array) -> Callable[[Floats], Floats]:
    kvxopt = _kvxopt()
    # The lower triangle straight from the compressed columns, without a detour over other formats.
    columns = np.repeat(np.arange(matrix.shape[0], dtype=np.int64), np.diff(matrix.indptr))
    lower = matrix.indices >= columns
    rows = matrix.indices[lower].astype(np.int64)
    entries = (kvxopt.matrix(a) for a in (matrix.data[lower], rows, columns[lower]))
    packed = kvxopt.spmatrix(*entries, matrix.shape)
    try:
        factor = kvxopt.cholmod.symbolic(packed)
        kvxopt.cholmod.numeric(packed, factor)
    except ArithmeticError:
        raise _not_definite() from None

    def solve(right: Floats) -> Floats:
        unknowns = kvxopt.matrix(np.asfortranarray(right))
        try:
            kvxopt.cholmod.solve(factor, unknowns)
        except ArithmeticError:
            raise _not_definite() from None
        return np.array(unknowns)

    return solve


def _not_definite() -> ConvergenceError:
    return ConvergenceError(
        "the stiffness matrix is not positive definite to working precision: the joint's lengths, thicknesses or "
        "stiffnesses lie too many orders of magnitude apart."
    )
