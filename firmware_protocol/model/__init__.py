"""The exchange of doses as a model for spin, and its broken variants."""
