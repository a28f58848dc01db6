"""What every part of a joint's description shares: immutable, checked, units at the door.

A field is declared once, with its unit, range, meaning and an example; the
reader, the JSON schema, the commented template and the error sentences all
come from that one declaration.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import shorten
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn, Self, cast

from annotated_types import Ge, GroupedMetadata, Gt, Le, Lt
from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

from fejoint.errors import JointError
from fejoint.units import as_number

if TYPE_CHECKING:
    from pydantic._internal._model_construction import ModelMetaclass
else:  # pydantic's metaclass has no public name
    ModelMetaclass = type(BaseModel)

__all__ = ["Model", "Unit", "as_joint_error", "in_order", "models_in", "refuse", "unit_of", "whole"]


@dataclass(frozen=True)
class Unit(GroupedMetadata):
    """Marks a number as a quantity: given bare, as text with a unit, or as a pint quantity; with its range.

    Used as ``Annotated[float, Unit("mm", gt=0)]``.
    """

    unit: str
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None

    def __iter__(self) -> Iterator[Any]:
        """Return what pydantic makes of the mark."""
        unit = self.unit
        yield BeforeValidator(lambda value: as_number(value, unit), json_schema_input_type=float | str)
        for limit, bound in ((Gt, self.gt), (Ge, self.ge), (Lt, self.lt), (Le, self.le)):
            if bound is not None:
                yield limit(bound)


def refuse(key: str, value: Any, why: str) -> NoReturn:
    """Refuse the field `key` of the model being validated, from a check that looks at several fields.

    The key may be dotted, with the index of an item of a list among its parts.
    """
    raise PydanticCustomError("refused", "{why}", {"key": key, "value": value, "why": why})


def in_order(value: Any) -> Any:
    """Return arrays as lists, and refuse a set, whose order is not its user's; goes before a field that is a list."""
    if isinstance(value, set | frozenset):
        raise ValueError("must be a list in square brackets: a set has no order")
    return value.tolist() if hasattr(value, "tolist") and not hasattr(value, "units") else value


def whole(value: Any) -> Any:
    """Return whole numbers of other libraries as Python's own."""
    return int(value) if hasattr(value, "__index__") and not isinstance(value, bool) else value


class _Checked(ModelMetaclass):
    """Turns pydantic's report into one sentence when a part is made from Python."""

    def __call__(cls, *args: Any, **kwargs: Any) -> Any:
        try:
            return super().__call__(*args, **kwargs)
        except ValidationError as error:
            raise as_joint_error(error, cast("type[Model]", cls)) from None


