"""The theories there are: every one with curves stands in `THEORIES`, as often as it has a result of its own.

That is with the edge moment that it brings along, and with that of finite elements.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fejoint.bondline.closed_form import (
    de_bruyne,
    goland_reissner,
    hart_smith_double,
    hart_smith_single,
    hart_smith_stepped,
    ojalvo_eidinoff,
    shear_lag,
    tsai_oplinger_morton,
    two_beams,
    volkersen,
)
from fejoint.bondline.curves import Bondline, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint

__all__ = ["GOLAND", "OF_FE", "THEORIES", "TSAI", "TWO_BEAMS", "Registered", "Theory", "compare"]

Curves = Callable[[Joint, Mapping[str, EdgeLoads] | None], list[Bondline]]
Families = tuple[str, ...]

SINGLE, DOUBLE, STEPPED = ("single-lap",), ("double-lap",), ("stepped-lap",)
SHEAR, BOTH = ("shear",), ("shear", "peel")


@dataclass(frozen=True)
class Registered:
    """A theory as it stands in the list.

    Attributes
    ----------
    name : str
        By which files, tables and cases know it.
    curves : callable
        Of a joint and edge loads.
    families : tuple of str
        Kinds of joint that it is for.
    gives : tuple of str
        ``"shear"``, ``"peel"``.
    fe_edges : bool
        Whether it is loaded by the edge loads of finite elements.
    main : tuple of str
        Kinds of joint whose table of `solve` it stands in.
    """

    name: str
    curves: Curves
    families: Families
    gives: tuple[str, ...]
    fe_edges: bool = False
    main: Families = ()

    def of(self, joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> Theory:
        """Return what it says of a joint; `edges`, those of finite elements, count where it is loaded by them."""
        if joint.load.moisture != 0:
            return Theory(self.name, [], "it knows no swelling; leave load.moisture out to see it without.")
        if joint.flaws:
            return Theory(self.name, [], "theories know no flaws; leave [[flaw]] out to see them of the sound joint.")
        try:
            return Theory(self.name, self.curves(_as_now(joint), edges if self.fe_edges else None))
        except TheoryError as error:
            return Theory(self.name, [], str(error))


TWO_BEAMS, GOLAND = "Two beams and a layer", "Goland-Reissner"
TSAI, SHEAR_LAG = "Tsai-Oplinger-Morton", "Shear lag, step by step"
OF_FE = ", edge moment of FE"

THEORIES: tuple[Registered, ...] = (
    Registered("Volkersen", volkersen.curves, SINGLE, SHEAR, main=SINGLE),
    Registered("Volkersen, double lap", volkersen.curves, DOUBLE, SHEAR, main=DOUBLE),
    Registered("de Bruyne", de_bruyne.curves, SINGLE, SHEAR),
    Registered(TSAI, tsai_oplinger_morton.curves, SINGLE + DOUBLE, SHEAR, main=DOUBLE),
    Registered(f"{GOLAND}, its own edge moment", goland_reissner.curves, SINGLE, BOTH, main=SINGLE),
    Registered(GOLAND + OF_FE, goland_reissner.curves, SINGLE, BOTH, fe_edges=True, main=SINGLE),
    Registered("Hart-Smith, single lap", hart_smith_single.curves, SINGLE, BOTH),
    Registered("Hart-Smith, single lap" + OF_FE, hart_smith_single.curves, SINGLE, BOTH, fe_edges=True),
    Registered("Ojalvo-Eidinoff", ojalvo_eidinoff.curves, SINGLE, SHEAR),
    Registered("Ojalvo-Eidinoff" + OF_FE, ojalvo_eidinoff.curves, SINGLE, SHEAR, fe_edges=True),
    Registered(TWO_BEAMS, two_beams.curves, SINGLE, BOTH),
    Registered(TWO_BEAMS + OF_FE, two_beams.curves, SINGLE, BOTH, fe_edges=True, main=SINGLE),
    Registered("Hart-Smith, double lap", hart_smith_double.curves, DOUBLE, SHEAR),
    Registered(SHEAR_LAG, shear_lag.curves, STEPPED, SHEAR, main=STEPPED),
    Registered("Hart-Smith, stepped lap", hart_smith_stepped.curves, STEPPED, SHEAR),
)


@dataclass(frozen=True, eq=False)
class Theory:
    """A theory's bondlines for a joint; none, and why, where it has none."""

    name: str
    bondlines: list[Bondline]
    reason: str = ""


def compare(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None, main: bool = False) -> list[Theory]:
    """Return what the theories for a joint's family say of it.

    Parameters
    ----------
    joint : Joint
    edges : mapping, optional
        Edge loads of finite elements by adherend; without them the theories that they load are left out.
    main : bool
        Whether to return only the few that the table of `solve` shows.
    """
    kind = joint.geometry.kind
    listed = [entry for entry in THEORIES if kind in (entry.main if main else entry.families)]
    return [entry.of(joint, edges) for entry in listed if edges is not None or not entry.fe_edges]


def _as_now(joint: Joint) -> Joint:
    """Return the joint with the adhesive's figures of its temperature, which theories take as constants."""
    adhesive, now = joint.adhesive, joint.environment
    if adhesive.at_temperature is None:
        return joint
    modulus, ratio = adhesive.elastic_at(now)
    expansion = adhesive.engineering_constants(now)["a_x"]
    figures = dict(elastic_modulus=modulus, shear_modulus=None, poisson_ratio=ratio, expansion=expansion, at_temperature=None)
    return joint.replace(adhesive=adhesive.replace(**figures))
