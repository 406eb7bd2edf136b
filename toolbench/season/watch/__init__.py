"""A season at the bench: recordings judged as they arrive, and entered in runs.csv."""
