"""Reading a component tree as a person would: its words, and the components of a kind in it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any


def words(component: Any) -> str:
    """All the text in a component, with ordinary spaces."""
    if component is None:
        return ""
    if isinstance(component, (str, int, float)):
        return str(component).replace("\u00a0", " ")
    if isinstance(component, (list, tuple)):
        return " ".join(words(child) for child in component)
    return words(getattr(component, "children", None))


def every(component: Any, kind: str) -> Iterator[Any]:
    """Every component of that kind, in the order met."""
    if isinstance(component, (list, tuple)):
        for child in component:
            yield from every(child, kind)
    elif hasattr(component, "_type"):
        if component._type == kind:
            yield component
        yield from every(getattr(component, "children", None), kind)
