"""The joint file: TOML to `Joint` and back, its JSON schema and its commented template."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.families import FAMILIES
from fejoint.joint.materials import Material
from fejoint.joint.model import Model, as_joint_error, models_in, unit_of
from fejoint.joint.sourced import Sourced
from fejoint.joint.strength import StrengthRules

__all__ = [
    "commented",
    "document_from_joint",
    "document_from_text",
    "in_one_line",
    "joint_from_document",
    "joint_from_text",
    "joint_schema",
    "joint_to_toml",
    "load",
    "path_under",
    "plain",
    "read_text",
    "template",
    "with_changes",
    "with_knockdowns",
]

# Optional keys that a template shows as given, because one of several choices must be.
TEMPLATE_KEYS = {"Adhesive": ("elastic_modulus", "poisson_ratio"), "SteppedLap": ("steps", "overlap_length"), "Load": ("force",)}
MAX_BYTES = 1_000_000  # a joint file is a page of text; more is something else
# Tables of the file that are no part of the joint: materials to choose from, what to do with the joint, how it is bonded.
BESIDE_THE_JOINT = ("materials", "sweep", "process")


def load(path: str | Path, changes: Iterable[str] = (), material_files: Iterable[str | Path] = ()) -> Joint:
    """Return the joint that a file describes.

    Parameters
    ----------
    path : str or Path
        A joint file (TOML).
    changes : iterable of str
        ``KEY=VALUE`` with a dotted key, in place of what the file says.
    material_files : iterable of str or Path
        Files of further materials, in the form of the shipped library.

    Raises
    ------
    JointError
        The file cannot be read or is not TOML, or a value is refused.
    """
    return joint_from_text(read_text(path), changes, [read_text(f) for f in material_files], str(path))


def read_text(path: str | Path) -> str:
    """Return the text of a file; JointError in one sentence when that cannot be done."""
    try:
        with Path(path).open("rb") as file:
            content = file.read(MAX_BYTES + 1)  # of a device there may be no end
    except OSError as error:
        raise JointError(f"{path}: cannot be read ({(error.strerror or str(error)).lower()}); check the path.") from None
    except (TypeError, ValueError):  # no text, or characters that no name has
        shown = f"{path!r}" if isinstance(path, str | Path) else f"a {type(path).__name__}"
        raise JointError(f"{shown}: can be no name of a file; check the path.") from None
    if len(content) > MAX_BYTES:
        raise JointError(f"{path}: larger than {MAX_BYTES} bytes, so it is no joint file; give a TOML file.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise JointError(f"{path}: is not text; give a joint file (TOML, UTF-8).") from None


def path_under(folder: str | Path, name: str) -> Path | None:
    """Return the path of a file that a file of a folder names; None where it would lie outside that folder."""
    here = Path(folder)
    try:
        path = here / name
        inside = not Path(name).is_absolute() and path.resolve().is_relative_to(here.resolve())
    except (OSError, ValueError, RuntimeError):
        return None
    return path if inside else None


def joint_from_text(
    text: str, changes: Iterable[str] = (), material_texts: Iterable[str] = (), name: str = "joint file"
) -> Joint:
    """Return the joint that the text of a joint file describes (see `load`)."""
    return joint_from_document(document_from_text(text, changes, material_texts, name), name)


def document_from_text(
    text: str, changes: Iterable[str] = (), material_texts: Iterable[str] = (), name: str = "joint file"
) -> dict[str, Any]:
    """Return what the text of a joint file says as a dict, changes made, all further materials under ``materials``.

    Raises
    ------
    JointError
        It is not TOML, or a change does not fit it.
    """
    try:
        return _document(text, changes, material_texts, name)
    except RecursionError:
        raise JointError(f"{name}: its tables or lists are nested too deeply for a joint file.") from None


def document_from_joint(joint: Joint) -> dict[str, Any]:
    """Return the dict that `joint_from_document` makes the same joint of."""
    return plain(joint)


def joint_from_document(document: Mapping[str, Any], name: str = "joint file") -> Joint:
    """Return the joint that the dict of a joint file describes; its materials and its sweep are no part of it.

    Raises
    ------
    JointError
        A value is refused.
    """
    try:
        return _validated(document)
    except RecursionError:
        raise JointError(f"{name}: its tables or lists are nested too deeply for a joint file.") from None


def with_changes(text: str, changes: Iterable[str], material_texts: Iterable[str] = ()) -> str:
    """Return the joint file's text with changes and materials written into it, comments kept.

    What it says is all that is needed to make the same joint again.
    """
    changes, material_texts = list(changes), list(material_texts)
    if not changes and not material_texts:
        return text
    try:
        return _written(text, changes, material_texts)
    except RecursionError:
        raise JointError("joint file: its tables or lists are nested too deeply for a joint file.") from None


def with_knockdowns(text: str, rules: StrengthRules) -> str:
    """Return the joint file's text with the knockdowns of `rules` in place of its own, comments kept."""
    import tomlkit

    document = tomlkit.parse(text)
    _set(document, ["strength", "knockdown"], [knockdown.model_dump() for knockdown in rules.knockdown])
    return tomlkit.dumps(document)