class Model(BaseModel, metaclass=_Checked):
    """Base of the joint's parts: frozen, equal by value, unknown keys refused."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", populate_by_name=True, use_attribute_docstrings=True, hide_input_in_errors=True
    )

    in_a_line: ClassVar[bool] = False
    """Whether a template shows it in one line, as an optional key, and not as a table"""

    def replace(self, **changes: Any) -> Self:
        """Return a copy with some fields changed, validated anew.

        Raises
        ------
        JointError
            A changed value, or its combination with the others, is refused.
        """
        given = {name: getattr(self, name) for name in self.model_fields_set}
        return type(self)(**{**given, **changes})


def as_joint_error(error: ValidationError, model: type[Model]) -> JointError:
    """Return the first thing wrong as one sentence: key, value, what is allowed."""
    # An unknown key comes first: it is often the misspelling of one that then counts as missing.
    details = sorted(error.errors(include_url=False), key=lambda e: e["type"] != "extra_forbidden")
    detail = details[0]
    context = detail.get("ctx", {})
    value = detail.get("input")
    place = [*detail["loc"]]
    if detail["type"] == "refused":
        place += [int(part) if part.isdigit() else part for part in context["key"].split(".")]
        value = context["value"]
    # The last part of an unknown key's place is what the user wrote, whatever it looks like.
    path, field, known = _followed(model, place, len(place) - (detail["type"] == "extra_forbidden"))
    key = ".".join(path)
    unit = unit_of(field) or ""
    if detail["type"] == "missing":
        meaning = f" ({field.description.strip().rstrip('.')})" if field is not None and field.description else ""
        example = f", for example {path[-1]} = {_shown(field.examples[0])}" if field is not None and field.examples else ""
        return JointError(f"{key} is missing{meaning}: add it{example}.")
    if detail["type"] == "extra_forbidden":
        near = difflib.get_close_matches(path[-1], known, n=1)
        hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}."
        return JointError(f"{key}: unknown key; {hint}")
    if detail["type"] == "union_tag_invalid":
        name = context["discriminator"].replace("'", "")
        key, value = f"{key}.{name}", value.get(name) if isinstance(value, dict) else context["tag"]
    if detail["type"] == "union_tag_not_found":
        return JointError(f"{key}.{context['discriminator']}".replace("'", "") + " is missing: add it.")
    rule = _rule(detail, context, f" {unit}".rstrip())
    if value is None:
        return JointError(f"{key} is missing: {rule}.")
    return JointError(f"{key} = {_shown(value, unit)}: {rule}.")


def unit_of(field: Any) -> str | None:
    """Return the inside unit of a declared quantity; None for a field that is none."""
    if field is None:
        return None
    metadata = [*field.metadata, *_metadata(field.annotation)]
    return next((item.unit for item in metadata if isinstance(item, Unit)), None)


def _metadata(annotation: Any) -> Iterator[Any]:
    """Return the marks anywhere inside an annotation such as ``tuple[Annotated[float, ...], ...] | None``."""
    yield from getattr(annotation, "__metadata__", ())
    for part in (*getattr(annotation, "__args__", ()), getattr(annotation, "__origin__", None)):
        if part is not None and not isinstance(part, type):
            yield from _metadata(part)


def _rule(detail: Any, context: dict[str, Any], unit: str) -> str:
    rules = {
        "greater_than": "must lie above {gt:g}" + unit,
        "greater_than_equal": "must be at least {ge:g}" + unit,
        "less_than": "must lie below {lt:g}" + unit,
        "less_than_equal": "must be at most {le:g}" + unit,
        "literal_error": "must be {expected}",
        "model_type": "must be a table of keys",
        "model_attributes_type": "must be a table of keys",
        "bool_type": "must be true or false",
        "bool_parsing": "must be true or false",
        "string_type": "must be text in quotes",
        "dict_type": "must be a table of keys",
        "int_type": "must be a whole number",
        "tuple_type": "must be a list in square brackets",
        "too_short": "must hold at least {min_length}",
        "too_long": "must hold at most {max_length}",
        "union_tag_invalid": "must be one of {expected_tags}",
    }
    if detail["type"] in rules:
        return rules[detail["type"]].format(**context).replace("'", '"')
    if detail["type"] == "value_error":
        return str(context["error"])
    return str(detail["msg"]).rstrip(".")


def _shown(value: Any, unit: str = "") -> str:
    if value is True or value is False:
        return str(value).lower()
    if isinstance(value, Model):
        return "{...}"
    if isinstance(value, list | tuple):
        return shorten(f"[{', '.join(_shown(v, unit) for v in value)}]", 60, placeholder=" ...")
    if isinstance(value, float | int):
        # A whole number may have more digits than Python turns into text, or into a float.
        huge = isinstance(value, int) and abs(value) >= 1e300
        text = f"{'-' if value < 0 else ''}1e300 or more" if huge else f"{value:g}"
        return f'"{text} {unit.removesuffix(" absolute")}"' if unit else text
    try:  # JSON writes line ends and control characters as TOML does
        text = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)
    except (ValueError, RecursionError):  # too many digits, nested too deeply
        text = "{...}"
    return text if len(text) <= 60 else text[:57] + "..."


def _followed(model: type[Model], place: list[int | str], keys_from: int) -> tuple[list[str], Any, list[str]]:
    """Follow pydantic's place of an error into a model.

    Returns the path in keys of the file, the declaration of the field there
    (None when there is none) and the keys known beside it. What pydantic adds
    to tell the options of a union apart is no part of the file: it narrows
    them and is left out, up to the part `keys_from`.
    """
    options: list[Any] = [model]
    path: list[str] = []
    known: list[str] = []
    field = None
    for i, part in enumerate(place):
        narrowed = [m for m in options if part in (m.__name__.lower(), getattr(m.model_fields.get("kind"), "default", None))]
        if narrowed and 0 < i < keys_from:
            options = narrowed
            continue
        if isinstance(part, int):  # an item of a list: declared with the list
            path[-1] += f" item {part + 1}"
            continue
        path.append(part if part.isprintable() and len(part) <= 60 else _shown(part))
        known = [f.alias or name for m in options for name, f in m.model_fields.items()]
        found = [f for m in options for name, f in m.model_fields.items() if part in (f.alias, name)]
        field = found[0] if found else None
        options = models_in(field.annotation) if field is not None else []
    return path, field, known


def models_in(annotation: Any) -> list[Any]:
    """Return the models inside an annotation such as ``A | B | None``."""
    if isinstance(annotation, type) and issubclass(annotation, Model):
        return [annotation]
    return [m for part in getattr(annotation, "__args__", ()) for m in models_in(part)]
