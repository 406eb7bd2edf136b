"""The time base of a recording: which columns or rate it is, in which unit and format, as seconds from the first sample."""
