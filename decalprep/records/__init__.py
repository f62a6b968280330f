"""Printer, part and stock records on disk."""
