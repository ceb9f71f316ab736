"""Profiles shared by all tests: `quick` for the README's command, `full` for CI (HYPOTHESIS_PROFILE=full)."""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("quick", max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("full", max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))
