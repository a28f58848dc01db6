"""A case: a joint, what is known of it from outside the package, and how well it must be met; as data, in a TOML file.

The file is a joint file with two things more: ``[case]`` says what the case is
and where its values come from, and every ``[[expect]]`` holds one value
against one quantity, with a tolerance and the reason for it.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, NamedTuple, Self

from annotated_types import Len
from pydantic import Field, ValidationError, model_validator

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.file import read_text
from fejoint.joint.model import Model, Unit, as_joint_error, refuse
from fejoint.proof.document import joint_of, parted
from fejoint.proof.quantities import FINITE_ELEMENTS, QUANTITIES, Place, Quantity, bond_parts, bonds_at, theory_names
from fejoint.units import as_number

__all__ = ["About", "Case", "CaseFile", "Expectation", "case_files", "case_from_text", "shipped_cases"]

# What a quantity is called when a value is refused, by its unit, with an example.
MEASURES = {
    "MPa": ("a stress", "12 MPa"),
    "mm": ("a length", "0.05 mm"),
    "N": ("a force, or a moment per width", "80 N"),
    "N/mm": ("a force per width", "100 N/mm"),
    "": ("a number without unit", "0.5"),
}
PLACE = ("bondline", "at", "adherend", "part")


class About(Model):
    """What a case is."""

    title: str = Field("", examples=["pinned single lap: edge moment"])
    """What this case is"""
    source: str = Field(examples=["statics"])
    """Where the expected values come from; from memory, derived or frozen where they are"""
    note: str = Field("", examples=["what the case leaves out"])
    """What else a reader should know"""

    @model_validator(mode="after")
    def _said(self) -> Self:
        if not self.source.strip():
            refuse("source", self.source, "must say where the expected values come from")
        return self


class Expectation(Model):
    """One quantity of the joint, the value that it must have, and how closely."""

    quantity: str = Field(examples=["peak_shear"])
    """What is asked for; 'fejoint benchmark --quantities' lists all"""
    of: str = Field(FINITE_ELEMENTS, examples=[FINITE_ELEMENTS])
    """Who is asked: finite elements, or a theory by its name"""
    value: Any = Field(None, examples=["26.8 MPa"])
    """Expected value; or give theory"""
    theory: str | None = Field(None, examples=["Volkersen"])
    """The theory that gives the expected value of the same quantity"""
    tolerance: Annotated[float, Unit("", gt=0)] | None = Field(None, examples=[0.01])
    """Allowed difference as a share of the expected value; or give absolute"""
    absolute: Any = Field(None, examples=["0.1 MPa"])
    """Allowed difference, in the quantity's unit"""
    reason: str = Field(examples=["half a unit of the last digit given"])
    """Why this tolerance"""
    bondline: Annotated[int, Field(ge=1, strict=True)] | None = Field(None, examples=[1])
    """Which bondline, or tread of a stepped lap; by default all, or the one at x"""
    at: Annotated[float, Unit("mm")] | None = Field(None, examples=["12.5 mm"])
    """Place along the overlap, x"""
    adherend: str | None = Field(None, examples=["lower"])
    """Which adherend"""
    part: str | None = Field(None, examples=["bondline 1"])
    """Which part of the bond"""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        known = QUANTITIES.get(self.quantity)
        if known is None:
            near = difflib.get_close_matches(self.quantity, QUANTITIES, n=1)
            hint = f"did you mean {near[0]}?" if near else "'fejoint benchmark --quantities' lists all"
            refuse("quantity", self.quantity, f"no such quantity; {hint}".rstrip("."))
        for key, other in (("value", "theory"), ("tolerance", "absolute")):
            if getattr(self, key) is None and getattr(self, other) is None:
                refuse(key, None, f"give {key} or {other}")
            if getattr(self, key) is not None and getattr(self, other) is not None:
                refuse(other, getattr(self, other), f"only goes without {key}; leave one of them out")
        for key in ("value", "absolute"):
            if getattr(self, key) is not None:
                self._number(key, known.unit)
        if self.absolute is not None and self.allowed(1.0) <= 0:
            refuse("absolute", self.absolute, "must lie above 0")
        if self.tolerance is not None and self.value is not None and self.expected == 0:
            refuse("tolerance", self.tolerance, "is a share of the expected value, which is 0; give absolute")
        if not self.reason.strip():
            refuse("reason", self.reason, "must say why this tolerance")
        for key in PLACE:
            if getattr(self, key) is not None and key not in known.takes:
                refuse(key, getattr(self, key), f"does not go with {self.quantity}")
            if getattr(self, key) is None and key in known.needs:
                refuse(key, None, f"{self.quantity} needs it")
        for key in ("of", "theory"):
            if not known.theories and getattr(self, key) not in (None, FINITE_ELEMENTS):
                refuse(key, getattr(self, key), f"no theory gives {self.quantity}")
        return self

    def _number(self, key: str, unit: str) -> float:
        try:
            return as_number(getattr(self, key), unit)
        except ValueError:
            what, example = MEASURES[unit]
            refuse(key, getattr(self, key), f'must be {what}, such as "{example}"')

    @property
    def asked(self) -> Quantity:
        """The quantity that is asked for."""
        return QUANTITIES[self.quantity]

    @property
    def place(self) -> Place:
        """Where it is asked for."""
        return Place(self.bondline, self.at, self.adherend, self.part)

    @property
    def expected(self) -> float:
        """The expected value, in the quantity's unit; only where no theory gives it."""
        return self._number("value", self.asked.unit)

    @property
    def names(self) -> set[str]:
        """Who must be asked: finite elements, theories."""
        return {self.of, *([self.theory] if self.theory else [])}

    def allowed(self, expected: float) -> float:
        """Return the allowed difference from an expected value, in the quantity's unit."""
        if self.tolerance is not None:
            return self.tolerance * abs(expected)
        return self._number("absolute", self.asked.unit)

    @property
    def label(self) -> str:
        """The quantity and its place in words."""
        where = [f"{self.at:g} mm" if self.at is not None else "", self.adherend or "", self.part or ""]
        where.insert(0, f"bondline {self.bondline}" if self.bondline is not None else "")
        return " ".join([self.quantity, ", ".join(text.replace("_", " ") for text in where if text)]).strip()


