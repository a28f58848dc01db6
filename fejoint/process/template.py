"""The commented ``[process]`` table with every key of its models, to be put into a joint file and filled in."""

from __future__ import annotations

from fejoint.joint.file import in_one_line
from fejoint.joint.model import Model, models_in
from fejoint.process.description import Process

__all__ = ["template"]

HEAD = """\
## [process] of a joint file of fejoint: how the joint is bonded; a file with it alone works too.
## Take one '#' off the tables and keys that you know, and put your own figures in place of these, which are invented.
## Lines that begin with '##' explain, or show what may stand in place of the keys above it; all else may be left out.
## What nothing here says is asked of the adhesive's data sheet: it, local codes and licensed practice come first.
"""
# Keys that stand in place of others, by table, with what is to be known of that.
INSTEAD = {
    "Wetting": {"adhesive_tension": "in place of adhesive", "surface": "in place of readings"},
    "SqueezeOut": {"clamp_force": "", "diameter": "in place of width and length, where shape is disc"},
    "Cure": {
        "points": "and of order, the autocatalytic keys and start_degree",
        "fit": "beside points alone",
        "strength_points": "",
    },
    "Preparation": {"step": "and of its figures"},
}
WIDTH = 50  # of a key and its example, before what it means


def template() -> str:
    """Return the commented table: with one '#' less on every line that has one, it is accepted as it is."""
    lines: list[str] = [HEAD]
    for name, field in Process.model_fields.items():
        (model,) = models_in(field.annotation)
        lines += [*_table(f"process.{name}", model, field.description or ""), ""]
    return "\n".join(lines).rstrip() + "\n"


def _table(path: str, model: type[Model], meaning: str) -> list[str]:
    instead = INSTEAD.get(model.__name__, {})
    lines, others, tables = [_line(f"# [{path}]", meaning)], [], []
    for key, field in model.model_fields.items():
        said = field.description or ""
        if field.examples:
            line = f"{key} = {in_one_line(field.examples[0])}"
            if key in instead:
                others.append(_line(f"## {line}", f"{said}; {instead[key]}" if instead[key] else said))
            else:
                lines.append(_line(f"# {line}", said))
        elif models_in(field.annotation):
            tables.append(_line(f"## [{path}.{key}]", f"{said}: a table with the same keys"))
    return [*lines, *others, *tables]


def _line(text: str, meaning: str) -> str:
    return f"{text.ljust(WIDTH)} # {meaning}"
