"""Decals onto sheets: placements, bounds, and a checker of its own."""
