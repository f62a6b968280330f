"""Readings and points to affine corrections with their uncertainty."""
