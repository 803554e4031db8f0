"""`python -m conewright` does what `conewright` does."""

from conewright.cli import main

if __name__ == "__main__":
    main()
