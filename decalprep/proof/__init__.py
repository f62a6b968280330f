"""The finished file read back and measured, by code of its own."""
