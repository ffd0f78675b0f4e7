"""Loads public names and submodules of a package on first use, so that importing it is instant."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from types import MappingProxyType
from typing import Any

_NONE: Mapping[str, str] = MappingProxyType({})


def loader(package: str, homes: Mapping[str, str] = _NONE) -> Callable[[str], Any]:
    """Return the ``__getattr__`` of a package.

    Parameters
    ----------
    package : str
        Its name.
    homes : mapping of str to str, optional
        Module that defines each public name.

    Returns
    -------
    callable
        Takes a name and returns what it stands for; raises AttributeError for others.
    """

    def load(name: str) -> Any:
        if name in homes:
            return getattr(import_module(homes[name]), name)
        module = f"{package}.{name}"
        if name.startswith("_"):
            raise AttributeError(module)
        try:
            return import_module(module)
        except ModuleNotFoundError as error:
            if error.name != module:
                raise
            raise AttributeError(f"{package} has no {name}") from None

    return load
