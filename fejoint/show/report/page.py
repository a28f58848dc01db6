"""One HTML page that holds all it needs: pictures, styles, scripts, data.

The only place with a template environment. Whatever a user typed is text to
it: escaped everywhere, never part of a script, a style or an address. A policy
in the page lets a browser run the scripts written here, each by its hash, and
nothing else, and load nothing from anywhere.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from fejoint import __version__
from fejoint.environment import require_extra
from fejoint.show.pen import drawing_style, printable, shortened
from fejoint.units import display

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup
    from matplotlib.figure import Figure

__all__ = ["Picture", "Row", "Table", "download", "page", "percent", "picture", "png_picture", "visible"]

LONGEST_TITLE = 80  # characters in a window's bar
LONGEST_HEADING = 140  # characters of a heading; the whole text is under it
LONGEST_WORD = 36  # letters of a word in a table
RASTER_DPI = 170  # of what a drawing holds as pixels: fine on paper at the width of a page

_ESCAPED = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}
_KEY = re.compile(r"[A-Za-z][A-Za-z0-9-]*")


# ---- pictures --------------------------------------------------------------


@dataclass(frozen=True)
class Picture:
    """A picture that is part of the page.

    Attributes
    ----------
    source : str
        The picture itself as a ``data:`` address.
    alt : str
        What is seen, for whoever does not see it.
    caption : str
        What stands under it.
    """

    source: str
    alt: str
    caption: str = ""


def picture(figure: Figure, alt: str, caption: str = "", pixels: bool = False) -> Picture:
    """Return a matplotlib figure as a picture: lines stay lines, letters are drawn and look the same everywhere.

    With `pixels` all of it becomes pixels, which takes less where there are lines without number.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    out = io.BytesIO()
    with drawing_style():
        from matplotlib import rc_context

        if not pixels:
            with rc_context({"svg.fonttype": "path"}):
                figure.savefig(out, format="svg", dpi=RASTER_DPI, metadata={"Date": None})
            return Picture(_address("image/svg+xml", out.getvalue()), alt, caption)
        figure.savefig(out, format="png")
    return png_picture(few_colours(out.getvalue()), alt, caption)


def png_picture(png: bytes | Path, alt: str, caption: str = "") -> Picture:
    """Return a PNG picture, given as its bytes or as the path of its file."""
    return Picture(_address("image/png", png if isinstance(png, bytes) else png.read_bytes()), alt, caption)


def few_colours(png: bytes) -> bytes:
    """Return a drawing in 64 colours, which are more than it has but for the edges of its lines."""
    from PIL import Image  # comes with matplotlib

    with Image.open(io.BytesIO(png)) as image:
        few = image.convert("RGB").quantize(64, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    out = io.BytesIO()
    few.save(out, "png", optimize=True)
    return out.getvalue()


def _address(kind: str, data: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def download(text: str) -> str:
    """Return a text as the address of a link that saves it."""
    return f"data:text/plain;charset=utf-8,{quote(text.encode('utf-8', 'replace'), safe='')}"


# ---- tables ----------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """A row of a table: the first cell is its heading.

    Attributes
    ----------
    cells : sequence of str
    look : str
        Empty, ``strong``, ``bad``, ``marked``, or ``under`` for one that belongs to the row above.
    """

    cells: Sequence[str]
    look: str = ""


@dataclass(frozen=True)
class Table:
    """A table with its caption; columns are of numbers but those in `words` (by place, 0 is the first)."""

    caption: str
    columns: Sequence[str]
    rows: Sequence[Row]
    words: Sequence[int] = (0,)


# ---- text ------------------------------------------------------------------


def visible(text: str) -> str:
    """Return a text with escapes for characters that have no shape, such as those that turn the direction of writing."""

    def escape(c: str) -> str:
        return f"\\u{ord(c):04X}" if ord(c) <= 0xFFFF else f"\\U{ord(c):08X}"  # as TOML has it

    return "".join(c if c in "\t\n" or unicodedata.category(c) not in ("Cc", "Cf", "Cs") else escape(c) for c in text)


def percent(share: float, digits: int = 2) -> str:
    """Return a share as per cent."""
    return f"{display(100 * share, '', digits=digits)} %" if math.isfinite(share) else "unknown"


# ---- the page --------------------------------------------------------------


def page(
    template: str,
    title: str,
    context: Mapping[str, Any],
    scripts: Sequence[str] = (),
    data: Mapping[str, Any] | None = None,
) -> str:
    """Return a whole HTML page.

    Parameters
    ----------
    template : str
        Name of a template in this folder that extends ``base.html``.
    title : str
        What a user called the joint or the study, of any length.
    context : mapping
        What the template is filled with; every text of it is escaped.
    scripts : sequence of str
        JavaScript of ours, put at the end in this order.
    data : mapping, optional
        Numbers and texts for the scripts, by the id of the element that holds them as JSON.

    Raises
    ------
    SetupError
        jinja2 is not installed.
    ValueError
        Data that JSON does not know, such as NaN, or a key that is no id.
    """
    from markupsafe import Markup

    blocks = [_script(text) for text in scripts]
    hashes = [f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'" for text in blocks]
    policy = (
        f"default-src 'none'; script-src {' '.join(hashes) or chr(39) + 'none' + chr(39)}; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    kept = {
        "policy": policy,
        "version": __version__,
        "style": Markup(_file("style.css")),
        "window_title": shortened(printable(title), LONGEST_TITLE),
        "heading": shortened(title, LONGEST_HEADING),
        "whole_title": title if len(title) > LONGEST_HEADING else "",
        "scripts": [Markup(text) for text in blocks],
        "data": {_id(key): Markup(_json(value)) for key, value in (data or {}).items()},
    }
    text = environment().get_template(template).render({**context, **kept})
    return text.encode("utf-8", "replace").decode("utf-8")  # a lone half of a character pair has no bytes


@cache
def environment() -> Environment:
    """Return the template environment: all escaped, an unknown name is an error.

    Raises
    ------
    SetupError
        jinja2 is not installed.
    """
    require_extra("jinja2", "report", "the report")
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    made = Environment(
        loader=FunctionLoader(_file),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_printable,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters |= {"percent": percent, "breakable": _breakable}
    return made


def _file(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")


def _printable(value: Any) -> Any:
    """Return what is put into the page, characters that HTML does not know replaced."""
    if not isinstance(value, str) or hasattr(value, "__html__"):
        return value
    return "".join("\ufffd" if unicodedata.category(c) == "Cc" and c not in "\t\n\r" else c for c in value)


def _breakable(text: str) -> Markup:
    """Return a text, escaped, whose longest words may be broken, so that none makes a table wider than the page."""
    from markupsafe import Markup, escape

    pieces = re.sub(rf"(\S{{{LONGEST_WORD}}})(?=\S)", "\\1\0", _printable(str(text))).split("\0")
    return Markup("<wbr>").join(escape(piece) for piece in pieces)


def _id(key: str) -> str:
    if not _KEY.fullmatch(key):
        raise ValueError(f"{key!r} is no id of an element")
    return key


def _json(value: Any) -> str:
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    return re.sub("[<>&\u2028\u2029]", lambda found: _ESCAPED[found[0]], text)


def _script(text: str) -> str:
    """Return a script as it can stand in a page: what would end its element early is written otherwise, to the same effect."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "\\0")
    text = re.sub(r"</(script)", r"<\\/\1", text, flags=re.IGNORECASE)
    return re.sub(r"<(!--|script)", r"\\x3c\1", text, flags=re.IGNORECASE)
