"""``python -m fixstats``."""

from fixstats.cli.main import main

main()
