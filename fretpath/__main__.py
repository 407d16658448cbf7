"""``python -m fretpath`` is the command line."""

from fretpath.commands import run

if __name__ == "__main__":
    run()
