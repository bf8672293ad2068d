"""Searching rules of addition and settling against simulated cells, and judging them on recorded curves."""
