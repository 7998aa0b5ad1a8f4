"""What the tool speaks of: packs, controllers, vehicles, runs, charges, bench tests and results."""
