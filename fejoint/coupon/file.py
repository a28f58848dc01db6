"""The coupon-test file, TOML: from its text to the test, and from the tester's files that it names to pulls."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from fejoint.coupon.curve import Pull
from fejoint.coupon.description import Coupons
from fejoint.coupon.reduction import fitted_line
from fejoint.coupon.tester import pulls_from_file
from fejoint.errors import JointError
from fejoint.joint.file import path_under
from fejoint.joint.model import Model, as_joint_error

__all__ = ["coupon_test_from_text", "coupons_schema", "pulls_of", "within"]


class _InFile(Model):
    """What errors call it: keys are dotted from the file's top."""

    coupons: Coupons


def coupon_test_from_text(text: str, place: str = "coupon-test file") -> Coupons:
    """Return the test that the text of a coupon-test file describes; tables beside ``[coupons]`` are others'.

    Raises
    ------
    JointError
        It is no TOML, has no ``[coupons]``, or a value is refused.
    """
    try:
        document: Mapping[str, Any] = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise JointError(f"{place}: is no TOML ({error}).") from None
    if not isinstance(document.get("coupons"), dict):
        raise JointError(f"{place}: has no [coupons] table; write it, with source, standard or kind, and [coupons.data].")
    try:
        return _InFile.model_validate({"coupons": document["coupons"]}, by_name=False, by_alias=True).coupons
    except ValidationError as error:
        raise JointError(f"{place}: {as_joint_error(error, _InFile)}") from None


def coupons_schema() -> dict[str, Any]:
    """Return the JSON schema of the ``[coupons]`` table."""
    return Coupons.model_json_schema(by_alias=True)


def within(folder: Path, name: str, key: str) -> Path:
    """Return the path of a file named in a file of that folder.

    Raises
    ------
    JointError
        It lies outside the folder; `key` is where it was named.
    """
    path = path_under(folder, name)
    if path is None:
        raise JointError(f'{key} = "{name[:80]}": must lie beside the file that names it, or in a folder under it.')
    return path


def pulls_of(test: Coupons, folder: Path) -> tuple[list[Pull], float, float | None]:
    """Return the pulls of a test, and what is taken off them.

    Parameters
    ----------
    test : Coupons
    folder : Path
        Of the coupon-test file.

    Returns
    -------
    (pulls, machine_compliance, metal_compliance)
        Machine and grips' compliance (mm/N) is taken off already; that of the run on metal alone (None without) is not.

    Raises
    ------
    JointError
        A file cannot be read, two hold specimens of one name, or a specimen with an entry is in none.
    """
    from fejoint.coupon.thick_adherend import metal_compliance

    data = test.data
    machine = data.machine_compliance or 0.0
    if data.compliance_run is not None:
        run = pulls_from_file(within(folder, data.compliance_run, "coupons.data.compliance_run"), data)[0]
        machine = _machine(run)
    metal = None
    if data.metal_run is not None:
        metal = metal_compliance(pulls_from_file(within(folder, data.metal_run, "coupons.data.metal_run"), data)[0])
    found: dict[str, tuple[Pull, str]] = {}
    for name in data.files:
        for pull in pulls_from_file(within(folder, name, "coupons.data.files"), data):
            if pull.name in found:
                raise JointError(
                    f"specimen {pull.name} is in {found[pull.name][1]} and in {name}; give each a name of its own, by "
                    "data.columns.specimen or the file's name."
                )
            top, own = int(np.argmax(pull.force)), pull.without_machine(machine)
            if machine and own.displacement[top] <= own.displacement[0]:
                raise JointError(
                    f"specimen {pull.name}: the machine's compliance, {machine:.3g} mm/N, takes off all of its displacement; "
                    "check machine_compliance, or compliance_run, and the units of the columns."
                )
            found[pull.name] = (own, name)
    missing = [one.name for one in test.specimens if one.name not in found]
    if missing:
        raise JointError(f'coupons.specimens: "{missing[0]}" is in none of the files; they hold {", ".join(list(found)[:20])}.')
    return [pull for pull, _ in found.values()], machine, metal


def _machine(run: Pull) -> float:
    """Return what machine and grips give way, mm/N: least squares over 20 to 90 % of the largest force on a stiff specimen."""
    last = int(np.argmax(run.force)) + 1
    inside = (run.force[:last] >= 0.2 * run.largest) & (run.force[:last] <= 0.9 * run.largest)
    line = fitted_line(run.force[:last][inside], run.displacement[:last][inside], f"{run.name} (compliance run)")
    if line.slope < 0:
        raise JointError(f"{run.name} (compliance run): displacement falls as force rises; check the columns.")
    return line.slope
