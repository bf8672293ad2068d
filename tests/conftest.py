"""Hypothesis draws the same examples in every run, so that a failure seen in CI is a failure seen here."""

from hypothesis import HealthCheck, settings

settings.register_profile("repeatable", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("repeatable")
