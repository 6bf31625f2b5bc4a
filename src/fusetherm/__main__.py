"""`python -m fusetherm`, for places where the command is not on the path."""

from __future__ import annotations

from .cli.main import main

if __name__ == "__main__":
    main()
