"""``python -m ui`` is the command ``vesselblend``."""

from ui.cli import main

main()
