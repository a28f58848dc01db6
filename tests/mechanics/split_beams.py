"""Two arms with a layer between them, without a joint: a double cantilever beam and an end-notched flexure test.

Meshes of scikit-fem; elements, tangent and path are the package's own. Lengths mm, width 1 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy.sparse as sp
from skfem import MeshQuad

from fejoint.errors import ConvergenceError
from fejoint.joint.conditions import Environment
from fejoint.joint.materials import Isotropic
from fejoint.mechanics.behaviour import Behaviour
from fejoint.mechanics.body import Body
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.factor import Analysis
from fejoint.mechanics.frames import FRAMES
from fejoint.mechanics.interface import Interface
from fejoint.mechanics.linear import Pattern
from fejoint.mechanics.newton import Loading, Problem, State, equilibrium
from fejoint.mechanics.parting import fresh, parted
from fejoint.mechanics.section import Section
from fejoint.mechanics.separation import TractionLaw

E, NU = 70_000.0, 0.33
PLATE = E / (1 - NU**2)


@dataclass(frozen=True)
class Split:
    """A specimen: arms of height h, layer of thickness ta, from x = 0 to `length`, cracked up to `crack`."""

    law: TractionLaw
    height: float
    layer: float
    length: float
    crack: float
    cell: float
    kind: str = "dcb"
    fine: tuple[float, float] = (0.0, 0.0)
    rule: str = "nodes"
    large: bool = False

    @property
    def bending(self) -> float:
        return PLATE * self.height**3 / 12

    def mesh(self) -> Discretisation:
        low, high = self.fine
        ends = {0.0, self.crack, low, high, self.length} | ({self.length / 2} if self.kind == "enf" else set())
        x = [0.0]
        for end in sorted(ends)[1:]:
            cell = self.cell if low <= x[-1] < high else 2.0
            x += list(np.linspace(x[-1], end, max(1, int(np.ceil((end - x[-1]) / cell - 1e-9))) + 1)[1:])
        x = np.array(x)
        y = np.linspace(0, self.height, 4)
        below, above = (MeshQuad.init_tensor(x, y + move) for move in (-self.height - self.layer / 2, self.layer / 2))
        n = below.p.shape[1]
        p, t = np.hstack([below.p, above.p]), np.hstack([below.t, above.t + n])
        mesh = MeshQuad(np.ascontiguousarray(p), np.ascontiguousarray(t))
        cells = below.t.shape[1]
        mesh = mesh.with_subdomains({"lower": np.arange(cells), "upper": np.arange(cells, 2 * cells)})
        half = self.layer / 2
        mesh = mesh.with_boundaries(
            {
                "bondline 1 lower": lambda x: np.isclose(x[1], -half),
                "bondline 1 upper": lambda x: np.isclose(x[1], half),
            }
        )
        return discretise(Section(mesh, 1.0))


class Pulled:
    """A specimen under one growing load: what `parted` asks of a load step."""

    loads_alone, name = True, "load"

    def __init__(self, split: Split, body: Body | None = None) -> None:
        self.split = split
        if body is not None:  # of another making, without interfaces
            self.d = body.discretisation
            self.problem = Problem(body, self._pattern(body))
            self.start = State.virgin(self.problem)
            return
        d = self.d = split.mesh()
        lower, upper = d.line("bondline 1 lower"), d.line("bondline 1 upper")
        x = d.points[lower, 0]
        assert np.allclose(x, d.points[upper, 0])
        self.interface = Interface("bondline 1", lower, upper, x, split.layer, split.law, split.large, split.rule)
        metal = Isotropic(elastic_modulus=E, poisson_ratio=NU)
        frame = FRAMES["green_lagrange" if split.large else "small"]
        body = Body(d, {name: Behaviour(metal, frame, None) for name in ("lower", "upper")}, (self.interface,))
        self.problem = Problem(body, self._pattern(body), large=split.large)
        state = State.virgin(self.problem)
        history, damage = self.interface.start()
        damage[self.interface.x[:, 1] < split.crack] = 1.0
        self.start = replace(state, history={**state.history, "bondline 1": (history, damage)})

    def pulled_by_one(self) -> float:
        """Return the travel of the load's points under a small load, over it."""
        small = 1e-3
        found = self.at(self.start, small, self.start.unknowns)
        return float(found.state.unknowns[-1]) / small

    def _node(self, x: float, y: float) -> int:
        return int(np.argmin(np.hypot(self.d.points[:, 0] - x, self.d.points[:, 1] - y)))

    def _pattern(self, body: Body) -> Pattern:
        s, h = self.split, self.split.height + self.split.layer / 2
        size = 2 * len(self.d.points)
        held: list[int] = []
        pull = np.zeros(size)
        mid = self.split.layer / 2 + self.split.height / 2
        if s.kind == "dcb":
            far = np.flatnonzero(np.isclose(self.d.points[:, 0], s.length))
            held = [2 * int(n) + i for n in far for i in (0, 1)]
            # Pins in the arms' mid-planes.
            up, down = (int(np.argmin(np.hypot(self.d.points[:, 0], self.d.points[:, 1] - y))) for y in (mid, -mid))
            pull[[2 * up + 1, 2 * down + 1]] = 1.0, -1.0
        else:
            left, right, top = self._node(0, -h), self._node(s.length, -h), self._node(s.length / 2, h)
            held = [2 * left + 1, 2 * right + 1, 2 * right]
            pull[2 * top + 1] = -1.0
        free = np.setdiff1d(np.arange(size), held)
        ours = np.flatnonzero(pull)
        free = np.setdiff1d(free, ours)
        number, sign = np.full(size, -1), np.ones(size)
        number[free] = np.arange(len(free))
        number[ours], sign[ours] = len(free), pull[ours]
        n = len(free) + 1
        kept = np.flatnonzero(number >= 0)
        transform = sp.csr_array((sign[kept], (kept, number[kept])), shape=(size, n))
        dofs = body.dofs
        row, column = (np.broadcast_to(a, (len(dofs), 18, 18)) for a in (number[dofs][:, :, None], number[dofs][:, None, :]))
        factor = sign[dofs][:, :, None] * sign[dofs][:, None, :]
        use = (row >= 0) & (column >= 0)
        keys, place = np.unique(column[use].astype(np.int64) * n + row[use], return_inverse=True)
        gather = sp.csr_array((factor[use], (place, np.flatnonzero(use.ravel()))), shape=(len(keys), use.size))
        indptr = np.searchsorted(keys // n, np.arange(n + 1))
        return Pattern(
            transform,
            {"axial": n - 1},
            np.zeros(0, dtype=int),
            (keys % n).astype(np.int32),
            indptr.astype(np.int32),
            gather,
            Analysis(),
        )

    def at(self, state: State, share: float, guess: Any, travel: float | None = None, along: Any = None) -> Any:
        return equilibrium(self.problem, state, Loading({}, {"axial": 1.0}, Environment(), share, travel, along), guess)

    def path(self, most: float = np.inf, crack: float = np.inf) -> list[dict[str, Any]]:
        """Return load P, travel of its point, crack tip and work lost at every increment, until the crack is that long."""
        found: list[dict[str, Any]] = []
        try:
            for step, pace in parted(self, self.start, fresh(), most):
                history, damage = step.state.history["bondline 1"]
                lost = float((history[..., 2:] * self.interface.weight[..., None]).sum())
                travel = float(step.state.unknowns[-1])
                force = step.share / (2 if self.split.kind == "dcb" else 1)
                travel *= 2 if self.split.kind == "dcb" else 1
                # dcb: both arms move by the unknown, whose force is 2 P.
                tip = self._tip(history, damage)
                found.append(
                    dict(force=force, travel=travel, tip=tip, lost=lost, iterations=step.iterations, pace=pace, state=step.state)
                )
                if tip > crack:
                    break
        except ConvergenceError as error:
            self.ended = str(error)
        return found

    def _tip(self, history: Any, damage: Any) -> float:
        """Return where the layer is just parted: the separation passes failure, between places by a straight line."""
        law = self.split.law
        place, first = np.unique(self.interface.place.ravel(), return_index=True)
        progress = law.progress(history.reshape(-1, 4)[:, :2])[0][first]
        gone = (damage.ravel()[first] >= 1) | (progress >= 1)
        if not gone.any():
            return self.split.crack
        i = int(np.flatnonzero(gone)[-1])
        if i + 1 >= len(place) or not progress[i] > progress[i + 1]:
            return float(place[i])
        return float(np.interp(1.0, [progress[i + 1], progress[i]], [place[i + 1], place[i]]))
