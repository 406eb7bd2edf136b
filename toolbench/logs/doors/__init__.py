"""Recordings that are no text: columnar files, TDMS, MDF, DataFrames, and readers of others."""
