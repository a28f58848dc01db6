"""What is bonded, and with what: elastic constants and limits, each with its source."""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Discriminator, Field, Tag, ValidationInfo, model_validator

from fejoint.joint.library import ELASTIC, named
from fejoint.joint.model import Model, Unit, refuse

__all__ = ["AdherendMaterial", "Adhesive", "Isotropic", "Orthotropic", "overridden"]

Stress = Annotated[float, Unit("MPa", gt=0)]
Expansion = Annotated[float, Unit("1/K")]
PoissonRatio = Annotated[float, Unit("", gt=-1, lt=0.5)]

GIVEN = "given by the user"


class Material(Model):
    """Base of all materials: a name and, figure by figure, where the numbers come from."""

    name: str = ""
    """What the material is called in tables and reports"""
    sources: dict[str, str] = Field(default_factory=dict)
    """Source of each figure, by its key"""

    @model_validator(mode="before")
    @classmethod
    def _split_sources(cls, data: Any) -> Any:
        """Part ``key = {value = ..., source = ...}`` into the value and its source."""
        if not isinstance(data, dict):
            return data
        values, sources = {}, dict(data.get("sources") or {})
        for key, given in data.items():
            if isinstance(given, dict) and key != "sources":
                if set(given) != {"value", "source"}:
                    refuse(key, given, 'must be a quantity, or { value = ..., source = "..." }')
                values[key], sources[key] = given["value"], str(given["source"])
            elif key != "sources":
                values[key] = given
        return {**values, "sources": sources}

    def __hash__(self) -> int:  # `sources` is a dict, which has no hash of its own
        return hash((type(self), self.name, *self.figures().items()))

    def figures(self) -> dict[str, float]:
        """Return every figure that was given, by key, in N-mm-MPa-K."""
        return {k: v for k in type(self).model_fields if isinstance(v := getattr(self, k), float)}

    def source(self, figure: str) -> str:
        """Return where a figure comes from."""
        return self.sources.get(figure, GIVEN)


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

    def engineering_constants(self) -> dict[str, float]:
        """Return E_x, E_y, E_z, nu_xy, nu_xz, nu_yz, G_xy and expansions (MPa, 1/K)."""
        e, g, nu, a = self.elastic_modulus, self.shear_modulus, self.poisson_ratio, self.expansion or 0.0
        assert e is not None and g is not None  # set by _complete
        assert nu is not None
        return dict(e_x=e, e_y=e, e_z=e, nu_xy=nu, nu_xz=nu, nu_yz=nu, g_xy=g, a_x=a, a_y=a, a_z=a)


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

    def engineering_constants(self) -> dict[str, float]:
        """Return E_x, E_y, E_z, nu_xy, nu_xz, nu_yz, G_xy and expansions (MPa, 1/K)."""
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
    """An adhesive. Limits beyond elasticity are kept for the analyses that need them."""

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


def overridden(table: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """Return a library material's table with figures of its user's own in place of some.

    Of the elastic constants those not named follow: where one modulus is
    changed the ratio stays, where the ratio is changed the modulus stays.
    """
    changed = [key for key in ELASTIC if key in own]
    if changed and any(key in table for key in ELASTIC):
        kept = _any_two(table)
        keep = [] if len(changed) > 1 else ["elastic_modulus" if changed == ["poisson_ratio"] else "poisson_ratio"]
        table = {key: value for key, value in table.items() if key not in ELASTIC}
        table.update({key: kept[key] for key in keep})
    return {**table, **own}


def _any_two(table: dict[str, Any]) -> dict[str, Any]:
    """Return all three elastic constants of a library table, a derived one with its origin."""
    full = Isotropic.model_validate({key: table[key] for key in ELASTIC if key in table})
    derived = {"source": "follows from the library's other two elastic constants"}
    return {key: table.get(key, {"value": getattr(full, key), **derived}) for key in ELASTIC}


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
