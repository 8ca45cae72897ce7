"""`python -m petsim` is the `petsim` command."""

from petsim.cli import main

if __name__ == "__main__":
    main()
