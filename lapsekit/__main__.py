"""``python -m lapsekit``."""

from lapsekit.cli import main

main()
