"""`python -m raysim` is the same as `raysim`."""

try:  # where raysim was installed, the front door stands outside of the package
    from raysim_chamber import main
except ModuleNotFoundError:
    from raysim.front_door import main

if __name__ == "__main__":
    main()
