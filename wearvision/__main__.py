"""`python -m wearvision`."""

from wearvision.cli import main

if __name__ == "__main__":
    main()
