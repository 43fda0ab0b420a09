"""Harrow Mill Bakery, an invented plant."""
