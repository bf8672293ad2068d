"""When is a potential worth logging? The settling detector and what it states about a logged reading."""

from titrator.control.settling.detector import SettlingDetector
from titrator.control.settling.settings import Enough, Settled, SettlingSettings

__all__ = ["Enough", "Settled", "SettlingDetector", "SettlingSettings"]
