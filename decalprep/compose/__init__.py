"""Decals, placements and marks to one drawing list a sheet."""
