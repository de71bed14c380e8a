"""``python -m analyzer`` is ``prehoop``."""

from analyzer.commands import main

if __name__ == "__main__":
    main()
