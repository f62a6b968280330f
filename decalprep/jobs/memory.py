"""Memory that is freed and soon asked for again, as by one picture after another."""

from __future__ import annotations

import ctypes
import sys

_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3  # <malloc.h> of glibc
_LARGEST_BYTES = 32 << 20  # the most that glibc takes
_KEPT_BYTES = 256 << 20


def keep_freed() -> None:
    """Let the C library keep what is freed for what comes next, up to 256 MB.

    It would give large pieces back to the system each time, and fetching them anew costs as much
    as drawing in them. Does nothing where the C library is another than glibc.
    """
    if not sys.platform.startswith("linux"):
        return
    try:
        mallopt = ctypes.CDLL("libc.so.6").mallopt
    except (OSError, AttributeError):
        return
    mallopt(_M_MMAP_THRESHOLD, _LARGEST_BYTES)
    mallopt(_M_TRIM_THRESHOLD, _KEPT_BYTES)
