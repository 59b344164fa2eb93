"""`python -m raysim` is the same as `raysim`."""

from raysim.cli import main

if __name__ == "__main__":
    main()
