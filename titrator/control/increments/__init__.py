"""Increment rules: what volume to add next. One small interface, several siblings."""

from titrator.control.increments.adaptive import Adaptive, AdaptiveSettings
from titrator.control.increments.base import Ahead, IncrementRule, Step
from titrator.control.increments.fixed import Fixed
from titrator.control.increments.foreseeing import Foreseeing
from titrator.control.increments.foreseeing_settings import ForeseeingSettings, Foresight

__all__ = [
    "Adaptive",
    "AdaptiveSettings",
    "Ahead",
    "Fixed",
    "Foreseeing",
    "ForeseeingSettings",
    "Foresight",
    "IncrementRule",
    "Step",
]
