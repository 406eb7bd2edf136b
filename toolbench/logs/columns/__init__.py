"""The rows of a text file as columns of numbers, text and stamps, exact to the last printed digit."""
