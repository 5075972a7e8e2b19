"""Raw bench readings to claims that survive a hostile reviewer.

The names below are in the order of use; each is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_WHERE: dict[str, str] = {}

__all__ = [*_WHERE, "__version__"]  # noqa: PLE0604


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'lossstats' has no attribute {name!r}; it has {', '.join(_WHERE)}")
    return getattr(import_module(f"lossstats.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
