"""Increment rules: what volume to add next. One small interface, several siblings."""

from titrator.control.increments.adaptive import Adaptive, AdaptiveSettings
from titrator.control.increments.base import IncrementRule
from titrator.control.increments.fixed import Fixed

__all__ = ["Adaptive", "AdaptiveSettings", "Fixed", "IncrementRule"]
