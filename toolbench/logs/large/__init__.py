"""Text files too large to be read whole: in pieces, by the same rules."""
