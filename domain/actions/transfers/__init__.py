"""Transfers of animals: planned, checked, approved, dispatched, received or refused, and closed."""
