"""Artwork to artwork, with a list of what changed."""
