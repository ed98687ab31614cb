"""`python -m frusta` is the command `frusta`."""

from frusta.cli.main import main

if __name__ == "__main__":
    main()
