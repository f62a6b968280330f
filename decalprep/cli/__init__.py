"""The command line: options in, a job called, text and exit code out."""
