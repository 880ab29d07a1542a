"""Runs queries/ and hands out counts."""
