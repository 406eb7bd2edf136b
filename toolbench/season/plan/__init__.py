"""How many repeats a difference needs, what they cost, and the run sheet."""
