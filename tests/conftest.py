"""Settings of every test.

Property tests draw the same examples every time where a change is judged, new ones elsewhere. The
commands that tests start keep what they compile, as they do where the package is installed.
"""

import os

import pytest
from hypothesis import settings

settings.register_profile("judged", derandomize=True, database=None)
if os.environ.get("CI"):
    settings.load_profile("judged")

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

LONG = (
    "whole_way",
    "hostile",
    "measure_command",
    "finish_backlit",
    "run_safety",
    "tiled_job",
    "scan_print",
    "lay_again",
    "stock_leftovers",
    "calibrate_commands",
    "calibration_photos",
    "proof_artwork",
)
"""Modules that take longest, begun first: else one of two processes ends long after the other."""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long modules first, whatever the order of the rest."""
    place = {f"test_{name}.py": number for number, name in enumerate(LONG)}
    items.sort(key=lambda item: place.get(item.path.name, len(LONG)))
