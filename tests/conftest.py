"""Property tests draw the same examples every time where a change is judged, new ones elsewhere."""

import os

from hypothesis import settings

settings.register_profile("judged", derandomize=True, database=None)
if os.environ.get("CI"):
    settings.load_profile("judged")
