"""`python -m seatwright`."""

from seatwright.cli import main

if __name__ == "__main__":
    main()
