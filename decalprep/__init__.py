"""decalprep: true-scale panel decals, from artwork to proven sheets.

Everything inside is in millimetres, origin at the lower left, y up, unless a name says otherwise.
"""

__version__ = "0.1.0"
