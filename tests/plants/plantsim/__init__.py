"""An invented bakery, its faults and its callers: shares nothing with the ranker but file formats."""
