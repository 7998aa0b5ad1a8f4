"""Dash's HTML elements, made without looking at every argument: a page of fifty packs has two thousand of them.

They are the same components. Dash checks each time one is made that every argument has a name it knows, which took a third of
a page's time; here a test does, on every page.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from dash import html
from dash.development.base_component import Component

if TYPE_CHECKING:
    from dash.html._imports_ import *  # noqa: F403
else:

    def _maker(kind: type[Component]) -> Callable[..., Component]:
        """How elements of a kind are made."""
        common = {name: value for name, value in kind().__dict__.items() if name != "children"}

        def make(children: Any = None, **attributes: Any) -> Component:
            made = object.__new__(kind)
            made.__dict__.update(common, children=children, **attributes)
            return made

        return make

    globals().update({name: _maker(getattr(html, name)) for name in html.__all__})
