"""What is bonded, and with what: elastic constants and limits, each with its source."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Discriminator, Field, Tag, ValidationInfo, model_validator

from fejoint.joint.conditions import Environment
from fejoint.joint.isotropic import Expansion, Isotropic, Material, PoissonRatio, Stress
from fejoint.joint.library import named
from fejoint.joint.model import Unit, refuse
from fejoint.joint.overriding import merged, overridden
from fejoint.joint.temperature import AtTemperature

__all__ = ["AdherendMaterial", "Adhesive", "Isotropic", "Material", "Orthotropic", "merged", "overridden"]


class Orthotropic(Material):
    """A material with its axes along the joint: x along the load, y through the thickness, z across.

    Poisson's ratios follow the usual rule: nu_ij is minus the strain along j
    over the strain along i, under stress along i.
    """

    elastic_modulus_x: Stress = Field(examples=["181 GPa"])
    """Young's modulus along the joint"""
    elastic_modulus_y: Stress = Field(examples=["10.3 GPa"])
    """Young's modulus through the thickness"""
    elastic_modulus_z: Stress = Field(examples=["10.3 GPa"])
    """Young's modulus across the width"""
    poisson_ratio_xy: Annotated[float, Unit("")] = Field(examples=[0.28])
    """Poisson's ratio, contraction along y under stress along x"""
    poisson_ratio_xz: Annotated[float, Unit("")] = Field(examples=[0.28])
    """Poisson's ratio, contraction along z under stress along x"""
    poisson_ratio_yz: Annotated[float, Unit("")] = Field(examples=[0.4])
    """Poisson's ratio, contraction along z under stress along y"""
    shear_modulus_xy: Stress = Field(examples=["7.17 GPa"])
    """Shear modulus in the plane of the section"""
    expansion_x: Expansion | None = Field(None, examples=["0.02e-6 1/K"])
    """Thermal expansion along the joint"""
    expansion_y: Expansion | None = Field(None, examples=["22e-6 1/K"])
    """Thermal expansion through the thickness"""
    expansion_z: Expansion | None = Field(None, examples=["22e-6 1/K"])
    """Thermal expansion across the width"""

    @model_validator(mode="after")
    def _stable(self) -> Self:
        # Positive strain energy (Lekhnitskii, from memory): each |nu_ij| < sqrt(E_i/E_j) and a positive determinant.
        e = {i: getattr(self, f"elastic_modulus_{i}") for i in "xyz"}
        nu = {ij: getattr(self, f"poisson_ratio_{ij}") for ij in ("xy", "xz", "yz")}
        for (i, j), value in ((tuple(ij), v) for ij, v in nu.items()):
            bound = (e[i] / e[j]) ** 0.5
            if abs(value) >= bound:
                refuse(f"poisson_ratio_{i}{j}", value, f"must lie between -{bound:.4g} and {bound:.4g} for these moduli")
        xy, xz, yz = (nu[i + j] ** 2 * e[j] / e[i] for i, j in ("xy", "xz", "yz"))
        if 1 - xy - xz - yz - 2 * nu["xy"] * nu["yz"] * nu["xz"] * e["z"] / e["x"] <= 0:
            refuse("poisson_ratio_yz", nu["yz"], "together with the other two it makes the material unstable; lower it")
        return self

    def engineering_constants(self, environment: Environment | None = None) -> dict[str, float]:
        """Return E_x, E_y, E_z, nu_xy, nu_xz, nu_yz, G_xy and expansions (MPa, 1/K), the same in any environment."""
        return dict(
            e_x=self.elastic_modulus_x,
            e_y=self.elastic_modulus_y,
            e_z=self.elastic_modulus_z,
            nu_xy=self.poisson_ratio_xy,
            nu_xz=self.poisson_ratio_xz,
            nu_yz=self.poisson_ratio_yz,
            g_xy=self.shear_modulus_xy,
            a_x=self.expansion_x or 0.0,
            a_y=self.expansion_y or 0.0,
            a_z=self.expansion_z or 0.0,
        )


