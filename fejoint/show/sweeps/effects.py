"""Which varied parameter matters most for a column of a sweep's table.

A column y is taken apart as mean + f1(x1) + f2(x2) + ... + what is left: what
each parameter does on average over all others, and what they only do
together. `share` is the variance of fi over the variance of y, the
first-order (variance-based) sensitivity index of xi, Var(E[y | xi]) / Var(y).

Source, from memory: A. Saltelli et al., Global Sensitivity Analysis: The
Primer, Wiley 2008, chapters 1 and 4.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.show.sweeps.limits import follows, numbers, parameters, places

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["effects"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Of a fitted curve: so many cases a knot, and no more knots than this.
CASES_A_KNOT, MOST_KNOTS = 4, 16


def effects(table: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return what the varied parameters do to a column, the one that explains most first.

    On a full grid of all cases, fi are the means of the column at each level
    of a parameter, and everything is exact for that grid. On any other set of
    points (Latin hypercube, Sobol', a grid of which cases have no result) all
    fi are fitted at once by least squares: piecewise linear in a parameter
    between at most 16 knots at equal counts of cases, a value for each text.
    Fitted together, they are not taken in by parameters that chance, or
    missing cases, made to go with one another.

    What is left of y after the fit makes a fitted fi larger than it is, by
    the sum of its coefficients' variances; that is taken off its variance (below
    zero it then counts as zero). Var(y) is the sum of the fi's variances and of
    the variance left, as of parameters that do not go with one another. Not so on
    a grid with holes, whose shares are those of the cases left. A curve that
    bends more often than its knots allow (4 cases a knot and parameter, so
    straight lines below 12 cases a parameter) leaves the share too small.

    Parameters
    ----------
    table : DataFrame (cases, columns)
        A sweep's table. Cases without a value of the column are left out.
    column : str
        A column of numbers or truth values.

    Returns
    -------
    DataFrame
        Index `parameter`: the column of the parameter; of parameters that move
        together, their columns with `` + `` in between. `low`, `high`: the
        lowest and highest value of the parameter (the first of those that move
        together; of a text, those with the lowest and highest mean);
        `mean_at_low`, `mean_at_high`: means of the column there, over all
        others; `effect`: their difference, in the column's unit;
        `effect_error`: its standard error (0 on a full grid); `share`, 0 to 1.
        A parameter of which but one value has results has NaN.

    Raises
    ------
    JointError
        No such column, texts in it, nothing varies, or too few cases.
    """
    import pandas as pd

    y = numbers(table, column)
    groups = _groups(table)
    if not groups:
        raise JointError(f"effects on {column}: no parameter varies in this table; vary at least one.")
    used = np.isfinite(y)
    if used.sum() < 2:
        raise JointError(f"effects on {column}: {used.sum()} of {len(y)} cases have a value of it; at least 2 are needed.")
    kept = [group.of(used) for group in groups]
    live = [group for group in kept if len(group.levels) > 1]
    if not live:
        raise JointError(f"effects on {column}: the cases with a value of it are all alike; vary a parameter more.")
    if _is_grid(groups) and used.all():
        found = [_by_levels(group, y) for group in live]
    else:
        found = _fitted(live, y[used], column, sampled=not _is_grid(groups))
    rows = {group.name: row for group, row in zip(live, found, strict=True)}
    frame = pd.DataFrame(
        [rows.get(group.name, Row(None, None)) for group in groups],
        index=pd.Index([group.name for group in groups], name="parameter"),
    )
    # Ranked by share; where none differs (a constant column), by effect.
    order = np.lexsort([-frame["effect"].abs().fillna(-1), -frame["share"].fillna(-1)])
    return frame.iloc[order]


@dataclass(frozen=True)
class Row:
    """What one parameter does."""

    low: Any
    high: Any
    mean_at_low: float = np.nan
    mean_at_high: float = np.nan
    effect: float = np.nan
    effect_error: float = np.nan
    share: float = np.nan


@dataclass(frozen=True)
class Group:
    """Parameters that move together; the first stands for them.

    `codes` (cases) is the number of each case's level; `levels` their values, in
    order; `values` (cases) the values as numbers, None for texts.
    """

    name: str
    codes: Ints
    levels: tuple[Any, ...]
    values: Floats | None

    def of(self, cases: NDArray[np.bool_]) -> Group:
        """Return the parameters of some cases alone."""
        left, codes = np.unique(self.codes[cases], return_inverse=True)
        levels = tuple(self.levels[i] for i in left)
        return Group(self.name, codes, levels, None if self.values is None else self.values[cases])


# ---- parameters ----------------------------------------------------------


def _groups(table: pd.DataFrame) -> list[Group]:
    """Return the parameters that vary, those that move together as one."""
    single = [group for name in parameters(table) if len((group := _parameter(table, name)).levels) > 1]
    groups: list[list[Group]] = []
    for group in single:
        for others in groups:
            if follows(table, group.name, others[0].name) and follows(table, others[0].name, group.name):
                others.append(group)
                break
        else:
            groups.append([group])
    joined = []
    for members in groups:
        # Numbers have an order, which texts lack.
        first = next((member for member in members if member.values is not None), members[0])
        joined.append(Group(" + ".join(member.name for member in members), first.codes, first.levels, first.values))
    return joined


def _parameter(table: pd.DataFrame, name: str) -> Group:
    place, names = places(table, name)
    levels, codes = np.unique(place, return_inverse=True)
    if table[name].dtype == bool:
        return Group(name, codes, tuple(text == "True" for text in names or ()), place)
    if names is None and not np.isnan(levels).any():
        return Group(name, codes, tuple(levels.tolist()), place)
    # A key that some cases lack counts as a level of its own.
    return Group(name, codes, tuple(names or map(str, levels.tolist())), None)


