"""Run as `python -m toolbench`."""

from toolbench.cli import main

if __name__ == "__main__":
    main()
