"""Runs the notebooks, makes the pages and keeps the output folder: papermill, nbconvert, jinja2 and processes live here."""