def _is_grid(groups: list[Group]) -> bool:
    """Return whether every combination of levels comes equally often."""
    combinations = 1
    for group in groups:
        combinations *= len(group.levels)
    cases = len(groups[0].codes)
    if combinations > cases:
        return False
    number = np.ravel_multi_index(tuple(group.codes for group in groups), tuple(len(group.levels) for group in groups))
    times = np.bincount(number, minlength=combinations)
    return bool((times == times[0]).all())


# ---- means and fits ------------------------------------------------------


def _by_levels(group: Group, y: Floats) -> Row:
    """Return what a parameter does on a full grid."""
    # Off the mean of all, so that no digits are lost where the column hardly varies.
    off = y - y.mean()
    means = np.bincount(group.codes, off) / np.bincount(group.codes)
    low, high = _ends(group, means)
    share = (means**2).mean() / (off**2).mean() if off.any() else 0.0
    at_low, at_high = means[[low, high]] + y.mean()
    return Row(group.levels[low], group.levels[high], at_low, at_high, at_high - at_low, 0.0, float(min(share, 1.0)))


def _ends(group: Group, means: Floats) -> tuple[int, int]:
    """Return the numbers of the lowest and the highest level; of texts, by what they do."""
    return (int(means.argmin()), int(means.argmax())) if group.values is None else (0, len(means) - 1)


def _fitted(groups: list[Group], y: Floats, column: str, sampled: bool) -> list[Row]:
    """Return what parameters do by a least-squares fit of the sum of their curves.

    Parameters
    ----------
    groups : list of Group
    y : (cases,)
    column : str
        Its name in errors.
    sampled : bool
        Whether the cases stand for more than themselves.
    """
    mean, cases = y.mean(), len(y)
    most = int(np.clip(cases // (CASES_A_KNOT * len(groups)), 2, MOST_KNOTS))
    if not sampled:
        most = max(most, MOST_KNOTS)
    bases = [_basis(group, most) for group in groups]
    # Each basis is cut to functions of mean zero: a column less each, and the mean is no unknown.
    centred = [basis - basis.mean(axis=0) for basis, _ in bases]
    design = np.concatenate([basis[:, 1:] for basis in centred], axis=1)
    unknowns = 1 + design.shape[1]
    if cases < unknowns + (2 if sampled else 0):
        raise JointError(
            f"effects on {column}: {cases} cases with a value are too few for {len(groups)} parameters; "
            f"at least {unknowns + (2 if sampled else 0)} are needed."
        )
    scale = np.linalg.norm(design, axis=0)
    if np.linalg.matrix_rank(design / scale) < unknowns - 1:
        names = ", ".join(group.name for group in groups)
        raise JointError(f"effects on {column}: the cases with a value do not tell {names} apart; run more cases.")
    inverse = np.linalg.pinv(design.T @ design)
    coefficients = np.linalg.lstsq(design / scale, y - mean, rcond=None)[0] / scale
    left = y - mean - design @ coefficients
    noise = float(left @ left) / (cases - unknowns) if cases > unknowns else 0.0
    rows, variances, start = [], [], 0
    for group, (basis, values_at), own in zip(groups, bases, centred, strict=True):
        part = slice(start, start + own.shape[1] - 1)
        start = part.stop
        curve, spread = own[:, 1:] @ coefficients[part], inverse[part, part]
        # Values of the curve at the levels or the ends of its range.
        levels, ends = values_at
        at = (ends - basis.mean(axis=0))[:, 1:]
        means = mean + at @ coefficients[part]
        low, high = _ends(group, means)
        error = np.sqrt(max(noise * float((at[high] - at[low]) @ spread @ (at[high] - at[low])), 0.0))
        variance = float(curve @ curve) / cases
        if sampled:
            variance -= noise * float(np.sum((own[:, 1:].T @ own[:, 1:]) * spread)) / cases
        variances.append(max(variance, 0.0))
        rows.append(Row(levels[low], levels[high], means[low], means[high], means[high] - means[low], error))
    # Not the variance of the samples' own y: in that, parameters that chance made to go with one another count more or less.
    total = sum(variances) + noise if sampled else float(((y - mean) ** 2).sum()) / cases
    return [
        replace(row, share=min(variance / total, 1.0) if total else 0.0) for row, variance in zip(rows, variances, strict=True)
    ]


def _basis(group: Group, most: int) -> tuple[Floats, tuple[tuple[Any, ...], Floats]]:
    """Return functions of a parameter at the cases that add up to one, and what they are at its levels or ends.

    Returns
    -------
    (cases, knots) array
    (levels, (levels, knots) array)
        Of texts all levels, of numbers the lowest and the highest.
    """
    if group.values is None or len(group.levels) <= most:
        at = np.eye(len(group.levels))
        if group.values is None:
            return at[group.codes], (group.levels, at)
        return at[group.codes], ((group.levels[0], group.levels[-1]), at[[0, -1]])
    knots = np.unique(np.quantile(group.values, np.linspace(0.0, 1.0, most)))
    ends = knots[[0, -1]]
    return _hats(group.values, knots), ((group.levels[0], group.levels[-1]), _hats(ends, knots))


def _hats(x: Floats, knots: Floats) -> Floats:
    """Return the functions that are one at a knot, zero at the others and straight in between: (len(x), knots)."""
    return np.column_stack([np.interp(x, knots, hat) for hat in np.eye(len(knots))])
