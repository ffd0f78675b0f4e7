"""Compiles the kernels: cached on disk, free of the interpreter lock, and announced when done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit
from numba.core import event

Function = TypeVar("Function", bound=Callable[..., object])

_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy"}


def kernel(function: Function) -> Function:
    """Compile a function for numba, with the on-disk cache where one can be written.

    The cache lies beside the source, or in the user's own cache folder where that is read-only.
    """
    compiled: Function
    try:
        compiled = njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:
        # numba finds no folder that it may write to: compile afresh in every process
        compiled = njit(**_OPTIONS)(function)
    return compiled


class _FirstCompile(event.Listener):  # type: ignore[misc]
    def __init__(self, tell: Callable[[str], object]) -> None:
        self.tell: Callable[[str], object] | None = tell

    def on_start(self, event: Any) -> None:
        name = event.data["dispatcher"].py_func.__module__
        if self.tell is not None and name.startswith("weldcalc."):
            tell, self.tell = self.tell, None
            tell("compiling heat-flow kernels, once per machine ...")

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
