"""Frozen values that the rooms hand to each other. SI units throughout; no DataFrame, no file access."""
