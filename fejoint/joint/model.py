"""What every part of a joint's description shares: immutable, checked, units at the door.

A field is declared once, with its unit, range, meaning and an example; the
reader, the JSON schema, the commented template and the error sentences all
come from that one declaration.
"""

from __future__ import annotations

import difflib
from typing import Annotated, Any, NoReturn, cast

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic_core import PydanticCustomError

from fejoint.errors import JointError
from fejoint.units import as_number

__all__ = ["Model", "Quantity", "as_joint_error", "refuse"]


def Quantity(unit: str, **limits: float) -> Any:  # noqa: N802 - reads as the type that it makes
    """Return a field type: a number in the inside unit, given bare, as text with a unit, or as a pint quantity."""
    return Annotated[
        float,
        BeforeValidator(lambda value: as_number(value, unit), json_schema_input_type=float | str),
        Field(json_schema_extra={"unit": unit}, **limits),  # type: ignore[arg-type]  # limits are gt, ge, lt, le
    ]


def refuse(key: str, value: Any, why: str) -> NoReturn:
    """Refuse the field `key` of the model being validated, from a check that looks at several fields."""
    raise PydanticCustomError("refused", "{why}", {"key": key, "value": value, "why": why})


class _Checked(type(BaseModel)):  # type: ignore[misc]  # pydantic's metaclass has no public name
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

    def replace(self, **changes: Any) -> Any:
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
    path = [str(part) for part in detail["loc"]]
    value = detail.get("input")
    if detail["type"] == "refused":
        path += [context["key"]] if context["key"] else []
        value = context["value"]
    # Tags of a union (the joint's kind) are no part of the user's path.
    path = [part for i, part in enumerate(path) if not (i > 0 and "-" in part and path[i - 1] == "joint")]
    key = ".".join(path)
    if detail["type"] == "missing":
        field = _field(model, path)
        meaning = f" ({field.description.strip().rstrip('.')})" if field is not None and field.description else ""
        example = f", for example {path[-1]} = {field.examples[0]!r}" if field is not None and field.examples else ""
        return JointError(f"{key} is missing{meaning}: add it{example}.".replace("'", '"'))
    if detail["type"] == "extra_forbidden":
        known = _keys(model, path[:-1])
        near = difflib.get_close_matches(path[-1], known, n=1)
        hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}."
        return JointError(f"{key}: unknown key; {hint}")
    return JointError(f"{key} = {_shown(value)}: {_rule(detail, context)}.")


def _rule(detail: Any, context: dict[str, Any]) -> str:
    limits = {
        "greater_than": "must lie above {gt}",
        "greater_than_equal": "must be at least {ge}",
        "less_than": "must lie below {lt}",
        "less_than_equal": "must be at most {le}",
        "literal_error": "must be {expected}",
        "union_tag_invalid": "must be one of {expected_tags}",
        "model_type": "must be a table of keys",
        "union_tag_not_found": "must be a table with the key 'kind'",
        "bool_type": "must be true or false",
        "bool_parsing": "must be true or false",
        "string_type": "must be text in quotes",
        "dict_type": "must be a table of keys",
    }
    if detail["type"] in limits:
        return limits[detail["type"]].format(**context)
    if detail["type"] == "value_error":
        return str(context["error"])
    return str(detail["msg"]).rstrip(".")


def _shown(value: Any) -> str:
    text = f'"{value}"' if isinstance(value, str) else ("true" if value is True else "false" if value is False else "")
    text = text or (f"{value:g}" if isinstance(value, float) else repr(value))
    return text if len(text) <= 60 else text[:57] + "..."


def _field(model: type[Model], path: list[str]) -> Any:
    """Return the declaration of the field at `path` (keys of the file), or None."""
    options: list[Any] = [model]
    field = None
    for part in path:
        fields = [f for m in options for n, f in m.model_fields.items() if (f.alias or n) == part]
        if not fields:
            return None
        field = fields[0]
        options = _models(field.annotation)
    return field


def _keys(model: type[Model], path: list[str]) -> list[str]:
    options = [model] if not path else _models(getattr(_field(model, path), "annotation", None))
    return [f.alias or name for m in options for name, f in m.model_fields.items()]


def _models(annotation: Any) -> list[Any]:
    """Return the models inside an annotation such as ``A | B | None``."""
    if isinstance(annotation, type) and issubclass(annotation, Model):
        return [annotation]
    return [m for part in getattr(annotation, "__args__", ()) for m in _models(part)]
