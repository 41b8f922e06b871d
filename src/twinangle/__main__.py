"""``python -m twinangle`` is the command ``twinangle``."""

from twinangle.cli import main

if __name__ == "__main__":
    main()
