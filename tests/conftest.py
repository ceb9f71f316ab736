"""Shared by all tests: hypothesis profiles (`quick` for the README's command, `full` for CI by HYPOTHESIS_PROFILE=full).

Databases of tests lie in memory where the system has a folder for that: thousands of durable commits are otherwise as
slow as the disk is busy. LEADLINE_TEST_FOLDER names another place, such as a real disk.
"""

import os
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings

settings.register_profile("quick", max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("full", max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))

_folder = os.environ.pop("LEADLINE_TEST_FOLDER", "/dev/shm")
if Path(_folder).is_dir() and os.access(_folder, os.W_OK):
    tempfile.tempdir = os.environ["TMPDIR"] = _folder
