"""Runs SQL: opens the database of a shop and builds what one session needs."""