class Case(Model):
    """A joint and what is expected of it."""

    name: str
    about: About = Field(alias="case")
    """What the case is and where its values come from"""
    expect: Annotated[tuple[Expectation, ...], Len(1)]
    """What is expected of the joint, one table [[expect]] a value"""
    joint: Joint
    """The joint"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        names = [FINITE_ELEMENTS, *theory_names(self.joint, edges=True)]
        for i, e in enumerate(self.expect, 1):
            for key, why in _unfit(e, self.joint, names):
                refuse(f"expect item {i}.{key}", getattr(e, key), why)
        return self


def _unfit(e: Expectation, joint: Joint, names: list[str]) -> Iterator[tuple[str, str]]:
    """Yield what an expectation asks for that its joint does not have, and why: bondlines, places, adherends, parts, theories."""
    parts, adherends, bonds = bond_parts(joint), joint.geometry.adherends(), bonds_at(joint, e.place)
    excluded = e.asked.excluded(joint)
    if excluded:
        yield "quantity", excluded
    if e.adherend is not None and e.adherend not in adherends:
        yield "adherend", f"no such adherend; this joint has {', '.join(adherends)}"
    if e.part is not None and e.part not in parts:
        yield "part", f"no such part of the bond; this joint has {', '.join(parts)}"
    if not bonds_at(joint, Place(bondline=e.bondline)):
        yield "bondline", f"no such bondline; this joint has {len(joint.geometry.bonds())}"
    if not bonds:
        yield "at", f"lies outside the bondline (0 to {joint.geometry.length:g} mm)"
    if e.at is not None and len(bonds) > 1:
        yield "bondline", f"say which: bondlines {' and '.join(str(b.number) for b in bonds)} lie at x = {e.at:g} mm"
    for key in ("of", "theory"):
        name = getattr(e, key)
        if name is not None and name not in names:
            near = difflib.get_close_matches(name, names, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known for this joint: {'; '.join(names)}"
            yield key, f"no such theory; {hint}"


class CaseFile(NamedTuple):
    """A case not read yet: its name, where it stands, and its text (the error instead, if it cannot be read)."""

    name: str
    place: str
    text: str | JointError

    def read(self) -> Case:
        """Return the case.

        Raises
        ------
        JointError
            It cannot be read, or is not as a case should be: file, key, what is allowed.
        """
        if isinstance(self.text, JointError):
            raise self.text
        return case_from_text(self.text, self.name, self.place)


def case_from_text(text: str, name: str = "case", place: str = "case file") -> Case:
    """Return the case that the text of a case file describes; `place` is what errors call the file.

    Raises
    ------
    JointError
    """
    document, own = parted(text, place)
    if "measured" in own:
        raise JointError(f"{place}: [measured] does not go with [case] and [[expect]]; give each a file of its own.")
    if isinstance(own.get("expect"), dict):
        raise JointError(f"{place}: expect is one table of a list: write [[expect]], in double brackets.")
    joint = joint_of(document, place)
    try:
        return Case.model_validate({"name": name, "joint": joint, **own}, by_name=True, by_alias=True)
    except ValidationError as error:
        raise JointError(f"{place}: {as_joint_error(error, Case)}") from None


def shipped_cases() -> list[CaseFile]:
    """Return the cases that ship with fejoint, by name."""
    files = [f for f in resources.files("fejoint.proof").joinpath("cases").iterdir() if f.name.endswith(".toml")]
    return [
        CaseFile(Path(f.name).stem, f.name, f.read_text(encoding="utf-8")) for f in sorted(files, key=lambda f: Path(f.name).stem)
    ]


def case_files(paths: Iterable[str | Path]) -> list[CaseFile]:
    """Return the cases of files, and of folders the ``*.toml`` in them, by name.

    Raises
    ------
    JointError
        No such file or folder, or a folder without cases.
    """
    found: list[CaseFile] = []
    for path in map(Path, paths):
        if not path.exists():
            raise JointError(f"{path}: no such file or folder; check the path.")
        files = sorted(path.glob("*.toml"), key=lambda file: file.stem) if path.is_dir() else [path]
        if not files:
            raise JointError(f"{path}: holds no case files (*.toml).")
        found += [CaseFile(file.stem, str(file), _text_of(file)) for file in files]
    return found


def _text_of(file: Path) -> str | JointError:
    try:
        return read_text(file)
    except JointError as error:
        return error
