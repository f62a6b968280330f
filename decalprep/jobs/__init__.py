"""The job file, and the order of steps for what a person wants done."""
