"""Interface elements: the adhesive layer as a traction between the facing nodes of its two adherends.

A mesh of the joint is kept as it is. The cells of the layer carry nothing; the
nodes inside it follow the two faces, so that pictures and cuts find them where
the layer is. What carries are line elements of three nodes on either face. With d
the vector from the lower face to the upper one, and t and n tangent and normal of the
line midway between them,

    opening = d . n - thickness,    sliding = d . t.

So the thickness is kept, no rigid motion strains the layer, and its shear
balances in moment. Where rotations are small the same to first order:
opening = dv, sliding = du + thickness dv_mid/dx.

Tractions are those per undeformed length. They are integrated at the nodes (Simpson's
rule), where every point is a pair of facing nodes of its own. At the stiffness of a real layer Gauss points
serve as well; at a hundred times that their tractions in front of a crack alternate from
point to point, by a fifth of the peak, and those at the nodes do not (`tests/mechanics/test_interface.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import MeshError
from fejoint.joint.cohesion import exponent_of, layer_stiffness
from fejoint.joint.description import Joint
from fejoint.joint.geometry import Bond
from fejoint.mechanics.discretisation import Discretisation
from fejoint.mechanics.separation import TractionLaw

__all__ = ["QUADRATURE", "Interface", "Stuck", "facing_nodes", "interfaces_of", "padded", "tied_inside", "traction_law"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_GAUSS = np.sqrt(0.6)
QUADRATURE = {
    "nodes": (np.array([-1.0, 0.0, 1.0]), np.array([1.0, 4.0, 1.0]) / 6),
    "gauss": (np.array([-_GAUSS, 0.0, _GAUSS]), np.array([5.0, 8.0, 5.0]) / 18),
}
"""Places on an element from -1 to 1, and their weights"""


@dataclass(frozen=True, eq=False)
class Stuck:
    """What an interface answers to displacements.

    Attributes
    ----------
    force : (e, 12) array, N/mm
        On the element's nodes: lower ones first, along x and y.
    history : ((e, q, 4), (e, q)) arrays
        Opening, sliding, work lost in each mode; damage.
    traction : (e, q, 2) array, MPa
        Normal and shear.
    stiffness : (e, 12, 12) array or None
    separation_by : (e, q, 2, 12) array
        Derivatives of opening and sliding by the displacements.
    """

    force: Floats
    history: tuple[Floats, Floats]
    traction: Floats
    stiffness: Floats | None
    separation_by: Floats


@dataclass(frozen=True, eq=False)
class Interface:
    """One bondline as interface elements.

    Attributes
    ----------
    name : str
        ``"bondline 1"``, ...
    lower, upper : (e, 3) arrays
        Facing nodes, along +x.
    x : (e, 3) array, mm
        Their places.
    thickness : float, mm
    law : TractionLaw
    large : bool
        Whether rotations are.
    rule : str
        Of `QUADRATURE`.
    flawed, empty : (e,) arrays of bool, or None
        Elements that are parted from the start, whose faces only press on each other; those of them that are
        void, whose faces have nothing between them to press on. None: there are none.
    """

    name: str
    lower: Ints
    upper: Ints
    x: Floats
    thickness: float
    law: TractionLaw
    large: bool = False
    rule: str = "nodes"
    flawed: NDArray[np.bool_] | None = None
    empty: NDArray[np.bool_] | None = None

    @property
    def dofs(self) -> Ints:
        """Displacements of every element by number, (e, 12)."""
        nodes = np.concatenate([self.lower, self.upper], axis=1)
        return np.asarray((2 * nodes[:, :, None] + np.arange(2)).reshape(len(nodes), -1))

    @property
    def weight(self) -> Floats:
        """Length that every quadrature point stands for, (e, q), mm."""
        return np.asarray((self.x[:, 2] - self.x[:, 0])[:, None] * QUADRATURE[self.rule][1])

    @property
    def place(self) -> Floats:
        """Places of the quadrature points, (e, q), mm."""
        return np.asarray(self.x @ self._shapes()[0].T)

    @property
    def sound(self) -> NDArray[np.bool_]:
        """Which quadrature points lie in no flaw, (e, q)."""
        shape = self.x.shape[0], len(QUADRATURE[self.rule][0])
        return np.ones(shape, dtype=bool) if self.flawed is None else np.repeat(~self.flawed[:, None], shape[1], axis=1)

    def start(self) -> tuple[Floats, Floats]:
        """Return the history of a layer that bears nothing yet: sound but for its flaws."""
        sound = self.sound
        return np.zeros((*sound.shape, 4)), np.where(sound, 0.0, 1.0)

    def evaluate(self, displacement: Floats, history: tuple[Floats, Floats], tangent: bool = True) -> Stuck:
        """Return forces, new history and stiffness.

        Parameters
        ----------
        displacement : (nodes, 2) array, mm
        history : ((e, q, 4), (e, q)) arrays
            At the increment's start.
        tangent : bool
        """
        separation, by, second = self._separation(displacement, tangent)
        shape = separation.shape[:2]
        was, damage = history[0].reshape(-1, 4), history[1].ravel()
        flat = separation.reshape(-1, 2)
        pulled = self.law.respond(flat, damage, tangent)
        lost = was[:, 2:] + self.law.dissipated(was[:, :2], flat, damage)
        traction = pulled.traction.reshape(*shape, 2)
        weight = self.weight
        if self.empty is not None:
            traction = np.where(self.empty[:, None, None], 0.0, traction)
            weight = np.where(self.empty[:, None], 0.0, weight)
        weighted = traction * weight[..., None]
        stiffness = None
        if pulled.moduli is not None:
            moduli = pulled.moduli.reshape(*shape, 2, 2) * weight[..., None, None]
            stiffness = (by.swapaxes(2, 3) @ moduli @ by).sum(axis=1)
            if second is not None:
                stiffness = stiffness + np.einsum("eqi,eqiab->eab", weighted, second)
        return Stuck(
            force=np.einsum("eqia,eqi->ea", by, weighted),
            history=(np.concatenate([flat, lost], axis=1).reshape(*shape, 4), pulled.damage.reshape(shape)),
            traction=traction,
            stiffness=stiffness,
            separation_by=by,
        )

    def tangents(self, displacement: Floats) -> Floats:
        """Return the unit tangents of the line midway between the faces, (e, q, 2); along x where rotations are small."""
        slope = self._shapes()[1]
        if not self.large:
            return np.broadcast_to(np.array([1.0, 0.0]), (len(self.x), len(slope), 2))
        middle = (displacement[self.lower] + displacement[self.upper]) / 2
        along = np.array([1.0, 0.0]) + (slope @ middle) / (self.x @ slope.T)[..., None]
        return np.asarray(along / np.hypot(along[..., 0], along[..., 1])[..., None])

    # ---- parts ----

    def _shapes(self) -> tuple[Floats, Floats]:
        """Return shape functions at the quadrature points and their derivatives by the place from -1 to 1, (q, 3) each."""
        s = QUADRATURE[self.rule][0]
        return np.stack([s * (s - 1) / 2, 1 - s * s, s * (s + 1) / 2], axis=1), np.stack([s - 0.5, -2 * s, s + 0.5], axis=1)

    def _separation(self, displacement: Floats, tangent: bool) -> tuple[Floats, Floats, Floats | None]:
        """Return opening and sliding, (e, q, 2), their derivatives, (e, q, 2, 12), and second derivatives, (e, q, 2, 12, 12)."""
        shape, slope = self._shapes()
        e, q = len(self.x), len(shape)
        slope_eq = slope / (self.x @ slope.T)[..., None]
        # Operators on the 12 displacements: difference of the faces and slope of the middle, each along x and y.
        difference, middle = np.zeros((e, q, 2, 2, 3, 2)), np.zeros((e, q, 2, 2, 3, 2))
        for i in (0, 1):
            difference[:, :, i, 0, :, i], difference[:, :, i, 1, :, i] = -shape, shape
            middle[:, :, i, :, :, i] = slope_eq[:, :, None] / 2
        d_by, g_by = difference.reshape(e, q, 2, 12), middle.reshape(e, q, 2, 12)
        u = displacement[np.concatenate([self.lower, self.upper], axis=1)].reshape(e, 1, 12, 1)
        d, g = (d_by @ u)[..., 0], (g_by @ u)[..., 0]
        h = self.thickness
        if not self.large:
            by = np.stack([d_by[:, :, 1], d_by[:, :, 0] + h * g_by[:, :, 1]], axis=2)
            return np.stack([d[..., 1], d[..., 0] + h * g[..., 1]], axis=2), by, None
        d = d + np.array([0.0, h])
        g = g + np.array([1.0, 0.0])
        stretch = np.hypot(g[..., 0], g[..., 1])[..., None]
        t = g / stretch
        n = np.stack([-t[..., 1], t[..., 0]], axis=-1)
        off, along = (d * n).sum(axis=-1)[..., None], (d * t).sum(axis=-1)[..., None]
        turn, wider = ((v[..., None] * g_by).sum(axis=2) / stretch for v in (n, t))
        across, slid = ((v[..., None] * d_by).sum(axis=2) for v in (n, t))
        by = np.stack([across - along * turn, slid + off * turn], axis=2)
        separation = np.concatenate([off - h, along], axis=2)
        if not tangent:
            return separation, by, None

        def pair(a: Floats, b: Floats) -> Floats:
            product = a[..., :, None] * b[..., None, :]
            return np.asarray(product + product.swapaxes(-1, -2))

        both = pair(turn, turn) / 2
        o, s = off[..., None], along[..., None]
        spread = pair(wider, turn)
        second = np.stack(
            [-pair(turn, slid) - o * both + s * spread, pair(turn, across) - s * both - o * spread],
            axis=2,
        )
        return separation, by, second


def facing_nodes(d: Discretisation, bond: Bond) -> tuple[Ints, Ints]:
    """Return the nodes of a bond's lower and upper face, (e, 3) each, facing each other.

    Raises
    ------
    MeshError
        The two faces' nodes do not face each other.
    """
    lower, upper = (d.line(f"bondline {bond.number} {face}") for face in ("lower", "upper"))
    if lower.shape != upper.shape or np.abs(d.points[lower, 0] - d.points[upper, 0]).max() > 1e-9 * (bond.end - bond.start):
        raise MeshError(f"bondline {bond.number}: the nodes of its two faces do not lie opposite each other.")
    return lower, upper


def tied_inside(d: Discretisation, bonds: Sequence[Bond], thickness: float) -> list[tuple[int, dict[int | str, float]]]:
    """Return how the nodes inside the layers follow the faces: displacement, and shares of other displacements in it.

    Raises
    ------
    MeshError
        A node inside a layer has none on its faces above and below it.
    """
    found: list[tuple[int, dict[int | str, float]]] = []
    inside = np.unique(d.nodes_ac[d.section.cells("adhesive")])
    for bond in bonds:
        lower, upper = (np.unique(nodes) for nodes in facing_nodes(d, bond))
        lower, upper = (nodes[np.argsort(d.points[nodes, 0])] for nodes in (lower, upper))
        own = inside[(np.abs(d.points[inside, 1] - bond.y) < 0.51 * thickness) & ~np.isin(inside, [*lower, *upper])]
        places = d.points[lower, 0]
        k = np.clip(np.searchsorted(places, d.points[own, 0] - 1e-9 * (bond.end - bond.start)), 0, len(places) - 1)
        if np.abs(places[k] - d.points[own, 0]).max(initial=0.0) > 1e-6 * thickness:
            raise MeshError(f"bondline {bond.number}: nodes inside the layer lie off the lines between its faces.")
        share = (d.points[own, 1] - d.points[lower[k], 1]) / (d.points[upper[k], 1] - d.points[lower[k], 1])
        for node, below, above, part in zip(own, lower[k], upper[k], share, strict=True):
            for i in (0, 1):
                found.append((2 * int(node) + i, {2 * int(below) + i: 1.0 - float(part), 2 * int(above) + i: float(part)}))
    return found


def padded(values: NDArray[Any]) -> NDArray[Any]:
    """Return arrays of 12 displacements an element as of 18: numbers repeat the first one, stiffness has zeros there."""
    if values.ndim == 2:
        return np.concatenate([values, np.repeat(values[:, :1], 6, axis=1)], axis=1)
    return np.pad(values, ((0, 0), (0, 6), (0, 6)))


def interfaces_of(joint: Joint, d: Discretisation) -> tuple[Interface, ...]:
    """Return the interfaces of a joint with a cohesive layer, one a bond; of another joint none."""
    if not joint.analysis.cohesive:
        return ()
    h, law = joint.geometry.bondline_thickness, traction_law(joint)
    found, flaws = [], joint.merged_flaws().flaws
    for bond in joint.geometry.bonds():
        lower, upper = facing_nodes(d, bond)
        x = d.points[lower, 0]
        own = [flaw for flaw in flaws if flaw.bondline == bond.number]
        flawed, empty = (
            np.any([(x[:, 1] > flaw.start) & (x[:, 1] < flaw.end) for flaw in some], axis=0) if some else None
            for some in (own, [flaw for flaw in own if flaw.kind == "void"])
        )
        name = f"bondline {bond.number}"
        found.append(Interface(name, lower, upper, x, h, law, joint.analysis.large_rotation, flawed=flawed, empty=empty))
    return tuple(found)


def traction_law(joint: Joint) -> TractionLaw:
    """Return the traction law of a joint's layer, which must have all figures."""
    a = joint.adhesive
    assert a.tensile_strength is not None and a.shear_strength is not None
    assert a.toughness_mode_1 is not None and a.toughness_mode_2 is not None
    return TractionLaw(
        *layer_stiffness(a, joint.geometry.bondline_thickness),
        normal_strength=a.tensile_strength,
        shear_strength=a.shear_strength,
        toughness_1=a.toughness_mode_1,
        toughness_2=a.toughness_mode_2,
        plateau_1=a.plateau_mode_1,
        plateau_2=a.plateau_mode_2,
        rule=a.mixed_mode_rule,
        exponent=exponent_of(a),
    )
