"""Equivalence points and results from titration curves; usable as a library on plain arrays.

`Curve` holds the readings, `find_equivalence_points(curve, expectation)` finds what they bracket, and
`results(evaluation, inputs)` computes the concentration with its uncertainty. Import from the modules.
"""
