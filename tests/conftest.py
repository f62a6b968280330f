"""Settings of every test.

Property tests draw the same examples every time where a change is judged, new ones elsewhere. The
commands that tests start keep what they compile, as they do where the package is installed.
"""

import os

from hypothesis import settings

settings.register_profile("judged", derandomize=True, database=None)
if os.environ.get("CI"):
    settings.load_profile("judged")

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
