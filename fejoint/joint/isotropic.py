"""What all materials share, and those alike in all directions: elastic constants, yielding and free strain."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Self

from pydantic import Field, model_validator

from fejoint.joint.conditions import Environment
from fejoint.joint.hardening import Hardening
from fejoint.joint.model import Unit, refuse
from fejoint.joint.sourced import Sourced

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Expansion", "Isotropic", "Material", "PoissonRatio", "Stress"]

Stress = Annotated[float, Unit("MPa", gt=0)]
Expansion = Annotated[float, Unit("1/K")]
PoissonRatio = Annotated[float, Unit("", gt=-1, lt=0.5)]
Swelling = Annotated[float, Unit("", ge=0, le=10)]


class Material(Sourced):
    """Base of all materials: a name and, figure by figure, where the numbers come from."""

    name: str = ""
    """What the material is called in tables and reports"""

    def figures(self) -> dict[str, float]:
        """Return every figure that was given, by key, in N-mm-MPa-K."""
        return {k: v for k in type(self).model_fields if isinstance(v := getattr(self, k), float)}

    def parts(self) -> dict[str, Sourced]:
        """Return the tables of further figures that were given, such as the hardening, by key."""
        return {k: v for k in type(self).model_fields if isinstance(v := getattr(self, k), Sourced)}

    def engineering_constants(self, environment: Environment | None = None) -> dict[str, float]:
        """Return E_x, E_y, E_z, nu_xy, nu_xz, nu_yz, G_xy and expansions (MPa, 1/K).

        Where figures depend on the temperature they are those in an
        environment; without one those that stand outside the table.
        """
        raise NotImplementedError

    def swelling_by(self, moisture: float) -> float:
        """Return the free strain, the same in all directions, that an uptake of moisture (mass fraction) makes."""
        return 0.0

    def free_strain(self, environment: Environment) -> NDArray[np.float64]:
        """Return the strain xx, yy, xy, zz of the material left free, (4,) array: thermal, and swelling."""
        import numpy as np

        c = self.engineering_constants(environment)
        thermal = np.array([c["a_x"], c["a_y"], 0.0, c["a_z"]]) * environment.temperature_change
        return thermal + self.swelling_by(environment.moisture) * np.array([1.0, 1.0, 0.0, 1.0])


class Isotropic(Material):
    """A material with the same stiffness in all directions.

    Any two of the three elastic constants are given; the third follows from
    E = 2 G (1 + nu). All three are accepted when they agree within 1 %.
    """

    elastic_modulus: Stress | None = Field(None, examples=["70 GPa"])
    """Young's modulus E"""
    shear_modulus: Stress | None = Field(None, examples=["26 GPa"])
    """Shear modulus G"""
    poisson_ratio: PoissonRatio | None = Field(None, examples=[0.33])
    """Poisson's ratio nu"""
    expansion: Expansion | None = Field(None, examples=["23e-6 1/K"])
    """Coefficient of thermal expansion; needed when the temperature changes"""
    tensile_yield: Stress | None = Field(None, examples=["270 MPa"])
    """Tensile yield stress"""
    tensile_strength: Stress | None = Field(None, examples=["320 MPa"])
    """Tensile strength"""
    hardening: Hardening | None = Field(None, examples=[{"rise": "12 MPa", "rate": 60}])
    """How the yield stress grows with plastic strain; without it the material flows at tensile_yield"""
    swelling: Swelling | None = Field(None, examples=[0.3])
    """Strain per mass fraction of moisture taken up"""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        e, g, nu = self.elastic_modulus, self.shear_modulus, self.poisson_ratio
        if sum(v is not None for v in (e, g, nu)) < 2:
            refuse(
                "poisson_ratio" if e is not None else "elastic_modulus",
                None,
                "give any two of elastic_modulus, shear_modulus and poisson_ratio",
            )
        if e is not None and g is not None:
            implied = e / (2 * g) - 1
            if not -1 < implied < 0.5:
                refuse(
                    "shear_modulus",
                    g,
                    f"with elastic_modulus = {e:g} MPa this makes Poisson's ratio {implied:.3g}, which must lie "
                    f"above -1 and below 0.5: shear_modulus must lie above {e / 3:.4g} MPa",
                )
            if nu is not None and abs(e / (2 * (1 + nu)) - g) > 0.01 * g:
                refuse(
                    "shear_modulus",
                    g,
                    f"disagrees with elastic_modulus = {e:g} MPa and poisson_ratio = {nu:g}, which make it "
                    f"{e / (2 * (1 + nu)):.4g} MPa: give two of the three",
                )
            nu = implied if nu is None else nu
        elif e is not None and nu is not None:
            g = e / (2 * (1 + nu))
        elif g is not None and nu is not None:
            e = 2 * g * (1 + nu)
        # The object is frozen for its users; here it is still being made.
        for key, value in (("elastic_modulus", e), ("shear_modulus", g), ("poisson_ratio", nu)):
            if getattr(self, key) is None:
                object.__setattr__(self, key, value)
        return self

    @model_validator(mode="after")
    def _yields_from_somewhere(self) -> Self:
        first = self.hardening.stress[0] if self.hardening is not None and self.hardening.stress else None
        if first is not None and self.tensile_yield is None:
            object.__setattr__(self, "tensile_yield", first)
        elif first is not None and self.tensile_yield is not None and abs(first - self.tensile_yield) > 0.01 * first:
            why = f"disagrees with the first stress of hardening ({first:g} MPa), where yielding begins: leave tensile_yield out"
            refuse("tensile_yield", self.tensile_yield, why)
        elif self.hardening is not None and self.tensile_yield is None:
            refuse("tensile_yield", None, "the yield stress that hardening begins at; add it")
        return self

    @property
    def yields(self) -> bool:
        """Whether it states where yielding begins."""
        return self.tensile_yield is not None

    def elastic_at(self, environment: Environment) -> tuple[float, float]:
        """Return Young's modulus (MPa) and Poisson's ratio in an environment."""
        assert self.elastic_modulus is not None and self.poisson_ratio is not None  # set by _complete
        return self.elastic_modulus, self.poisson_ratio

    def expansion_at(self, environment: Environment) -> float:
        """Return the expansion (1/K), secant from the stress-free temperature, in an environment; 0 where none is stated."""
        return self.expansion or 0.0

    def swelling_by(self, moisture: float) -> float:
        """Return the free strain, the same in all directions, that an uptake of moisture (mass fraction) makes."""
        return (self.swelling or 0.0) * moisture

    def engineering_constants(self, environment: Environment | None = None) -> dict[str, float]:
        """Return E_x, E_y, E_z, nu_xy, nu_xz, nu_yz, G_xy and expansions (MPa, 1/K); see `Material`."""
        e, g, nu, a = self.elastic_modulus, self.shear_modulus, self.poisson_ratio, self.expansion or 0.0
        assert e is not None and g is not None  # set by _complete
        assert nu is not None
        if environment is not None:
            now, _ = self.elastic_at(environment)
            e, g, a = now, g * (now / e), self.expansion_at(environment)
        return dict(e_x=e, e_y=e, e_z=e, nu_xy=nu, nu_xz=nu, nu_yz=nu, g_xy=g, a_x=a, a_y=a, a_z=a)
