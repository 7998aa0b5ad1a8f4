"""The pages, in the order of the navigation. A page is one file: PATH, TITLE, MENU, layout and connect."""

from __future__ import annotations

from dashboard.pages import change, controllers, cutoff, data, pack, packs, safety, today, units

PAGES = (today, packs, pack, cutoff, controllers, data, safety, units, change)
