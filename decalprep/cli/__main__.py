"""``python -m decalprep.cli`` is the command line too."""

from decalprep.cli import main

main()
