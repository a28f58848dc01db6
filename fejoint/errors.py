"""The errors a user of fejoint can meet.

    FejointError
    +-- JointError            the description of the joint is wrong (key, value, allowed range)
    +-- SetupError            a library, a display or a folder this machine lacks
    +-- MeshError             the geometry script and the joint disagree
    +-- TheoryError           a closed form does not cover this joint
    +-- ConvergenceError      no equilibrium found (carries the state reached)

Every message is one sentence, or a few, that say what to do; only the command
line turns them into exit codes.
"""

from __future__ import annotations

from typing import Any

__all__ = [
    "LONGEST",
    "ConvergenceError",
    "FejointError",
    "JointError",
    "MeshError",
    "SetupError",
    "TheoryError",
    "one_line",
]

LONGEST = 600  # characters of a message; what is longer holds something that nobody wants to read


def one_line(text: str) -> str:
    """Return a text as one line of what can be printed, its middle left out where it is very long."""
    text = "".join(c if c.isprintable() else " " if c.isspace() else ascii(c)[1:-1] for c in text)
    half = LONGEST // 2 - 3
    return text if len(text) <= LONGEST else f"{text[:half]} ... {text[-half:]}"


class FejointError(Exception):
    """Base of all errors raised on purpose by fejoint: its message is one line, whatever names and values it quotes."""

    def __init__(self, message: str = "") -> None:
        super().__init__(one_line(message))


class JointError(FejointError, ValueError):
    """The description of the joint is wrong: key, value and what is allowed."""


class SetupError(FejointError, RuntimeError):
    """This machine lacks something: a system library, an extra, a writable folder."""


class MeshError(FejointError, RuntimeError):
    """A geometry script did not deliver the section that the joint describes."""


class TheoryError(FejointError, ValueError):
    """A closed form was asked for a joint that its assumptions exclude."""


class ConvergenceError(FejointError, RuntimeError):
    """No equilibrium was found.

    Attributes
    ----------
    load_factor : float
        Share of the load at which the last equilibrium was found.
    residual : float
        Out-of-balance force over the applied force, at the failure.
    state : object
        The last converged state, to go on from or to look at.
    """

    def __init__(self, message: str, *, load_factor: float = 0.0, residual: float = float("nan"), state: Any = None) -> None:
        super().__init__(message)
        self.load_factor = load_factor
        self.residual = residual
        self.state = state
