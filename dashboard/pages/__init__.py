"""The pages, in the order of the navigation. A page is one file: PATH, TITLE, MENU, layout and connect."""

from __future__ import annotations

from dashboard.pages import controllers, cutoff, pack, packs, safety, today, units

PAGES = (today, packs, pack, cutoff, controllers, safety, units)
