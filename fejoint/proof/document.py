"""What a file of the proof is read from: the tables of a joint file, and one or two of its own beside them."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.file import document_from_text, joint_from_document

__all__ = ["OWN", "joint_of", "parted"]

# Tables beside the joint: of a case, and of a test.
OWN = ("case", "expect", "measured")


def parted(text: str, place: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the joint's part of a file and, by name, the tables that stand beside it; `place` is what errors call the file.

    Raises
    ------
    JointError
        It is not TOML, or has a table that none of these is.
    """
    try:
        document = document_from_text(text, name="")
    except JointError as error:
        raise JointError(f"{place}: {str(error).removeprefix(': ')}") from None
    own = {key: document.pop(key) for key in OWN if key in document}
    known = [*OWN, "materials", "process", *(field.alias or key for key, field in Joint.model_fields.items())]
    for key in document:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}."
            raise JointError(f"{place}: {key}: unknown key; {hint}")
    return document, own


def joint_of(document: Mapping[str, Any], place: str) -> Joint:
    """Return the joint of a file's part; JointError with the file's name where a value is refused."""
    try:
        return joint_from_document(document)
    except JointError as error:
        raise JointError(f"{place}: {error}") from None
