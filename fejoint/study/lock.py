"""One run at a time: a file locked by the kernel (flock), so that a killed run leaves no lock."""

from __future__ import annotations

import contextlib
import fcntl
import os
import socket
from pathlib import Path

from fejoint.errors import SetupError

__all__ = ["Lock"]

# Files of locks held. A forked child shares the lock, and would hold it after its parent was killed.
_HELD: set[int] = set()


class Lock:
    """An exclusive lock on a file beside another one, held until it is released.

    Parameters
    ----------
    path : path
        The file that only one process may work on; the lock file's name is this and ``.lock``.
    shown : str
        What a person calls it.

    Raises
    ------
    SetupError
        Another process holds it (named), or the file system knows no locks.
    """

    def __init__(self, path: Path, shown: str) -> None:
        self._path = path.with_name(path.name + ".lock")
        while True:
            self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
            _HELD.add(self._file)
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                current = self._is_current()
            except BlockingIOError:
                holder = os.read(self._file, 500).decode("utf-8", "replace").strip()
                self._let_go()
                raise SetupError(
                    f"{shown}: is in use by {holder or 'another process'}; wait for it or choose another folder."
                ) from None
            except OSError as error:
                self._let_go()
                reason = (error.strerror or str(error)).lower()
                raise SetupError(
                    f"{path.parent}: files cannot be locked there ({reason}); choose a folder on a local disk for --out."
                ) from None
            if current:
                break
            self._let_go()  # its holder removed it in between
        os.ftruncate(self._file, 0)
        with contextlib.suppress(OSError):  # a full disk: the lock holds all the same
            os.write(self._file, f"process {os.getpid()} on {socket.gethostname()}\n".encode())

    def _is_current(self) -> bool:
        """Return whether the file locked is the one that others find under its name."""
        try:
            return os.path.samestat(os.fstat(self._file), os.stat(self._path))
        except FileNotFoundError:
            return False

    def release(self) -> None:
        """Remove the lock file, then let go of it."""
        with contextlib.suppress(OSError):
            self._path.unlink()
        self._let_go()

    def _let_go(self) -> None:
        if self._file in _HELD:  # not in a forked child, where the number may be another file's by now
            _HELD.discard(self._file)
            os.close(self._file)


def _close_in_child() -> None:
    while _HELD:
        with contextlib.suppress(OSError):
            os.close(_HELD.pop())


os.register_at_fork(after_in_child=_close_in_child)
