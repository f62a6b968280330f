"""Scanned pages to the places of printed marks."""
