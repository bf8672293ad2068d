"""Foreseeing a titration: the law of its curve in plain numbers, what the points so far tell of it, where next."""
