"""The method file: its schema, section by section, and what the sections mean together."""

from titrator.method.caution_text import cautions_text
from titrator.method.load import load_method
from titrator.method.method import Method

__all__ = ["Method", "cautions_text", "load_method"]
