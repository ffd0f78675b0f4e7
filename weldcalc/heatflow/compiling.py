"""Compiles the kernels: cached on disk, free of the interpreter lock, and announced when done."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any, TypeVar

from numba import njit
from numba.core import config, event
from numba.core.options import DefaultOptions
from numba.extending import register_jitable

from weldcalc.heatflow.kernel_cache import cache_folder

Function = TypeVar("Function", bound=Callable[..., object])

# kernels only work on what they are given: nothing is allocated, no references need counting
_OPTIONS: dict[str, Any] = {
    "nogil": True,
    "error_model": "numpy",
    "no_cfunc_wrapper": True,
    **({"_nrt": False} if hasattr(DefaultOptions, "_nrt") else {}),
}
_ONCE = "compiling heat-flow kernels, once per machine ..."
_EVERY_TIME = (
    "compiling heat-flow kernels, in every run anew: no folder to keep them can be written; "
    "set NUMBA_CACHE_DIR to one"
)


def kernel(function: Function) -> Function:
    """Let kernels call a function compiled; called from Python it stays as it is."""
    made: Function = register_jitable(no_cpython_wrapper=True, **_OPTIONS)(function)
    return made


def entry(function: Function) -> Function:
    """Compile a kernel that Python calls, with the on-disk cache where one can be written.

    An array that it returns has to be one that it was given, whole. A cache that is full, broken
    or taken away costs the time to compile and nothing else.
    """
    folder = cache_folder()
    compiled: Function
    if folder is None:
        compiled = njit(**_OPTIONS)(function)
        return compiled
    # numba reads the folder when it decorates; other users of numba keep theirs
    before, config.CACHE_DIR = config.CACHE_DIR, str(folder)
    try:
        compiled = njit(cache=True, **_OPTIONS)(function)
    finally:
        config.CACHE_DIR = before
    _guard(getattr(compiled, "_cache", None))
    return compiled


def _guard(cache: Any) -> None:
    if cache is None:  # numba was told not to compile
        return
    load, save = cache.load_overload, cache.save_overload

    def load_or_compile(*args: Any) -> Any:
        try:
            return load(*args)
        except Exception:  # a broken file makes unpickling raise nearly anything
            with suppress(OSError):
                cache.flush()
            return None

    def save_or_forget(*args: Any) -> None:
        with suppress(OSError):
            save(*args)

    cache.load_overload, cache.save_overload = load_or_compile, save_or_forget


class _FirstCompile(event.Listener):  # type: ignore[misc]
    def __init__(self, tell: Callable[[str], object]) -> None:
        self.tell: Callable[[str], object] | None = tell

    def on_start(self, event: Any) -> None:
        name = event.data["dispatcher"].py_func.__module__
        if self.tell is not None and name.startswith("weldcalc."):
            tell, self.tell = self.tell, None
            tell(_EVERY_TIME if cache_folder() is None else _ONCE)

    def on_end(self, event: Any) -> None:
        """Nothing follows a compilation."""


def tell_when_compiling(tell: Callable[[str], object]) -> None:
    """Have a function called with one line when kernels really are compiled, at most once.

    Nothing is said when they come from the cache.

    Parameters
    ----------
    tell : callable
        Takes the text, as a command line's writer to standard error does.
    """
    event.register("numba:compile", _FirstCompile(tell))
