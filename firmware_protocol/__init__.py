"""The wire between host and board: framing, messages and their codec, the same for both ends (see SPEC.md)."""