class Adhesive(Isotropic):
    """An adhesive. What lies beyond elasticity is kept for the analyses that need it.

    With a table of the tensile yield stress against temperature the whole
    hardening curve is scaled by it.
    """

    elastic_modulus: Stress | None = Field(None, examples=["2 GPa"])
    """Young's modulus E; any two of elastic_modulus, shear_modulus, poisson_ratio"""
    shear_modulus: Stress | None = Field(None, examples=["0.74 GPa"])
    """Shear modulus G"""
    poisson_ratio: PoissonRatio | None = Field(None, examples=[0.35])
    """Poisson's ratio nu"""
    expansion: Expansion | None = Field(None, examples=["60e-6 1/K"])
    """Coefficient of thermal expansion; needed when the temperature changes"""
    tensile_yield: Stress | None = Field(None, examples=["13 MPa"])
    """Tensile yield stress"""
    tensile_strength: Stress | None = Field(None, examples=["22 MPa"])
    """Tensile strength"""
    shear_strength: Stress | None = Field(None, examples=["18 MPa"])
    """Shear strength"""
    shear_yield: Stress | None = Field(None, examples=["15 MPa"])
    """Shear yield stress"""
    failure_shear_strain: Annotated[float, Unit("", gt=0)] | None = Field(None, examples=[0.4])
    """Engineering shear strain at failure"""
    toughness_mode_1: Annotated[float, Unit("N/mm", gt=0)] | None = Field(None, examples=["0.43 N/mm"])
    """Fracture toughness in mode I (opening)"""
    toughness_mode_2: Annotated[float, Unit("N/mm", gt=0)] | None = Field(None, examples=["4.7 N/mm"])
    """Fracture toughness in mode II (shear)"""
    mixed_mode_rule: Literal["power", "b-k"] = Field("power", examples=["power"])
    """Fracture under opening and shear together: power law, or b-k (Benzeggagh and Kenane)"""
    mixed_mode_exponent: Annotated[float, Unit("", gt=0, le=10)] | None = Field(None, examples=[1.0])
    """Exponent of that rule; 1 for the power law when left out, needed by b-k"""
    plateau_mode_1: Annotated[float, Unit("", ge=0, lt=1)] = Field(0.0, examples=[0.0])
    """Cohesive model, opening: share of the separation from onset to failure on which the strength stays; 0 is bilinear"""
    plateau_mode_2: Annotated[float, Unit("", ge=0, lt=1)] = Field(0.0, examples=[0.5])
    """The same in shear: 0 (bilinear) for a brittle adhesive, up to 0.9 for one that flows before it fails"""
    yield_surface: Literal["von-mises", "cone", "paraboloid"] = Field("von-mises", examples=["von-mises"])
    """Yielding: von-mises (pressure has no part), cone or paraboloid (compression delays it)"""
    compression_ratio: Annotated[float, Unit("", ge=1, le=10)] | None = Field(None, examples=[1.3])
    """Yield stress in compression over that in tension; needed by cone and paraboloid"""
    plastic_poisson_ratio: Annotated[float, Unit("", ge=0, le=0.5)] | None = Field(None, examples=[0.4])
    """Poisson's ratio of plastic strain under tension, for cone and paraboloid; 0.5 (no change of volume) when left out"""
    at_temperature: AtTemperature | None = Field(
        None, examples=[{"temperature": ["-40 degC", "23 degC", "120 degC"], "elastic_modulus": ["2.3 GPa", "2 GPa", "0.6 GPa"]}]
    )
    """Figures that depend on the temperature, in place of those above"""

    @model_validator(mode="before")
    @classmethod
    def _from_library(cls, data: Any, info: ValidationInfo) -> Any:
        """Take a named adhesive's figures; keys beside ``material`` take the place of its own."""
        if not isinstance(data, dict) or "material" not in data:
            return data
        own = {key: value for key, value in data.items() if key != "material"}
        if not isinstance(data["material"], str):
            refuse("material", data["material"], "must be the name of an adhesive, in quotes")
        try:
            table = named("adhesive", data["material"], (info.context or {}).get("library"))
        except ValueError as error:
            refuse("material", data["material"], str(error))
        return overridden(table, own)

    @model_validator(mode="after")
    def _has_surface(self) -> Self:
        if self.yield_surface != "von-mises" and self.compression_ratio is None:
            why = f'yield_surface = "{self.yield_surface}" needs it (yield stress in compression over that in tension); add it'
            refuse("compression_ratio", None, why)
        return self

    @model_validator(mode="after")
    def _has_exponent(self) -> Self:
        if self.mixed_mode_rule == "b-k" and self.mixed_mode_exponent is None:
            refuse("mixed_mode_exponent", None, 'mixed_mode_rule = "b-k" needs it (often 1 to 3, from mixed-mode tests); add it')
        return self

    @property
    def yields(self) -> bool:
        """Whether it states where yielding begins."""
        at = self.at_temperature
        return super().yields or (at is not None and at.tensile_yield is not None)

    def elastic_at(self, environment: Environment) -> tuple[float, float]:
        """Return Young's modulus (MPa) and Poisson's ratio in an environment."""
        e, nu = super().elastic_at(environment)
        return self._at("elastic_modulus", environment, e), nu

    def expansion_at(self, environment: Environment) -> float:
        """Return the expansion (1/K), secant from the stress-free temperature, in an environment; 0 where none is stated."""
        return self._at("expansion", environment, super().expansion_at(environment))

    def _at(self, figure: str, environment: Environment, otherwise: float) -> float:
        if self.at_temperature is None or environment.temperature is None:
            return otherwise
        return self.at_temperature.figure(figure, environment.temperature, otherwise)


def _directional(value: Any) -> str:
    keys = value if isinstance(value, dict) else getattr(value, "model_fields_set", ())
    return "orthotropic" if any(str(key).endswith(("_x", "_y", "_z", "_xy", "_xz", "_yz")) for key in keys) else "isotropic"


def _by_name(value: Any, info: ValidationInfo) -> Any:
    if not isinstance(value, str | dict | Material):
        raise ValueError("must be the name of a material, in quotes, or a table of its properties")
    return named("adherend", value, (info.context or {}).get("library")) if isinstance(value, str) else value


AdherendMaterial = Annotated[
    Annotated[Isotropic, Tag("isotropic")] | Annotated[Orthotropic, Tag("orthotropic")],
    Discriminator(_directional),
    BeforeValidator(_by_name, json_schema_input_type=str | Isotropic | Orthotropic),
]
"""A library name; or figures: isotropic, or orthotropic when the moduli are given by direction."""