def _written(text: str, changes: Iterable[str], material_texts: Iterable[str]) -> str:
    import tomlkit

    document = tomlkit.parse(text)
    for change in changes:
        key, value = _parse_change(change)
        _set(document, key, value)
    if material_texts:
        merged = _document(text, (), material_texts, "joint file")["materials"]
        document["materials"] = merged
    return tomlkit.dumps(document)


def joint_to_toml(joint: Joint) -> str:
    """Return the joint as a joint file, every quantity with its unit."""
    import tomlkit

    return tomlkit.dumps(plain(joint))


def joint_schema(tables: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return the JSON schema of the joint file, for editors; `tables` are schemas of tables beside the joint, by name."""
    schema = Joint.model_json_schema(by_alias=True)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "fejoint joint file"
    named = {"type": "string", "description": "Name of a library adhesive; the other keys take the place of its figures"}
    schema["$defs"]["Adhesive"]["properties"]["material"] = named
    figure = {"type": "object", "properties": {"value": {}, "source": {"type": "string"}}, "required": ["value", "source"]}
    for table in ("Isotropic", "Orthotropic", "Adhesive", "Hardening", "AtTemperature"):
        for key, field in schema["$defs"][table]["properties"].items():
            options = field.get("anyOf", [field] if field.get("type") == "array" else [])
            options = [option for option in options if option != {"type": "null"}]
            if options and key not in ("sources", "name") and not any("$ref" in option for option in options):
                schema["$defs"][table]["properties"][key] = _either(field, options, figure)
    for family in FAMILIES.values():  # a file names its family; only Python has it from the class
        schema["$defs"][family.__name__]["required"].insert(0, "kind")
    schema["properties"]["materials"] = {
        "type": "object",
        "description": "Materials of this file's own, in the form of the shipped library: "
        "[materials.adherend.NAME], [materials.adhesive.NAME]",
    }
    schema["properties"].update(tables or {})
    return schema


def _either(field: dict[str, Any], options: list[Any], figure: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a figure that is given bare or with its source; what says what it means stays outside."""
    outside: dict[str, Any] = {key: field[key] for key in ("default", "description", "examples", "title") if key in field}
    inside = [{key: value for key, value in option.items() if key not in outside} for option in options]
    return {"anyOf": [*inside, figure], **outside}


def template(kind: str) -> str:
    """Return a commented joint file of a family, ready to be edited.

    Raises
    ------
    JointError
        Unknown family.
    """
    if kind not in FAMILIES:
        raise JointError(f"{kind}: no such joint family; known: {', '.join(FAMILIES)}.")
    lines = ["# Joint file of fejoint. Quantities are text with a unit; bare numbers are N, mm, MPa, K."]
    lines += ["# Lines that begin with '#' are defaults or optional keys.", ""]
    commented(Joint, (), lines, {"joint": FAMILIES[kind]})
    return "\n".join(lines) + "\n"


# ---- reading -------------------------------------------------------------


def _parse(text: str, name: str) -> dict[str, Any]:
    try:
        document = tomllib.loads(text)
        repr(document)  # a hexadecimal number may have more digits than Python writes
        return document
    except ValueError as error:  # TOML's own, and Python's on a whole number of more than 4300 digits
        raise JointError(f"{name}: is not valid TOML: {error}.") from None
    except RecursionError:
        raise JointError(f"{name}: is not valid TOML: nested too deeply.") from None


def _document(text: str, changes: Iterable[str], material_texts: Iterable[str], name: str) -> dict[str, Any]:
    """Return the file as a dict with changes made and all further materials under ``materials``."""
    document = _parse(text, name)
    for change in changes:
        key, value = _parse_change(change)
        _set(document, key, value)
    library = copy.deepcopy(document.get("materials", {}))
    _check_library(library, "materials")
    for extra in material_texts:
        table = _parse(extra, "material file")
        _check_library(table, "material file")
        for kind, materials in table.items():
            library.setdefault(kind, {}).update(materials)
    if library:
        document["materials"] = library
    return document


def _check_library(library: Any, where: str) -> None:
    shape = 'must hold tables [adherend."NAME"] and [adhesive."NAME"] only'
    if not isinstance(library, dict) or set(library) - {"adherend", "adhesive"}:
        raise JointError(f"{where}: {shape}.")
    for kind, materials in library.items():
        if not isinstance(materials, dict) or not all(isinstance(m, dict) for m in materials.values()):
            raise JointError(f"{where}.{kind}: {shape}.")


def _validated(document: Mapping[str, Any]) -> Joint:
    library = document.get("materials", {})
    fields = {key: value for key, value in document.items() if key not in BESIDE_THE_JOINT}
    kind = fields["joint"].get("kind") if isinstance(fields.get("joint"), dict) else None
    if kind is None and isinstance(fields.get("joint"), dict):
        raise JointError(f"joint.kind is missing (joint family): add it, one of {', '.join(FAMILIES)}.")
    try:
        return Joint.model_validate(fields, context={"library": library}, by_name=False, by_alias=True)
    except ValidationError as error:
        raise as_joint_error(error, Joint) from None


def _parse_change(change: str) -> tuple[list[str], Any]:
    key, equals, value = change.partition("=") if isinstance(change, str) else ("", "", "")
    path = [part.strip() for part in key.split(".")]
    if not equals or not all(path) or not _is_text(change):
        raise JointError(f"--set {change}: must be KEY=VALUE with a dotted key, such as joint.overlap_length=20mm.")
    value = value.strip()
    try:  # a TOML value: number, true, list, quoted text ...
        given = tomllib.loads(f"value = {value}")["value"]
        repr(given)  # Python writes no number of more than 4300 digits
    except ValueError:  # ... or bare text
        return path, value
    return path, given


def _is_text(given: str) -> bool:
    """Return whether a text can be written to a file: an argument that is not UTF-8 cannot."""
    try:
        given.encode()
    except UnicodeEncodeError:
        return False
    return True


def _set(document: Any, path: list[str], value: Any) -> None:
    for part in path[:-1]:
        if part not in document:
            document[part] = {}
        document = document[part]
        if not isinstance(document, dict):
            raise JointError(f"--set {'.'.join(path)}: {part} is a value, not a table; check the key.")
    document[path[-1]] = value


# ---- writing -------------------------------------------------------------


def plain(model: Model) -> dict[str, Any]:
    """Return a part of a joint as nested dicts of TOML values, leaving out what was not given."""
    import tomlkit

    out: dict[str, Any] = {}
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        if name == "sources" or (name not in model.model_fields_set and not field.is_required() and name != "kind"):
            continue
        if value is None or (isinstance(model, Material) and name == "name" and not value):
            continue
        if isinstance(value, Model):
            out[field.alias or name] = plain(value)
            continue
        unit = (unit_of(field) or "").removesuffix(" absolute")
        if isinstance(value, tuple):
            shown: Any = [plain(v) if isinstance(v, Model) else f"{v!r} {unit}" if unit else v for v in value]
        else:
            shown = f"{value!r} {unit}" if unit and not isinstance(value, int) else value
        if isinstance(model, Sourced) and name in model.sources:
            figure = tomlkit.inline_table()
            figure.update({"value": shown, "source": model.sources[name]})
            shown = figure
        out[field.alias or name] = shown
    return out


def commented(model: type[Model], path: tuple[str, ...], lines: list[str], models: Mapping[str, type[Model]]) -> None:
    """Append the commented keys of a model, then its tables; `models` are those of keys that may hold one of several."""
    tables: list[tuple[str, Any, str]] = []
    for name, field in model.model_fields.items():
        key = field.alias or name
        inner = [models[key]] if key in models else models_in(field.annotation)
        if len(inner) == 1 and not _in_a_line(field, inner[0]):
            if field.examples or isinstance(field.annotation, type) or key in models:
                tables.append((key, inner[0], field.description or ""))
            continue
        if not field.examples:
            continue
        text = in_one_line(field.examples[0])
        optional = not field.is_required() and name not in ("kind", "title", *TEMPLATE_KEYS.get(model.__name__, ()))
        lines.append(f"{'# ' if optional else ''}{key} = {text}".ljust(43) + f" # {field.description}")
    for key, inner_model, meaning in tables:
        lines += ["", f"[{'.'.join((*path, key))}]".ljust(43) + f" # {meaning}"]
        commented(inner_model, (*path, key), lines, models)


def _in_a_line(field: Any, inner: type[Model]) -> bool:
    """Return whether a template shows a part in one line: a list of tables, one of a material's, or one that says so."""
    return inner.in_a_line or "tuple" in str(field.annotation) or (issubclass(inner, Sourced) and not issubclass(inner, Material))


def in_one_line(value: Any) -> str:
    """Return an example as TOML in one line."""
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{key} = {in_one_line(item)}' for key, item in value.items())} }}"
    if isinstance(value, list):
        return f"[{', '.join(map(in_one_line, value))}]"
    return json.dumps(value)
