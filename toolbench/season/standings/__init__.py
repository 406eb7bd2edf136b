"""Standings of a season: who enters, what is measured of each, the marks of the scorecard, claims, earlier states."""
