"""What fejoint needs of the machine beyond Python packages that always come with it, and how to get it."""

from __future__ import annotations

import ctypes
import importlib.util
import os
import sys

from fejoint.errors import SetupError

__all__ = ["SYSTEM_LIBRARIES", "require_extra", "require_rendering"]

# One line serves meshing and rendering; no display server is among it.
SYSTEM_LIBRARIES = (
    "apt-get install -y --no-install-recommends libgl1 libegl1 libglu1-mesa libxcursor1 libxft2 libxinerama1 libgomp1"
)

# Libraries that render without a display, and the vtk window class that uses each.
_OFF_SCREEN = {"libEGL.so.1": "vtkEGLRenderWindow", "libOSMesa.so.8": "vtkOSOpenGLRenderWindow"}
_WINDOW_CLASS = "VTK_DEFAULT_OPENGL_WINDOW"


def require_extra(package: str, extra: str, purpose: str = "this") -> None:
    """Check that an optional Python package is installed, without importing it.

    Parameters
    ----------
    package : str
        Name it is imported by.
    extra : str
        The extra of fejoint that brings it.
    purpose : str
        What needs it, the subject of the error's sentence.

    Raises
    ------
    SetupError
        It is not installed; the text holds the command that installs it.
    """
    if importlib.util.find_spec(package) is None:
        raise SetupError(f"{purpose} needs {package}: pip install 'fejoint[{extra}]'")


def require_rendering(window: bool = False) -> None:
    """Check that vtk can render here, and choose how; to be called before its first picture.

    Without these libraries vtk ends the whole process, which no `try` catches.
    The choice is the environment variable ``VTK_DEFAULT_OPENGL_WINDOW``; one
    that is set already stays when it can serve.

    Parameters
    ----------
    window : bool
        Whether a window on a display is wanted, not a picture in a file.

    Raises
    ------
    SetupError
        No library to render with, or no display for the window.
    """
    if not sys.platform.startswith("linux"):
        return
    if window:
        if not _loads("libGL.so.1"):
            raise _no_library("libGL.so.1")
        if not _display_answers():
            raise SetupError("there is no display here to open a window on; write a picture with --png FILE.")
        os.environ[_WINDOW_CLASS] = "vtkXOpenGLRenderWindow"
        return
    usable = [kind for library, kind in _OFF_SCREEN.items() if _loads(library)]
    if not usable:
        raise _no_library(" or ".join(_OFF_SCREEN))
    if os.environ.get(_WINDOW_CLASS) not in usable:
        os.environ[_WINDOW_CLASS] = usable[0]


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _display_answers() -> bool:
    """Return whether the display that the environment names can be opened; vtk ends the process on one that cannot."""
    if not os.environ.get("DISPLAY"):
        return False
    try:
        x11 = ctypes.CDLL("libX11.so.6")
    except OSError:
        return False
    x11.XOpenDisplay.restype = ctypes.c_void_p
    display = x11.XOpenDisplay(None)
    if not display:
        return False
    x11.XCloseDisplay(ctypes.c_void_p(display))
    return True


def _no_library(name: str) -> SetupError:
    return SetupError(f"the 3D view needs {name}; on Debian or Ubuntu run as root: {SYSTEM_LIBRARIES}")
