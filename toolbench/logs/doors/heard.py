"""What a library says by logging, warning or printing while it reads a file: kept for a finding, not shown."""

from __future__ import annotations

import contextlib
import io
import logging
import warnings
from collections.abc import Iterator


class _Ear(logging.Handler):
    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        lines = record.getMessage().strip().splitlines()
        if lines and lines[0][:200] not in self.said:
            self.said.append(lines[0][:200])


@contextlib.contextmanager
def heard(library: str) -> Iterator[list[str]]:
    """While it is open, the warnings of a library's loggers are listed, each once, and nothing reaches the terminal."""
    ear = _Ear()
    names = [name for name in logging.root.manager.loggerDict if name.partition(".")[0] == library]
    loggers = [logging.getLogger(name) for name in {library, *names}]
    before = [(logger, logger.handlers[:], logger.propagate) for logger in loggers]
    for logger in loggers:
        logger.handlers[:], logger.propagate = [ear], False
    try:
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            yield ear.said
    finally:
        for logger, handlers, passes_on in before:
            logger.handlers[:], logger.propagate = handlers, passes_on
